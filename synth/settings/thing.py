"""Things that are no dial of a watch or clock, so that not all that is round is taken for one."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import Colour, enlarge, soften, times
from dialtell.synth.settings.marked_things import PAINTERS as MARKED
from dialtell.synth.settings.metal_things import PAINTERS as METAL
from dialtell.synth.settings.plate import Layer, lattice
from dialtell.synth.settings.round_things import PAINTERS as ROUND
from dialtell.synth.settings.sketch import TABLE, Sketch, by_radius, by_turn, drawn_colour, fractal, light, near
from dialtell.synth.shared.errors import ParameterError, require_range

Image = NDArray[np.float32]

PAINTERS = ROUND | METAL | MARKED
WEIGHTS = {name: 4.0 if name in ("bands", "gauge") else 1.0 for name in PAINTERS}


@dataclass(frozen=True)
class ThingSpec:
    """A thing on the plate's square.

    kind : a name of PAINTERS. radius : 0.5..1.5 dial radii, of its outside where it is round, else half its width.
    ground, mark, accent : linear reflectance of its body, of what is on it and of a third part.
    turn_deg : 0..360, as it lies. x, y : -0.3..0.3 dial radii, its middle.
    sheen : 0..1, strength of a turned or polished surface's lights. relief : 0..1, how far its marks stand out.
    mottle : 0..0.6, unevenness. dome : -1..1, bulge of its surface. light_deg : 0..360, whence the light comes.
    shadow : 0..0.8, depth of the shadow that it casts; shadow_reach : 0.01..0.3 dial radii.
    seed : of all else.
    """

    kind: str
    radius: float
    ground: Colour
    mark: Colour
    accent: Colour
    turn_deg: float
    x: float
    y: float
    sheen: float
    relief: float
    mottle: float
    dome: float
    light_deg: float
    shadow: float
    shadow_reach: float
    seed: int

    def __post_init__(self) -> None:
        if self.kind not in PAINTERS:
            raise ParameterError(f"kind is {self.kind!r}; give one of {', '.join(PAINTERS)}")
        for value in (*self.ground, *self.mark, *self.accent):
            require_range("ground, mark and accent", value, 0.0, 1.0)
        require_range("radius", self.radius, 0.5, 1.5, "dial radii")
        for name in ("x", "y"):
            require_range(name, getattr(self, name), -0.3, 0.3, "dial radii")
        for name in ("sheen", "relief"):
            require_range(name, getattr(self, name), 0.0, 1.0)
        require_range("mottle", self.mottle, 0.0, 0.6)
        require_range("dome", self.dome, -1.0, 1.0)
        require_range("shadow", self.shadow, 0.0, 0.8)
        require_range("shadow_reach", self.shadow_reach, 0.01, 0.3, "dial radii")


def sample_thing(*, rng: np.random.Generator) -> ThingSpec:
    """Draw a thing; light bodies with dark marks are as common as all others together."""
    weight = np.array(list(WEIGHTS.values()))
    kind = str(rng.choice(list(WEIGHTS), p=weight / weight.sum()))
    if rng.random() < 0.5:
        ground, mark = drawn_colour(rng, 0.35, 0.95, grey=0.7), drawn_colour(rng, 0.008, 0.1, grey=0.7)
    else:
        ground = drawn_colour(rng, 0.01, 0.9)
        mark = drawn_colour(rng, 0.3, 0.9) if sum(ground) < 0.6 else drawn_colour(rng, 0.01, 0.4)
    metal = kind in METAL
    if metal:
        body = np.array(
            [(0.75, 0.74, 0.72), (0.72, 0.5, 0.2), (0.6, 0.3, 0.17), (0.3, 0.3, 0.31)][int(rng.integers(4))]
        )
        red, green, blue = (float(value) for value in np.clip(body * rng.uniform(0.4, 1.2), 0.01, 1.0))
        ground, mark = (red, green, blue), near(rng, (0.5 * red, 0.5 * green, 0.5 * blue), 0.5)
    return ThingSpec(
        kind=kind,
        radius=float(rng.uniform(0.85, 1.4)),
        ground=ground,
        mark=mark,
        accent=drawn_colour(rng, 0.02, 0.9, grey=0.2),
        turn_deg=float(rng.normal(0.0, 12.0) % 360.0 if rng.random() < 0.6 else rng.uniform(0.0, 360.0)),
        x=float(np.clip(rng.normal(0.0, 0.05), -0.3, 0.3)),
        y=float(np.clip(rng.normal(0.0, 0.05), -0.3, 0.3)),
        sheen=float(rng.beta(2.0, 1.5) if metal else rng.beta(1.0, 3.0) if rng.random() < 0.5 else 0.0),
        relief=float(rng.uniform(0.3, 1.0) if metal else rng.beta(1.0, 3.0)),
        mottle=float(0.6 * rng.beta(1.0, 3.5)),
        dome=float(np.clip(rng.normal(0.0, 0.35), -1.0, 1.0)),
        light_deg=float(rng.uniform(0.0, 360.0)),
        shadow=float(rng.uniform(0.0, 0.8)),
        shadow_reach=float(np.exp(rng.uniform(np.log(0.015), np.log(0.25)))),
        seed=int(rng.integers(2**31)),
    )


def paint_thing(spec: ThingSpec, scale: int) -> Layer:
    """The thing on the plate's square of `scale` px per dial radius, with its shadow as thin dark cover."""
    rng = np.random.default_rng(spec.seed)
    sketch = Sketch(scale, spec.ground, spec.turn_deg, spec.radius, (spec.x, spec.y))
    PAINTERS[spec.kind](sketch, rng, spec.ground, spec.mark, spec.accent)
    drawn = np.asarray(cv2.cvtColor(sketch.codes, cv2.COLOR_RGBA2RGB), np.uint8)
    cover = np.asarray(cv2.extractChannel(sketch.codes, 3), np.float32)
    cover *= np.float32(1.0 / 255.0)
    factor = _shade(spec, drawn, scale, rng)
    if spec.shadow > 0.05:
        shade = _shadow(spec, cover, scale)
        whole = cover + (1.0 - cover) * shade
        # where the thing thins out, what covers is the shadow, which is black
        factor *= cover / np.maximum(whole, np.float32(1e-4))
        cover = np.asarray(whole, np.float32)
    return Layer(times(light(drawn), factor), cover)


