"""The measured evidence of one photograph: every measurement, zone by zone, set against painted and printed dials."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.measurements.finding import Finding
from dialtell.evaluate.measurements.gathering import in_photo, measure_strokes, strokes_of
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.spread import Band, Spread, lies_outside, load_spread
from dialtell.evaluate.measurements.strokes import TracedStroke
from dialtell.evaluate.measurements.words import against_craft, side_of, words
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MeasurementRow:
    """One measurement on one zone.

    value : in `unit`; None where too few strokes were fit for it. strokes : it rests on, of the `least` it takes.
    painted, printed : percent of painted and of printed drawn dials, at this resolution, that show less, 0..100; None
    where no spread is known or there is no value. lean : log10 of how much commoner such a value is among painted
    than among printed dials, positive for painted; None likewise. band : the spread itself, in `unit`, None likewise.
    lines : (N, 2) photo px each, the middle lines or outlines of the strokes measured.
    """

    zone: Zone
    name: str
    value: float | None
    unit: str
    strokes: int
    least: int
    painted: float | None
    printed: float | None
    lean: float | None
    band: Band | None
    words: str
    lines: tuple[Floats, ...]

    @property
    def too_few(self) -> bool:
        """Whether there was too little to measure it on."""
        return self.value is None

    @property
    def unlike(self) -> bool:
        """Whether the value lies outside both spreads; its `lean` is weighed all the same, but not put into words."""
        return self.painted is not None and self.printed is not None and lies_outside(self.painted, self.printed)

    @property
    def side(self) -> str:
        """ "hand" or "print" where it is said to lean, "" elsewhere."""
        return "" if self.unlike else side_of(self.lean)

    @property
    def against_craft(self) -> bool:
        """Whether it leans where the craft would not have it lean."""
        if self.painted is None or self.printed is None or self.lean is None or not self.side:
            return False
        return against_craft(self.name, self.painted, self.printed, self.lean)


@dataclass(frozen=True)
class ZoneFacts:
    """What there was to measure in a zone. area : its share of the dial's face, 0 where it was not found.
    hidden : share of it that hands cover or the frame cuts off. strokes : traced in it, in view."""

    area: float
    hidden: float
    strokes: int


@dataclass(frozen=True, eq=False)
class MeasuredEvidence:
    """rows : zone by zone in the examiner's order. zones : what there was to measure in each.
    true_pixels_per_radius : what the photograph resolves, px per dial radius (0 if that cannot be told).
    blur : SD of an edge, dial radii. reference_dials : drawn dials the spreads rest on.
    """

    rows: tuple[MeasurementRow, ...]
    zones: dict[Zone, ZoneFacts]
    true_pixels_per_radius: float
    blur: float
    reference_dials: int

    def of(self, zone: Zone) -> tuple[MeasurementRow, ...]:
        """The rows of one zone."""
        return tuple(row for row in self.rows if row.zone is zone)


def gather_evidence(
    reading: Reading, *, diameter_mm: float | None = None, spread: Spread | None = None
) -> MeasuredEvidence:
    """Measure a reading and set it against the reference dials.

    diameter_mm : of the dial, so that lengths come in mm; None leaves them in dial radii.
    spread : None for the one that comes with dialtell.
    """
    known = load_spread() if spread is None else spread
    sheet, strokes = strokes_of(reading)
    resolved = reading.sharpness.true_pixels_per_radius
    photo_scale = reading.density.shape[1] / sheet.photo.shape[1]
    rows = tuple(
        _row(in_photo(sheet, finding, photo_scale), known, resolved, diameter_mm)
        for finding in measure_strokes(sheet, strokes)
    )
    return MeasuredEvidence(rows, _facts(sheet, strokes), resolved, sheet.blur / sheet.scale, known.dials)


def _row(finding: Finding, spread: Spread, resolved: float, diameter_mm: float | None) -> MeasurementRow:
    place, band = spread.place(finding, resolved), spread.band(finding, resolved)
    value, unit = finding.in_unit(diameter_mm)
    if place is None:
        band = None
    elif band is not None and unit != finding.measure.unit:
        band = replace(band, painted=_in_unit(finding, band.painted, diameter_mm), printed=_in_unit(
            finding, band.printed, diameter_mm
        ))  # fmt: skip
    return MeasurementRow(
        zone=finding.zone,
        name=finding.measure.name,
        value=value,
        unit=unit,
        strokes=finding.strokes,
        least=finding.measure.least,
        painted=None if place is None else place.painted,
        printed=None if place is None else place.printed,
        lean=None if place is None else place.lean,
        band=band,
        words=words(finding, place),
        lines=finding.lines,
    )


def _in_unit(finding: Finding, values: Floats, diameter_mm: float | None) -> Floats:
    return np.array([replace(finding, value=float(v)).in_unit(diameter_mm)[0] for v in values], dtype=np.float64)


def _facts(sheet: StrokeSheet, strokes: Sequence[TracedStroke]) -> dict[Zone, ZoneFacts]:
    face = max(int((sheet.label >= 0).sum()), 1)
    facts = {}
    for index, zone in enumerate(ZONES):
        here = sheet.label == index
        count = int(here.sum())
        hidden = float(sheet.hidden[here].mean()) if count else 0.0
        facts[zone] = ZoneFacts(count / face, hidden, sum(s.zone is zone for s in strokes))
    return facts
