"""A likelihood ratio in words, so that a reader who skips the number still gets its size.

Bands of the ENFSI Guideline for Evaluative Reporting (2015): LR 2 to 10 weak, to 100 moderate, to 1000
moderately strong, to 10 000 strong, to 1 000 000 very strong, above extremely strong; reciprocals for the
other side; below 2 no support. Restatements differ on which band an edge belongs to. Here an edge belongs to
the **weaker** band (exactly 10 is weak, exactly 100 moderate), and exactly 2 is weak. So a ratio capped at a
band's top edge reads "at least" the band it tops.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from dialtell.synth.shared.errors import ParameterError

# Upper edge of each band as log10 LR, edge included.
_BANDS = (
    (1.0, "weak"),
    (2.0, "moderate"),
    (3.0, "moderately strong"),
    (4.0, "strong"),
    (6.0, "very strong"),
    (math.inf, "extremely strong"),
)
LEAST_SUPPORT = math.log10(2.0)  # log10 LR below which nothing is more probable
_SLACK = 1e-9  # an LR of 1000 that has been through a logarithm still sits on its edge

NO_SUPPORT = "no support either way"
NOT_JUDGED = "not judged"


def _checked(log10_lr: float) -> float:
    if not math.isfinite(log10_lr):
        raise ParameterError(f"log10_lr is {log10_lr}; give a finite number, capped by validation")
    return abs(log10_lr)


def support_band(log10_lr: float) -> str:
    """The band of a log10 LR whichever way it points, such as "moderate", or NO_SUPPORT."""
    size = _checked(log10_lr)
    if size < LEAST_SUPPORT - _SLACK:
        return NO_SUPPORT
    return next(word for edge, word in _BANDS if size <= edge + _SLACK)


def support_words(log10_lr: float, capped: bool) -> str:
    """The words for a log10 LR (positive: hand), such as "at least moderate support for hand painting".

    capped : the system's ratio was larger than validation can vouch for and was cut to log10_lr.
    """
    band = support_band(log10_lr)
    if band == NO_SUPPORT:
        return NO_SUPPORT
    side = "hand painting" if log10_lr > 0 else "printing"
    return f"{'at least ' if capped else ''}{band} support for {side}"


def findings_sentence(log10_lr: float, capped: bool) -> str:
    """One sentence about the findings under each proposition, which is what a likelihood ratio speaks of."""
    size = _checked(log10_lr)
    if size < LEAST_SUPPORT - _SLACK:
        return "What is seen is about equally probable on a painted and on a printed dial."
    first, second = ("painted by hand", "printed") if log10_lr > 0 else ("printed", "painted by hand")
    least = "at least" if capped else "about"
    times = f"{least} {ratio_words(size)} times more probable"
    return f"What is seen is {times} if the dial was {first} than if it was {second}."


def ratio_words(log10_ratio: float) -> str:
    """A ratio >= 1 to two figures, thousands set apart: 2.1, 35, 1 300."""
    size = min(abs(log10_ratio), 300.0)
    digits = max(0, 1 - math.floor(size + _SLACK))
    rounded = round(10.0**size, 1 - math.floor(size + _SLACK))
    return f"{rounded:,.{digits}f}".replace(",", " ")


def chance_text(probability: float) -> str:
    """A probability to two decimals, to as many more as it takes never to read as certain."""
    digits = 2
    while digits < 6 and not 0.5 * 10**-digits <= min(probability, 1 - probability):
        digits += 1
    return f"{probability:.{digits}f}"


def signed(value: float, digits: int = 2) -> str:
    """A number with its sign: +1.32, −0.60 (with the typographic minus), 0."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return text
    return ("+" if value > 0 else "−") + text


def rounded(value: float | None, digits: int = 4) -> float | None:
    """A number as documents state it; None stays None."""
    return None if value is None else round(value, digits)


def listed(parts: Sequence[str]) -> str:
    """At least one part as a sentence lists them: "a", "a and b", "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
