"""A measurement in words, made from its numbers."""

from __future__ import annotations

import math

from dialtell.evaluate.measurements.finding import DEGREES, DENSITY, MM, RADII, Finding
from dialtell.evaluate.measurements.spread import Place
from dialtell.evaluate.support import ratio_words

_SAYS_SOMETHING = math.log10(2.0)
_FIGURES = {MM: 3, RADII: 5, DEGREES: 2, DENSITY: 3}


def value_words(value: float, unit: str) -> str:
    """Such as "0.034 mm", "0.62" (a ratio), "1.2 degrees"."""
    text = f"{value:.{_FIGURES.get(unit, 2)}f}"
    return text if unit not in _FIGURES else f"{text} {unit}"


def words(finding: Finding, place: Place | None, diameter_mm: float | None) -> str:
    """What was measured on how many strokes, how it compares, and what that says."""
    measure, count = finding.measure, finding.strokes
    if finding.value is None:
        return f"{_heading(measure.name)}: too few strokes, {count} of the {measure.least} it takes."
    value, unit = finding.in_unit(diameter_mm)
    assert value is not None
    start = f"{_heading(measure.name)} {value_words(value, unit)}, on {count} {'stroke' if count == 1 else 'strokes'}"
    if place is None:
        return f"{start}; no spread known at this resolution."
    painted, printed = (round(100 - below) for below in (place.painted, place.printed))
    compared = f"{painted} in 100 painted and {printed} in 100 printed dials drawn at this resolution show more"
    return f"{start}; {compared}: {lean_words(finding, place)}."


def lean_words(finding: Finding, place: Place) -> str:
    """Which way the measurement points and how far, named by what the dial shows."""
    if abs(place.lean) < _SAYS_SOMETHING:
        return "says little either way"
    shows = finding.measure.more if place.painted + place.printed > 100 else finding.measure.less
    first, second = ("painted", "printed") if place.lean > 0 else ("printed", "painted")
    return f"{shows}, {ratio_words(abs(place.lean))} times as common on {first} as on {second} dials"


def _heading(text: str) -> str:
    return text[:1].upper() + text[1:]
