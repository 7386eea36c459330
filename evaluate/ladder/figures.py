"""Figures of a rung with 95 % intervals over its dials: discrimination, calls, calibration."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.ladder.dials import UNTOLD, RungCalls
from dialtell.train.stats.call_figures import Answers, Resampling, call_figures, share
from dialtell.train.stats.clustered import ClusteredFigure

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

DRAWS = 500
FEWEST = 8  # of a kind, below which a figure would say nothing
FINE, COARSE = 30.0, 8.0  # px/mm: from here on strokes are well resolved, below here hardly
CURVE = (4.0, 6.0, 8.0, 11.0, 15.0, 20.0, 30.0, 44.0, 64.0, 120.0)  # px/mm, edges of the bins of the curve
SEED = 4243


@dataclass(frozen=True, eq=False)
class Truth:
    """What is true of the n dials of a rung. hand : (n,) 1, 0, -1 mixed. zone_hand : (n, Z) -1 no strokes.

    cluster : (n,) dials of one picture. px_per_mm, true_px_per_mm : of the photograph, and really resolved.
    readable : whether patches were found.
    """

    hand: NDArray[np.int8]
    zone_hand: NDArray[np.int8]
    cluster: NDArray[np.int64]
    px_per_mm: Floats
    true_px_per_mm: Floats
    readable: Mask


def dials_of(truth: Truth, told: RungCalls) -> Answers:
    """The dials with a truth of their own."""
    return Answers(truth.hand, told.ratio, told.call, truth.cluster).chosen(truth.hand >= 0)


def zones_of(truth: Truth, told: RungCalls, zone: int | None = None) -> Answers:
    """Zones with strokes, all or one by its index; zones of a dial stay one cluster."""
    columns = slice(None) if zone is None else slice(zone, zone + 1)
    hand = truth.zone_hand[:, columns]
    whole = Answers(
        hand.ravel(),
        told.zone_ratio[:, columns].ravel(),
        told.zone_call[:, columns].ravel(),
        np.repeat(truth.cluster, hand.shape[1]),
    )
    return whole.chosen(whole.hand >= 0)


def figures(answers: Answers, *, draws: int = DRAWS) -> dict[str, Any]:
    """Figures of items; each measured one as [value, low, high], None where there are too few items.

    auc, brier, ece, cllr : over judged items, whether called or not. coverage : share called. accuracy : share of
    calls that are right. Shares by Wilson at the effective number of clusters, the rest by resampling clusters.
    """
    judged = int(answers.judged.sum())
    found = call_figures(
        answers, fewest=FEWEST, resampling=Resampling(draws, [SEED, judged], [SEED, judged, 1], by_kind=False)
    )
    return {
        "n": found.n,
        "dials": found.clusters,
        "painted": found.painted,
        "judged": found.judged,
        "decided": found.decided,
        "right": found.right,
        "undetermined": share_row(~answers.decided, answers.clusters),
        **{name: _row(getattr(found, name)) for name in ("coverage", "accuracy", "auc", "brier", "ece", "cllr")},
    }


def share_row(hits: Mask, clusters: NDArray[np.int64]) -> list[float] | None:
    """[share, low, high], None of nothing."""
    return _row(share(hits, clusters))


def _row(measured: ClusteredFigure | None) -> list[float] | None:
    if measured is None:
        return None
    return [round(float(v), 4) for v in (measured.value, *(measured.interval or (0.0, 1.0)))]


def splits(truth: Truth) -> dict[str, Mask]:
    """Dials by px/mm of their photograph."""
    return {
        "all": np.ones(len(truth.hand), bool),
        f"{FINE:g} px/mm and above": truth.px_per_mm >= FINE,
        f"below {COARSE:g} px/mm": truth.px_per_mm < COARSE,
    }


def curve(answers: Answers, px_per_mm: Floats, draws: int = DRAWS) -> list[dict[str, Any]]:
    """Figures by px/mm of the photograph (m,), a row for each bin of CURVE that holds enough."""
    rows = []
    for low, high in pairwise(CURVE):
        found = figures(answers.chosen((px_per_mm >= low) & (px_per_mm < high)), draws=draws)
        if found["auc"] is not None:
            rows.append({"px_per_mm": [low, high], **found})
    return rows


def flips(truth: Truth, told: Sequence[RungCalls]) -> dict[str, Any]:
    """Of twins both decided: how often the call followed the process, the one thing changed.

    The twins of one picture judged by several weights are one cluster.
    """
    order = np.lexsort((1 - truth.hand, truth.cluster))
    painted, printed = order[::2], order[1::2]
    if not (truth.cluster[painted] == truth.cluster[printed]).all():
        raise AssertionError("twins are not complete")
    both, followed, stuck, above, cluster = [], [], [], [], []
    for one in told:
        a, b = one.call[painted], one.call[printed]
        both.append((a != UNTOLD) & (b != UNTOLD))
        followed.append((a == 1) & (b == 0))
        stuck.append((a == b) & (a != UNTOLD))
        known = np.isfinite(one.ratio[painted]) & np.isfinite(one.ratio[printed])
        above.append(np.where(known, one.ratio[painted] > one.ratio[printed], np.nan))
        cluster.append(truth.cluster[painted])
    decided, right, same, order_, pairs = (np.concatenate(part) for part in (both, followed, stuck, above, cluster))
    known = np.isfinite(order_)
    return {
        "pairs": len(pairs),
        "both_decided": int(decided.sum()),
        "call_followed_the_process": share_row(right[decided], pairs[decided]),
        "same_call_for_both": share_row(same[decided], pairs[decided]),
        "painted_twin_scores_higher": share_row(order_[known] > 0, pairs[known]),
    }


def pooled(each: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Mean and range over seeds of the figures of each."""
    result = {}
    for name in ("auc", "accuracy", "coverage", "ece", "brier", "cllr"):
        values = [found[name][0] for found in each.values() if found.get(name) is not None]
        if values:
            result[name] = {"mean": round(float(np.mean(values)), 4), "range": [min(values), max(values)],
                            "seeds": len(values)}  # fmt: skip
    return result
