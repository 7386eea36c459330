"""A microscope or loupe before the camera: a bright round field, dark corners, black round it, glare of its lamps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import enlarge, shrink, stack
from dialtell.synth.shared.errors import require_range

Image = NDArray[np.float32]

STEP = 4  # px; glare is worked out this coarse


@dataclass(frozen=True)
class Eyepiece:
    """What the frame sees through; lengths in units of its shorter side, all the same for any capture.

    x, y : -0.6..0.6, the field's middle from the frame's. radius : 0.3..3; a field larger than the frame leaves only
    dark corners. edge : 0.002..0.2, width of its border, shares of the radius. dim : 0..0.95, share of light lost at
    the border. surround : 0..0.1, light outside the field over that within. tint : -0.04..0.04, by how much the red
    field is larger than the green, and the blue smaller.
    lamps : 0..24 spots of a ring light mirrored in the enamel; lamp : 0..4, light added in their middles; lamp_size :
    0.005..0.1; ring : 0.02..0.6, radius they lie on; ring_x, ring_y : -0.5..0.5, its middle.
    coaxial : 0..0.4, even light mirrored by the enamel and not by ink that lies rough on it.
    """

    x: float
    y: float
    radius: float
    edge: float
    dim: float
    surround: float
    tint: float
    lamps: int
    lamp: float
    lamp_size: float
    ring: float
    ring_x: float
    ring_y: float
    coaxial: float

    def __post_init__(self) -> None:
        for name, low, high in (
            ("x", -0.6, 0.6), ("y", -0.6, 0.6), ("radius", 0.3, 3.0), ("edge", 0.002, 0.2), ("dim", 0.0, 0.95),
            ("surround", 0.0, 0.1), ("tint", -0.04, 0.04), ("lamps", 0, 24), ("lamp", 0.0, 4.0),
            ("lamp_size", 0.005, 0.1), ("ring", 0.02, 0.6), ("ring_x", -0.5, 0.5), ("ring_y", -0.5, 0.5),
            ("coaxial", 0.0, 0.4),
        ):  # fmt: skip
            require_range(name, getattr(self, name), low, high)


def sample_eyepiece(*, rng: np.random.Generator) -> Eyepiece:
    """Draw a phone at an eyepiece (its round field in the frame), a camera on a microscope or one with a ring light."""
    held = rng.random() < 0.4
    away = 0.12 if held else 0.05
    ring_light = rng.random() < 0.4
    x, y = np.clip(rng.normal(0.0, away, size=2), -0.35, 0.35)
    ring_x, ring_y = rng.uniform(-0.3, 0.3, size=2)
    return Eyepiece(
        x=float(x),
        y=float(y),
        radius=float(rng.uniform(0.46, 0.72) if held else rng.uniform(0.7, 1.6)),
        edge=float(np.exp(rng.uniform(np.log(0.004), np.log(0.06)))),
        dim=float(rng.uniform(0.05, 0.6)),
        surround=float(0.03 * rng.beta(1.0, 3.0)),
        tint=float(np.clip(rng.normal(0.0, 0.006), -0.02, 0.02)),
        lamps=int(rng.choice([4, 8, 12, 16, 24])) if ring_light else 0,
        lamp=float(np.exp(rng.uniform(np.log(0.2), np.log(2.5)))) if ring_light else 0.0,
        lamp_size=float(np.exp(rng.uniform(np.log(0.008), np.log(0.04)))),
        ring=float(rng.uniform(0.05, 0.35)),
        ring_x=float(ring_x),
        ring_y=float(ring_y),
        coaxial=float(rng.uniform(0.05, 0.3)) if not ring_light and rng.random() < 0.35 else 0.0,
    )


def look_through(eyepiece: Eyepiece, radiance: Image) -> Image:
    """What the camera sees through the eyepiece; (H, W, 3) float32 linear light, >= 0 where the radiance is."""
    shape = (radiance.shape[0], radiance.shape[1])
    short = float(min(shape))
    x = (np.arange(shape[1], dtype=np.float32) + np.float32(0.5 - 0.5 * shape[1])) / np.float32(short)
    y = ((np.arange(shape[0], dtype=np.float32) + np.float32(0.5 - 0.5 * shape[0])) / np.float32(short))[:, None]
    away = np.hypot(x - np.float32(eyepiece.x), y - np.float32(eyepiece.y)) / np.float32(eyepiece.radius)
    light = radiance
    if eyepiece.lamp > 0.0 or eyepiece.coaxial > 0.0:
        added = enlarge(_glare(eyepiece, x[STEP // 2 :: STEP], y[STEP // 2 :: STEP]), shape)
        light = radiance + stack((added, added, added))
    falling = 1.0 - np.float32(eyepiece.dim) * np.minimum(away, 1.0) ** 3
    field = []
    for size in (1.0 + eyepiece.tint, 1.0, 1.0 - eyepiece.tint):
        inside = np.clip((np.float32(size) - away) / np.float32(eyepiece.edge) + np.float32(0.5), 0.0, 1.0)
        # a border as lenses draw it: steep in its middle
        field.append(np.asarray(falling * inside * inside * (3.0 - 2.0 * inside), dtype=np.float32))
    seen = stack(field) * light
    if eyepiece.surround > 0.0:
        level = float(shrink(radiance, (8, 8)).mean())
        outside = np.float32(eyepiece.surround * level) * (1.0 - field[1])
        seen += stack((outside, outside, outside))
    return seen


def _glare(eyepiece: Eyepiece, x: Image, y: Image) -> Image:
    """Light the lamps add, on the coarse grid of columns x and rows y."""
    total = np.full((y.shape[0], x.shape[0]), np.float32(eyepiece.coaxial))
    for turn in np.arange(eyepiece.lamps) * (2.0 * np.pi / max(eyepiece.lamps, 1)):
        across = x - np.float32(eyepiece.ring_x + eyepiece.ring * np.sin(turn))
        down = y - np.float32(eyepiece.ring_y - eyepiece.ring * np.cos(turn))
        reach = (across**2 + down**2) / np.float32(eyepiece.lamp_size**2)
        # a disc with a soft border and a faint skirt, as a lamp mirrored in glaze
        total += np.float32(eyepiece.lamp) * (0.9 * np.exp(-(reach**2)) + 0.1 * np.exp(-0.2 * reach))
    return np.asarray(total, dtype=np.float32)
