"""Figures of calls: independent items as the textbook functions say, clusters wider, too little unmeasured."""

import numpy as np
import pytest

from dialtell.model.net.calibration import threshold
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.calibration_error import brier, expected_calibration_error
from dialtell.train.stats.call_figures import (
    Answers,
    Resampling,
    call_figures,
    called_by_ratio,
    coverage_curve,
    joined,
    probabilities,
)
from dialtell.train.stats.discrimination import delong
from dialtell.train.stats.likelihood_ratio import cllr
from dialtell.train.stats.proportion import wilson


def drawn(n=120, seed=3):
    rng = np.random.default_rng(seed)
    hand = np.arange(n) % 2
    return hand, rng.normal(2.0 * hand - 1, 1.2)


def test_independent_items_agree_with_the_functions_of_each_figure():
    hand, ratio = drawn()
    found = call_figures(called_by_ratio(hand, ratio))
    assert (found.auc.value, found.auc.interval) == delong(hand, ratio)
    decided = np.abs(ratio) >= threshold()
    right = int(((ratio > 0) == hand)[decided].sum())
    assert (found.n, found.painted, found.judged) == (120, 60, 120)
    assert (found.decided, found.right) == (decided.sum(), right)
    assert found.accuracy.interval == pytest.approx(wilson(right, int(decided.sum())))
    assert found.coverage.value == decided.mean()
    assert found.brier.value == brier(hand, probabilities(ratio))
    assert found.ece.value == expected_calibration_error(hand, probabilities(ratio))
    assert found.cllr.value == cllr(ratio[hand == 1], ratio[hand == 0])
    assert found.brier.interval is None and found.auc.method == "delong"


@pytest.mark.parametrize("by_kind", [True, False])
def test_weighted_draws_are_the_figures_of_the_items_drawn(by_kind, monkeypatch):
    """A draw's weights give what the plain functions give of the items so often repeated."""
    hand, ratio = drawn(40)
    weights = np.random.default_rng(0).integers(0, 4, (1, 40)).astype(float)
    monkeypatch.setattr("dialtell.train.stats.call_figures.cluster_weights", lambda *_, **__: weights)
    found = call_figures(called_by_ratio(hand, ratio), resampling=Resampling(50, 1, 1, by_kind))
    at = np.repeat(np.arange(40), weights[0].astype(int))
    labels, told = hand[at], ratio[at]
    assert found.brier.interval[0] == pytest.approx(brier(labels, probabilities(told)))
    assert found.ece.interval[0] == pytest.approx(expected_calibration_error(labels, probabilities(told)))
    assert found.cllr.interval[0] == pytest.approx(cllr(told[labels == 1], told[labels == 0]))


@pytest.mark.parametrize("by_kind", [True, False])
def test_items_alike_in_clusters_do_not_narrow(by_kind):
    answers = called_by_ratio(*drawn())
    how = Resampling(200, 5, 6, by_kind)
    once, six = (call_figures(part, resampling=how) for part in (answers, joined([answers] * 6)))
    assert six.n == 720 and six.clusters == 120
    for name in ("auc", "brier", "cllr", "coverage", "accuracy"):
        (low, high), (wide_low, wide_high) = getattr(once, name).interval, getattr(six, name).interval
        assert wide_high - wide_low == pytest.approx(high - low, rel=0.25), name


def test_too_little_is_not_measured():
    nothing = call_figures(Answers(*(np.zeros(0) for _ in range(3))))
    assert nothing.n == 0 and nothing.coverage is nothing.accuracy is nothing.auc is None
    one_each = call_figures(called_by_ratio([1, 0], [2.0, -2.0]))
    assert one_each.auc.value == 1.0 and one_each.auc.interval is None
    assert call_figures(called_by_ratio([1, 0], [2.0, -2.0]), fewest=2).auc is None
    unjudged = call_figures(Answers(np.array([1, 0]), np.array([np.nan, np.nan]), np.array([-1, -1])))
    assert (unjudged.judged, unjudged.decided, unjudged.accuracy) == (0, 0, None)
    sources = Answers(
        np.array([1, 1, 0, 0]), np.array([2.0, 1.0, -2.0, 0.1]), np.array([1, 1, 0, -1]), np.arange(4) // 2
    )
    found = call_figures(sources, resampling=Resampling(50, 1, 1))
    assert found.brier.interval is None and found.brier.method == "none, one cluster of a kind"


def test_coverage_falls_to_the_surest_calls():
    answers = Answers(np.array([1, 0, 0, 1]), np.array([2.0, 1.0, -1.0, np.nan]), np.array([1, 1, 0, -1]))
    assert [point[:2] for point in coverage_curve(answers)] == [(0.25, 1.0), (0.75, pytest.approx(2 / 3))]
    assert [point.called for point in coverage_curve(answers, least=2)] == [0.75]
    many = coverage_curve(called_by_ratio(*drawn(500)), most=50)
    assert len(many) == 50 and many[-1].called == 1.0
    assert all(point.low <= point.right <= point.high for point in many)
    assert coverage_curve(called_by_ratio([1, 0], [0.0, 0.0])) == []  # a ratio of 1 speaks for neither


def test_lists_of_other_lengths_are_named():
    with pytest.raises(ParameterError, match=r"answers have shapes .*'ratio': \(1,\)"):
        called_by_ratio([1, 0], [1.0])
