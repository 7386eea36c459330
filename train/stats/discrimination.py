"""How well scores order painted before printed: AUC, its intervals, and the ROC curve.

Labels are 1 (hand) or 0 (printed); scores rise towards hand, on any scale.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.train.stats.proportion import Interval, require_level
from dialtell.train.stats.resampling import drawn_counts, numbered, percentile_interval, strata_of

Floats = NDArray[np.float64]
_CHUNK = 4_000_000  # weights held at once while bootstrapping, about 32 MB


class RocPoint(NamedTuple):
    """Calling "hand" at score >= threshold accepts these shares of printed and of painted."""

    false_hand: float
    true_hand: float
    threshold: float


def _checked(labels: ArrayLike, scores: ArrayLike) -> tuple[NDArray[np.bool_], Floats]:
    truth = np.asarray(labels)
    score = np.asarray(scores, dtype=np.float64)
    if truth.ndim != 1 or truth.shape != score.shape:
        raise ParameterError(f"labels have shape {truth.shape} and scores {score.shape}; give two lists of one length")
    if not np.isin(truth, (0, 1)).all():
        raise ParameterError(f"labels hold {sorted(set(truth.tolist()))}; give only 1 (hand) and 0 (printed)")
    if np.isnan(score).any():
        raise ParameterError(f"scores hold {int(np.isnan(score).sum())} NaN; leave out what was not judged")
    hand = truth.astype(bool)
    if hand.all() or not hand.any():
        raise ParameterError(f"labels are all {int(truth[0]) if len(truth) else 'missing'}; AUC needs both kinds")
    return hand, score


def auc(labels: ArrayLike, scores: ArrayLike) -> float:
    """Chance that a painted item outscores a printed one, ties counting half (Mann-Whitney)."""
    hand, score = _checked(labels, scores)
    return float(_placements(score[hand], score[~hand])[0].mean())


def _placements(hand: Floats, printed: Floats) -> tuple[Floats, Floats]:
    """Per painted item the share of printed ones it beats, and per printed item the share that beat it."""
    n_hand, n_printed = len(hand), len(printed)
    joint = stats.rankdata(np.concatenate([hand, printed]))
    beats = (joint[:n_hand] - stats.rankdata(hand)) / n_printed
    beaten = 1.0 - (joint[n_hand:] - stats.rankdata(printed)) / n_hand
    return beats, beaten


def delong(labels: ArrayLike, scores: ArrayLike, *, level: float = 0.95) -> tuple[float, Interval]:
    """AUC and its DeLong interval, clipped to 0..1; items must be independent (else: bootstrap_auc).

    Source: DeLong, DeLong, Clarke-Pearson, Biometrics 44 (1988), 837-845, by ranks as in Sun and Xu (2014).
    At perfect separation the estimated variance is 0 and the interval shrinks to a point, which says nothing
    about n: report the error counts with proportion.wilson beside it.
    """
    require_level(level)
    hand, score = _checked(labels, scores)
    beats, beaten = _placements(score[hand], score[~hand])
    if min(len(beats), len(beaten)) < 2:
        raise ParameterError(f"labels hold {len(beats)} hand and {len(beaten)} printed; the interval needs 2 of each")
    area = float(beats.mean())
    spread = math.sqrt(float(beats.var(ddof=1)) / len(beats) + float(beaten.var(ddof=1)) / len(beaten))
    half = float(stats.norm.ppf(0.5 + level / 2)) * spread
    return area, Interval(max(0.0, area - half), min(1.0, area + half))


def newcombe_auc(area: float, n_hand: float, n_printed: float, *, level: float = 0.95) -> Interval:
    """Score interval of an AUC from its value and the two counts alone: it does not collapse at perfect separation.

    The ends are the areas t at which |area - t| = z sqrt(V(t)), with the Hanley-McNeil variance
    V(t) = t (1 - t) [1 + N (1 - t) / (2 - t) + N t / (1 + t)] / (n_hand n_printed), N = (n_hand + n_printed) / 2 - 1.
    Counts need not be whole: effective numbers of clusters may be given.
    Source: Newcombe, Statistics in Medicine 25 (2006), 559-573, method 5 (formula from memory).
    """
    require_level(level)
    require_range("area", area, 0.0, 1.0)
    if not min(n_hand, n_printed) >= 1:
        raise ParameterError(f"there are {n_hand:g} hand and {n_printed:g} printed; the interval needs 1 of each")
    z2 = float(stats.norm.ppf(0.5 + level / 2)) ** 2
    spare = (n_hand + n_printed) / 2 - 1

    def excess(t: float) -> float:
        spread = t * (1 - t) * (1 + spare * (1 - t) / (2 - t) + spare * t / (1 + t)) / (n_hand * n_printed)
        return (area - t) ** 2 - z2 * spread

    # away from 0 and 1, where a perfect area is a root of its own that bounds nothing
    edge = 1e-9
    low = optimize.brentq(excess, edge, area - edge) if area > 2 * edge and excess(edge) > 0 else 0.0
    high = optimize.brentq(excess, area + edge, 1 - edge) if area < 1 - 2 * edge and excess(1 - edge) > 0 else 1.0
    return Interval(float(low), float(high))


def bootstrap_auc(
    labels: ArrayLike,
    scores: ArrayLike,
    *,
    rng: np.random.Generator,
    clusters: ArrayLike | None = None,
    draws: int = 2000,
    level: float = 0.95,
) -> tuple[float, Interval]:
    """AUC and its percentile bootstrap interval, resampling whole clusters.

    clusters : one identity per item: photographs of one dial, dials from one plate, zones of one dial belong
        together. None takes every item as its own cluster.
    Resampling is stratified by what a cluster holds (hand, printed or both), so every draw has both kinds.
    """
    require_level(level)
    if draws < 1:
        raise ParameterError(f"draws is {draws}; give at least 1, 2000 for a 95 % interval")
    hand, score = _checked(labels, scores)
    identity = np.arange(len(score)) if clusters is None else np.asarray(clusters)
    if identity.shape != score.shape:
        raise ParameterError(f"clusters have shape {identity.shape}; give one identity per score, {score.shape}")
    member, n_clusters = numbered(identity)
    strata = strata_of(hand, member, n_clusters)
    order = np.argsort(score, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(score[order]) != 0])
    sorted_hand, sorted_member = hand[order], member[order]
    areas = []
    step = max(1, _CHUNK // len(score))
    for first in range(0, draws, step):
        counts = drawn_counts(strata, n_clusters, rng=rng, draws=min(step, draws - first))
        weights = counts[:, sorted_member]
        areas.append(_weighted_auc(weights * sorted_hand, weights * ~sorted_hand, starts))
    return auc(hand, score), percentile_interval(np.concatenate(areas), level=level)


def _weighted_auc(hand: Floats, printed: Floats, starts: NDArray[np.intp]) -> Floats:
    """AUC per row of (D, n) item weights in score order; starts: first item of each run of equal scores."""
    hand_at = np.add.reduceat(hand, starts, axis=1)
    printed_at = np.add.reduceat(printed, starts, axis=1)
    below = np.cumsum(printed_at, axis=1) - printed_at / 2
    area: Floats = (hand_at * below).sum(axis=1) / (hand_at.sum(axis=1) * printed_at.sum(axis=1))
    return area


def roc(labels: ArrayLike, scores: ArrayLike) -> list[RocPoint]:
    """ROC corners from (0, 0) at an infinite threshold to (1, 1), one per distinct score."""
    hand, score = _checked(labels, scores)
    order = np.argsort(-score, kind="stable")
    falling = score[order]
    last = np.flatnonzero(np.r_[np.diff(falling) != 0, True])
    true_hand = np.cumsum(hand[order])[last] / hand.sum()
    false_hand = np.cumsum(~hand[order])[last] / (~hand).sum()
    corners = zip(false_hand, true_hand, falling[last], strict=True)
    return [RocPoint(0.0, 0.0, math.inf), *(RocPoint(float(f), float(t), float(s)) for f, t, s in corners)]
