"""Relief and gloss: how a lamp shows that paint stands proud of the enamel, and what the fire left in both.

Height is the coat's own, in micrometres, so that density and relief tell the same story. Black paint scatters almost
nothing, so its relief shows as the lamp's mirror image in its glossy shoulders: one bright line on the side of a single
lamp, a bright outline all round under a ring light, dark outlines on a bright field under coaxial light.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.light import LightSpec
from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.strokes.coat import Ground, fineness, spots
from dialtell.synth.strokes.film import FilmSpec

Image = NDArray[np.float32]

KINDS = ("daylight", "lamp", "ring", "coaxial")
STREAM = 91  # of the rng that draws the lamp
MIRROR = 0.043  # of light a polished glass of index 1.52 returns straight on (Fresnel)
LOWEST, HIGHEST = 32.0, 45.0  # px/mm between which relief fades in
GLOSSY_UM = 3.0  # thickness from which paint has a surface of its own (judgement)
BRIGHTEST = {"daylight": 1.5, "lamp": 30.0, "ring": 30.0, "coaxial": 2.5}  # as far as each kind goes (judgement)
STEEPEST = 0.9  # slope of a fired coat (judgement)


@dataclass(frozen=True)
class Lamp:
    """The light as the surface sees it. Ranges are judgement.

    kind : "daylight" (from a wide sky: hardly any relief), "lamp" (one), "ring" or "coaxial".
    azimuth_deg : 0..360, clockwise from 12 on the dial, where it comes from.
    elevation_deg : 5..90 above the dial, 20..70 drawn; of a ring, of its tubes.
    brightness : 0..30, radiance of its mirror image against a white in its light, 1..12 drawn.
    spread : 0.01..1, slope over which its mirror image fades: its size and the paint's gloss.
    """

    kind: str
    azimuth_deg: float
    elevation_deg: float
    brightness: float
    spread: float

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ParameterError(f"Lamp.kind is {self.kind!r}; give one of {', '.join(KINDS)}")
        require_range("Lamp.azimuth_deg", self.azimuth_deg, 0.0, 360.0, "degrees")
        require_range("Lamp.elevation_deg", self.elevation_deg, 5.0, 90.0, "degrees")
        require_range("Lamp.brightness", self.brightness, 0.0, 30.0)
        require_range("Lamp.spread", self.spread, 0.01, 1.0)


def lamp_of(light: LightSpec, seed: int, index: int) -> Lamp:
    """The lamp behind the light of picture `index` of set `seed`: the same for its twins."""
    rng = np.random.default_rng([seed, index, STREAM])
    return Lamp(
        kind=str(rng.choice(KINDS, p=[0.35, 0.3, 0.25, 0.1])),
        azimuth_deg=light.azimuth_deg,
        elevation_deg=float(rng.uniform(20.0, 70.0)),
        brightness=float(np.exp(rng.uniform(np.log(1.0), np.log(12.0)))),
        spread=float(np.exp(rng.uniform(np.log(0.06), np.log(0.3)))),
    )


def apply_relief(
    reflectance: Image, height: Image, lamp: Lamp, film: FilmSpec, ground: Ground, roll_deg: float
) -> None:
    """Shade the painted enamel by its height; in place.

    reflectance : (H, W, 3). height : (H, W) micrometres of paint. roll_deg : clockwise turn of the dial in the frame.
    """
    seen = fineness(ground.scale, LOWEST, HIGHEST)
    if seen == 0.0:
        return
    _pit(reflectance, height, film, ground)
    level = cv2.GaussianBlur(height, (0, 0), max(film.sink_um / 1000 * ground.scale, 0.5))
    per_um = 0.001 * ground.scale  # px a micrometre
    across = cv2.Sobel(level, cv2.CV_32F, 1, 0, ksize=3, scale=0.125 * per_um)
    down = cv2.Sobel(level, cv2.CV_32F, 0, 1, ksize=3, scale=0.125 * per_um)
    sloped = np.flatnonzero((across * across + down * down > 4e-4) | (height > 0.5))
    x, y = across.reshape(-1)[sloped], down.reshape(-1)[sloped]
    steep = np.hypot(x, y)
    soft = STEEPEST * np.tanh(steep / STEEPEST) / np.maximum(steep, 1e-6)
    x, y, steep = x * soft, y * soft, steep * soft
    angle = np.radians(lamp.azimuth_deg + roll_deg)
    toward = -(x * np.sin(angle) - y * np.cos(angle))  # how far the surface leans to the lamp
    tilt = np.tan(0.5 * np.radians(90.0 - lamp.elevation_deg))  # slope that mirrors the lamp into the lens
    if lamp.kind == "lamp":
        off = np.hypot(toward - tilt, np.sqrt(np.maximum(steep**2 - toward**2, 0.0)))
        shade = toward / np.tan(np.radians(max(lamp.elevation_deg, 15.0)))
    elif lamp.kind == "ring":
        off, shade = steep - tilt, -0.25 * steep
    elif lamp.kind == "coaxial":
        off, shade = steep, -0.5 * steep
    else:
        off, shade = toward - 0.3, 0.25 * toward
    mirrored = MIRROR * min(lamp.brightness, BRIGHTEST[lamp.kind])
    gloss = (
        mirrored * np.exp(-0.5 * (off / lamp.spread) ** 2) * np.clip(height.reshape(-1)[sloped] / GLOSSY_UM, 0.0, 1.0)
    )
    if lamp.kind == "coaxial":  # all that is level mirrors it, enamel and paint alike
        reflectance += np.float32(seen * mirrored)
        gloss = mirrored * (np.exp(-0.5 * (off / lamp.spread) ** 2) - 1.0)
    part = reflectance.reshape(-1, 3)[sloped]
    part *= np.clip(1.0 + seen * 0.35 * shade, 0.5, 1.3)[:, None]
    part += (seen * gloss)[:, None]
    reflectance.reshape(-1, 3)[sloped] = part


def _pit(reflectance: Image, height: Image, film: FilmSpec, ground: Ground) -> None:
    """Pits and burst bubbles of the fire: dark dots in the enamel, light ones in the paint; height falls in them."""
    at, hole = spots(ground, film.pits, film.pit_um, film.seed + 31)
    depth = (ground.fine * hole).astype(np.float32)
    painted = np.clip(height.reshape(-1)[at] / GLOSSY_UM, 0.0, 1.0)
    flat = reflectance.reshape(-1, 3)
    flat[at] *= (1.0 - 0.45 * depth * (1.0 - painted))[:, None]
    flat[at] += (0.12 * depth * painted)[:, None]
    height.reshape(-1)[at] *= 1.0 - 0.8 * depth
