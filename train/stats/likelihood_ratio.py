"""The weight of evidence: likelihood ratios, what they cost when wrong, how far validation lets them reach.

LR = p(findings | painted by hand) / p(findings | printed). Everything here takes and gives log10 LR, positive
for hand. A posterior needs a prior, which is the reader's and never the training mix.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dialtell.synth.shared.errors import ParameterError

Floats = NDArray[np.float64]


class Bounds(NamedTuple):
    """The log10 LRs beyond which a set of validation dials cannot vouch: low <= 0 <= high."""

    low: float
    high: float


def _checked(name: str, log10_lrs: ArrayLike) -> Floats:
    values = np.asarray(log10_lrs, dtype=np.float64)
    if values.ndim != 1 or not len(values) or np.isnan(values).any():
        raise ParameterError(f"{name} is {log10_lrs!r}; give a list of log10 LRs, not empty and without NaN")
    return values


def cllr(log10_hand: ArrayLike, log10_printed: ArrayLike) -> float:
    """Log-likelihood-ratio cost in bits: 0 perfect, 1 what LR = 1 always costs, above 1 worse than silence.

    Cllr = 1/2 [ mean_hand log2(1 + 1/LR) + mean_printed log2(1 + LR) ]
    (Bruemmer and du Preez, Computer Speech and Language 20 (2006), 230-275).
    """
    hand = _checked("log10_hand", log10_hand) * math.log(10)
    printed = _checked("log10_printed", log10_printed) * math.log(10)
    nats = np.logaddexp(0.0, -hand).mean() + np.logaddexp(0.0, printed).mean()
    return float(nats / (2 * math.log(2)))


def validated_bounds(log10_hand: ArrayLike, log10_printed: ArrayLike) -> Bounds:
    """Empirical lower and upper bounds of the LR from a validation set.

    At prior odds 1/t a decision maker who accepts "hand" at LR >= t errs with probability
    (miss(t) + t false(t)) / (1 + t); one who ignores the evidence (LR = 1) errs with min(1, t) / (1 + t). The
    ratio of the two is the normalised Bayes error rate. To both classes one consequential misleading item is
    added: a painted dial with an LR below every threshold and a printed one with an LR above. Going outwards
    from t = 1, the bound is the last t before the evidence does worse than no evidence. Here the crossing is
    solved exactly between the observed LRs; the source steps 0.01 in log10 LR and can step over a narrow
    failure, so these bounds are the same or tighter. n a side, perfectly separated, give 1/n and n.

    Source: Vergeer, van Es, de Jongh, Alberink, Stoel, Science and Justice 56 (2016), 482-491.
    """
    hand = _checked("log10_hand", log10_hand)
    printed = _checked("log10_printed", log10_printed)
    # Swapping the classes and the sign of log LR turns the lower bound into an upper one.
    return Bounds(low=-_upper_bound(-printed, -hand) + 0.0, high=_upper_bound(hand, printed))


def _upper_bound(target: Floats, other: Floats) -> float:
    """log10 of the largest t >= 1 with miss(u) + u false(u) <= 1 for all u up to t; both are steps."""
    values = np.concatenate([target, other])
    steps = [0.0, *np.unique(values[(values > 0) & np.isfinite(values)]).tolist()]
    for start, stop in zip(steps, [*steps[1:], math.inf], strict=True):
        miss = (np.count_nonzero(target <= start) + 1) / (len(target) + 1)
        false = (np.count_nonzero(other > start) + 1) / (len(other) + 1)
        crossing = math.log10((1 - miss) / false) if miss < 1 else -math.inf
        if crossing < stop:
            return max(float(start), crossing)
    raise AssertionError("unreachable: the added misleading item makes the last crossing finite")
