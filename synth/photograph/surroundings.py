"""What lies outside the enamel disc: its copper edge, the case rim and the ground the watch lies on.

Large frames are painted at half or a third of their size and enlarged: none of it carries the design.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.patch import circle, edges_of_stack, ring_slices
from dialtell.synth.photograph.texture import Colour, colour_of, enlarge, mix, smooth_noise, soften, stack, times
from dialtell.synth.photograph.view import ViewSpec, homography, to_px
from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.strokes.raster import accumulate, coverage, edges_of

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

EDGES = ("none", "copper", "dark")
RIMS = ("none", "silver", "gold")
SLICES = 180  # of a ring round the turn
GROUNDS = ("plain", "gradient", "cloth", "wood", "paper")
METAL = {
    "silver": (0.78, 0.77, 0.74),
    "gold": (0.86, 0.6, 0.24),
    "copper": (0.62, 0.3, 0.17),
    "dark": (0.04, 0.035, 0.03),
}


@dataclass(frozen=True)
class Surroundings:
    """Outside the enamel; lengths in mm, reflectances linear 0..1.

    dial_radius_mm : 2..500.
    edge : "none", "copper" (turned-up border) or "dark".
    edge_mm : 0..3, its width.
    rim : "none" (bare dial), "silver" or "gold" case.
    rim_inner_mm, rim_outer_mm : radii of the case rim, beyond the edge.
    rim_contrast : 0..1.5, strength of the lights in the metal.
    ground : "plain", "gradient", "cloth", "wood" or "paper".
    ground_rgb : linear reflectance.
    ground_cell_mm : 0.1..20, size of its texture.
    ground_contrast : 0..0.6, relative strength of its texture.
    ground_angle_deg : 0..180, direction of its grain.
    shadow : 0..1, depth of the cast shadow; shadow_mm : 0..10, its reach.
    seed : of textures.

    Ranges are those of watch dials; what is accepted is wider (`__post_init__`), as clock dials are three times as
    large.
    """

    dial_radius_mm: float
    edge: str
    edge_mm: float
    rim: str
    rim_inner_mm: float
    rim_outer_mm: float
    rim_contrast: float
    ground: str
    ground_rgb: Colour
    ground_cell_mm: float
    ground_contrast: float
    ground_angle_deg: float
    shadow: float
    shadow_mm: float
    seed: int

    def __post_init__(self) -> None:
        require_range("dial_radius_mm", self.dial_radius_mm, 2.0, 500.0, "mm")
        for name, choice, allowed in (
            ("edge", self.edge, EDGES),
            ("rim", self.rim, RIMS),
            ("ground", self.ground, GROUNDS),
        ):
            if choice not in allowed:
                raise ParameterError(f"{name} is {choice!r}; give one of {', '.join(allowed)}")
        require_range("edge_mm", self.edge_mm, 0.0, 24.0, "mm")
        if self.rim != "none":
            low = self.dial_radius_mm + self.edge_mm
            require_range("rim_inner_mm", self.rim_inner_mm, low, 2.0 * self.dial_radius_mm, "mm")
            require_range("rim_outer_mm", self.rim_outer_mm, self.rim_inner_mm, 2.0 * self.dial_radius_mm, "mm")
        require_range("rim_contrast", self.rim_contrast, 0.0, 1.5)
        for value in self.ground_rgb:
            require_range("ground_rgb", value, 0.0, 1.0)
        require_range("ground_cell_mm", self.ground_cell_mm, 0.1, 200.0, "mm")
        require_range("ground_contrast", self.ground_contrast, 0.0, 0.6)
        require_range("ground_angle_deg", self.ground_angle_deg, 0.0, 180.0, "degrees")
        require_range("shadow", self.shadow, 0.0, 1.0)
        require_range("shadow_mm", self.shadow_mm, 0.0, 80.0, "mm")


def sample_surroundings(*, rng: np.random.Generator, dial_radius_mm: float) -> Surroundings:
    """Draw what is around a dial: two in five bare, the rest in a case."""
    rim = str(rng.choice(RIMS, p=[0.4, 0.3, 0.3]))
    edge = str(rng.choice(EDGES, p=[0.25, 0.45, 0.3] if rim == "none" else [0.55, 0.25, 0.2]))
    edge_mm = 0.0 if edge == "none" else dial_radius_mm * rng.uniform(0.005, 0.03)
    if edge == "dark" and rim == "none":  # the inked outline of a dial cut out for a book's plate
        edge_mm *= rng.choice([1.0, 1.8])
    inner = dial_radius_mm + edge_mm + dial_radius_mm * rng.choice([0.0, rng.uniform(0.0, 0.02)])
    ground = str(rng.choice(GROUNDS, p=[0.25, 0.25, 0.25, 0.1, 0.15]))
    level = float(np.exp(rng.uniform(np.log(0.02), np.log(0.8))))
    tint = np.exp(rng.normal(0.0, 0.06 if rng.random() < 0.6 else 0.35, size=3))
    if ground == "wood":
        level, tint = float(rng.uniform(0.06, 0.3)), np.array([1.3, 0.8, 0.45])
    colour = np.clip(level * tint, 0.0, 0.95)
    return Surroundings(
        dial_radius_mm=dial_radius_mm,
        edge=edge,
        edge_mm=float(edge_mm),
        rim=rim,
        rim_inner_mm=float(inner) if rim != "none" else 0.0,
        rim_outer_mm=float(inner + dial_radius_mm * rng.uniform(0.05, 0.16)) if rim != "none" else 0.0,
        rim_contrast=float(rng.uniform(0.3, 1.1)),
        ground=ground,
        ground_rgb=colour_of(colour),
        ground_cell_mm=float(np.exp(rng.uniform(np.log(0.3), np.log(4.0)))),
        ground_contrast=float(rng.uniform(0.03, 0.35)),
        ground_angle_deg=float(rng.uniform(0.0, 180.0)),
        shadow=float(rng.uniform(0.1, 0.8)),
        shadow_mm=float(rng.uniform(0.3, 4.0)),
        seed=int(rng.integers(2**31)),
    )


def paint_surroundings(around: Surroundings, view: ViewSpec, light_azimuth_deg: float) -> Image:
    """(H, W, 3) float32 linear, the enamel disc left to be painted over."""
    step = 3 if min(view.shape) > 900 else 2 if min(view.shape) > 450 else 1
    shape = (-(-view.height_px // step), -(-view.width_px // step))
    scale = view.px_per_mm / step
    matrix = np.diag([1.0 / step, 1.0 / step, 1.0]) @ homography(view)
    picture = _ground(around, shape, scale)
    outer = max(around.rim_outer_mm, around.dial_radius_mm + around.edge_mm)
    picture = times(picture, _cast_shadow(around, matrix, shape, outer, scale, light_azimuth_deg))
    rings = _rings(around, np.radians(light_azimuth_deg))
    if rings:
        quads = [ring_slices(0.0, 0.0, inner_mm, outer_mm, len(colour))[0] for inner_mm, outer_mm, colour in rings]
        edges, owner = edges_of_stack(to_px(matrix, np.concatenate(quads)))
        disc, _ = edges_of([to_px(matrix, circle(0.0, 0.0, outer, 480))])
        weights = np.zeros((len(disc) + len(edges), 4))
        weights[: len(disc), 0] = 1.0
        weights[len(disc) :, 1:] = np.concatenate([colour for _, _, colour in rings])[owner]
        cover, red, green, blue = accumulate(np.concatenate([disc, edges]), weights, shape)
        picture = mix(picture, (0.03, 0.03, 0.03), cover)
        picture += stack((red, green, blue))
    return enlarge(picture, view.shape) if step > 1 else picture


def _ground(around: Surroundings, shape: tuple[int, int], scale: float) -> Image:
    """The ground alone."""
    cell = max(around.ground_cell_mm * scale, 1.0)
    large = smooth_noise(around.seed, shape, (0.4 * shape[0], 0.4 * shape[1]))
    field = 1.0 + np.float32(0.3 * around.ground_contrast) * large
    contrast = np.float32(around.ground_contrast)
    if around.ground == "gradient":
        angle = np.radians(around.ground_angle_deg)
        x = np.linspace(-1.0, 1.0, shape[1], dtype=np.float32) * np.float32(np.cos(angle))
        y = np.linspace(-1.0, 1.0, shape[0], dtype=np.float32) * np.float32(np.sin(angle))
        field += 2.0 * contrast * (x + y[:, None])
    elif around.ground == "cloth":
        # two threads crossing, each uneven along its own direction
        x = np.arange(shape[1], dtype=np.float32) * np.float32(np.pi / max(0.5 * cell, 2.0))
        y = np.arange(shape[0], dtype=np.float32) * np.float32(np.pi / max(0.5 * cell, 2.0))
        wobble = smooth_noise(around.seed + 1, shape, (4.0 * cell, 4.0 * cell))
        field += contrast * (np.sin(x + 2.0 * wobble) * np.sin(y[:, None] + 2.0 * wobble))
        field += 0.5 * contrast * smooth_noise(around.seed + 2, shape, (0.5 * cell + 1.0, 3.0 * cell))
    elif around.ground == "wood":
        along = around.ground_angle_deg < 90.0
        long, short = 40.0 * cell, max(0.7 * cell, 1.5)
        field += contrast * smooth_noise(around.seed + 1, shape, (short, long) if along else (long, short))
        field += contrast * smooth_noise(around.seed + 2, shape, (4 * short, long) if along else (long, 4 * short))
    else:
        field += (
            contrast
            * np.float32(0.4 if around.ground == "plain" else 0.8)
            * smooth_noise(around.seed + 1, shape, (cell, cell))
        )
    np.maximum(field, np.float32(0.05), out=field)
    return stack([field * np.float32(value) for value in around.ground_rgb])


def _cast_shadow(
    around: Surroundings, matrix: Floats, shape: tuple[int, int], outer: float, scale: float, azimuth: float
) -> Image:
    """Factor of light left on the ground beside the object."""
    small = 8
    rows, columns = -(-shape[0] // small), -(-shape[1] // small)
    angle = np.radians(azimuth)
    disc = circle(-around.shadow_mm * np.sin(angle), around.shadow_mm * np.cos(angle), outer, 120)
    cover = coverage([to_px(matrix, disc) / small], (rows, columns))
    sigma = max(0.5 * around.shadow_mm * scale / small, 0.6)
    return enlarge(1.0 - np.float32(around.shadow) * soften(cover, sigma), shape)


def _rings(around: Surroundings, light: float) -> list[tuple[float, float, Floats]]:
    """Inner and outer radius and (SLICES, 3) colours round the turn of each ring of edge and rim."""
    rng = np.random.default_rng(around.seed + 3)
    angle = (np.arange(SLICES) + 0.5) * (2.0 * np.pi / SLICES)
    rings: list[tuple[float, float, Floats]] = []
    start = around.dial_radius_mm * 0.998  # a little under the enamel, so that no ground shows through the seam
    if around.edge != "none":
        middle = around.dial_radius_mm + 0.5 * around.edge_mm
        for inner, outer, facing in (
            (start, middle, 1.0),
            (middle, around.dial_radius_mm + around.edge_mm, -1.0),
        ):
            tone = 0.6 + 0.35 * facing * np.cos(angle - light) + 0.08 * rng.standard_normal(SLICES)
            rings.append((inner, outer, np.clip(tone, 0.1, 1.5)[:, None] * np.array(METAL[around.edge])))
    if around.rim != "none":
        # facets of a turned ring: each mirrors the room with its own shift, brightest along the light
        bounds = np.linspace(around.rim_inner_mm, around.rim_outer_mm, 7)
        room = sum(
            rng.normal() / order * np.cos(order * (angle - rng.uniform(0.0, 2 * np.pi))) for order in range(1, 7)
        )
        for index in range(6):
            turn = angle - light - (0.0 if index < 3 else np.pi) - 0.25 * rng.normal()
            tone = 0.42 + around.rim_contrast * (
                0.55 * np.exp(8.0 * (np.cos(turn) - 1.0)) + 0.3 * np.exp(20.0 * (np.cos(turn + 2.4) - 1.0))
            )
            tone += 0.16 * around.rim_contrast * np.roll(room, int(rng.integers(-11, 12)))
            tone *= 0.45 if index in (0, 5) else 0.85 + 0.3 * rng.random()
            metal = np.array(METAL[around.rim])
            tone = np.clip(tone, 0.04, 1.6)[:, None]
            rings.append((bounds[index], bounds[index + 1], tone * metal + 0.25 * np.maximum(tone - 0.9, 0.0)))
    return rings
