"""The second opinion fitted to measured dials, and how well it tells painted from printed.

    python tests/trials opinions/opinion_fit --count 400

draws fresh dials and prints how well painted and printed are told apart. `opinions/reference_spread --opinion` fits.
"""

from __future__ import annotations

import argparse
import json
import math
import os
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.measurements.finding import Finding
from dialtell.evaluate.measurements.gathering import MEASURES
from dialtell.evaluate.measurements.second_opinion import SCHEMA, Weigher, load_weigher, weigher_from
from dialtell.evaluate.measurements.spread import Spread, load_spread, read_spread, spread_of
from dialtell.synth.shared.terms import Zone

Floats = NDArray[np.float64]

FRESH = 7_300_002  # set of the dials it is tested on
FOLDS = 5
STRENGTHS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0)  # inverse penalties tried
COMMON = 3.0  # how much more freely the weight all leans share may move than each one's own


def leans_of(row: Mapping[str, Any], spread: Spread) -> dict[str, float]:
    """Leans of a measured dial (a row of evaluate.reference_spread), by "zone|name"."""
    leans = {}
    for key, value in row["values"].items():
        zone, name = key.split("|")
        finding = Finding(MEASURES[name], Zone(zone), value, MEASURES[name].least)
        place = spread.place(finding, row["scale"])
        if place is not None:
            leans[key] = place.lean
    return leans


def fit_opinion(rows: Sequence[Mapping[str, Any]], renderer_version: str) -> dict[str, Any]:
    """Fit the weights to measured dials; the document of the model.

    Dials are parted by picture: leans of each part come from the spread of the others, the penalty is chosen and the
    bounds are set by parts left out of the fit.
    """
    from dialtell.train.stats.likelihood_ratio import cllr, validated_bounds

    part = np.array([row["picture"] % FOLDS for row in rows])
    leans: list[dict[str, float]] = [{} for _ in rows]
    for fold in range(FOLDS):
        spread = spread_of((row for row, k in zip(rows, part, strict=True) if k != fold), renderer_version)
        for number in np.flatnonzero(part == fold).tolist():
            leans[number] = leans_of(rows[number], spread)
    keys = sorted({key for each in leans for key in each})
    table = np.array([[each.get(key, 0.0) for key in keys] for each in leans])
    hand = np.array([int(row["hand"]) for row in rows])
    trials = {strength: _left_out(table, hand, part, strength) for strength in STRENGTHS}
    cost = {strength: cllr(lr[hand == 1], lr[hand == 0]) for strength, lr in trials.items()}
    best = min(cost, key=lambda strength: cost[strength])
    bounds = validated_bounds(trials[best][hand == 1], trials[best][hand == 0])
    weights = _weights(table, hand, best)
    return {
        "schema": SCHEMA,
        "renderer_version": renderer_version,
        "dials": len(rows),
        "strength": best,
        "cllr_left_out": round(cost[best], 4),
        "log10_bounds": [round(bounds.low, 3), round(bounds.high, 3)],
        "weights": {key: round(float(w), 4) for key, w in zip(keys, weights, strict=True)},
    }


def _left_out(table: Floats, hand: NDArray[np.int64], part: NDArray[np.int64], strength: float) -> Floats:
    """log10 LR of every dial from weights fitted without its part."""
    ratio = np.zeros(len(table))
    for fold in range(FOLDS):
        away = part == fold
        ratio[away] = table[away] @ _weights(table[~away], hand[~away], strength) / math.log(10)
    return ratio


def _weights(table: Floats, hand: NDArray[np.int64], strength: float) -> Floats:
    """One weight a lean: a common one and each one's own departure from it, both penalised; no constant term, so that
    no measurements mean no evidence."""
    from sklearn.linear_model import LogisticRegression

    design = np.column_stack([COMMON * table.sum(axis=1), table])
    model = LogisticRegression(C=strength, fit_intercept=False, max_iter=2000).fit(design, hand)
    found = np.asarray(model.coef_[0], dtype=np.float64)
    return np.asarray(COMMON * found[0] + found[1:])


def report(rows: Iterable[Mapping[str, Any]], spread: Spread, weigher: Weigher) -> dict[str, Any]:
    """How well measured dials are told apart: AUC with its interval over pictures, cost, and how much was missing."""
    from dialtell.train.stats.discrimination import bootstrap_auc
    from dialtell.train.stats.likelihood_ratio import cllr

    judged = [(row, weigher.weigh(leans_of(row, spread))) for row in rows]
    told = [(row, o.log10_lr) for row, o in judged if o.log10_lr is not None]
    hand = np.array([row["hand"] for row, _ in told])
    ratio = np.array([lr for _, lr in told], dtype=np.float64)
    area, interval = bootstrap_auc(
        hand, ratio, rng=np.random.default_rng(1), clusters=[row["picture"] for row, _ in told]
    )
    wrong = int(np.sum((ratio > 0) != (hand == 1)))
    return {
        "dials": len(judged),
        "judged": len(told),
        "auc": round(area, 4),
        "auc_95": [round(end, 4) for end in interval],
        "cllr": round(cllr(ratio[hand == 1], ratio[hand == 0]), 4),
        "wrong_side": wrong,
        "median_measurements_used": float(np.median([len(o.used) for _, o in judged])),
    }


def main(arguments: list[str] | None = None) -> int:
    """Draw fresh dials, weigh them, print one JSON document."""
    from trials.opinions.reference_spread import measured_dials, read_rows

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=400, metavar="N", help="fresh dials, half painted (default: 400)")
    parser.add_argument("--rows", metavar="FILE", help="measured dials to take instead of drawing fresh ones")
    parser.add_argument("--spread", metavar="FILE", help="spread to use (default: the one that comes with dialtell)")
    parser.add_argument("--opinion", metavar="FILE", help="model to use (default: the one that comes with dialtell)")
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)), metavar="N")
    args = parser.parse_args(arguments)
    spread = read_spread(args.spread) if args.spread else load_spread()
    weigher = load_weigher()
    if args.opinion:
        with open(args.opinion, encoding="utf-8") as file:
            weigher = weigher_from(json.load(file), args.opinion)
    rows = read_rows(args.rows) if args.rows else measured_dials(FRESH, args.count, args.workers)
    print(json.dumps(report(rows, spread, weigher)))
    return 0
