"""Figures of calls against truth: how many are made, how many are right, and what the ratios behind them are worth.

Items may be independent, or stand in clusters that are resampled whole: photographs of one dial, twins of one picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dialtell.model.net.calibration import probability, threshold
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.calibration_error import BINS, bin_of, brier, expected_calibration_error
from dialtell.train.stats.clustered import ClusteredFigure, clustered_auc, clustered_share
from dialtell.train.stats.discrimination import auc, delong
from dialtell.train.stats.likelihood_ratio import cllr
from dialtell.train.stats.resampling import cluster_weights, percentile_interval

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
UNCALLED = -1


@dataclass(frozen=True, eq=False)
class Answers:
    """Items with truth (1 painted, 0 printed), log10 LR (NaN not judged), call (1, 0, -1 undetermined), all (n,).

    cluster : (n,) identities of what belongs together; None takes every item as independent.
    """

    hand: NDArray[np.int8]
    ratio: Floats
    call: NDArray[np.int8]
    cluster: NDArray[np.int64] | None = None

    def __post_init__(self) -> None:
        shapes = {name: value.shape for name, value in vars(self).items() if value is not None}
        if len(set(shapes.values())) != 1:
            raise ParameterError(f"answers have shapes {shapes}; give lists of one length")

    @property
    def clusters(self) -> NDArray[np.int64]:
        """(n,) identities, each item's own where none are given."""
        return np.arange(len(self.hand)) if self.cluster is None else self.cluster

    @property
    def judged(self) -> Mask:
        """Which have a ratio."""
        return np.asarray(np.isfinite(self.ratio))

    @property
    def decided(self) -> Mask:
        """Which are called."""
        return np.asarray(self.call != UNCALLED)

    @property
    def right(self) -> Mask:
        """Which are called rightly."""
        return np.asarray(self.decided & (self.call == self.hand))

    def chosen(self, mask: Mask) -> Answers:
        """Those under a mask."""
        cluster = None if self.cluster is None else self.cluster[mask]
        return Answers(self.hand[mask], self.ratio[mask], self.call[mask], cluster)


def called_by_ratio(hand: ArrayLike, ratio: ArrayLike) -> Answers:
    """Independent items called by their ratio alone, none withheld. hand : (n,) 1 or 0. ratio : (n,) log10 LR."""
    log10_lr = np.asarray(ratio, dtype=np.float64)
    call = np.where(np.abs(log10_lr) >= threshold(), log10_lr > 0, UNCALLED)
    return Answers(np.asarray(hand).astype(np.int8), log10_lr, call.astype(np.int8))


def joined(parts: Sequence[Answers]) -> Answers:
    """Answers of several nets to the same items: an item stays one cluster however often it was judged."""
    hand, ratio, call, cluster = (
        np.concatenate(values)
        for values in zip(*((part.hand, part.ratio, part.call, part.clusters) for part in parts), strict=True)
    )
    return Answers(hand, ratio, call, cluster)


def probabilities(ratio: Floats) -> Floats:
    """(n,) probability of hand painting at prior odds 1:1, of log10 likelihood ratios."""
    return np.array([probability(value) for value in ratio], dtype=np.float64)


@dataclass(frozen=True)
class Resampling:
    """How intervals are drawn over clusters. by_kind : see resampling.cluster_weights.

    area_seed, seed : of the AUC's draws, and of those of Brier score, ECE and Cllr.
    """

    draws: int
    area_seed: int | Sequence[int]
    seed: int | Sequence[int]
    by_kind: bool = True


@dataclass(frozen=True)
class CallFigures:
    """Counts, and figures with 95 % intervals; a figure is None where there is too little to measure.

    judged : items with a ratio. coverage : share called of all. accuracy : share right of those called. auc, brier,
    ece, cllr : over judged items, called or not, probabilities being at prior odds 1:1.
    """

    n: int
    painted: int
    clusters: int
    judged: int
    decided: int
    right: int
    coverage: ClusteredFigure | None
    accuracy: ClusteredFigure | None
    auc: ClusteredFigure | None = None
    brier: ClusteredFigure | None = None
    ece: ClusteredFigure | None = None
    cllr: ClusteredFigure | None = None