def _shade(spec: ThingSpec, drawn: NDArray[np.uint8], scale: int, rng: np.random.Generator) -> Image:
    """Factor of light over the thing: bulge, lights of a polished turn, marks in relief, unevenness."""
    x, y, _, _ = lattice(scale)
    turn = np.radians(spec.light_deg)
    lit = np.float32(np.sin(turn)) * x - np.float32(np.cos(turn)) * y
    factor = 1.0 + np.float32(0.35 * spec.dome / spec.radius) * lit
    if spec.sheen > 0.0:
        angle = np.arange(TABLE, dtype=np.float32) * np.float32(2 * np.pi / TABLE) - np.float32(turn)
        sharp = rng.uniform(2.0, 14.0)
        table = np.exp(sharp * (np.abs(np.cos(angle)) - 1.0)) - 0.45
        table += 0.15 * np.cos(rng.integers(3, 9) * angle + rng.uniform(0, 6))
        grooves = 1.0 + 0.12 * np.float32(spec.sheen) * rng.standard_normal(TABLE, dtype=np.float32)
        factor += np.float32(0.75 * spec.sheen) * by_turn(table, scale) * by_radius(grooves, scale)
    if spec.relief > 0.03:
        grey = np.asarray(cv2.cvtColor(drawn, cv2.COLOR_RGB2GRAY), np.float32)
        soft = soften(grey, 0.012 * scale)
        slope = np.float32(np.sin(turn)) * cv2.Sobel(soft, cv2.CV_32F, 1, 0) - np.float32(np.cos(turn)) * cv2.Sobel(
            soft, cv2.CV_32F, 0, 1
        )
        factor -= np.clip(np.float32(0.006 * spec.relief) * slope, -0.6, 0.8)
    if spec.mottle > 0.02:
        factor *= np.exp(
            np.float32(0.6 * spec.mottle) * fractal(rng, (factor.shape[0], factor.shape[1]), 0.65, coarse=4)
        )
    return np.asarray(np.clip(factor, 0.04, 2.0, out=factor), np.float32)


def _shadow(spec: ThingSpec, cover: Image, scale: int) -> Image:
    """Share of light that the thing takes from what is beneath; the shadow falls away from the light."""
    reach = spec.shadow_reach * scale
    turn = np.radians(spec.light_deg)
    size = (cover.shape[0] // 4, cover.shape[1] // 4)
    small = np.asarray(cv2.resize(cover, size[::-1], interpolation=cv2.INTER_AREA), np.float32)
    matrix = np.array([[1.0, 0.0, -0.25 * reach * np.sin(turn)], [0.0, 1.0, 0.25 * reach * np.cos(turn)]])
    moved = np.asarray(cv2.warpAffine(small, matrix, size[::-1], flags=cv2.INTER_LINEAR), np.float32)
    return enlarge(soften(moved, max(0.2 * reach, 0.5)) * np.float32(spec.shadow), (cover.shape[0], cover.shape[1]))
