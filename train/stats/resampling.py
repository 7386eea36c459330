"""Whole clusters drawn again with replacement: how often each item, or each cluster, is then there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.proportion import Interval

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]


def numbered(identities: ArrayLike) -> tuple[Numbers, int]:
    """(n,) clusters numbered from 0, and how many there are."""
    member = np.unique(np.asarray(identities), return_inverse=True)[1].reshape(-1)
    return member, int(member.max()) + 1 if len(member) else 0


def strata_of(hand: NDArray[np.bool_], member: Numbers, count: int) -> list[Numbers]:
    """Clusters by what they hold, painted, printed or both: drawn apart, every draw has both kinds.

    hand, member : (n,), see `numbered`. count : of clusters.
    """
    holds = (np.bincount(member, hand, count) > 0) + 2 * (np.bincount(member, ~hand, count) > 0)
    return [np.flatnonzero(holds == kind) for kind in (1, 2, 3) if (holds == kind).any()]


def drawn_counts(strata: Sequence[Numbers], count: int, *, rng: np.random.Generator, draws: int) -> Floats:
    """(draws, count) how often each cluster is drawn, as many from each stratum as it holds."""
    counts = np.zeros((draws, count))
    for stratum in strata:
        counts[:, stratum] = rng.multinomial(len(stratum), np.full(len(stratum), 1.0 / len(stratum)), size=draws)
    return counts


def cluster_weights(
    labels: ArrayLike, clusters: ArrayLike, *, rng: np.random.Generator, draws: int, by_kind: bool = True
) -> Floats | None:
    """(draws, n) how often each item is there when clusters are drawn.

    labels : (n,) 1 or 0. clusters : (n,) identities.
    by_kind : draw clusters holding ones, zeros and both apart (`strata_of`), as few clusters need; None then, where
    either label stands in a single cluster. Otherwise all are drawn together, which is quicker with thousands.
    """
    hand, identity = np.asarray(labels).astype(bool), np.asarray(clusters)
    if not len(hand) or hand.shape != identity.shape:
        raise ParameterError(
            f"labels have shape {hand.shape} and clusters {identity.shape}; give two lists of one length"
        )
    if draws < 1:
        raise ParameterError(f"draws is {draws}; give at least 1, 2000 for a 95 % interval")
    member, count = numbered(identity)
    if not by_kind:
        return drawn_counts([np.arange(count)], count, rng=rng, draws=draws)[:, member]
    if any(chosen.any() and len(np.unique(member[chosen])) < 2 for chosen in (hand, ~hand)):
        return None
    strata = strata_of(hand, member, count)
    weights = np.empty((draws, len(hand)))
    for draw in range(draws):  # one after the other: documents' intervals rest on this order of random numbers
        picked = np.concatenate([rng.choice(stratum, len(stratum)) for stratum in strata])
        weights[draw] = np.bincount(picked, minlength=count)[member]
    return weights


def percentile_interval(values: Floats, *, level: float = 0.95) -> Interval:
    """The middle `level` of what a statistic came to over draws."""
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
    return Interval(float(low), float(high))
