"""Drawn pairs of dials read, laid on each other and measured; rows of numbers in a file that can be gone on with.

One line of JSON for each index and resolution, written as soon as its pairs are measured: a run that was stopped goes
on where it was, on this machine or another.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from trials.plates.dial_pairs import DialPair, Kinship, Middles, sample_pair, shared_strokes, stroke_middles
from trials.plates.dial_pairs import true_spread as true_spread_of

from dialtell.evaluate.compare.plate_test import Laid, laid_of
from dialtell.evaluate.compare.registration import DialSheet, Registration, common_scale, register, sheet_of
from dialtell.model.reading.steps import Reading, read_at
from dialtell.synth.making import Coat, make
from dialtell.synth.photograph.body import BodySpec, Surface, paint_body
from dialtell.synth.photograph.view import ViewSpec, homography, to_px
from dialtell.synth.scene import RENDERER_VERSION, DialSpec, Range, photograph
from dialtell.synth.shared.errors import OutputError
from dialtell.train.bags.bags import known_geometry, photo_of

RADIUS_MM = 22.0  # of the dial that the resolution is stated for (an 18 size is 22.4)
SCHEMA = "dialtell.pair_rows/1"


def scope_at(px_per_mm: float) -> Range:
    """Whole dials of about `px_per_mm` on a dial of RADIUS_MM, by cameras of every kind."""
    middle = px_per_mm * RADIUS_MM
    return Range(
        pixels_per_radius=(0.9 * middle, 1.1 * middle), max_side=round(2.4 * middle), tilt=25.0, wear=(0.0, 0.5)
    )


@dataclass(frozen=True)
class PairRow:
    """One pair measured.

    px_per_mm : asked for. laid : None where too little could be compared. true_spread_mm : what the strokes themselves
    leave after a smooth bend; nan for different designs. place_error_mm : median distance between where the
    registration puts the middles of A's strokes on B and where they lie; nan but for pairs of one plate. engraver :
    scatter of the plate, 0 cut by machine .. 1 as a good hand.
    """

    seed: int
    index: int
    px_per_mm: float
    kinship: str
    radius_mm: float
    engraver: float
    laid: Laid | None
    true_spread_mm: float
    place_error_mm: float

    @property
    def spread_mm(self) -> float:
        """What registration left, per axis, mm."""
        return math.nan if self.laid is None else self.laid.spread * self.radius_mm


class Bench:
    """Dials of one index and resolution, drawn and read once each, sharing what they have in common."""

    def __init__(self) -> None:
        self._readings: dict[DialSpec, Reading] = {}
        self._sheets: dict[tuple[DialSpec, float], DialSheet] = {}
        self._surfaces: dict[tuple[BodySpec, ViewSpec], Surface] = {}
        self._coats: dict[DialSpec, list[Coat]] = {}
        self._middles: dict[DialSpec, Middles] = {}

    def reading(self, spec: DialSpec) -> Reading:
        """The dial drawn and read at its outline, off as a finder's would be."""
        if spec not in self._readings:
            rng = np.random.default_rng([spec.seed, spec.index, 79])
            self._readings[spec] = read_at(photo_of(self.picture(spec)), known_geometry(spec, rng=rng))
        return self._readings[spec]

    def picture(self, spec: DialSpec) -> NDArray[np.uint8]:
        """The photograph, (H, W, 3) sRGB; the bare object and the paint are made once for all that share them."""
        key = (spec.body, spec.view)
        if key not in self._surfaces:
            self._surfaces[key] = paint_body(spec.body, spec.view)
        bare = self._surfaces[key]
        own = bare._replace(reflectance=bare.reflectance.copy())  # it is drawn over
        return photograph(spec, self.coats(spec), own)

    def coats(self, spec: DialSpec) -> list[Coat]:
        """The dial's paint, mm."""
        if spec not in self._coats:
            self._coats[spec] = make(spec.design, spec.making)
        return self._coats[spec]

    def middles(self, spec: DialSpec) -> Middles:
        """Where the dial's strokes lie, mm."""
        if spec not in self._middles:
            self._middles[spec] = stroke_middles(spec, self.coats(spec))
        return self._middles[spec]

    def sheets(self, pair: DialPair) -> tuple[DialSheet, DialSheet]:
        """Both dials face on at the scale both resolve."""
        scale = common_scale(self.reading(pair.first), self.reading(pair.second))
        for spec in (pair.first, pair.second):
            if (spec, scale) not in self._sheets:
                self._sheets[spec, scale] = sheet_of(self.reading(spec), scale)
        return self._sheets[pair.first, scale], self._sheets[pair.second, scale]

    def places(self, pair: DialPair) -> tuple[Any, Any]:
        """(N, 2) photo px on the first and on the second photograph of the strokes' middles that both dials have."""
        a, b = shared_strokes(pair, self.middles)
        return to_px(homography(pair.first.view), a), to_px(homography(pair.second.view), b)

    def place_error(self, pair: DialPair, found: Registration) -> float:
        """See PairRow.place_error_mm."""
        a, b = self.places(pair)
        ours = self.reading(pair.second).geometry
        placed = ours.to_photo(found.place(self.reading(pair.first).geometry.to_dial(a)))
        return float(np.median(np.hypot(*(placed - b).T))) / pair.second.view.px_per_mm


