"""The measured evidence of one photograph: every measurement, zone by zone, set against painted and printed dials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.measurements.gathering import in_photo, measure_reading
from dialtell.evaluate.measurements.spread import Spread, load_spread
from dialtell.evaluate.measurements.words import words
from dialtell.model.reading import Reading
from dialtell.synth.terms import Zone

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Row:
    """One measurement on one zone.

    value : in `unit`; None where too few strokes were fit for it. strokes : it rests on.
    painted, printed : percent of painted and of printed drawn dials, at this resolution, that show less, 0..100; None
    where no spread is known or there is no value. lean : log10 of how much commoner such a value is among painted
    than among printed dials, positive for painted; None likewise.
    lines : (N, 2) photo px each, the middle lines or outlines of the strokes measured.
    """

    zone: Zone
    name: str
    value: float | None
    unit: str
    strokes: int
    painted: float | None
    printed: float | None
    lean: float | None
    words: str
    lines: tuple[Floats, ...]

    @property
    def too_few(self) -> bool:
        return self.value is None


@dataclass(frozen=True, eq=False)
class Evidence:
    """rows : zone by zone in the examiner's order. true_pixels_per_radius : what the photograph resolves, px per dial
    radius (0 if that cannot be told). reference_dials : drawn dials the spreads rest on."""

    rows: tuple[Row, ...]
    true_pixels_per_radius: float
    reference_dials: int

    def of(self, zone: Zone) -> tuple[Row, ...]:
        """The rows of one zone."""
        return tuple(row for row in self.rows if row.zone is zone)


def gather_evidence(reading: Reading, *, diameter_mm: float | None = None, spread: Spread | None = None) -> Evidence:
    """Measure a reading and set it against the reference dials.

    diameter_mm : of the dial, so that lengths come in mm; None leaves them in dial radii.
    spread : None for the one that comes with dialtell.
    """
    known = load_spread() if spread is None else spread
    sheet, findings = measure_reading(reading)
    resolved = reading.sharpness.true_pixels_per_radius
    photo_scale = reading.density.shape[1] / sheet.photo.shape[1]
    rows = []
    for finding in findings:
        place = known.place(finding, resolved)
        value, unit = finding.in_unit(diameter_mm)
        rows.append(
            Row(
                zone=finding.zone,
                name=finding.measure.name,
                value=value,
                unit=unit,
                strokes=finding.strokes,
                painted=None if place is None else place.painted,
                printed=None if place is None else place.printed,
                lean=None if place is None else place.lean,
                words=words(finding, place, diameter_mm),
                lines=in_photo(sheet, finding, photo_scale).lines,
            )
        )
    return Evidence(tuple(rows), resolved, known.dials)
