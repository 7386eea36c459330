"""Figures of a rung against hand-worked numbers, scikit-learn, and the functions training measures with."""

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss, roc_auc_score

from dialtell.evaluate.ladder.dials import RungCalls
from dialtell.evaluate.ladder.figures import (
    CURVE,
    Truth,
    curve,
    dials_of,
    figures,
    flips,
    pooled,
    splits,
    zones_of,
)
from dialtell.synth.shared.terms import ZONES
from dialtell.train.stats.call_figures import Answers, joined
from dialtell.train.stats.proportion import wilson


def answers(n=400, shift=0.6, seed=0):
    """Calibrated by construction: log LR normal with variance 2 x mean (the equal-variance binormal model)."""
    rng = np.random.default_rng(seed)
    hand = (np.arange(n) % 2).astype(np.int8)
    logit = rng.normal(np.where(hand, 2, -2) * shift**2, 2 * shift)
    ratio = logit / np.log(10)
    call = np.where(np.abs(ratio) < 0.9, -1, ratio > 0).astype(np.int8)
    return Answers(hand, ratio, call, np.arange(n))


def test_against_scikit_learn_and_wilson():
    given = answers()
    found = figures(given)
    probability = 1 / (1 + 10.0**-given.ratio)
    assert found["auc"][0] == pytest.approx(roc_auc_score(given.hand, given.ratio), abs=6e-5)
    assert found["brier"][0] == pytest.approx(brier_score_loss(given.hand, probability), abs=6e-5)
    decided = given.call >= 0
    right = int((given.call == given.hand)[decided].sum())
    assert (found["decided"], found["right"]) == (decided.sum(), right)
    assert found["accuracy"][1:] == pytest.approx(wilson(right, int(decided.sum())), abs=6e-5)
    assert found["coverage"][0] + found["undetermined"][0] == pytest.approx(1, abs=1e-4)
    for name in ("auc", "brier", "ece", "cllr", "accuracy"):
        value, low, high = found[name]
        assert low <= high and high - low < 0.2
        assert name == "ece" or low <= value <= high  # resampling adds noise to the bins, hence to the error


def test_intervals_hold_the_truth():
    """AUC and Cllr of the model, over 60 samples: about 57 intervals of 95 % hold each."""
    great = figures(answers(200_000, seed=9), draws=2)
    held = {"auc": 0, "cllr": 0}
    for seed in range(60):
        found = figures(answers(300, seed=seed + 1), draws=200)
        for name in held:
            held[name] += found[name][1] <= great[name][0] <= found[name][2]
    assert all(50 <= count <= 60 for count in held.values()), held


def test_judged_three_times_is_not_three_dials():
    """Three nets that answer alike know no more than one: the same figures, intervals hardly narrower."""
    one = answers(300)
    alone, three = figures(one), figures(joined([one] * 3))
    assert three["n"] == 900 and three["dials"] == 300
    for name in ("auc", "accuracy", "coverage", "cllr"):
        assert three[name][0] == pytest.approx(alone[name][0], abs=1e-4)
        narrower = (three[name][2] - three[name][1]) / (alone[name][2] - alone[name][1])
        assert 0.8 < narrower < 1.25, name


def test_too_few_have_no_figures():
    given = answers(12)
    found = figures(given)
    assert found["auc"] is found["cllr"] is None and found["n"] == 12
    none = figures(given.chosen(np.zeros(12, bool)))
    assert none["coverage"] is None and none["n"] == 0


def rung(hand, calls, ratios=None):
    n = len(hand)
    hand = np.array(hand, np.int8)
    truth = Truth(
        hand, np.tile(hand[:, None], (1, len(ZONES))), np.arange(n) // 2, np.full(n, 20.0), np.full(n, 15.0),
        np.ones(n, bool),
    )  # fmt: skip
    call = np.array(calls, np.int8)
    ratio = np.array(ratios if ratios is not None else np.where(call < 0, 0.0, 2.0 * call - 1), float)
    return truth, RungCalls(
        ratio, call, np.tile(ratio[:, None], (1, len(ZONES))), np.tile(call[:, None], (1, len(ZONES)))
    )


def test_flips_by_hand():
    """Four pairs: followed, both called painted, one undecided, swapped."""
    truth, told = rung([1, 0] * 4, [1, 0, 1, 1, 1, -1, 0, 1], [1, -1, 2, 1, 1, 0, -1, 1])
    found = flips(truth, [told])
    assert (found["pairs"], found["both_decided"]) == (4, 3)
    assert found["call_followed_the_process"][0] == pytest.approx(1 / 3, abs=1e-4)
    assert found["same_call_for_both"][0] == pytest.approx(1 / 3, abs=1e-4)
    assert found["painted_twin_scores_higher"][0] == 0.75
    assert found["call_followed_the_process"][1:] == pytest.approx(wilson(1, 3), abs=1e-4)


def test_mixed_dials_count_by_zone_only():
    truth, told = rung([1, 0, -1, -1], [1, 0, 1, 0])
    truth.zone_hand[2:] = [[1, 0, -1, -1, -1], [0, 1, 1, -1, -1]]
    assert len(dials_of(truth, told).hand) == 2
    zones = zones_of(truth, told)
    assert len(zones.hand) == 2 * len(ZONES) + 2 + 3 and len(np.unique(zones.cluster)) == 2
    assert zones_of(truth, told, 3).hand.tolist() == [1, 0]


def test_splits_and_curve_go_by_px_per_mm():
    given = answers(400)
    scale = np.exp(np.random.default_rng(0).uniform(np.log(4), np.log(120), 400))
    rows = curve(given, scale, draws=50)
    assert sum(row["n"] for row in rows) == 400 and [row["px_per_mm"][0] for row in rows] == list(CURVE[:-1])
    truth, _ = rung([1, 0] * 3, [1, 0] * 3)
    truth.px_per_mm[:] = [5, 7.9, 8, 29, 30, 60]
    assert [int(mask.sum()) for mask in splits(truth).values()] == [6, 2, 2]


def test_pooled_over_seeds():
    each = {str(seed): figures(answers(200, seed=seed)) for seed in range(3)}
    areas = [found["auc"][0] for found in each.values()]
    found = pooled(each)["auc"]
    assert found == {"mean": pytest.approx(np.mean(areas), abs=1e-4), "range": [min(areas), max(areas)], "seeds": 3}
