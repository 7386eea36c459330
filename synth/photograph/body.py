"""The object without its design and hands: enamel, sinks, holes, edge, case rim and background.

Sampling draws a BodySpec; painting it is a pure function of spec and view.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.furniture import paint_furniture
from dialtell.synth.photograph.patch import Patch, blob, circle, cover_each, cover_patch, direction, ring_slices
from dialtell.synth.photograph.surroundings import Surroundings, paint_surroundings, sample_surroundings
from dialtell.synth.photograph.texture import Colour, colour_of, dial_noise, enlarge, mix, stack
from dialtell.synth.photograph.view import ViewSpec, homography, mm_grid, to_px
from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.shared.groundwork import PLAIN, Groundwork
from dialtell.synth.strokes.raster import coverage

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

SUNK = ("flat", "single", "double")
HOLE_KINDS = ("open", "arbor", "keyhole", "through")
SLICES = 240  # of a sink's edge round the turn
LEAST_CENTRE = 0.3  # dial radii, smallest sunk centre
STEP_STREAM = 7  # of the rng of the steps
GRID_STEP = 4  # px; shading that varies slowly is worked out on every fourth pixel


@dataclass(frozen=True)
class BodySpec:
    """The object; lengths in mm in the dial frame, reflectances linear 0..1.

    dial_radius_mm : 2..500, radius of the enamel disc.
    sunk : "flat", "single" (seconds bit lower) or "double" (the centre too).
    seconds_x_mm, seconds_y_mm, seconds_radius_mm : the sunk disc; radius 0 if there is none.
    centre_radius_mm : radius of the sunk centre of a double-sunk dial, else 0.
    enamel_rgb : linear reflectance of the enamel.
    seconds_tone, centre_tone : 0.85..1.1, the sunk discs against the rest.
    wave_share : 0..0.1, unevenness of the enamel's brightness (standard deviation).
    wave_mm : 0.5..50, size of its bumps.
    pits : 0..200 dark pinholes of 0.03 to 0.1 mm.
    sink_wall_mm : 0.02..1, width of a sink's edge as seen from above.
    sink_shade : 0..1, darkness of its shaded side.
    sink_line : 0..1, darkness of the fine line at the foot of the wall.
    rounding : 0..0.5, fall of brightness where the enamel turns down at the edge.
    light_azimuth_deg : 0..360, clockwise from 12 on the dial, where the light comes from.
    holes : of (x, y, radius, kind), kind an index into HOLE_KINDS.
    around : everything outside the enamel disc.
    seed : of textures and pits.
    ground : what the design asks of the dial: plaques, centres, winding holes (furniture.py).
    sink_lit : 0..1, brightness of the side of a sink's edge that faces the light.

    Ranges are those of watch dials; what is accepted is wider (`__post_init__`), as clock dials are three times as
    large.
    """

    dial_radius_mm: float
    sunk: str
    seconds_x_mm: float
    seconds_y_mm: float
    seconds_radius_mm: float
    centre_radius_mm: float
    enamel_rgb: Colour
    seconds_tone: float
    centre_tone: float
    wave_share: float
    wave_mm: float
    pits: int
    sink_wall_mm: float
    sink_shade: float
    sink_line: float
    rounding: float
    light_azimuth_deg: float
    holes: tuple[tuple[float, float, float, int], ...]
    around: Surroundings
    seed: int
    ground: Groundwork = PLAIN
    sink_lit: float = 0.12

    def __post_init__(self) -> None:
        require_range("dial_radius_mm", self.dial_radius_mm, 2.0, 500.0, "mm")
        if self.sunk not in SUNK:
            raise ParameterError(f"sunk is {self.sunk!r}; give one of {', '.join(SUNK)}")
        require_range("seconds_radius_mm", self.seconds_radius_mm, 0.0, 0.6 * self.dial_radius_mm, "mm")
        require_range("centre_radius_mm", self.centre_radius_mm, 0.0, 0.95 * self.dial_radius_mm, "mm")
        for value in self.enamel_rgb:
            require_range("enamel_rgb", value, 0.0, 1.0)
        require_range("seconds_tone", self.seconds_tone, 0.85, 1.1)
        require_range("centre_tone", self.centre_tone, 0.85, 1.1)
        require_range("wave_share", self.wave_share, 0.0, 0.1)
        require_range("wave_mm", self.wave_mm, 0.5, 400.0, "mm")
        require_range("pits", self.pits, 0, 200)
        require_range("sink_wall_mm", self.sink_wall_mm, 0.02, 8.0, "mm")
        require_range("sink_shade", self.sink_shade, 0.0, 1.0)
        require_range("sink_line", self.sink_line, 0.0, 1.0)
        require_range("sink_lit", self.sink_lit, 0.0, 1.0)
        require_range("rounding", self.rounding, 0.0, 0.5)
        require_range("light_azimuth_deg", self.light_azimuth_deg, 0.0, 360.0, "degrees")
        for x, y, radius, kind in self.holes:
            require_range("holes: distance from the centre", float(np.hypot(x, y)), 0.0, self.dial_radius_mm, "mm")
            require_range("holes: radius", radius, 0.01, 0.3 * self.dial_radius_mm, "mm")
            require_range("holes: kind", kind, 0, len(HOLE_KINDS) - 1)


class Surface(NamedTuple):
    """What has been painted so far.

    reflectance : (H, W, 3) float32 linear, 0..about 1.5 (polished metal shows lights, not a reflectance).
    dial_mask : (H, W) float32, coverage of the enamel disc, holes included.
    holes : (H, W) float32, coverage of holes, arbors, keyholes of all that is no enamel: no paint can be there.
    metal : (H, W) float32, coverage of gilt and brass parts of the dial; None where it has none.
    """

    reflectance: Image
    dial_mask: Image
    holes: Image
    metal: Image | None = None


def sample_body(
    *,
    rng: np.random.Generator,
    dial_radius_mm: float = 22.0,
    seconds_centre_mm: tuple[float, float] | None = None,
    seconds_radius_mm: float = 0.0,
    arbors_mm: tuple[tuple[float, float], ...] | None = None,
    light_azimuth_deg: float | None = None,
    ground: Groundwork = PLAIN,
    clear_mm: float | None = None,
) -> BodySpec:
    """Draw the object.

    seconds_centre_mm, seconds_radius_mm : centre and outer radius of the seconds track, if there is one.
    arbors_mm : where hands sit; by default the centre and the seconds centre.
    light_azimuth_deg : where the light comes from, to agree with hands and light; drawn if None.
    ground : what the design asks of the dial; its sunk centre counts before a drawn one.
    clear_mm : radius a sunk centre keeps within, so that its step cuts no figures, and a winding hole too,
        and steps vary more; None for steps and holes as renderer 4 drew them.
    """
    has_seconds = seconds_centre_mm is not None and seconds_radius_mm > 0.0
    sunk = str(rng.choice(SUNK, p=[0.45, 0.4, 0.15] if has_seconds else [0.9, 0.0, 0.1]))
    seconds = seconds_centre_mm if seconds_centre_mm is not None and has_seconds else (0.0, 0.0)
    white = rng.uniform(0.68, 0.86)
    kind = rng.random()
    if kind < 0.46:  # white
        tint = np.array([1.0, rng.uniform(0.975, 1.0), rng.uniform(0.93, 0.99)])
    elif kind < 0.76:  # cream, the deepest yellowed by age
        yellow = rng.uniform(0.10, 0.36)
        tint = np.array([1.0, 1.0 - rng.uniform(0.3, 0.5) * yellow, 1.0 - yellow])
    else:  # cold or grey white
        tint = np.array([rng.uniform(0.93, 0.98), rng.uniform(0.97, 1.0), 1.0]) * rng.uniform(0.88, 1.0)
    spots = arbors_mm if arbors_mm is not None else ((0.0, 0.0), *((seconds,) if has_seconds else ()))
    around = sample_surroundings(rng=rng, dial_radius_mm=dial_radius_mm)
    bare = around.rim == "none" and rng.random() < 0.6  # a dial off its movement: the ground shows in the hole
    hole = HOLE_KINDS.index("through" if bare else "open" if rng.random() < 0.3 else "arbor")
    holes: list[tuple[float, float, float, int]] = []
    for index, (x, y) in enumerate(spots):
        size = dial_radius_mm * (rng.uniform(0.025, 0.05) if index == 0 else rng.uniform(0.012, 0.022))
        holes.append((float(x), float(y), float(size), hole))
    if rng.random() < 0.15:  # key-wound through the dial
        angle, reach = rng.uniform(0.0, 2.0 * np.pi), dial_radius_mm * rng.uniform(0.4, 0.52)
        x, y = float(reach * np.sin(angle)), float(-reach * np.cos(angle))
        if not has_seconds or np.hypot(x - seconds[0], y - seconds[1]) > 1.15 * seconds_radius_mm + 2.0:
            holes.append((x, y, float(dial_radius_mm * rng.uniform(0.045, 0.07)), 2))
    sunk = "double" if ground.step > 0.0 else "flat" if ground.centre_reach > 0.0 and not has_seconds else sunk
    if clear_mm is not None:
        if ground.step == 0.0 and sunk == "double" and clear_mm < LEAST_CENTRE * dial_radius_mm:
            sunk = "single" if has_seconds else "flat"
        # a key's hole lies clear of the figures and below the signature
        fits = [
            ground == PLAIN and np.hypot(x, y) + 1.3 * r < clear_mm and y > -0.15 * dial_radius_mm
            for x, y, r, _ in holes
        ]
        # the design's own winding holes are furniture
        holes = [hole for hole, fit in zip(holes, fits, strict=True) if fit or hole[3] != HOLE_KINDS.index("keyhole")]
    holes += [(x * dial_radius_mm, y * dial_radius_mm, r * dial_radius_mm, hole) for x, y, r in ground.arbors]
    body = BodySpec(
        dial_radius_mm=dial_radius_mm,
        sunk=sunk,
        seconds_x_mm=float(seconds[0]),
        seconds_y_mm=float(seconds[1]),
        seconds_radius_mm=float(seconds_radius_mm * rng.uniform(1.03, 1.12)) if sunk != "flat" and has_seconds else 0.0,
        centre_radius_mm=float(dial_radius_mm * rng.uniform(0.5, 0.58)) if sunk == "double" else 0.0,
        enamel_rgb=colour_of(np.clip(white * tint, 0.0, 1.0)),
        seconds_tone=float(np.clip(rng.normal(0.99, 0.015), 0.93, 1.04)),
        centre_tone=float(np.clip(rng.normal(0.995, 0.01), 0.95, 1.03)),
        wave_share=float(0.02 * rng.beta(1.5, 3.0)),
        wave_mm=float(np.exp(rng.uniform(np.log(1.0), np.log(12.0)))),
        pits=int(rng.poisson(rng.choice([0.0, 3.0, 15.0], p=[0.4, 0.4, 0.2]))),
        sink_wall_mm=float(rng.uniform(0.08, 0.25)),
        sink_shade=float(rng.uniform(0.15, 0.75)),
        sink_line=float(rng.uniform(0.05, 0.6)),
        rounding=float(rng.uniform(0.0, 0.25)),
        light_azimuth_deg=float(rng.uniform(0.0, 360.0)) if light_azimuth_deg is None else light_azimuth_deg % 360.0,
        holes=tuple(holes),
        around=around,
        seed=int(rng.integers(2**31)),
    )
    if clear_mm is None:
        return replace(body, ground=ground, centre_radius_mm=ground.step * dial_radius_mm or body.centre_radius_mm)
    steps = np.random.default_rng([body.seed, STEP_STREAM])  # apart, so that all else stays as drawn without
    return replace(
        body,
        ground=ground,
        centre_radius_mm=ground.step * dial_radius_mm or min(body.centre_radius_mm, clear_mm),
        sink_lit=float(0.5 * steps.beta(1.2, 2.5)),
        sink_wall_mm=body.sink_wall_mm * float(np.exp(steps.uniform(-0.2, 0.9))),
    )


def paint_body(body: BodySpec, view: ViewSpec) -> Surface:
    """The object in the frame of `view`; ParameterError if the two differ on the dial radius."""
    if abs(body.dial_radius_mm - view.dial_radius_mm) > 1e-9:
        raise ParameterError(
            f"dial_radius_mm is {body.dial_radius_mm} in body, {view.dial_radius_mm} in view; give one value"
        )
    shape, matrix = view.shape, homography(view)
    tone = enlarge(_slow_shading(body, view), shape)
    _draw_sinks(tone, body, matrix)
    _draw_pits(tone, body, matrix)
    enamel = stack([tone * np.float32(value) for value in body.enamel_rgb])
    rim = to_px(matrix, circle(0.0, 0.0, body.dial_radius_mm, 480))
    if _holds_frame(matrix, body.dial_radius_mm, shape):
        mask: Image = np.ones(shape, dtype=np.float32)
        reflectance = enamel
    else:
        mask = np.clip(coverage([rim], shape), 0.0, 1.0)
        around = paint_surroundings(body.around, view, body.light_azimuth_deg)
        reflectance = mix(around, enamel, mask)
    holes = np.zeros(shape, dtype=np.float32)
    metal = None
    if body.ground != PLAIN:
        metal = paint_furniture(reflectance, holes, body.ground, body.dial_radius_mm, body.light_azimuth_deg, matrix)
    for x, y, radius, kind in body.holes:
        _draw_hole(reflectance, holes, body, matrix, (x, y, radius), HOLE_KINDS[kind])
    return Surface(reflectance, mask, holes, metal)


def _slow_shading(body: BodySpec, view: ViewSpec) -> Image:
    """Brightness of the enamel without its fine parts, on the coarse grid; about 1."""
    x, y = mm_grid(view, GRID_STEP)
    waves = dial_noise(
        body.seed, homography(view), view.shape, (body.wave_mm, body.wave_mm), body.dial_radius_mm, step=GRID_STEP
    )
    field = 1.0 + np.float32(body.wave_share) * waves
    light = np.radians(body.light_azimuth_deg)
    toward = (np.float32(np.sin(light)) * x - np.float32(np.cos(light)) * y) / np.float32(body.dial_radius_mm)
    radius = np.sqrt(x * x + y * y) / np.float32(body.dial_radius_mm)
    edge = np.clip((radius - np.float32(0.955)) / np.float32(0.045), 0.0, 1.0)
    field *= 1.0 - np.float32(body.rounding) * edge * edge * (0.5 - 0.5 * toward)
    for cx, cy, sink, tone in _sinks(body):
        dx, dy = x - np.float32(cx), y - np.float32(cy)
        distance = np.sqrt(dx * dx + dy * dy)
        across = (np.float32(np.sin(light)) * dx - np.float32(np.cos(light)) * dy) / np.maximum(distance, 1e-3)
        inside = np.clip((np.float32(sink) - distance) / np.float32(body.sink_wall_mm), 0.0, 1.0)
        # the wall's soft shadow lies inside the sink, on the side the light comes from
        near = np.exp(np.minimum(distance - np.float32(sink), 0.0) / np.float32(2.5 * body.sink_wall_mm))
        field *= 1.0 - inside * (1.0 - np.float32(tone))
        field *= 1.0 - np.float32(0.35 * body.sink_shade) * inside * near * np.maximum(across, 0.0)
    return field


def _sinks(body: BodySpec) -> list[tuple[float, float, float, float]]:
    """x, y, radius and tone of the sunk discs, the larger first."""
    sinks = []
    if body.centre_radius_mm > 0.0:
        sinks.append((0.0, 0.0, body.centre_radius_mm, body.centre_tone))
    if body.seconds_radius_mm > 0.0:
        sinks.append((body.seconds_x_mm, body.seconds_y_mm, body.seconds_radius_mm, body.seconds_tone))
    return sinks


def _draw_sinks(tone: Image, body: BodySpec, matrix: Floats) -> None:
    """Walls of the sinks, dark on the side of the light, and the line at their foot; in place."""
    for cx, cy, radius, _ in _sinks(body):
        wall, foot = body.sink_wall_mm, 0.3 * body.sink_wall_mm
        quads, angle = ring_slices(cx, cy, radius, radius + wall, SLICES)
        facing = np.cos(angle - np.radians(body.light_azimuth_deg))
        dark = np.where(facing > 0.0, body.sink_shade * facing, body.sink_lit * facing) + 0.12 * body.sink_shade
        line, _ = ring_slices(cx, cy, radius - foot, radius, SLICES)
        weights = np.concatenate([dark, np.full(len(line), body.sink_line)])
        quads = np.concatenate([quads, line])
        if (cx, cy) == (
            0.0,
            0.0,
        ) and body.seconds_radius_mm > 0.0:  # the seconds bit cuts through the centre's edge
            middle = quads.mean(axis=1)
            away = np.hypot(middle[:, 0] - body.seconds_x_mm, middle[:, 1] - body.seconds_y_mm)
            weights = np.where(away < body.seconds_radius_mm, 0.0, weights)
        _darken(tone, cover_patch(to_px(matrix, quads), (tone.shape[0], tone.shape[1]), weights))


def _draw_pits(tone: Image, body: BodySpec, matrix: Floats) -> None:
    """Pinholes of the enamel; in place."""
    if body.pits == 0:
        return
    rng = np.random.default_rng(body.seed + 1)
    spots = body.dial_radius_mm * np.sqrt(rng.random((body.pits, 1))) * direction(rng.uniform(0.0, 7.0, body.pits))
    outlines = np.stack([blob(rng, x, y, rng.uniform(0.015, 0.05)) for x, y in spots])
    depths = rng.uniform(0.2, 0.9, body.pits)
    patches = cover_each(to_px(matrix, outlines), (tone.shape[0], tone.shape[1]))
    for patch, depth in zip(patches, depths, strict=True):
        if patch is not None:
            tone[patch.rows, patch.columns] *= 1.0 - np.float32(depth) * patch.cover


def _draw_hole(
    reflectance: Image,
    holes: Image,
    body: BodySpec,
    matrix: Floats,
    place: tuple[float, float, float],
    kind: str,
) -> None:
    """One hole, arbor or keyhole; in place."""
    shape = (holes.shape[0], holes.shape[1])
    x, y, radius = place
    light = np.radians(body.light_azimuth_deg)
    brass = 0.55 * np.array([0.85, 0.65, 0.32])
    # a dark gap, lit on the far wall; an arbor fills most of it, a keyhole has a brass eyelet and a square
    rings: list[tuple[float, Floats]] = [(1.0, np.array([0.06, 0.055, 0.05]))]
    if kind == "through":
        rings = [(1.0, np.array([0.04, 0.035, 0.03])), (0.9, 0.75 * np.array(body.around.ground_rgb))]
    elif kind == "arbor":
        rings += [(0.72, 0.5 * brass), (0.6, 0.35 + 0.4 * brass), (0.22, 0.6 * brass)]
    elif kind == "keyhole":
        rings = [(1.0, 0.8 * brass), (0.88, 1.1 * brass), (0.76, np.array([0.03, 0.03, 0.03]))]
    outlines = np.stack([circle(x, y, share * radius, 72) for share, _ in rings])
    for patch, (share, colour) in zip(cover_each(to_px(matrix, outlines), shape), rings, strict=True):
        if patch is None:
            continue
        box = reflectance[patch.rows, patch.columns]
        reflectance[patch.rows, patch.columns] = mix(box, colour_of(np.clip(colour, 0.0, 1.0)), patch.cover)
        if share == 1.0:
            held = holes[patch.rows, patch.columns]
            np.maximum(held, patch.cover, out=held)
    if kind == "open":
        wall = 0.14 * radius
        far = np.array([-np.sin(light), np.cos(light)]) * wall
        moon = [circle(x, y, radius, 72), circle(x - far[0], y - far[1], radius, 72)]
        patch = cover_patch([to_px(matrix, ring) for ring in moon], shape, np.array([1.0, -1.0]))
        if patch is not None:
            box = reflectance[patch.rows, patch.columns]
            lit = (0.32, 0.22, 0.15)  # copper seen in the thickness of the disc
            reflectance[patch.rows, patch.columns] = mix(box, lit, np.clip(patch.cover, 0.0, 1.0))
    elif kind == "keyhole":
        square = circle(x, y, 0.34 * radius, 4)
        patch = cover_patch([to_px(matrix, square)], shape)
        if patch is not None:
            box = reflectance[patch.rows, patch.columns]
            reflectance[patch.rows, patch.columns] = mix(box, (0.22, 0.21, 0.2), patch.cover)


def _darken(tone: Image, patch: Patch | None) -> None:
    """Multiply one minus a patch's cover into a field; in place."""
    if patch is not None:
        tone[patch.rows, patch.columns] *= 1.0 - patch.cover


def _holds_frame(matrix: Floats, radius: float, shape: tuple[int, int]) -> bool:
    """True if the whole frame lies on the disc (its picture is convex, so the corners tell)."""
    height, width = shape
    corners = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    placed = to_px(np.linalg.inv(matrix).astype(np.float64), corners)
    return bool(np.all(np.hypot(placed[:, 0], placed[:, 1]) < radius))