def call_figures(answers: Answers, *, fewest: int = 1, resampling: Resampling | None = None) -> CallFigures:
    """Figures of one group.

    fewest : judged items of each kind from which AUC, Brier score, ECE and Cllr are measured.
    resampling : None, for independent items, takes DeLong's interval for the AUC and gives the other three none.
    Shares have Wilson's interval at the effective number of items.
    """
    found = CallFigures(
        n=len(answers.hand),
        painted=int((answers.hand == 1).sum()),
        clusters=len(np.unique(answers.clusters)),
        judged=int(answers.judged.sum()),
        decided=int(answers.decided.sum()),
        right=int(answers.right.sum()),
        coverage=share(answers.decided, answers.clusters),
        accuracy=share(answers.right[answers.decided], answers.clusters[answers.decided]),
    )
    seen = answers.chosen(answers.judged)
    hand = seen.hand == 1
    kinds = int(hand.sum()), int((~hand).sum())
    if min(kinds) < max(fewest, 1):
        return found
    return CallFigures(**{**vars(found), "auc": _area(seen, min(kinds), resampling), **_calibration(seen, resampling)})


def share(hits: Mask, clusters: NDArray[np.int64]) -> ClusteredFigure | None:
    """Share of hits, None of nothing."""
    return clustered_share(hits, clusters) if len(hits) else None


def _area(seen: Answers, rarer: int, resampling: Resampling | None) -> ClusteredFigure:
    if resampling is not None:
        rng = np.random.default_rng(resampling.area_seed)
        return clustered_auc(seen.hand, seen.ratio, seen.clusters, rng=rng, draws=resampling.draws)
    n = len(seen.hand)
    if rarer < 2:
        return ClusteredFigure(auc(seen.hand, seen.ratio), None, n, n, "none, one of a kind")
    area, interval = delong(seen.hand, seen.ratio)
    return ClusteredFigure(area, interval, n, n, "delong")


def _calibration(seen: Answers, resampling: Resampling | None) -> dict[str, ClusteredFigure]:
    """Brier score, ECE and Cllr; every draw of clusters is a weight for each item."""
    hand, chance, clusters = seen.hand == 1, probabilities(seen.ratio), seen.clusters
    value = {
        "brier": brier(hand, chance),
        "ece": expected_calibration_error(hand, chance),
        "cllr": cllr(seen.ratio[hand], seen.ratio[~hand]),
    }
    n, count = len(hand), len(np.unique(clusters))
    if resampling is None:
        return {name: ClusteredFigure(number, None, n, count, "none") for name, number in value.items()}
    rng = np.random.default_rng(resampling.seed)
    weight = cluster_weights(hand, clusters, rng=rng, draws=resampling.draws, by_kind=resampling.by_kind)
    if weight is None:
        return {
            name: ClusteredFigure(number, None, n, count, "none, one cluster of a kind")
            for name, number in value.items()
        }
    total = weight.sum(axis=1)
    surplus = chance - hand
    binned = np.zeros((n, BINS))
    binned[np.arange(n), bin_of(chance)] = surplus
    bits = np.logaddexp(0.0, np.where(hand, -1, 1) * seen.ratio * np.log(10)) / np.log(2)
    # drawn without regard to kind, a draw may lack one
    sides = [weight[:, side] @ bits[side] / np.maximum(weight[:, side].sum(axis=1), 1e-9) for side in (hand, ~hand)]
    drawn = {
        "brier": weight @ surplus**2 / total,
        "ece": np.abs(weight @ binned).sum(axis=1) / total,
        "cllr": 0.5 * (sides[0] + sides[1]),
    }
    return {
        name: ClusteredFigure(number, percentile_interval(drawn[name]), n, count, "cluster bootstrap")
        for name, number in value.items()
    }


class CoveragePoint(NamedTuple):
    """Share of all items called at some threshold, share of those calls that are right, and its 95 % interval."""

    called: float
    right: float
    low: float
    high: float


def coverage_curve(answers: Answers, *, least: int = 1, most: int = 400) -> list[CoveragePoint]:
    """What would be called, and rightly, as the threshold falls; equal ratios are called together, one of 0 never.

    least : calls from which the curve begins. most : points, evenly thinned. Items without a ratio count among all.
    """
    size = np.abs(np.nan_to_num(answers.ratio))
    order = np.argsort(-size, kind="stable")[: np.count_nonzero(size)]
    falling = size[order]
    right = (answers.ratio[order] > 0) == (answers.hand[order] == 1)
    ends = np.flatnonzero(np.diff(np.r_[falling, 0.0]) != 0) + 1
    ends = ends[ends >= least]
    clusters = answers.clusters[order]
    curve = []
    for count in ends[np.unique(np.linspace(0, len(ends) - 1, min(most, len(ends))).round().astype(int))].tolist():
        found = clustered_share(right[:count], clusters[:count])
        low, high = found.interval or (0.0, 1.0)
        curve.append(CoveragePoint(count / len(answers.hand), found.value, low, high))
    return curve
