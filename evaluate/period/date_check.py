"""Does the process fit the date? Kept apart from the strokes, then combined with them as odds, each part shown.

The share of printed dials by year is common practice of the trade, not a count: both printed processes replaced hand
painting in factories in the mid 1880s and were standard by about 1890; painted dials stayed possible later (special
orders, small makers, replacements), printed ones before are later dials. Change the one table below when a source says
better.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dialtell.model.net.calibration import HAND, PRINTED
from dialtell.synth.shared.errors import require_range

# year: share of factory dials printed that year (common practice, see above; straight lines between)
PRINTED_SHARE: tuple[tuple[int, float], ...] = (
    (1870, 0.005), (1880, 0.01), (1883, 0.05), (1885, 0.25), (1887, 0.55), (1890, 0.85), (1895, 0.93), (1910, 0.97),
)  # fmt: skip
FIRST_PRINTS = 1883  # before, a print is taken for a later dial (common practice)
RARE = 0.10  # a process rarer than this in its year is called unusual (judgement)
EARLIEST, LATEST = 1700, 2100

FITS, UNUSUAL, LATER, OPEN = "fits", "unusual", "likely a later dial", "open"


@dataclass(frozen=True)
class Years:
    """When the movement was made. low, best, high : calendar years, low <= best <= high. basis : where it is from."""

    low: float
    best: float
    high: float
    basis: str

    def __post_init__(self) -> None:
        for name in ("low", "best", "high"):
            require_range(f"year ({name})", getattr(self, name), EARLIEST, LATEST)

    @property
    def words(self) -> str:
        """The year, or the span of years where it is not known to one."""
        if self.high - self.low < 1:
            return f"{self.best:.0f}"
        return f"about {self.best:.0f} ({self.low:.0f} to {self.high:.0f})"


@dataclass(frozen=True)
class PeriodCheck:
    """The date against the process.

    finding : fits, unusual, likely a later dial, or open (nothing was called). sentence : in words.
    prior_log10_odds : hand against print from the years alone. stroke_log10_lr : from the strokes alone, None if not
    judged. posterior_log10_odds : their sum, for a dial taken at random from that year; None if not judged.
    """

    years: Years
    finding: str
    sentence: str
    prior_log10_odds: float
    stroke_log10_lr: float | None
    posterior_log10_odds: float | None

    @property
    def posterior_hand(self) -> float | None:
        """Probability of hand painting after both."""
        if self.posterior_log10_odds is None:
            return None
        return 1.0 / (1.0 + math.pow(10.0, -self.posterior_log10_odds))


def printed_share(year: float) -> float:
    """Share of dials of `year` that were printed, 0..1 (common practice, see PRINTED_SHARE)."""
    years, shares = zip(*PRINTED_SHARE, strict=True)
    return float(np.interp(year, years, shares))


def printed_share_of(years: Years) -> float:
    """The same of a span of years, averaged over it."""
    return float(np.mean([printed_share(year) for year in np.linspace(years.low, years.high, 25)]))


def prior_log10_odds(years: Years) -> float:
    """log10 odds of hand against print for a dial of these years."""
    share = printed_share_of(years)
    return math.log10((1.0 - share) / share)


def check_period(years: Years, call: str, log10_lr: float | None) -> PeriodCheck:
    """The call of the strokes held against the date. log10_lr : of the strokes for hand, at prior 1:1."""
    prior = prior_log10_odds(years)
    finding, sentence = _finding(years, call)
    total = None if log10_lr is None else prior + log10_lr
    return PeriodCheck(years, finding, sentence, prior, log10_lr, total)


def _finding(years: Years, call: str) -> tuple[str, str]:
    when = f"A movement of {years.words}"
    low, high = printed_share(years.low), printed_share(years.high)
    if call == PRINTED:
        if years.high < FIRST_PRINTS:
            return LATER, (
                f"{when} is earlier than printed dials are usual on factory watches: if the call holds, the dial is "
                "likely a later one."
            )
        if high < RARE:
            return UNUSUAL, f"{when} would seldom have had a printed dial from new."
        return FITS, f"{when} may well have had a printed dial from new."
    if call == HAND:
        if 1.0 - low < RARE:
            return UNUSUAL, (
                f"{when} would seldom have had a painted dial: a replacement, a special order or a small maker's dial "
                "is possible."
            )
        return FITS, f"{when} may well have had a painted dial from new."
    return OPEN, f"{when} cannot be held against a process that was not called."