def pair_rows(seed: int, index: int, px_per_mm: float) -> list[PairRow]:
    """One pair of each kinship measured; pairs share dials and objects where they can."""
    bench, rows = Bench(), []
    for kinship in Kinship:
        pair = sample_pair(seed, index, kinship, scope_at(px_per_mm))
        found = register(*bench.sheets(pair))
        alike, plate = kinship is not Kinship.DIFFERENT, kinship is Kinship.ONE_PLATE
        rows.append(
            PairRow(
                seed, index, px_per_mm, str(kinship), pair.first.design.radius_mm, pair.first.making.plate.scatter,
                None if found is None else laid_of(found),
                true_spread_of(pair, bench.middles) if alike else math.nan,
                bench.place_error(pair, found) if plate and found is not None else math.nan,
            )
        )  # fmt: skip
    return rows


def line_of(rows: list[PairRow]) -> str:
    """One line of the file, with its end."""
    first = rows[0]
    head = {"schema": SCHEMA, "renderer": RENDERER_VERSION, "seed": first.seed, "index": first.index,
            "px_per_mm": first.px_per_mm}  # fmt: skip
    return json.dumps({**head, "pairs": [_plain(row) for row in rows]}, allow_nan=False) + "\n"


def _plain(row: PairRow) -> dict[str, Any]:
    record = {name: value for name, value in asdict(row).items() if name not in ("seed", "index", "px_per_mm")}
    for part in (record, record["laid"] or {}):
        for name, value in part.items():
            if isinstance(value, float):
                part[name] = None if math.isnan(value) else round(value, 9)
    return record


def rows_from(line: str) -> list[PairRow]:
    """Rows of one line; OutputError when it was made otherwise."""
    try:
        record = json.loads(line)
        if record["schema"] != SCHEMA or record["renderer"] != RENDERER_VERSION:
            raise OutputError(
                f"rows are of {record['schema']} by renderer {record['renderer']}, this program makes {SCHEMA} by "
                f"renderer {RENDERER_VERSION}; give another --rows"
            )
        head = {name: record[name] for name in ("seed", "index", "px_per_mm")}
        return [_row({**head, **pair}) for pair in record["pairs"]]
    except (ValueError, KeyError, TypeError) as error:
        raise OutputError(f"a line of the rows is damaged ({error}); give another --rows") from error


def _row(record: dict[str, Any]) -> PairRow:
    laid = record.pop("laid")
    numbers = {
        name: math.nan if record[name] is None else record[name] for name in ("true_spread_mm", "place_error_mm")
    }
    if laid is not None:
        laid = Laid(**{**laid, "spread": math.nan if laid["spread"] is None else laid["spread"]})
    return PairRow(**{**record, **numbers}, laid=laid)


def read_rows(path: Path) -> list[PairRow]:
    """All rows of a file; a last line that was cut off is taken off the file. No file: no rows."""
    if not path.exists():
        return []
    data = path.read_bytes()
    whole = data[: data.rfind(b"\n") + 1]
    if whole != data:
        with path.open("r+b") as file:
            file.truncate(len(whole))
    return [row for line in whole.decode().splitlines() for row in rows_from(line)]


def append_rows(path: Path, groups: Iterable[list[PairRow]]) -> Iterator[list[PairRow]]:
    """Write each group as it comes; yields them on. OutputError when the file cannot be written."""
    for rows in groups:
        try:
            with path.open("a", encoding="utf-8") as file:
                file.write(line_of(rows))
        except OSError as error:
            raise OutputError(f"{path} cannot be written ({error.strerror}); run again to go on") from error
        yield rows
