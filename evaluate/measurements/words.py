"""A measurement in words, made from its numbers."""

from __future__ import annotations

import math

from dialtell.evaluate.measurements.finding import DEGREES, DENSITY, MM, RADII, Finding
from dialtell.evaluate.measurements.glossary import GLOSSARY, PERCENT, TIMES
from dialtell.evaluate.measurements.spread import SpreadPlace
from dialtell.evaluate.words.support import LEAST_SUPPORT, ratio_words

_FIGURES = {MM: 3, DEGREES: 2, DENSITY: 2}
_UNITS = {DEGREES: "°"}
FEW_SHOW = 15.0  # percent of drawn dials of either kind, so few of which show a value as far out
UNLIKE = "Unlike both painted and printed drawn dials"
_LEANS = {"hand": "Leans to the hand", "print": "Leans to print"}


def value_words(name: str, value: float, unit: str, *, short: bool = False) -> str:
    """Such as "0.034 mm", "1.2°", "62 %", "× 1.35"; minus is the typographic one. short : without a unit in letters."""
    shown = GLOSSARY[name].shown
    if shown == PERCENT:
        text = f"{100 * value:.0f} %" if abs(value) >= 0.0995 else f"{100 * value:.1f} %"
    elif shown == TIMES:
        text = f"× {math.exp(value):.2f}"
    elif unit == RADII:
        text = f"{100 * value:.{2 + (abs(value) < 1e-3)}f} %{'' if short else ' of the radius'}"
    else:
        figures = _FIGURES.get(unit, 2)
        finer = (unit == MM and abs(value) < 0.01) or (unit == DENSITY and abs(value) < 0.0995)
        text = f"{value:.{figures + finer}f}"
        if unit in _UNITS:
            text += _UNITS[unit]
        elif unit in _FIGURES and not short:
            text += f" {unit}"
    return text.replace("-", "−")


def counted_words(name: str, count: int) -> str:
    """Such as "12 strokes", "1 ring"."""
    one, many = GLOSSARY[name].counted
    return f"{count} {one if count == 1 else many}"


def side_of(lean: float | None) -> str:
    """ "hand", "print" or "" where a lean tells nothing."""
    if lean is None or abs(lean) < LEAST_SUPPORT:
        return ""
    return "hand" if lean > 0 else "print"


def words(finding: Finding, place: SpreadPlace | None) -> str:
    """What a measurement says of how the dial was made, or why there is none, in a sentence or two."""
    if finding.value is None:
        return missing_words(finding)
    if place is None:
        return "Nothing to set it beside: too few drawn dials gave this value at this resolution."
    if place.outside:
        return unlike_words(place)
    side = side_of(place.lean)
    if not side:
        return silent_words(place)
    high = place.painted + place.printed > 100
    shows = finding.measure.more if high else finding.measure.less
    first, second = ("painted", "printed") if place.lean > 0 else ("printed", "painted")
    times = (
        f"{ratio_words(abs(place.lean))} times as common on drawn dials that are {first} as on those that are {second}"
    )
    text = f"{lead_words(side)}: {shows}. Such a value is {times}."
    if against_craft(finding.measure.name, place.painted, place.printed, place.lean):
        text += " The craft leads one to expect the reverse, so give it little weight."
    return text


def against_craft(name: str, painted: float, printed: float, lean: float) -> bool:
    """Whether a value leans where the craft would not have it lean. painted, printed : percent of either that show
    less, 0..100."""
    expected = GLOSSARY[name].hand * (1 if painted + printed > 100 else -1)
    return bool(expected) and (expected > 0) != (lean > 0)


def unlike_words(place: SpreadPlace) -> str:
    """Of a value outside both spreads, which leans to neither side."""
    where = "lies beyond nearly all of either kind" if place.painted == place.printed else "lies between the two kinds"
    return f"{UNLIKE}: it {where}, so see first whether it was taken from strokes."


def silent_words(place: SpreadPlace) -> str:
    """Of a value that leans to neither side, and that few drawn dials show it where it lies beyond most of both."""
    said = "Tells nothing here: not even twice as common on one kind of drawn dials as on the other."
    low, high = sorted((place.painted, place.printed))
    more = "as much" if low > 100 - FEW_SHOW else "as little" if high < FEW_SHOW else ""
    return f"{said} Few of either kind show {more}." if more else said


def lead_words(side: str) -> str:
    """Such as "Leans to the hand"; "" for no side."""
    return _LEANS.get(side, "")


def missing_words(finding: Finding) -> str:
    """Why a measurement has no value."""
    term, least = GLOSSARY[finding.measure.name], finding.measure.least
    if finding.strokes < least:
        found = f"only {finding.strokes}" if finding.strokes else "none"
        return f"it takes {counted_words(finding.measure.name, least)}, and {found} could be used: {term.needs}"
    count = counted_words(finding.measure.name, finding.strokes)
    return f"{count} {'was' if finding.strokes == 1 else 'were'} looked at; it takes {term.needs}"
