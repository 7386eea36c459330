"""Rings drawn under an unrolled track: lines alone."""

from __future__ import annotations

import numpy as np

from dialtell.evaluate.lineups.strip import apart
from dialtell.evaluate.measurements.rings import Ring


def ring(radius: float, width_px: float) -> Ring:
    turn = np.linspace(0, 6, 50)
    return Ring(radius, turn, turn, turn, np.full(50, width_px), np.ones(50))


def test_what_overlaps_its_neighbours_is_no_ring() -> None:
    lines = [ring(0.88, 4.0), ring(0.92, 5.0)]
    assert apart(lines, 440.0) == lines and apart(lines[:1], 440.0) == lines[:1]
    ticks = [ring(0.88, 13.0), ring(0.895, 13.0), ring(0.91, 13.0)]  # 0.03 radii broad, 0.015 apart
    assert apart(ticks, 440.0) == []
