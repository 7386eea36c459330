"""The plate test's model fitted to one half of the pairs, by design, and its figures on the other half."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from trials.plates.dial_pairs import Kinship
from trials.plates.pair_rows import PairRow

from dialtell.evaluate.compare.findings import CANNOT_TELL, DIFFERENT, ONE_PLATE, SEPARATE
from dialtell.evaluate.compare.plate_test import FEATURES, PlateModel, features, judge_pair
from dialtell.train.stats.discrimination import delong
from dialtell.train.stats.likelihood_ratio import validated_bounds
from dialtell.train.stats.proportion import wilson

SAME = (Kinship.ONE_PLATE, Kinship.CUT_TWICE, Kinship.ONE_HAND, Kinship.TWO_HANDS)
PAINTED = (Kinship.ONE_HAND, Kinship.TWO_HANDS)
COARSEST = 120.0  # px per dial radius; below, chance likenesses made other designs look alike (share .86 of 80)
BY_MACHINE = 0.25  # scatter of a plate below which it is counted as cut by machine
FINDINGS = (ONE_PLATE, SEPARATE, DIFFERENT, CANNOT_TELL)


def fits(row: PairRow) -> bool:
    """Whether a pair is one to fit to; the others are measured. One design is on one side at every resolution."""
    return row.index % 2 == 0


def usable(row: PairRow) -> bool:
    """Whether the model can read the pair: one design, laid on each other."""
    return row.kinship in SAME and row.laid is not None and not math.isnan(row.laid.spread)


def fit(rows: Sequence[PairRow]) -> dict[str, Any]:
    """The model's JSON: logistic regression at equal weight of both propositions, capped by what these pairs vouch for.

    Designs are the same from the share that 98 % of pairs of different ones stay below, and differ up to nine tenths
    of the least share that a pair of one design had: a painted copy that strays far must not be called another design.
    """
    from sklearn.linear_model import LogisticRegression

    unlike = [row.laid.share for row in rows if row.kinship == Kinship.DIFFERENT and row.laid is not None
              and row.laid.scale >= COARSEST]  # fmt: skip
    alike = [row.laid.share for row in rows if row.kinship != Kinship.DIFFERENT and row.laid is not None
             and row.laid.scale >= COARSEST]  # fmt: skip
    high = float(np.quantile(unlike, 0.98))
    low = min(0.9 * min(alike), high)
    use = [row for row in rows if usable(row) and row.laid is not None and row.laid.share >= high
           and row.laid.scale >= COARSEST]  # fmt: skip
    x = np.array([features(row.laid) for row in use if row.laid is not None])
    y = np.array([row.kinship == Kinship.ONE_PLATE for row in use])
    middle, scale = x.mean(axis=0), x.std(axis=0)
    scale = np.where(scale > 1e-6, scale, 1.0)  # what never varies has no weight
    model = LogisticRegression(C=1.0, class_weight="balanced", max_iter=2000).fit((x - middle) / scale, y)
    weights = model.coef_[0] / scale
    ratio = (model.intercept_[0] + (x - middle) @ weights) / math.log(10)
    bounds = validated_bounds(ratio[y], ratio[~y])
    return {
        "schema": "dialtell.plate/1", "features": list(FEATURES), "offset": float(model.intercept_[0]),
        "weights": weights.tolist(), "middle": middle.tolist(), "low": bounds.low, "high": bounds.high,
        "alike": high, "unlike": low, "coarsest": COARSEST, "figures": {},
    }  # fmt: skip


def figures(rows: Sequence[PairRow], model: PlateModel) -> list[dict[str, Any]]:
    """By resolution, and of all: AUC, calls by kinship, wrong calls with Wilson's interval, errors in mm."""
    resolutions = sorted({row.px_per_mm for row in rows})
    table = [{"px_per_mm": px, **_figures([row for row in rows if row.px_per_mm == px], model)} for px in resolutions]
    return [*table, {"px_per_mm": None, **_figures(rows, model)}] if len(resolutions) > 1 else table


def _figures(rows: Sequence[PairRow], model: PlateModel) -> dict[str, Any]:
    found = [(row, judge_pair(row.laid, model).finding) for row in rows]
    line: dict[str, Any] = {}
    for kinship in Kinship:
        own = [finding for row, finding in found if row.kinship == kinship]
        line[str(kinship)] = {"n": len(own)} | {name: own.count(name) for name in FINDINGS}
    same = [finding for row, finding in found if row.kinship in SAME]
    line["coverage"] = _share(sum(finding != CANNOT_TELL for finding in same), len(same))
    painted = [finding for row, finding in found if row.kinship in PAINTED]
    line["painted called one plate"] = _share(painted.count(ONE_PLATE), len(painted))
    cut = [(row, finding) for row, finding in found if row.kinship == Kinship.CUT_TWICE]
    for name, by_machine in (("by machine", True), ("by hand", False)):
        own = [finding for row, finding in cut if (row.engraver < BY_MACHINE) == by_machine]
        line[f"cut twice {name} called one plate"] = _share(own.count(ONE_PLATE), len(own))
    plate = [finding for row, finding in found if row.kinship == Kinship.ONE_PLATE]
    line["one plate called drawn separately"] = _share(plate.count(SEPARATE), len(plate))
    known = [(row, score) for row, score in zip(rows, _scores(rows, model), strict=True) if usable(row)]
    for name, apart in (("painted", PAINTED), ("cut twice", (Kinship.CUT_TWICE,))):
        chosen = [(row.kinship == Kinship.ONE_PLATE, score) for row, score in known
                  if row.kinship == Kinship.ONE_PLATE or row.kinship in apart]  # fmt: skip
        label = np.array([int(positive) for positive, _ in chosen])
        if 1 < label.sum() < len(label) - 1:
            area, interval = delong(label, np.array([score for _, score in chosen]))
            line[f"AUC against {name}"] = [area, *interval]
    line["residual error mm"] = {
        name: _errors([row.spread_mm - row.true_spread_mm for row in rows if usable(row) and row.kinship in kinds])
        for name, kinds in (("one plate", SAME[:1]), ("cut twice", SAME[1:2]), ("painted", PAINTED))
    }
    line["place error mm"] = _errors([row.place_error_mm for row in rows if row.kinship == Kinship.ONE_PLATE])
    return line


def _scores(rows: Sequence[PairRow], model: PlateModel) -> list[float]:
    """Uncapped, by the model's weights alone."""
    weights, middle = np.array(model.weights), np.array(model.middle)
    return [
        float((np.array(features(row.laid)) - middle) @ weights) if row.laid is not None and usable(row) else math.nan
        for row in rows
    ]


def _share(hits: int, trials: int) -> list[float] | None:
    """Hits, trials and Wilson's 95 % interval."""
    return [hits, trials, *wilson(hits, trials)] if trials else None


def _errors(values: Sequence[float]) -> dict[str, float] | None:
    """n, median, the middle 90 % and the 95 % quantile of sizes; None without a finite value."""
    known: NDArray[np.float64] = np.array([value for value in values if math.isfinite(value)])
    if not len(known):
        return None
    low, median, high = np.quantile(known, [0.05, 0.5, 0.95])
    return {"n": len(known), "median": float(median), "5 %": float(low), "95 %": float(high),
            "95 % of sizes below": float(np.quantile(np.abs(known), 0.95))}  # fmt: skip
