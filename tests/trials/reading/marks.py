"""Marks set by eye on photographs: where the dial ends, where 12 stands, the zones, what single points show.

A folder of marks holds marks.csv (photo, seen, cx, cy, a, b, degrees, twelve_deg, fit_px), zones.csv (photo, zone,
shape ring, disc or box, its numbers in dial radii with 12 up) and points.csv (photo, x, y, what). Photo px, the
photograph upright. It lies outside the project, as the photographs do.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import DialGeometry
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import INK_SEEN, SEEN, Seen, Zone

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

RASTER = 240  # px per dial radius that areas are compared at
# what a point is marked as, and what the reader may say there
SHOWN: dict[str, frozenset[Seen]] = {
    "design": frozenset(INK_SEEN.values()),
    "enamel": frozenset({Seen.ENAMEL}),
    "step": frozenset({Seen.STEP}),
    "hole": frozenset({Seen.HOLE}),
    "hand": frozenset({Seen.HAND}),
    "glare": frozenset({Seen.GLARE}),
    "damage": frozenset({Seen.DAMAGE}),
    "overlay": frozenset({Seen.OVERLAY}),
    "not dial": frozenset({Seen.NOT_DIAL}),
}
GROUP = {SEEN.index(seen): name for name, many in SHOWN.items() for seen in many}


@dataclass(frozen=True)
class MarkedZone:
    """A part of a zone. shape : ring (inner, outer), disc (x, y, radius) or box (x0, y0, x1, y1), dial radii."""

    zone: Zone
    shape: str
    numbers: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Marks:
    """What is marked on one photograph.

    outline : with 12 o'clock as its rotation where that is marked; None where no outline can be told. twelve : whether
    it can be told. fit_px : how well the outline could be set. zones : none where zones were not marked. points : (N,
    2) photo px with `shown`, names of SHOWN.
    """

    photo: str
    outline: DialGeometry | None
    twelve: bool
    fit_px: float
    zones: tuple[MarkedZone, ...]
    points: Floats
    shown: tuple[str, ...]


_NUMBERS = {"ring": ("inner", "outer"), "disc": ("x", "y", "radius"), "box": ("x0", "y0", "x1", "y1")}


def read_marks(folder: Path) -> dict[str, Marks]:
    """Marks by name of the photograph's file. ParameterError naming file, row and remedy where a table is faulty."""
    zones: dict[str, list[MarkedZone]] = {}
    for number, row in _rows(folder / "zones.csv"):
        try:
            part = MarkedZone(Zone(row["zone"]), row["shape"], tuple(float(row[c]) for c in _NUMBERS[row["shape"]]))
        except (KeyError, ValueError) as error:
            raise _faulty(folder / "zones.csv", number, error) from None
        zones.setdefault(row["photo"], []).append(part)
    points: dict[str, list[tuple[float, float, str]]] = {}
    for number, row in _rows(folder / "points.csv"):
        try:
            points.setdefault(row["photo"], []).append((float(row["x"]), float(row["y"]), row["what"]))
            SHOWN[row["what"]]
        except (KeyError, ValueError) as error:
            raise _faulty(folder / "points.csv", number, error) from None
    found = {}
    for number, row in _rows(folder / "marks.csv"):
        try:
            outline = _outline(row) if row["seen"] == "yes" else None
            own = points.get(row["photo"], [])
            found[row["photo"]] = Marks(
                row["photo"], outline, bool(row["twelve_deg"]), float(row["fit_px"] or "nan"),
                tuple(zones.get(row["photo"], ())), np.array([p[:2] for p in own], dtype=np.float64).reshape(-1, 2),
                tuple(p[2] for p in own),
            )  # fmt: skip
        except (KeyError, ValueError) as error:
            raise _faulty(folder / "marks.csv", number, error) from None
    return found


def _outline(row: dict[str, str]) -> DialGeometry:
    center, axes = (float(row["cx"]), float(row["cy"])), (float(row["a"]), float(row["b"]))
    flat = DialGeometry(center, axes, math.radians(float(row["degrees"])))
    return flat.turned(flat.rotation_to(float(row["twelve_deg"]))) if row["twelve_deg"] else flat


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise ParameterError(f"{path} cannot be read ({error.strerror}); give the folder of the marks") from None
    return [
        (number, {name: (value or "").strip() for name, value in row.items() if isinstance(value, str)})
        for number, row in enumerate(csv.DictReader(io.StringIO(text, newline="")), 2)
    ]


def _faulty(path: Path, number: int, error: Exception) -> ParameterError:
    return ParameterError(f"{path}, line {number}: {error}; mend this row")


def disc() -> Flags:
    """(S, S) the dial's disc in the raster that areas are compared on, 12 up."""
    return _drawn([_circle(0.0, 0.0, 1.0)])


def marked_area(parts: tuple[MarkedZone, ...], zone: Zone) -> Flags:
    """(S, S) all parts of a zone as marked, on the dial's disc."""
    area = np.zeros_like(disc())
    for part in parts:
        if part.zone is not zone:
            continue
        if part.shape == "ring":
            inner, outer = part.numbers
            area |= _drawn([_circle(0.0, 0.0, outer), _circle(0.0, 0.0, inner)])
        elif part.shape == "disc":
            area |= _drawn([_circle(*part.numbers)])
        else:
            x0, y0, x1, y1 = part.numbers
            area |= _drawn([np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])])
    return area & disc()


def read_area(zone: Zone, polygon: Floats) -> Flags:
    """(S, S) a zone as the reading outlines it, dial radii of the marked dial: a ring, a disc, else the hull."""
    if len(polygon) < 3:
        return np.zeros_like(disc())
    if zone in (Zone.NUMERALS, Zone.MINUTE_TRACK):  # outer circle, then the inner one
        half = len(polygon) // 2
        return _drawn([polygon[:half], polygon[half:]]) & disc()
    hull = cv2.convexHull(polygon.astype(np.float32))[:, 0, :].astype(np.float64)
    return _drawn([hull]) & disc()


def overlap(one: Flags, other: Flags) -> float:
    """Intersection over union of two areas; NaN of two empty ones."""
    joined = int((one | other).sum())
    return int((one & other).sum()) / joined if joined else math.nan


def _circle(x: float, y: float, radius: float) -> Floats:
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    return np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1)


def _drawn(outlines: list[Floats]) -> Flags:
    """(S, S) what lies within an odd number of outlines, dial radii."""
    side = 2 * RASTER + 10
    shapes = [np.rint((outline * RASTER + side / 2 - 0.5) * 16).astype(np.int32) for outline in outlines]
    return np.asarray(cv2.fillPoly(np.zeros((side, side), np.uint8), shapes, (1,), shift=4) > 0)
