"""Clusters drawn whole: every draw has both kinds, and repeats of an item know no more than it does."""

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.resampling import cluster_weights, drawn_counts, numbered, percentile_interval, strata_of


@pytest.mark.parametrize("by_kind", [True, False])
def test_any_statistic_is_resampled_by_clusters(by_kind):
    rng = np.random.default_rng(1)
    labels = np.repeat([1, 0], 40)
    scores = rng.normal(size=80) + labels
    clusters = np.tile(np.arange(40), 2)  # each holds both kinds
    weights = cluster_weights(labels, clusters, rng=rng, draws=400, by_kind=by_kind)
    assert weights.shape == (400, 80) and (weights.sum(axis=1) == 80).all()
    assert (weights[:, :40] == weights[:, 40:]).all()  # a cluster is there as a whole, or not
    areas = np.array([roc_auc_score(labels, scores, sample_weight=weight) for weight in weights])
    interval = percentile_interval(areas)
    assert interval.low < roc_auc_score(labels, scores) < interval.high
    nine = np.tile(np.arange(80), 9)
    many = cluster_weights(labels[nine], np.tile(clusters, 9), rng=rng, draws=400, by_kind=by_kind)
    again = percentile_interval(many @ scores[nine] / many.sum(axis=1))
    once = percentile_interval(weights @ scores / weights.sum(axis=1))
    assert again == pytest.approx(once, abs=0.06)  # repeats do not narrow it


def test_one_cluster_of_a_kind_cannot_be_resampled():
    assert cluster_weights([1, 1, 0], [0, 0, 1], rng=np.random.default_rng(1), draws=9) is None


def test_clusters_are_drawn_apart_by_what_they_hold():
    hand = np.array([1, 1, 0, 0, 1, 0, 0], dtype=bool)
    member, count = numbered(["a", "b", "b", "c", "d", "e", "e"])
    strata = strata_of(hand, member, count)
    assert [stratum.tolist() for stratum in strata] == [[0, 3], [2, 4], [1]]
    counts = drawn_counts(strata, count, rng=np.random.default_rng(0), draws=200)
    assert all((counts[:, stratum].sum(axis=1) == len(stratum)).all() for stratum in strata)
    assert counts[:, [0, 3]].mean() == pytest.approx(1.0) and counts[:, 0].max() == 2


def test_wrong_use_is_named():
    rng = np.random.default_rng(0)
    with pytest.raises(ParameterError, match=r"labels have shape \(2,\) and clusters \(1,\)"):
        cluster_weights([1, 0], [1], rng=rng, draws=9)
    with pytest.raises(ParameterError, match="draws is 0"):
        cluster_weights([1, 0], [0, 1], rng=rng, draws=0)
