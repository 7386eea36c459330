"""Is a small circle on the dial a sub-dial? One has divisions round it; a winding hole, an arbor or a hand's boss has
none."""

from __future__ import annotations

import numpy as np

from dialtell.model.reading.divisions import share_at_sixty
from dialtell.model.reading.geometry import DialGeometry, Floats, Image, sample_points
from dialtell.model.reading.zones import Circle

# of a ring's variation that repeats sixty times a turn: 41 of 41 seconds bits of dials drawn by hand reach it, their
# centre told to .008 radii (SD), and none of 123 circles elsewhere on them
LEAST_SHARE = 0.08
FEWEST_PX = 4.0  # from one division to the next, below which they are not told apart
_TURN = 1440  # samples round the turn
_RADII = np.arange(0.55, 1.03, 0.02)  # shares of the circle's radius
_SHIFTS = (-0.012, -0.006, 0.0, 0.006, 0.012)  # dial radii: a circle told from its ink is off by as much


def is_divided(density: Image, geometry: DialGeometry, circle: Circle) -> bool:
    """Whether sixty divisions stand round a circle; false too where the photograph is too coarse to show them.

    density : (H, W) D, photo px. geometry : with the rotation found.
    """
    radius_px = circle.radius * geometry.pixels_per_radius
    if 2 * np.pi * radius_px / 60 < FEWEST_PX:
        return False
    turn = np.arange(_TURN) * (2 * np.pi / _TURN)
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=-1)
    share = max(_share(density, geometry, circle, ray, x, y) for x in _SHIFTS for y in _SHIFTS)
    return share >= LEAST_SHARE


def _share(density: Image, geometry: DialGeometry, circle: Circle, ray: Floats, x: float, y: float) -> float:
    """Share at sixty of the ring that shows divisions best, about the circle's centre moved by (x, y) dial radii."""
    points = np.array([circle.x + x, circle.y + y]) + circle.radius * _RADII[:, None, None] * ray
    rings = np.clip(sample_points(density, geometry.to_photo(points)).astype(np.float64), 0.0, 1.0)
    share = share_at_sixty(rings - rings.mean(axis=1, keepdims=True))
    return float(np.convolve(share, np.ones(3) / 3, mode="same").max())
