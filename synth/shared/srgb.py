"""The tone curve of sRGB, IEC 61966-2-1, which pictures are stored with."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def encoded(light: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
    """Code values 0..1 of linear light 0..1, in the precision of the light."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1 / 2.4) - 0.055)


def codes(light: NDArray[np.floating[Any]]) -> NDArray[np.uint8]:
    """8-bit code values of linear light 0..1."""
    return np.asarray(np.round(encoded(light) * 255), dtype=np.uint8)
