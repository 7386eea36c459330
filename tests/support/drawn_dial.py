"""A simple drawn dial for the tests of the reading side: supersampled numpy and OpenCV, no renderer.

Each pixel of the photograph is mapped back to the dial frame (dial radii) at k x k subsamples and looked up in an
ideal face of analytic rings and ticks, so that edges fall exactly where the geometry says.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.photo import Photo
from dialtell.synth.shared.srgb import codes

FIGURES = ("XII", "I", "II", "III", "IIII", "V", "VI", "VII", "VIII", "IX", "X", "XI")


@dataclass(frozen=True)
class Scene:
    """What is drawn; lengths in dial radii, light linear 0..1."""

    shape: tuple[int, int]
    dial: DialGeometry
    enamel: float = 0.8
    ink: float = 0.03
    ground: float = 0.15  # mean light of what lies around the dial
    texture: float = 0.0  # relative depth of the ground's texture
    line: float = 0.0  # width of a dark line round the enamel
    gap: float = 0.0  # width of the dark gap between enamel and a bright rim
    rim: float = 0.0  # width of that rim
    shading: float = 0.0  # relative slope of the light across the dial
    hands: bool = False
    figures: bool = True
    ticks: bool = True
    rings: bool = True
    seconds: bool = True
    blur: float = 0.0  # px
    noise: float = 0.0  # SD of light
    supersample: int = 3


def scene(across: float, *, tilt: float = 0.0, angle: float = 0.0, rotation: float = 0.0, **kind: object) -> Scene:
    """A scene of a dial `across` px wide (its major axis), tilt and angles in degrees, by default centred."""
    a = across / 2
    margin = float(kind.pop("margin", 0.25))  # type: ignore[arg-type]
    side = round(across * (1 + 2 * margin))
    center = kind.pop("center", (side / 2 + 0.3, side / 2 - 0.2))
    shape = kind.pop("shape", (side, side))
    dial = DialGeometry(
        center,  # type: ignore[arg-type]
        (a, a * float(np.cos(np.radians(tilt)))),
        float(np.radians(angle)),
        float(np.radians(rotation)),
    )
    return Scene(shape, dial, **kind)  # type: ignore[arg-type]


def draw(scene: Scene, rng: np.random.Generator) -> np.ndarray:
    """(H, W) float32 linear light."""
    k, (height, width) = scene.supersample, scene.shape
    out = np.empty((height, width), np.float32)
    texture = _texture(scene, rng)
    for top in range(0, height, 128):
        rows = min(128, height - top)
        y, x = np.mgrid[0 : rows * k, 0 : width * k]
        points = scene.dial.to_dial(np.stack([(x + 0.5) / k, top + (y + 0.5) / k], axis=-1))
        light = _light(scene, points[..., 0].astype(np.float32), points[..., 1].astype(np.float32))
        light = light.reshape(rows, k, width, k).mean(axis=(1, 3))
        out[top : top + rows] = light
    outside = _outside(scene)
    out += outside * texture
    if scene.shading:
        rows_, columns_ = np.mgrid[0:height, 0:width].astype(np.float32)
        out *= 1 + scene.shading * ((columns_ / width - 0.5) + 0.6 * (rows_ / height - 0.5))
    if scene.blur:
        out = cv2.GaussianBlur(out, (0, 0), scene.blur)
    if scene.noise:
        out += rng.normal(0, scene.noise, out.shape).astype(np.float32)
    return np.clip(out, 0, 1)


def photographed(light: np.ndarray) -> Photo:
    """Linear light (H, W[, 3]) as a photograph that was read, 8 bit."""
    code = codes(np.clip(light, 0.0, 1.0).astype(np.float32))
    return Photo(Path("drawn"), code, (code.shape[1], code.shape[0]))


def _light(s: Scene, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    r = np.hypot(x, y)
    ink = np.zeros(r.shape, bool)
    turn = np.arctan2(x, -y)
    if s.rings:
        ink |= (np.abs(r - 0.93) < 0.003) | (np.abs(r - 0.885) < 0.003)
    if s.ticks:
        step = np.pi / 30
        off = (turn + step / 2) % step - step / 2
        five = (turn + step / 2) % (5 * step) < step
        ink |= (np.abs(off) * r < np.where(five, 0.012, 0.004)) & (r > 0.885) & (r < 0.93)
    if s.figures:
        hour = np.round(turn / (np.pi / 6)).astype(int) % 12
        across = (turn + np.pi / 12) % (np.pi / 6) * r - np.pi / 12 * r
        up = (r - 0.71) / 0.11  # -1 at the foot of a figure, 1 at its head
        for number, figure in enumerate(FIGURES):
            width = [0.04 if sign == "I" else 0.09 for sign in figure]
            for k, sign in enumerate(figure):
                x0 = across - (sum(width[:k]) + 0.5 * width[k] - 0.5 * sum(width))
                half = 0.03 * up if sign == "X" else 0.015 * (1 + up)
                lines = np.abs(x0) if sign == "I" else np.minimum(np.abs(x0 - half), np.abs(x0 + half))
                ink |= (hour == number) & (lines < 0.009) & (np.abs(up) < 1)
    if s.seconds:
        rs = np.hypot(x, y - 0.5)
        ink = np.where(rs < 0.24, False, ink) | (np.abs(rs - 0.22) < 0.004)
        st = np.arctan2(x, -(y - 0.5))
        step = np.pi / 30
        off = (st + step / 2) % step - step / 2
        ink |= (np.abs(off) * rs < 0.002) & (rs > 0.19) & (rs < 0.22)
    ink |= r < 0.03
    light = np.where(ink, s.ink, s.enamel).astype(np.float32)
    if s.hands:
        for towards, reach, half in ((0.9, 0.55, 0.03), (2.2, 0.85, 0.02)):
            along = x * np.sin(towards) - y * np.cos(towards)
            aside = np.abs(x * np.cos(towards) + y * np.sin(towards))
            light[(along > -0.1) & (along < reach) & (aside < half)] = 0.08
    ground = np.float32(s.ground)
    edge = 1.0
    outside = np.full(r.shape, ground, np.float32)
    if s.rim:
        inner, outer = 1 + s.gap, 1 + s.gap + s.rim
        shine = 0.45 + 0.4 * np.cos(3 * turn + 1.0) * np.cos(turn * 2)
        outside = np.where(r < outer, shine, outside)
        outside = np.where(r < inner, 0.04, outside)
    if s.line:
        outside = np.where(r < 1 + s.line, 0.03, outside)
    return np.where(r < edge, light, outside).astype(np.float32)


def _outside(s: Scene) -> np.ndarray:
    rows, columns = np.mgrid[0 : s.shape[0], 0 : s.shape[1]]
    points = s.dial.to_dial(np.stack([columns + 0.5, rows + 0.5], axis=-1))
    limit = 1 + s.line + s.gap + s.rim
    return (np.hypot(points[..., 0], points[..., 1]) > limit + 0.005).astype(np.float32)


def _texture(s: Scene, rng: np.random.Generator) -> np.ndarray:
    if not s.texture:
        return np.zeros(s.shape, np.float32)
    out = np.zeros(s.shape, np.float32)
    for cells in (6, 20, 60):
        coarse = rng.normal(0, 1, (cells, cells)).astype(np.float32)
        out += cv2.resize(coarse, s.shape[::-1], interpolation=cv2.INTER_CUBIC)
    return out * (s.ground * s.texture / 1.7)


def cut(scene: Scene, side: float) -> Scene:
    """The same scene with the frame cut off on the right, `side` dial radii from the centre."""
    (x, _), a = scene.dial.center_px, scene.dial.axes_px[0]
    return replace(scene, shape=(scene.shape[0], int(x + side * a)))


def outline_error(found: DialGeometry, truth: DialGeometry) -> float:
    """Largest distance of the found outline from the true one, in dial radii."""
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    back = truth.to_dial(found.to_photo(circle))
    return float(np.max(np.abs(np.hypot(back[:, 0], back[:, 1]) - 1)))
