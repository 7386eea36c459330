"""Everything measured on one reading, before it is set against other dials."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from dialtell.evaluate.measurements import dots, edges, ends, likeness, rings, ticks, tone, width
from dialtell.evaluate.measurements.finding import Finding, Measure, require_measures
from dialtell.evaluate.measurements.sheet import StrokeSheet, lay_flat
from dialtell.evaluate.measurements.strokes import TracedStroke, find_strokes
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import ZONES, Zone

MEASURES: dict[str, Measure] = require_measures(
    [m for module in (tone, width, ends, ticks, rings, likeness, edges, dots) for m in module.MEASURES]
)
TRACKS = (Zone.MINUTE_TRACK, Zone.SECONDS_BIT)
_SEEN = 0.6  # share of a stroke that must be in view


def measure_reading(reading: Reading) -> tuple[StrokeSheet, list[Finding]]:
    """The sheet of a reading and everything measured on it, lines in sheet px."""
    sheet = lay_flat(reading)
    return sheet, measure_sheet(sheet)


@lru_cache(maxsize=1)
def strokes_of(reading: Reading) -> tuple[StrokeSheet, tuple[TracedStroke, ...]]:
    """The sheet of a reading and its strokes in view; the last ones are kept, as a page asks for them twice."""
    sheet = lay_flat(reading)
    return sheet, tuple(strokes_in_view(sheet))


def measure_sheet(sheet: StrokeSheet) -> list[Finding]:
    """All findings, zone by zone in the examiner's order; a zone without a stroke has none."""
    return measure_strokes(sheet, strokes_in_view(sheet))


def strokes_in_view(sheet: StrokeSheet) -> list[TracedStroke]:
    """Strokes of the dial of which enough is in view to be measured."""
    return [s for s in find_strokes(sheet) if s.shown.mean() >= _SEEN]


def measure_strokes(sheet: StrokeSheet, dial: Sequence[TracedStroke]) -> list[Finding]:
    """As measure_sheet, of strokes found already."""
    findings: list[Finding] = []
    for zone in ZONES:
        strokes = [s for s in dial if s.zone is zone]
        if not strokes:
            continue
        findings += tone.tone_findings(zone, strokes, dial)
        findings += width.width_findings(zone, strokes)
        findings += likeness.likeness_findings(sheet, zone, strokes)
        findings += edges.edge_findings(sheet, zone, strokes)
        findings += ends.end_findings(sheet, zone, strokes)
        if zone is Zone.NUMERALS and sheet.zones.named:
            findings += ends.guide_findings(sheet)
            findings.append(rings.guide_line_finding(sheet, zone, (0.0, 0.0), sheet.zones.numerals))
        if zone in TRACKS and sheet.zones.named:
            findings += _track(sheet, zone, strokes)
    return findings


def _track(sheet: StrokeSheet, zone: Zone, strokes: list[TracedStroke]) -> list[Finding]:
    zones = sheet.zones
    if zone is Zone.MINUTE_TRACK:
        centre, band = (0.0, 0.0), zones.track or (max(zones.numerals[1], 0.6), 0.985)
        reach = (band[0] - 0.025, min(band[1] + 0.025, 0.985))
    else:
        if zones.seconds is None:
            return []
        centre = (zones.seconds.x, zones.seconds.y)
        reach = (0.45 * zones.seconds.radius, zones.seconds.radius)
    centre = ticks.meeting_point(sheet, strokes, centre)
    found = ticks.tick_findings(sheet, zone, strokes, centre)
    found += rings.ring_findings(sheet, zone, centre, reach)
    return found + dots.dot_findings(sheet, zone)


def in_photo(sheet: StrokeSheet, finding: Finding, photo_scale: float) -> Finding:
    """The finding with its lines in photo px. photo_scale : photo px per px of the sheet's own copy."""
    return replace(finding, lines=tuple(sheet.to_photo(line) * photo_scale for line in finding.lines))
