"""A track unrolled: the ring as a straight strip in four quarters, and its lines' width and blackness along it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.lineups.sprites import softened
from dialtell.evaluate.lineups.tracks import Track
from dialtell.evaluate.measurements.rings import Ring, find_rings
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.model.reading.geometry import DialGeometry, sample_at
from dialtell.model.reading.photo import Photo, display
from dialtell.synth.shared.terms import Zone

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]

QUARTERS = 4
LONGEST = 1100  # px of a quarter
ROOM = 0.35  # of the band's depth, shown inside and outside of it
MOST_RINGS = 3
STEP_DEG = 3.0  # over which breadth and blackness are drawn


@dataclass(frozen=True, eq=False)
class Course:
    """One ring along its turn. turn : (N,) radians clockwise from 12. width, black : (N,) breadth and density over
    their own middles, each the middle of some degrees. typical : dial radii broad."""

    turn: Floats
    width: Floats
    black: Floats
    typical: float


@dataclass(frozen=True, eq=False)
class Strip:
    """zone : whose track. quarters : four pictures (h, w, 3), from 12 clockwise, outwards up. courses : of its rings,
    the inner one first."""

    zone: Zone
    quarters: tuple[Bytes, ...]
    courses: tuple[Course, ...]


def unrolled(zone: Zone, track: Track, sheet: StrokeSheet, photo: Photo, geometry: DialGeometry) -> Strip:
    """The strip of a track. geometry : of the dial in the photograph."""
    inner, outer = track.band
    depth = max(outer - inner, 0.012)
    low, high = inner - ROOM * depth, outer + ROOM * depth
    middle = 0.5 * (low + high)
    length = 2 * math.pi * middle / QUARTERS  # dial radii
    columns = int(min(LONGEST, max(length * geometry.pixels_per_radius * 1.5, 300)))
    rows = max(round(columns * (high - low) / length), 12)
    quarters, times = [], columns / (length * geometry.pixels_per_radius)
    for quarter in range(QUARTERS):
        turn = (quarter + (np.arange(columns) + 0.5) / columns) * 2 * math.pi / QUARTERS
        radius = high - (np.arange(rows) + 0.5) / rows * (high - low)
        ray = np.stack([np.sin(turn), -np.cos(turn)], axis=-1)
        points = geometry.to_photo(np.asarray(track.centre) + radius[:, None, None] * ray)
        found = sample_at(photo.pixels, points[..., 0], points[..., 1])
        quarters.append(display(softened(found, times) if times > 1.0 else found))
    rings = apart(find_rings(sheet, track.centre, (low, high)), sheet.scale)
    return Strip(zone, tuple(quarters), tuple(_course(ring, sheet.scale) for ring in rings[:MOST_RINGS]))


def apart(rings: Sequence[Ring], scale: float) -> list[Ring]:
    """Those narrower than it is to the next one: what overlaps is shading or a row of broad marks and no line.

    scale : px of the sheet per dial radius.
    """
    kept = []
    for at, ring in enumerate(rings):
        near = [abs(other.radius - ring.radius) for k, other in enumerate(rings) if k != at]
        if float(np.median(ring.width)) / scale < min(near, default=math.inf):
            kept.append(ring)
    return kept


def _course(ring: Ring, scale: float) -> Course:
    step = math.radians(STEP_DEG)
    cell = (ring.turn / step).astype(int)
    cells = np.unique(cell)
    middle = np.array([(np.median(ring.width[cell == k]), np.median(ring.density[cell == k])) for k in cells])
    typical = np.maximum(np.median(middle, axis=0), 1e-6)
    width, black = (middle / typical).T
    return Course((cells + 0.5) * step, width, black, float(typical[0]) / scale)
