"""What a design asks of the dial besides strokes, painted: plaques, centres of metal or cut out, winding holes, a moon.

All of it lies under the strokes and is the same whatever the process; where it is no enamel, no paint can be.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.patch import Patch, circle, cover_patch, direction, ring_slices
from dialtell.synth.photograph.view import local_scale, to_px
from dialtell.synth.shared.groundwork import Groundwork, outline_of

Image = NDArray[np.float32]
Spread = NDArray[np.floating[Any]]
Floats = NDArray[np.float64]

METALS = (
    (0.62, 0.45, 0.17), (0.5, 0.35, 0.13), (0.74, 0.58, 0.28), (0.45, 0.34, 0.17), (0.58, 0.56, 0.52),
)  # fmt: skip  # gilt, brass, pale gilt, old brass, silvered
DARK = (0.03, 0.026, 0.022)
PLAQUE_POINTS = 48
NIGHT, MOON = (0.02, 0.03, 0.12), (0.7, 0.62, 0.42)


def paint_furniture(
    reflectance: Image, holes: Image, ground: Groundwork, radius: float, light_deg: float, matrix: Floats
) -> Image:
    """Paint it all; reflectance (H, W, 3) and holes (H, W) change in place.

    radius : mm of the dial. light_deg : where the light comes from. matrix : mm to px.
    Returns the coverage (H, W) of metal: collars, eyelets, gilt grounds and centres.
    """
    pen = _Pen(reflectance, holes, ground, radius, np.radians(light_deg), matrix)
    if ground.plaques != "none":
        pen.plaques()
    if ground.centre_reach > 0.0:
        pen.centre()
    if ground.moon[2] > 0.0:
        pen.moon()
    for x, y, size in ground.holes:
        pen.winding_hole(x * radius, y * radius, size * radius)
    return pen.gilt


class _Pen:
    """The picture being painted and what every part of it needs."""

    def __init__(
        self, reflectance: Image, holes: Image, ground: Groundwork, radius: float, light: float, matrix: Floats
    ) -> None:
        self.reflectance, self.holes, self.ground = reflectance, holes, ground
        self.radius, self.light, self.matrix = radius, light, matrix
        self.shape = (holes.shape[0], holes.shape[1])
        self.gilt: Image = np.zeros(self.shape, np.float32)
        self.metal = np.array(METALS[min(int(ground.tone * len(METALS)), len(METALS) - 1)])

    def lay(self, patch: Patch | None, colour: Floats | Image, *, metal: bool = False) -> None:
        """Lay a colour, or a picture of the patch's size, over a patch, where no paint can be then."""
        if patch is None:
            return
        box = self.reflectance[patch.rows, patch.columns]
        cover = np.clip(patch.cover, 0.0, 1.0)
        self.reflectance[patch.rows, patch.columns] = box + cover[..., None] * (np.asarray(colour, np.float32) - box)
        held, gilt = self.holes[patch.rows, patch.columns], self.gilt[patch.rows, patch.columns]
        np.maximum(held, cover, out=held)
        gilt += cover * (np.float32(metal) - gilt)

    def cover(self, *outlines: Floats, pad: int = 0) -> Patch | None:
        """Coverage of mm outlines, the second and further taken off the first."""
        weights = np.array([1.0] + [-1.0] * (len(outlines) - 1))
        return cover_patch([to_px(self.matrix, outline) for outline in outlines], self.shape, weights, pad)

    def place(self, patch: Patch) -> tuple[Image, Image]:
        """x, y in mm of a patch's pixels."""
        rows = np.arange(patch.rows.start, patch.rows.stop) + 0.5
        columns = np.arange(patch.columns.start, patch.columns.stop) + 0.5
        x, y = np.meshgrid(columns.astype(np.float32), rows.astype(np.float32))
        inverse = np.linalg.inv(self.matrix).astype(np.float32)
        depth = inverse[2, 0] * x + inverse[2, 1] * y + inverse[2, 2]
        across = (inverse[0, 0] * x + inverse[0, 1] * y + inverse[0, 2]) / depth
        return across, (inverse[1, 0] * x + inverse[1, 1] * y + inverse[1, 2]) / depth

    def sheen(self, x: Image, y: Image, rough: float) -> Image:
        """Brightness of metal under a light from one side, about 1, with grain of its own."""
        fall = 0.9 + 0.3 * (np.sin(self.light) * x - np.cos(self.light) * y) / np.float32(self.radius)
        rng = np.random.default_rng(self.ground.seed)
        coarse = rng.standard_normal((64, 64), dtype=np.float32)
        grain = cv2.remap(
            coarse, (x / self.radius + 1.0) * 32.0, (y / self.radius + 1.0) * 32.0, cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REFLECT,
        )  # fmt: skip
        return np.asarray(fall + rough * grain, np.float32)

    def band(self, x: float, y: float, inner: float, outer: float, tone: float = 1.0) -> None:
        """A ring of metal with a rounded section: lit on one side of its ridge, shaded on the other."""
        ridge = 0.5 * (inner + outer)
        (inside, angle), (outside, _) = (ring_slices(x, y, *ends, 72) for ends in ((inner, ridge), (ridge, outer)))
        facing, both = np.cos(angle - self.light), 0.75 + 0.2 * np.cos(2 * (angle - self.light))
        quads = to_px(self.matrix, np.concatenate([inside, outside]))
        bright = tone * np.concatenate([both - 0.55 * facing, both + 0.55 * facing])
        patch, lit = cover_patch(quads, self.shape), cover_patch(quads, self.shape, bright)
        if patch is not None and lit is not None:
            shade = np.clip(lit.cover / np.maximum(patch.cover, 1e-3), 0.12, 1.6)
            self.lay(patch, shade[..., None] * self.metal, metal=True)

    def plaques(self) -> None:
        """Raised plaques: the ground between them, their shadow on it, and their lit and shaded rims."""
        ground, radius = self.ground, self.radius
        outlines = plaque_outlines(ground) * radius
        if ground.plaque_ground != "enamel":
            inner = (ground.plaque_at - ground.plaque_high - 0.03) * radius
            outer = (ground.plaque_at + ground.plaque_high + 0.03) * radius
            patch = self.cover(circle(0, 0, outer), circle(0, 0, inner), *outlines)
            if patch is not None:
                x, y = self.place(patch)
                self.lay(patch, self._between(x, y), metal=True)
            self.band(0.0, 0.0, outer - 0.006 * radius, outer + 0.006 * radius)
            self.band(0.0, 0.0, inner - 0.006 * radius, inner + 0.006 * radius)
        scale = float(local_scale(self.matrix, np.zeros(2)))
        off = -0.014 * radius * direction(self.light)
        soft = max(0.006 * radius * scale, 0.4)
        pad = int(3 * soft) + 2
        for outline in outlines:
            patch = self.cover(outline, pad=pad + int(0.016 * radius * scale))
            if patch is None:
                continue
            plaque = np.clip(patch.cover, 0.0, 1.0)
            middle = outline.mean(axis=0)
            away = _shifted(plaque, to_px(self.matrix, np.stack([middle, middle + off])))
            near, cast = (np.asarray(cv2.GaussianBlur(part, (0, 0), soft), np.float32) for part in (plaque, away))
            rim, lean = plaque - near, near - cast
            factor = 1.0 - 0.4 * cast * (1.0 - plaque) + np.clip(rim, 0.0, 1.0) * np.clip(1.2 * lean, -0.6, 0.25)
            box = self.reflectance[patch.rows, patch.columns]
            box *= np.asarray(factor, np.float32)[..., None]

    def _between(self, x: Image, y: Image) -> Image:
        """The ground between plaques."""
        if self.ground.plaque_ground == "dark":
            return np.asarray(self.sheen(x, y, 0.05)[..., None] * np.array(DARK), np.float32)
        tone = self.sheen(x, y, 0.06)
        if self.ground.plaque_ground == "gilt":  # chased all over
            away, turn = np.hypot(x, y) / self.radius, np.arctan2(x, -y)
            tone = tone * (1.0 + 0.35 * np.cos(60 * turn) * np.cos(2 * np.pi * away / 0.045))
        return np.asarray(tone[..., None] * self.metal, np.float32)

    def centre(self) -> None:
        """The middle of another make, within its collar, or the collar alone."""
        ground = self.ground
        x, y, reach = 0.0, ground.centre_y * self.radius, ground.centre_reach * self.radius
        patch = self.cover(circle(x, y, reach)) if ground.centre != "enamel" else None
        if patch is not None:
            across, down = self.place(patch)
            if ground.centre == "open":
                self.lay(patch, self._works(across, down, reach))
            else:
                self.lay(patch, self._plate(across, down), metal=True)
        if ground.centre == "open":  # the thickness of the disc, seen and lit on the far side
            far = -0.02 * self.radius * direction(self.light)
            moon = self.cover(circle(x, y, reach), circle(x - far[0], y - far[1], reach))
            self.lay(moon, np.array([0.4, 0.33, 0.27]))
        if ground.collar > 0.0:
            self.band(x, y, reach, reach + ground.collar * self.radius)

    def _plate(self, x: Image, y: Image) -> Image:
        """A centre of chased, engine-turned or brushed metal."""
        away, turn = np.hypot(x, y) / self.radius, np.arctan2(x, -y)
        tone: Spread = self.sheen(x, y, 0.015)
        rng = np.random.default_rng([self.ground.seed, 1])
        if self.ground.centre == "gilt":  # leaves in rows
            petals, rows = int(rng.integers(6, 15)), float(rng.uniform(0.08, 0.16))
            bent = away / rows + 0.35 * np.cos(petals * turn) + 0.12 * np.cos(3 * petals * turn)
            tone = tone * (1.0 - 0.5 * np.clip(1.6 * np.sin(2 * np.pi * bent) - 0.5, 0.0, 1.0))
        elif self.ground.centre == "turned":
            rays, rings = int(rng.integers(24, 60)), float(rng.uniform(0.03, 0.06))
            tone = tone * (1.0 + 0.22 * np.sin(rays * turn + 6.0 * np.sin(2 * np.pi * away / (4 * rings))))
            tone = tone * (1.0 + 0.15 * np.cos(2 * np.pi * away / rings))
        else:  # brushed round: two bright sectors across the light
            tone = tone * (0.75 + 0.4 * np.cos(turn - np.float32(self.light)) ** 2)
        return np.asarray(np.clip(tone, 0.05, 1.6)[..., None] * self.metal, np.float32)

    def _works(self, x: Image, y: Image, reach: float) -> Image:
        """What is seen through an opening: dark depth with wheels and bridges of brass and steel."""
        rng = np.random.default_rng([self.ground.seed, 2])
        colour = np.broadcast_to(np.array(DARK, np.float32), (*x.shape, 3)).copy()
        middle = self.ground.centre_y * self.radius
        for _ in range(int(rng.integers(2, 5))):
            cx, cy = rng.uniform(-0.5, 0.5, 2) * reach
            size = float(rng.uniform(0.3, 0.65)) * reach
            away, turn = np.hypot(x - cx, y - middle - cy) / size, np.arctan2(x - cx, -(y - middle - cy))
            teeth, spokes = int(rng.integers(24, 60)), int(rng.integers(3, 6))
            wheel = (away < 1.0 + 0.04 * np.sign(np.cos(teeth * turn))) & (away > 0.8)
            wheel |= (away < 0.82) & (np.abs(np.sin(0.5 * spokes * (turn - cx))) * away < 0.09)
            wheel |= away < 0.22
            tone = float(rng.uniform(0.35, 0.95)) * (0.8 + 0.35 * np.cos(turn - np.float32(self.light)))
            metal = self.metal if rng.random() < 0.75 else np.array([0.35, 0.35, 0.37])
            colour[wheel] = (tone[..., None] * metal)[wheel]
        return colour

    def moon(self) -> None:
        """A half-round opening with the sky of the moon's disc in it."""
        x, y, size = (value * self.radius for value in self.ground.moon)
        turn = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 60)
        half = np.array([x, y]) + size * direction(turn)
        rng = np.random.default_rng([self.ground.seed, 3])
        sky = self.cover(half)
        self.lay(sky, np.array(NIGHT))
        across = x + float(rng.uniform(-0.45, 0.45)) * size
        disc = circle(across, y - 0.42 * size, 0.34 * size, 60)
        self.lay(self.cover(disc), np.array(MOON))
        edge = np.concatenate([half, half[:1]])
        inner = np.array([x, y]) + (edge - np.array([x, y])) * 0.965 + np.array([0.0, -0.012 * size])
        self.lay(self.cover(edge, inner), np.array([0.25, 0.2, 0.12]))

    def winding_hole(self, x: float, y: float, size: float) -> None:
        """A hole for the key: an eyelet of metal, darkness, and the square of the arbor in it."""
        if self.ground.grommets:
            self.band(x, y, size, 1.38 * size, 0.95)
        dark = circle(x, y, size, 72)
        self.lay(self.cover(dark), np.array([0.025, 0.022, 0.02]))
        far = 0.16 * size * direction(self.light)
        lit = self.cover(dark, circle(x + far[0], y + far[1], size, 72))
        self.lay(lit, 0.4 * self.metal if self.ground.grommets else np.array([0.42, 0.3, 0.22]))
        rng = np.random.default_rng([self.ground.seed, int(abs(x) * 1000) % 997])
        turn = float(rng.uniform(0, 0.5 * np.pi))
        square = np.array([x, y]) + 0.5 * size * direction(np.array([0.0, 0.5, 1.0, 1.5]) * np.pi + turn)
        self.lay(self.cover(square), np.array([0.24, 0.24, 0.25]) * float(rng.uniform(0.5, 1.3)))


def plaque_outlines(ground: Groundwork) -> Floats:
    """The plaques' outlines about the dial's centre, (count, PLAQUE_POINTS, 2) dial radii."""
    unit = outline_of(ground.plaques, PLAQUE_POINTS + 1)[:-1]
    angles = 2 * np.pi * np.arange(ground.plaque_count) / ground.plaque_count
    right = np.stack([np.cos(angles), np.sin(angles)], axis=1)[:, None]
    outward = direction(angles)[:, None]
    across, up = ground.plaque_wide * unit[:, 0], ground.plaque_at + ground.plaque_high * unit[:, 1]
    return np.asarray(across[None, :, None] * right + up[None, :, None] * outward)


def _shifted(cover: Image, pair: Floats) -> Image:
    """Coverage moved by the way from the first to the second of two px points."""
    across, down = pair[1] - pair[0]
    moved = cv2.warpAffine(cover, np.array([[1.0, 0.0, across], [0.0, 1.0, down]]), cover.shape[::-1])
    return np.asarray(moved, np.float32)
