"""Is one photograph cut out of another? Then it shows nothing new, whatever else might be made of it.

A cut keeps the pixels, though perhaps written anew. It is found small, then compared at full size, where the pixels of
any other photograph of the dial fall elsewhere.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]

COARSE = 700  # px of the longer side of the whole in which it is looked for
SMALLEST = 24  # px, shorter side of what is looked for, in that copy
LIKELY, SAME = 0.8, 0.985  # correlation in that copy from which it is looked at closely, and then; of light
FLAT = 0.004  # SD of light, below which a picture is no picture


def cut_from(part: Image, whole: Image) -> bool:
    """Whether `part` (h, w) lies in `whole` (H, W) at its size, both linear light 0..1."""
    if min(part.shape) < SMALLEST or part.shape[0] > whole.shape[0] or part.shape[1] > whole.shape[1]:
        return False
    if float(part.std()) < FLAT:
        return False
    step = max(min(math.ceil(max(whole.shape) / COARSE), min(part.shape) // SMALLEST), 1)
    found, best = _place(_smaller(part, step), _smaller(whole, step))
    if best < LIKELY or step == 1:
        return best > SAME
    top, left = (max(step * at - step, 0) for at in found)
    near = whole[top : top + part.shape[0] + 2 * step, left : left + part.shape[1] + 2 * step]
    if near.shape[0] < part.shape[0] or near.shape[1] < part.shape[1]:
        near = whole[-part.shape[0] - 2 * step :, -part.shape[1] - 2 * step :]
    return _place(part, near)[1] > SAME


def _smaller(image: Image, step: int) -> Image:
    size = (image.shape[1] // step, image.shape[0] // step)
    return np.asarray(
        cv2.resize(image[: size[1] * step, : size[0] * step], size, interpolation=cv2.INTER_AREA), np.float32
    )


def _place(part: Image, whole: Image) -> tuple[tuple[int, int], float]:
    """(row, column) of the likeliest place, and the correlation there."""
    like = cv2.matchTemplate(whole, part, cv2.TM_CCOEFF_NORMED)
    _, best, _, (column, row) = cv2.minMaxLoc(like)
    return (int(row), int(column)), float(best) if math.isfinite(best) else 0.0
