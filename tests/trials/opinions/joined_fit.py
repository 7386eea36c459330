"""Sums of the net's ratio and of measurements: their forms, their fit, and how each is judged beside the net alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from trials.opinions.joined_cost import KINDS
from trials.opinions.joined_rows import GROUPS, Row
from trials.opinions.opinion_fit import leans_of

from dialtell.evaluate.measurements.second_opinion import load_weigher
from dialtell.evaluate.measurements.spread import Spread
from dialtell.model.net.calibration import HAND, PRINTED, Calibration, call_for, call_number
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.call_figures import Answers, Resampling, call_figures
from dialtell.train.stats.clustered import ClusteredFigure, clustered_auc
from dialtell.train.stats.discrimination import auc
from dialtell.train.stats.likelihood_ratio import cllr
from dialtell.train.stats.resampling import drawn_counts, numbered, percentile_interval, strata_of

Floats = NDArray[np.float64]

FOLDS = 5
STRENGTHS = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0)  # inverse penalties tried
FREELY = 3.0  # how much more freely the net's weight may move than a measurement's
DRAWS = 2000
NET, ALONE, CHOSEN = "net", "measurements alone", "net and measurements chosen"
DECIDE = ("families", "outside")  # groups on which a form must better the net


class Table:
    """Judged dials as columns. leans : (n,) by "zone|name"."""

    def __init__(self, rows: Sequence[Row], spread: Spread) -> None:
        self.rows = [row for row in rows if row["net"] is not None]
        self.net = np.array([row["net"] for row in self.rows], dtype=np.float64)
        self.hand = np.array([row["hand"] for row in self.rows], dtype=np.int8)
        self.group = np.array([row["group"] for row in self.rows])
        self.cluster = np.unique([row["cluster"] for row in self.rows], return_inverse=True)[1].astype(np.int64)
        self.leans = [leans_of(row, spread) for row in self.rows]

    def of(self, group: str) -> NDArray[np.intp]:
        """Rows of a group."""
        return np.flatnonzero(self.group == group)

    def summed(self, names: Sequence[str]) -> Floats:
        """(n,) leans of these measurements, summed over zones."""
        wanted = set(names)
        return np.array([math.fsum(v for key, v in each.items() if key.split("|")[1] in wanted) for each in self.leans])

    def opinion(self) -> Floats:
        """(n,) log10 LR of the second opinion before its cap, 0 without one."""
        weights = load_weigher().weights
        return np.array([sum(weights.get(key, 0.0) * v for key, v in each.items()) for each in self.leans]) / math.log(
            10
        )


def helpful(table: Table) -> list[str]:
    """Measurements that each alone, beside the net, lower the cost on parts of the fit left out."""
    fit, net = table.of("fit"), FREELY * table.net
    bare = left_out(net[:, None], table.hand, fit)[1]
    each = {name: table.summed([name]) for kind in KINDS.values() for name in kind}
    return [
        name
        for name, column in each.items()
        if column.any() and left_out(np.column_stack([net, column]), table.hand, fit)[1] < bare
    ]


def forms_of(table: Table, chosen: Sequence[str]) -> dict[str, Floats]:
    """Columns of every form: (n, k), the net's ratio first where the form has it. chosen : see `helpful`."""
    each = {name: table.summed([name]) for kind in KINDS.values() for name in kind}
    kinds = {kind: table.summed(own) for kind, own in KINDS.items()}
    net, opinion = FREELY * table.net, table.opinion()
    forms = {NET: [net], ALONE: [opinion], "net and second opinion": [net, opinion]}
    forms |= {f"net and {kind}": [net, column] for kind, column in kinds.items()}
    forms |= {"net and every kind": [net, *kinds.values()], "net and every measurement": [net, *each.values()]}
    forms[CHOSEN] = [net, *(each[name] for name in chosen)]
    return {name: np.column_stack(columns) for name, columns in forms.items()}


def fitted(columns: Floats, hand: NDArray[np.int8], on: NDArray[np.intp], strength: float) -> Floats:
    """(n,) log10 LR of all dials from a logistic fit on some, both kinds counting alike."""
    from sklearn.linear_model import LogisticRegression

    model = LogisticRegression(C=strength, class_weight="balanced", max_iter=2000).fit(columns[on], hand[on])
    return np.asarray(model.decision_function(columns) / math.log(10), dtype=np.float64)


def left_out(columns: Floats, hand: NDArray[np.int8], fit: NDArray[np.intp]) -> tuple[Floats, float, float]:
    """(ratios of the fit's dials, each part from a fit without it; their Cllr; the strength) at the best strength."""
    best: tuple[Floats, float, float] | None = None
    for strength in STRENGTHS:
        ratio = np.zeros(len(fit))
        for fold in range(FOLDS):
            away = np.arange(len(fit)) // 2 % FOLDS == fold
            ratio[away] = fitted(columns, hand, fit[~away], strength)[fit[away]]
        cost = cllr(ratio[hand[fit] == 1], ratio[hand[fit] == 0])
        if best is None or cost < best[1]:
            best = ratio, cost, strength
    assert best is not None
    return best


def answers(table: Table, rows: NDArray[np.intp], ratio: Floats) -> Answers:
    """Some dials with their ratios and the calls that follow."""
    calls = []
    for row, value in zip(rows, ratio, strict=True):
        call = call_for(float(value))
        said = {call, *table.rows[row]["zones"]}
        calls.append(-1 if {HAND, PRINTED} <= said else call_number(call))
    return Answers(table.hand[rows], ratio, np.array(calls, np.int8), table.cluster[rows])


