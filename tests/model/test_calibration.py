"""Calibration: the fit finds what logits were made with, and what is stated stays within what can be vouched for."""

import json
import math

import numpy as np
import pytest

from dialtell.model.net.calibration import (
    HAND,
    PRINTED,
    UNDETERMINED,
    Calibration,
    call_for,
    call_number,
    probability,
    threshold,
)
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.run.calibrate import RESOLUTION_BINS, figures, fit_calibration


@pytest.mark.parametrize("cost", [2.0, 5.0, 10.0, 101.0])
def test_a_call_is_made_where_it_costs_less_than_none(cost):
    """p > 1 - 1 / cost, the least expected cost at prior 1:1 (Chow's rule of rejection, 1970: from memory)."""
    at = threshold(cost)
    assert probability(at) == pytest.approx(1 - 1 / cost)
    for ratio in np.linspace(-3, 3, 61):
        p = max(probability(ratio), 1 - probability(ratio))
        cheaper = cost * (1 - p) < 1
        if abs(cost * (1 - p) - 1) > 1e-9:
            assert (call_for(ratio, cost) != UNDETERMINED) == cheaper


def test_threshold_at_the_cost_stated():
    assert threshold() == pytest.approx(math.log10(9))
    assert (call_for(0.96), call_for(-0.96)) == (HAND, PRINTED)
    assert (call_for(0.95), call_for(-0.95), call_for(None)) == (UNDETERMINED,) * 3
    with pytest.raises(ParameterError, match=r"cost is 1\.5; give"):
        threshold(1.5)


def test_probability_is_odd_and_known():
    assert probability(math.log10(19)) == pytest.approx(0.95)
    assert probability(0.0) == 0.5 and probability(1.0) == pytest.approx(10 / 11)
    assert probability(2.3) + probability(-2.3) == pytest.approx(1.0)


def test_caps_hold():
    calibration = Calibration(slope=2.0, offset=0.5, low=-1.0, high=1.5)
    for logit in np.linspace(-40, 40, 81):
        held, cut = calibration.log10_lr(logit)
        raw = (2.0 * logit + 0.5) / math.log(10)
        assert held == pytest.approx(min(max(raw, -1.0), 1.5)) and cut == (held != raw)


def test_low_resolution_shrinks_towards_nothing():
    calibration = Calibration(bounds=((-3.0, 0.0), (-1.0, 0.4)))
    full = calibration.log10_lr(3.0, 0.0)[0]
    assert full == pytest.approx(3.0 / math.log(10))
    assert calibration.log10_lr(3.0, -2.0)[0] == pytest.approx(0.4 * full)
    assert calibration.log10_lr(3.0, -3.0)[0] == calibration.log10_lr(3.0, -3.5)[0] == 0.0


@pytest.mark.parametrize("wrong", [{"slope": -0.1}, {"low": 0.1}, {"high": -0.1}, {"offset": math.nan}])
def test_calibration_refuses(wrong):
    (name,) = wrong
    with pytest.raises(ParameterError, match=f"{name} is"):
        Calibration(**wrong)


def made(slope, offset, n, seed, share=0.5):
    """Logits and truth for which log odds at prior 1:1 are slope * logit + offset.

    With normal classes of equal spread s about +m and -m, log LR = 2 m x / s^2: x is that turned into the logit.
    """
    rng = np.random.default_rng(seed)
    hand = rng.random(n) < share
    evidence = np.where(hand, 1.0, -1.0) * 2.0 + 2.0 * rng.standard_normal(n)  # log LR: variance is twice its mean
    return (evidence - offset) / slope, hand.astype(float)


@pytest.mark.parametrize(("slope", "offset"), [(1.0, 0.0), (0.35, 1.2), (3.0, -2.0)])
@pytest.mark.parametrize("share", [0.5, 0.2])
def test_the_fit_finds_slope_and_offset(slope, offset, share):
    """Whatever share of the set is painted: both sides count alike, so the prior stays 1:1."""
    fitted = fit_calibration(*made(slope, offset, 20_000, 5, share))
    assert fitted.slope == pytest.approx(slope, rel=0.06)
    assert fitted.offset == pytest.approx(offset, abs=0.12)


