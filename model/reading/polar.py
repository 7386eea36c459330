"""The rectified map of a dial that zones are looked for on, and polar copies of it."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import Image

Floats = NDArray[np.float64]

MAP_SCALE = 240  # px per dial radius
EXTENT = 1.02  # dial radii from the centre to the border of the map


def unwrap(image: Image, x: float, y: float, reach: float, angles: int, *, first: int = 0) -> Image:
    """Polar copy (angles, radii) of a map about (x, y) dial radii, clockwise from 12, out to `reach` dial radii.

    first : column the copy begins with; those nearer to the middle are left out.
    """
    across, up = _rays(reach, angles, first)
    column = (x + across + EXTENT) * MAP_SCALE - 0.5
    row = (y - up + EXTENT) * MAP_SCALE - 0.5
    return np.asarray(
        cv2.remap(image, column.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR), dtype=np.float32
    )


@lru_cache(maxsize=8)
def _rays(reach: float, angles: int, first: int) -> tuple[Floats, Floats]:
    """Dial radii to the right and up from the middle of a polar copy, (angles, radii) each; not to be written to."""
    turn = (np.arange(angles) + 0.5) * 2 * np.pi / angles
    r = (np.arange(first, max(round(reach * MAP_SCALE), 8)) + 0.5) / MAP_SCALE
    return np.outer(np.sin(turn), r), np.outer(np.cos(turn), r)


@lru_cache(maxsize=1)
def lattice() -> tuple[Floats, Floats, Floats, Floats]:
    """x, y and distance from the centre, dial radii, and turn from 12 (radians) of the map's pixels, (S, S) each.

    Not to be written to.
    """
    axis = (np.arange(round(2 * EXTENT * MAP_SCALE)) + 0.5) / MAP_SCALE - EXTENT
    x, y = np.meshgrid(axis, axis)
    return x, y, np.hypot(x, y), np.arctan2(x, -y)