def judged(table: Table, caps: Calibration) -> dict[str, Any]:
    """Every form on every group, and its difference to the net refitted."""
    fit = table.of("fit")
    for group in GROUPS:
        kinds = set(table.hand[table.of(group)].tolist())
        if len(kinds) < 2 or (group == "fit" and len(fit) < 4 * FOLDS):
            raise ParameterError(f"group {group} has {len(table.of(group))} judged dials; give a larger --count")
    ratios: dict[str, Floats] = {}
    found: dict[str, Any] = {}
    chosen = helpful(table)
    for form, columns in forms_of(table, chosen).items():
        own, cost, strength = left_out(columns, table.hand, fit)
        whole = fitted(columns, table.hand, fit, strength)
        whole[fit] = own
        ratios[form] = np.clip(whole, caps.low, caps.high)
        found[form] = {"columns": columns.shape[1], "strength": strength, "cllr_left_out": round(cost, 4), "groups": {}}
    found[CHOSEN]["chosen"] = chosen
    ratios["net as shipped"] = np.clip(table.net, caps.low, caps.high)
    found["net as shipped"] = {"columns": 0, "groups": {}}
    for form, one in found.items():
        for group in GROUPS:
            rows = table.of(group)
            one["groups"][group] = _figures(answers(table, rows, ratios[form][rows]))
            if form != NET:
                one["groups"][group] |= difference(
                    table.hand[rows], ratios[form][rows], ratios[NET][rows], table.cluster[rows]
                )
        one["betters"] = form != NET and betters(one["groups"])
    return found


def betters(groups: Mapping[str, Mapping[str, Any]]) -> bool:
    """Whether a form betters the net on held-out letterforms and on other code, see above."""
    return all(
        groups[g]["auc_gain"] > 0 > groups[g]["cllr_change"] and groups[g]["cllr_change_95"][1] < 0 for g in DECIDE
    )


def _figures(seen: Answers) -> dict[str, Any]:
    found = call_figures(seen, resampling=Resampling(DRAWS, 1, 1))
    rounded = {name: _entry(getattr(found, name)) for name in ("auc", "cllr", "coverage")}
    return {"n": found.n, "painted": found.painted, "clusters": found.clusters, "decided": found.decided,
            "wrong": found.decided - found.right, **rounded}  # fmt: skip


def _entry(figure: ClusteredFigure | None) -> list[float] | None:
    """[value, low, high]."""
    if figure is None:
        return None
    return [round(float(v), 4) for v in (figure.value, *(figure.interval or (math.nan, math.nan))) if math.isfinite(v)]


def difference(hand: NDArray[np.int8], one: Floats, other: Floats, clusters: NDArray[np.int64]) -> dict[str, Any]:
    """How much more AUC and how much Cllr `one` has than `other` on the same dials, with intervals over clusters."""
    told = hand == 1
    member, count = numbered(clusters)
    drawn = drawn_counts(strata_of(told, member, count), count, rng=np.random.default_rng(2), draws=DRAWS)
    weights = drawn[:, member]
    area = auc(hand, one) - auc(hand, other)
    drawn_area = _areas(weights, told, one) - _areas(weights, told, other)
    spent = [np.logaddexp(0.0, np.where(told, -1, 1) * ratio * math.log(10)) / math.log(2) for ratio in (one, other)]
    bits = spent[0] - spent[1]
    cost = 0.5 * (bits[told].mean() + bits[~told].mean())
    sides = [weights[:, side] @ bits[side] / weights[:, side].sum(axis=1) for side in (told, ~told)]
    return {
        "auc_gain": round(float(area), 4),
        "auc_gain_95": [round(v, 4) for v in percentile_interval(drawn_area)],
        "cllr_change": round(float(cost), 4),
        "cllr_change_95": [round(v, 4) for v in percentile_interval(0.5 * (sides[0] + sides[1]))],
    }


def _areas(weights: Floats, told: NDArray[np.bool_], ratio: Floats) -> Floats:
    """(draws,) AUC of items counted so often."""
    above = np.sign(ratio[told][:, None] - ratio[~told][None, :]) / 2 + 0.5
    hand, printed = weights[:, told], weights[:, ~told]
    return np.asarray(((hand @ above) * printed).sum(axis=1) / (hand.sum(axis=1) * printed.sum(axis=1)))


def single(table: Table) -> dict[str, dict[str, Any]]:
    """AUC of each measurement's leans alone, summed over zones, where it was measured at all: what carries over."""
    found: dict[str, dict[str, Any]] = {}
    for name in (name for kind in KINDS.values() for name in kind):
        there = np.array([any(key.endswith(f"|{name}") for key in each) for each in table.leans])
        value = table.summed([name])
        found[name] = {}
        for group in GROUPS:
            rows = table.of(group)[there[table.of(group)]]
            if min(np.bincount(table.hand[rows], minlength=2)) >= FOLDS:
                area = clustered_auc(
                    table.hand[rows], value[rows], table.cluster[rows], rng=np.random.default_rng(3), draws=500
                )
                found[name][group] = {"n": len(rows), "auc": _entry(area)}
    return found
