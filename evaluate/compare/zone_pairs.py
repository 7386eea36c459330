"""Two dials zone by zone: each zone cut from both photographs, enlarged from the originals, at one scale.

Nothing is laid on anything: a zone is looked for on each dial by itself, so that dials of different design stand beside
each other as well. The scale is in mm where the size of both is known, else both dials are taken to be as large.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.score.score import ScoredPhoto
from dialtell.model.reading.geometry import patch_grid, sample
from dialtell.model.reading.photo import Bytes, Photo, display
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import Zone

SHOWN = (Zone.SIGNATURE, Zone.NUMERALS, Zone.MINUTE_TRACK, Zone.SECONDS_BIT)
HOURS = (12, 4, 8)  # figures, and pieces of track, that are cut out
TRACK_VIEW = 0.3  # dial radii, side of a piece of track
ENLARGED, LARGEST, SMALLEST = 2.0, 620, 160  # px of a cut per px of the finer photograph; px of its longer side
LEAST_SEEN = 0.6  # share of a cut that must be in the frame


@dataclass(frozen=True)
class Cut:
    """A piece of a dial. center : dial radii. right : direction of its columns. size : (width, height) dial radii."""

    center: tuple[float, float]
    right: tuple[float, float]
    size: tuple[float, float]


@dataclass(frozen=True, eq=False)
class ZonePair:
    """A zone of both dials. pictures : of the first and of the second, as many each as were found, all (h, w, 3) and of
    one scale. says : of each, what its photograph says of that zone."""

    zone: str
    pictures: tuple[tuple[Bytes, ...], tuple[Bytes, ...]]
    says: tuple[str, str]


def zone_pairs(first: ScoredPhoto, second: ScoredPhoto) -> list[ZonePair]:
    """Zones that either dial shows, in the examiner's order."""
    both = (first, second)
    mm = _sizes(first, second)
    found = []
    for zone in SHOWN:
        cuts = [_in_frame(one, [] if one.reading is None else cuts_of(one.reading, zone)) for one in both]
        if any(cuts):
            pictures = _pictures(both, cuts, mm)
            found.append(ZonePair(zone.value, pictures, (_says(first, zone), _says(second, zone))))
    return found


def _sizes(first: ScoredPhoto, second: ScoredPhoto) -> tuple[float, float]:
    """How long a dial radius of each is: in mm where both sizes are known, else 1."""
    mm = [one.known.diameter_mm for one in (first, second)]
    if mm[0] is None or mm[1] is None:
        return 1.0, 1.0
    return 0.5 * mm[0], 0.5 * mm[1]


def cuts_of(reading: Reading, zone: Zone, hours: Sequence[int] = HOURS) -> list[Cut]:
    """Where a zone is looked at on a dial; none where it was not found. hours : of figures and pieces of track."""
    if not reading.zones.named or zone not in reading.zones.found:
        return []
    zones = reading.zones
    if zone is Zone.SIGNATURE:
        corners = zones.polygon(zone)
        if len(corners) < 3:
            return []
        low, high = corners.min(axis=0) - 0.02, corners.max(axis=0) + 0.02
        middle, size = 0.5 * (low + high), high - low
        return [Cut((float(middle[0]), float(middle[1])), (1.0, 0.0), (float(size[0]), float(size[1])))]
    if zone is Zone.SECONDS_BIT:
        circle = zones.seconds
        return [] if circle is None else [Cut((circle.x, circle.y), (1.0, 0.0), (2.2 * circle.radius,) * 2)]
    if zone is Zone.NUMERALS:
        inner, outer = zones.numerals
        return [_at_hour(hour, 0.5 * (inner + outer), 1.2 * (outer - inner) + 0.03) for hour in hours]
    band = zones.track or (0.88, 0.96)
    return [_at_hour(hour, 0.5 * (band[0] + band[1]), TRACK_VIEW) for hour in hours]


def _at_hour(hour: int, radius: float, view: float) -> Cut:
    """A square on the circle at an hour, outwards up."""
    turn = 2 * math.pi * hour / 12
    center = (radius * math.sin(turn), -radius * math.cos(turn))
    return Cut(center, (math.cos(turn), math.sin(turn)), (view, view))


def _in_frame(scored: ScoredPhoto, cuts: Sequence[Cut]) -> list[Cut]:
    reading = scored.reading
    return [] if reading is None else [cut for cut in cuts if seen_of(cut, reading) >= LEAST_SEEN]


def seen_of(cut: Cut, reading: Reading) -> float:
    """Share of a cut that lies in the frame."""
    height, width = reading.density.shape
    grid = _grid(reading, cut, (9, max(round(9 * cut.size[0] / cut.size[1]), 2)), 9 / cut.size[1])
    inside = (grid >= 0).all(axis=-1) & (grid[..., 0] < width) & (grid[..., 1] < height)
    return float(inside.mean())


def _pictures(
    both: Sequence[ScoredPhoto], cuts: Sequence[Sequence[Cut]], mm: tuple[float, float]
) -> tuple[tuple[Bytes, ...], tuple[Bytes, ...]]:
    """The cuts of both as large as the larger, at as many px per unit of length as the finer photograph asks for."""
    sizes = [(side[0] * unit, side[1] * unit) for own, unit in zip(cuts, mm, strict=True) for side in
             (cut.size for cut in own)]  # fmt: skip
    width, height = max(size[0] for size in sizes), max(size[1] for size in sizes)
    finest = max(
        one.reading.geometry.pixels_per_radius / unit
        for one, unit, own in zip(both, mm, cuts, strict=True)
        if own and one.reading is not None
    )
    longest = max(width, height)
    scale = float(np.clip(ENLARGED * finest, SMALLEST / longest, LARGEST / longest))
    shape = (max(round(height * scale), 8), max(round(width * scale), 8))
    first, second = (
        tuple(cut_out(one.photo, one.reading, cut, shape, scale * unit) for cut in own if one.reading is not None)
        for one, own, unit in zip(both, cuts, mm, strict=True)
    )
    return first, second


def cut_out(photo: Photo, reading: Reading, cut: Cut, shape: tuple[int, int], scale: float) -> Bytes:
    """(h, w, 3) sRGB of a cut, at `scale` px per dial radius."""
    return display(sample(photo.pixels, _grid(reading, cut, shape, scale)))


def _grid(reading: Reading, cut: Cut, shape: tuple[int, int], scale: float) -> NDArray[np.float64]:
    return np.asarray(patch_grid(reading.geometry, cut.center, cut.right, shape, scale), np.float64)


def _says(scored: ScoredPhoto, zone: Zone) -> str:
    rows: Sequence[Mapping[str, Any]] = scored.record["zones"]
    return next((str(row["reason"]) for row in rows if row["zone"] == zone.value), "Not found.")
