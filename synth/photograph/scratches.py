"""A scratched crystal in hard light: hairlines and scuffs that glint where they lie across the light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import soften
from dialtell.synth.photograph.view import ViewSpec, homography, to_px
from dialtell.synth.shared.errors import require_range

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

POINTS = 10  # of a hairline
SHIFT = 4  # bits of a pixel's fraction OpenCV draws with
HAIRS = 24  # of a scuff


@dataclass(frozen=True)
class Scratches:
    """Marks in the crystal; lengths in mm of the dial beneath.

    hairs : 0..400, single scratches; length_mm : 0.2..200, of the longest; width_um : 1..200. scuffs : 0..20, rubbed
    places of HAIRS short scratches each. light : 0..3, light a scratch adds that lies across the light and fills its
    pixels. soft_um : 0..300, blur, as the crystal stands above the plane in focus. glint_x, glint_y : -2..2 dial radii,
    where the lamp is mirrored, about which the scratches that glint lie in rings. seed : of the marks.
    """

    hairs: int
    length_mm: float
    width_um: float
    scuffs: int
    light: float
    soft_um: float
    glint_x: float
    glint_y: float
    seed: int

    def __post_init__(self) -> None:
        require_range("hairs", self.hairs, 0, 400)
        require_range("length_mm", self.length_mm, 0.2, 200.0, "mm")
        require_range("width_um", self.width_um, 1.0, 200.0, "um")
        require_range("scuffs", self.scuffs, 0, 20)
        require_range("light", self.light, 0.0, 3.0)
        require_range("soft_um", self.soft_um, 0.0, 300.0, "um")
        require_range("glint_x", self.glint_x, -2.0, 2.0, "dial radii")
        require_range("glint_y", self.glint_y, -2.0, 2.0, "dial radii")


def sample_scratches(*, rng: np.random.Generator, dial_radius_mm: float) -> Scratches:
    """Draw a crystal's marks, from a few hairlines to a worn one; they grow with the dial by its root."""
    require_range("dial_radius_mm", dial_radius_mm, 2.0, 500.0, "mm")
    size = float(np.sqrt(dial_radius_mm / 22.0))
    x, y = rng.uniform(-0.8, 0.8, size=2)
    return Scratches(
        hairs=int(np.exp(rng.uniform(np.log(8), np.log(200)))),
        length_mm=float(np.exp(rng.uniform(np.log(3.0), np.log(25.0)))) * size,
        width_um=float(np.exp(rng.uniform(np.log(6.0), np.log(40.0)))) * size,
        scuffs=int(rng.integers(0, 7)),
        light=float(np.exp(rng.uniform(np.log(0.1), np.log(1.2)))),
        soft_um=min(float(np.exp(rng.uniform(np.log(4.0), np.log(60.0)))) * size, 300.0),
        glint_x=float(x),
        glint_y=float(y),
        seed=int(rng.integers(2**31)),
    )


def scratch_light(scratches: Scratches, view: ViewSpec, dial_radius_mm: float) -> Image:
    """Light the marks add, (H, W) float32 >= 0."""
    centre, deg, bend, length = _marks(scratches, dial_radius_mm)
    along = np.stack([np.sin(deg), -np.cos(deg)], axis=1)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    step = np.linspace(-0.5, 0.5, POINTS)[None, :, None] * length[:, None, None]
    paths = centre[:, None] + along[:, None] * step + across[:, None] * (bend[:, None, None] * step**2)
    away = np.array([scratches.glint_x, scratches.glint_y]) * dial_radius_mm - centre
    away /= np.maximum(np.hypot(*away.T)[:, None], 1e-6)
    # a groove mirrors the lamp to the eye only where it lies nearly square to the way there
    shine = np.abs((across * away).sum(axis=1)) ** 8
    rng = np.random.default_rng(scratches.seed + 1)
    shine *= rng.uniform(0.3, 1.0, size=len(shine))
    wide = scratches.width_um * 1e-3 * view.px_per_mm
    level = np.round(255.0 * shine * min(wide, 1.0)).astype(int)
    drawn = np.zeros(view.shape, np.uint8)
    places = np.round((to_px(homography(view), paths) - 0.5) * 2**SHIFT)
    inside = (np.abs(places) < 2**28).all(axis=(1, 2)) & (level > 0)
    for place, value in zip(places[inside].astype(np.int32), level[inside].tolist(), strict=True):
        cv2.polylines(drawn, [place], False, value, max(round(wide), 1), cv2.LINE_AA, SHIFT)
    light = drawn.astype(np.float32) * np.float32(scratches.light / 255.0)
    sigma = scratches.soft_um * 1e-3 * view.px_per_mm
    return np.maximum(soften(light, sigma), 0.0) if sigma > 0.3 else light


def _marks(scratches: Scratches, dial_radius_mm: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Middles (N, 2) mm, directions (N,) radians clockwise from 12, bends (N,) 1/mm and lengths (N,) mm."""
    rng = np.random.default_rng(scratches.seed)
    hairs, scuffs = scratches.hairs, scratches.scuffs
    place = dial_radius_mm * _in_disc(rng, hairs + scuffs)
    deg = rng.uniform(0.0, np.pi, size=hairs + scuffs)
    length = scratches.length_mm * rng.beta(1.0, 3.0, size=hairs) + 0.05 * scratches.length_mm
    spot = rng.uniform(0.01, 0.06, size=scuffs) * dial_radius_mm
    rubbed = np.repeat(np.arange(scuffs), HAIRS)
    centre = np.concatenate([place[:hairs], place[hairs:][rubbed] + spot[rubbed, None] * _in_disc(rng, rubbed.size)])
    turns = np.concatenate([deg[:hairs], deg[hairs:][rubbed] + 0.25 * rng.standard_normal(rubbed.size)])
    lengths = np.concatenate([length, spot[rubbed] * rng.uniform(0.2, 1.2, size=rubbed.size)])
    bend = 0.3 * rng.standard_normal(lengths.size) / np.maximum(lengths, 1e-3)
    return centre, turns, bend, lengths


def _in_disc(rng: np.random.Generator, count: int) -> Floats:
    """(count, 2) even over the unit disc."""
    turn, away = rng.uniform(0.0, 2.0 * np.pi, size=count), np.sqrt(rng.uniform(0.0, 1.0, size=count))
    placed: Floats = away[:, None] * np.stack([np.sin(turn), np.cos(turn)], axis=1)
    return placed
