"""The rectified map of a dial that zones are looked for on, and polar copies of it."""

from __future__ import annotations

import cv2
import numpy as np

from dialtell.model.geometry import Image

MAP_SCALE = 240  # px per dial radius
EXTENT = 1.02  # dial radii from the centre to the border of the map


def unwrap(image: Image, x: float, y: float, reach: float, angles: int) -> Image:
    """Polar copy (angles, radii) of a map about (x, y) dial radii, clockwise from 12, out to `reach` dial radii."""
    radii = max(round(reach * MAP_SCALE), 8)
    turn = (np.arange(angles) + 0.5) * 2 * np.pi / angles
    r = (np.arange(radii) + 0.5) / MAP_SCALE
    column = (x + np.outer(np.sin(turn), r) + EXTENT) * MAP_SCALE - 0.5
    row = (y - np.outer(np.cos(turn), r) + EXTENT) * MAP_SCALE - 0.5
    return np.asarray(
        cv2.remap(image, column.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR), dtype=np.float32
    )
