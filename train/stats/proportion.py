"""Intervals for a proportion: k of n photographs called rightly, with what that n can and cannot show."""

from __future__ import annotations

import math
from typing import NamedTuple

from scipy import stats

from dialtell.synth.shared.errors import ParameterError, require_range


class Interval(NamedTuple):
    """A two-sided interval, ends included."""

    low: float
    high: float


def require_level(level: float) -> None:
    """Raise ParameterError unless level is a confidence level strictly between 0 and 1."""
    if not 0.0 < level < 1.0:
        raise ParameterError(f"level is {level}; give a confidence level between 0 and 1, such as 0.95")


def _require_counts(hits: int, trials: int) -> None:
    if trials < 1:
        raise ParameterError(f"trials is {trials}; a proportion needs at least one trial")
    if not 0 <= hits <= trials:
        raise ParameterError(f"hits is {hits}; give a count from 0 to trials = {trials}")


def wilson(hits: int, trials: int, *, level: float = 0.95) -> Interval:
    """Wilson's score interval without continuity correction (Newcombe 1998, method 3).

    The default for reports: it stays inside 0..1 and holds its level at the small n of real dials.
    """
    _require_counts(hits, trials)
    return wilson_share(hits / trials, trials, level=level)


def wilson_share(share: float, trials: float, *, level: float = 0.95) -> Interval:
    """Wilson's interval of a share seen in `trials` independent items, a number that need not be whole: items that
    are not independent count as fewer."""
    require_range("share", share, 0.0, 1.0)
    require_level(level)
    if not 0 < trials < math.inf:
        raise ParameterError(f"trials is {trials}; a proportion needs a number of trials above 0")
    z2 = float(stats.norm.ppf(0.5 + level / 2)) ** 2
    middle = share * trials + z2 / 2
    half = math.sqrt(z2 * (share * (1 - share) * trials + z2 / 4))
    # The ends are exactly 0 and 1 there; rounding would leave 1e-17.
    low = 0.0 if share == 0 else (middle - half) / (trials + z2)
    high = 1.0 if share == 1 else (middle + half) / (trials + z2)
    return Interval(low, high)