def test_platt_targets_keep_a_clean_separation_finite():
    """Perfectly told apart: without smoothed targets ((n1 + 1) / (n1 + 2), 1 / (n0 + 2)) the slope has no end.

    At logits of +-z the fitted probability is then the target itself (Platt, Advances in Large Margin
    Classifiers, 1999).
    """
    n = 30
    fitted = fit_calibration(np.repeat([-4.0, 4.0], n), np.repeat([0.0, 1.0], n))
    at = fitted.slope * 4.0 + fitted.offset
    assert 1 / (1 + math.exp(-at)) == pytest.approx((n + 1) / (n + 2), abs=2e-3)


def test_caps_grow_with_the_dials_that_vouch_for_them():
    """Separated clean, n a side allow an LR of at most n: see validated_bounds. Here the fit itself stays below."""
    caps = [fit_calibration(np.repeat([-4.0, 4.0], n), np.repeat([0.0, 1.0], n)) for n in (10, 100)]
    for n, fitted in zip((10, 100), caps, strict=True):
        assert fitted.high == pytest.approx(math.log10(n), abs=0.02) and fitted.low == pytest.approx(-fitted.high)
    useless = fit_calibration(np.random.default_rng(0).standard_normal(400), np.tile([0.0, 1.0], 200))
    assert useless.high < 0.35 and useless.low > -0.35


def test_a_net_that_tells_nothing_makes_no_call():
    logit = np.random.default_rng(1).standard_normal(400)
    fitted = fit_calibration(logit, np.tile([0.0, 1.0], 200))
    assert all(call_for(fitted.log10_lr(z)[0]) == UNDETERMINED for z in np.linspace(-6, 6, 25))


@pytest.mark.parametrize("truth", [[1.0, 1.0, 1.0], [0.0, 0.0], []])
def test_one_side_alone_cannot_calibrate(truth):
    fitted = fit_calibration(np.linspace(-1, 1, len(truth)), np.array(truth))
    assert -1.0 <= fitted.low <= 0.0 <= fitted.high <= 1.0 and math.isfinite(fitted.offset)


def test_figures_count_what_they_say():
    logit, truth = made(1.0, 0.0, 800, 3)
    resolution = np.random.default_rng(2).uniform(-4, 1, 800)
    calibration = fit_calibration(logit, truth)
    rows = figures(logit, truth, resolution, calibration)
    assert [row["resolution"] for row in rows] == ["all", *(name for name, *_ in RESOLUTION_BINS)]
    assert rows[0]["n"] == 800 == sum(row["n"] for row in rows[1:])
    ratio = np.array([calibration.log10_lr(z)[0] for z in logit])
    decided = np.abs(ratio) >= threshold()
    assert rows[0]["decided"] == decided.sum()
    assert rows[0]["right"] == (decided & ((ratio > 0) == (truth == 1))).sum()
    # a calibrated set at 1:1 is right at least as often as the threshold asks, here 0.9
    assert rows[0]["accuracy"] >= 0.9 and rows[0]["ece"] < 0.06 and rows[0]["cllr"] < 1
    for row in rows:
        assert row["auc_95"][0] <= row["auc"] <= row["auc_95"][1]
        assert row["accuracy_95"][0] <= row["accuracy"] <= row["accuracy_95"][1]
    json.dumps(rows, allow_nan=False)


def test_figures_of_too_few_dials_say_so():
    rows = figures(np.zeros(6), np.array([1.0, 0, 1, 0, 1, 0]), np.zeros(6), Calibration())
    assert all("auc" not in row and row["note"] == "too few dials to measure" for row in rows)


def test_calls_as_numbers():
    assert [call_number(call) for call in (HAND, PRINTED, UNDETERMINED)] == [1, 0, -1]
