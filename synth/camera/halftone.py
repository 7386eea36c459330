"""A half-tone plate in a book: the picture as dots of one ink whose area carries the tone.

Each pixel is inked where the tone lies below a threshold that repeats with the screen. The threshold is a
cosine hill made uniform over 0..1 by its own distribution, so that the bare area equals the tone wanted. A
pixel is inked in part when the threshold crosses the tone within it.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import require_range

Image = NDArray[np.float32]

PAPER, INK = 0.86, 0.05  # reflectance of book paper and of its solid ink (common practice: density about 1.2)


def screen(
    tone: Image,
    *,
    pitch_px: float,
    angle_deg: float,
    dot_gain: float = 0.0,
    paper: float = PAPER,
    ink: float = INK,
) -> Image:
    """Reflectance of the printed picture.

    tone : (H, W) float32 in 0..1, the share of bare paper wanted.
    pitch_px : 2..40, distance of the dots; angle_deg : 0..90, of the screen.
    dot_gain : 0..0.4, growth of a 50 % dot in inked area as it prints.
    Returns (H, W) float32 in ink..paper; without dot gain an even tone t has mean ink + (paper - ink) t.
    """
    require_range("pitch_px", pitch_px, 2.0, 40.0, "px")
    require_range("angle_deg", angle_deg, 0.0, 90.0, "degrees")
    require_range("dot_gain", dot_gain, 0.0, 0.4)
    require_range("ink", ink, 0.0, 1.0)
    require_range("paper", paper, ink, 1.0)
    wanted = np.clip(tone, 0.0, 1.0)
    if dot_gain > 0.0:
        wanted = wanted - np.float32(4.0 * dot_gain) * wanted * (1.0 - wanted)
        np.maximum(wanted, 0.0, out=wanted)
    # within a pixel the threshold changes by about this much (it runs 0..1..0 over one pitch)
    ramp = np.float32(min(1.0, 2.0 / pitch_px))
    # partly inked pixels near full black and white would shift the mean: push the tone outward to undo that
    low = np.sqrt(2.0 * ramp * np.minimum(wanted, 0.5 * ramp)) - 0.5 * ramp
    high = 1.0 + 0.5 * ramp - np.sqrt(2.0 * ramp * np.minimum(1.0 - wanted, 0.5 * ramp))
    pushed = np.where(wanted < 0.5 * ramp, low, np.where(wanted > 1.0 - 0.5 * ramp, high, wanted))
    pushed -= _threshold((tone.shape[0], tone.shape[1]), pitch_px, angle_deg)
    pushed /= ramp
    pushed += np.float32(0.5)
    bare = np.clip(pushed, 0.0, 1.0, out=pushed)
    bare *= np.float32(paper - ink)
    bare += np.float32(ink)
    result: Image = bare.astype(np.float32, copy=False)
    return result


def _threshold(shape: tuple[int, int], pitch: float, angle_deg: float) -> Image:
    """Threshold of each pixel, uniform over 0..1, highest in the middle of a dot; (H, W) float32."""
    angle = np.radians(angle_deg)
    step = 2.0 * np.pi / pitch
    x = np.arange(shape[1], dtype=np.float32)
    y = np.arange(shape[0], dtype=np.float32)[:, None]
    u = np.float32(step * np.cos(angle)) * x + np.float32(step * np.sin(angle)) * y
    v = np.float32(-step * np.sin(angle)) * x + np.float32(step * np.cos(angle)) * y
    hill = np.cos(u) + np.cos(v)
    index = cv2.convertScaleAbs(hill + np.float32(2.0), alpha=255.0 / 4.0)
    return np.asarray(cv2.LUT(index, _uniform()), dtype=np.float32)


@lru_cache(maxsize=1)
def _uniform() -> Image:
    """Distribution function of cos u + cos v at 256 even levels from -2 to 2, at the middle of each step."""
    phase = (np.arange(1024) + 0.5) * (2.0 * np.pi / 1024)
    hill = np.cos(phase)[:, None] + np.cos(phase)
    share = np.bincount(np.round((hill + 2.0).ravel() * (255.0 / 4.0)).astype(np.int64), minlength=256) / hill.size
    result: Image = (np.cumsum(share) - 0.5 * share).astype(np.float32)
    return result
