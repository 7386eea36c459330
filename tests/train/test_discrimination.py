import numpy as np
import pytest
from sklearn.metrics import roc_auc_score, roc_curve

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.discrimination import auc, bootstrap_auc, delong, roc


def tied_sample(seed, n=80):
    rng = np.random.default_rng(seed)
    labels = rng.integers(0, 2, n)
    return labels, np.round(rng.normal(size=n) + labels, 1)  # rounding makes ties


def test_auc_of_the_documented_example():
    # scikit-learn documentation of roc_auc_score.
    assert auc([0, 0, 1, 1], [0.1, 0.4, 0.35, 0.8]) == 0.75


@pytest.mark.parametrize("seed", range(5))
def test_auc_and_roc_agree_with_scikit_learn(seed):
    labels, scores = tied_sample(seed)
    assert auc(labels, scores) == pytest.approx(roc_auc_score(labels, scores), abs=1e-12)
    expected = np.stack(roc_curve(labels, scores, drop_intermediate=False), axis=1)
    assert np.array(roc(labels, scores)) == pytest.approx(expected)


def test_delong_variance_is_that_of_the_placements():
    # DeLong et al. 1988, equations 3-5, written out over all pairs, with ties.
    labels, scores = tied_sample(7)
    hand, printed = scores[labels == 1], scores[labels == 0]
    wins = (hand[:, None] > printed) + 0.5 * (hand[:, None] == printed)
    variance = wins.mean(1).var(ddof=1) / len(hand) + wins.mean(0).var(ddof=1) / len(printed)
    area, (low, high) = delong(labels, scores)
    assert area == pytest.approx(wins.mean())
    assert (high - low) / 2 == pytest.approx(1.959964 * np.sqrt(variance), rel=1e-6)


def test_bootstrap_of_independent_items_agrees_with_delong():
    labels, scores = tied_sample(3, n=400)
    area, wide = delong(labels, scores)
    again, drawn = bootstrap_auc(labels, scores, rng=np.random.default_rng(0))
    assert again == area
    assert drawn == pytest.approx(wide, abs=0.01)


def test_repeated_photographs_do_not_narrow_a_clustered_interval():
    labels, scores = tied_sample(4, n=40)
    once = bootstrap_auc(labels, scores, rng=np.random.default_rng(1))[1]
    dial = np.tile(np.arange(40), 9)
    nine = (np.tile(labels, 9), np.tile(scores, 9))
    clustered = bootstrap_auc(*nine, clusters=dial, rng=np.random.default_rng(1))[1]
    naive = bootstrap_auc(*nine, rng=np.random.default_rng(1))[1]
    assert clustered == pytest.approx(once)
    assert naive.high - naive.low < 0.5 * (once.high - once.low)


def test_clusters_holding_both_kinds_and_reproducibility():
    labels, scores = [1, 0, 1, 0, 1, 0], [3, 1, 2, 2, 1, 2]
    clusters = ["a", "a", "b", "b", "c", "c"]
    first, second = (bootstrap_auc(labels, scores, clusters=clusters, rng=np.random.default_rng(5)) for _ in "ab")
    assert first == second
    assert 0 <= first[1].low < first[0] < first[1].high <= 1


@pytest.mark.parametrize(
    ("labels", "scores", "message"),
    [
        ([1, 1], [0.1, 0.2], "AUC needs both kinds"),
        ([0, 2], [0.1, 0.2], r"labels hold \[0, 2\]"),
        ([0, 1], [0.1, float("nan")], "1 NaN"),
        ([0, 1], [0.1], "one length"),
    ],
)
def test_bad_input_is_named(labels, scores, message):
    with pytest.raises(ParameterError, match=message):
        auc(labels, scores)
