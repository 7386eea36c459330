"""Hints of period and style from what is seen on a dial: outer ring, figures, lettering, seconds bit.

The outer ring of the minute track went out of use, and script and decorated signatures came in, over the same years in
which printing replaced painting (common practice of the trade). So these hints say something of the date and nothing of
the process: neither the net nor the odds nor the date check is given them. What could not be told reliably on drawn
dials is not told, see style_rates.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from dialtell.model.reading.steps import Reading
from dialtell.model.reading.sub_dial import is_divided

NOT_TOLD, PRESENT, ABSENT = "not told", "present", "absent"
ROMAN, ARABIC, SLANTING = "Roman", "Arabic", "slanting"
OUTER_RING, FIGURES, LETTERING, SECONDS_BIT = (
    "outer ring of the minute track", "figures", "lettering of the signature", "seconds bit",
)  # fmt: skip
BASIS = "common practice"
AT_ONCE = "Roman and Arabic were in use at once, so no period follows."


@dataclass(frozen=True)
class StyleHint:
    """One thing looked at. feature : what. seen : how it is, or NOT_TOLD. period : what that goes with, "" nothing.
    why : how it was told, or why not. basis : of the period."""

    feature: str
    seen: str
    period: str
    why: str
    basis: str = BASIS

    @property
    def record(self) -> Mapping[str, Any]:
        """For JSON; period is null where there is none."""
        return asdict(self) | {"period": self.period or None}


def style_hints(reading: Reading) -> tuple[StyleHint, ...]:
    """Hints from a whole dial, one for each thing looked at, told or not."""
    return (_outer_ring(reading), _figures(reading), _lettering(reading), _seconds_bit(reading))


def _outer_ring(reading: Reading) -> StyleHint:
    from dialtell.evaluate.period.style_seen import NO_RING, RING, outer_ring

    found = outer_ring(reading)
    if found.value is None:
        return StyleHint(OUTER_RING, NOT_TOLD, "", found.why)
    if found.value > RING:
        period = "More usual up to the mid 1880s: it went out of use between then and about 1890."
        return StyleHint(OUTER_RING, PRESENT, period, "A line runs round outside the divisions.")
    if found.value < NO_RING:
        period = "More usual from about 1890 on: the ring went out of use over the years before."
        return StyleHint(OUTER_RING, ABSENT, period, "No line runs round outside the divisions.")
    return StyleHint(OUTER_RING, NOT_TOLD, "", "There may be a very faint line outside the divisions.")


def _figures(reading: Reading) -> StyleHint:
    from dialtell.evaluate.period import style_seen

    found = style_seen.oblique(reading)
    if found.value is None:
        return StyleHint(FIGURES, NOT_TOLD, "", found.why)
    if found.value < style_seen.ROMAN:
        why = f"Most of their edges run straight outwards or along the circle. {AT_ONCE}"
        return StyleHint(FIGURES, ROMAN, "", why)
    if found.value > style_seen.ARABIC:
        why = f"Many of their edges are round or slanting. {AT_ONCE}"
        return StyleHint(FIGURES, ARABIC, "", why)
    return StyleHint(FIGURES, NOT_TOLD, "", "The direction of their edges does not settle it.")


def _lettering(reading: Reading) -> StyleHint:
    from dialtell.evaluate.period.style_seen import LEANING, leaning

    found = leaning(reading)
    if found.value is None:
        return StyleHint(LETTERING, NOT_TOLD, "", found.why)
    if found.value > LEANING:
        period = "Script and decorated signatures came in between the mid 1880s and about 1890."
        return StyleHint(LETTERING, SLANTING, period, "Most of its upright strokes lean to the right, as in script.")
    return StyleHint(
        LETTERING, NOT_TOLD, "", "Its strokes do not all lean one way, as those of capitals and of mixed lines."
    )


def _seconds_bit(reading: Reading) -> StyleHint:
    circle = reading.zones.seconds
    if circle is None:
        return StyleHint(
            SECONDS_BIT, NOT_TOLD, "", "No circle of one was found, which does not show that there is none."
        )
    hour = round(math.degrees(math.atan2(circle.x, -circle.y)) / 30.0) % 12 or 12
    if not is_divided(reading.density, reading.geometry, circle):
        return StyleHint(
            SECONDS_BIT, NOT_TOLD, "", f"Something round lies at {hour} o'clock, but no divisions are seen in it."
        )
    why = f"There is a small dial at {hour} o'clock. It belongs to the kind of movement, so no period follows."
    return StyleHint(SECONDS_BIT, PRESENT, "", why)
