"""Intervals over clusters: exact where items are independent, honest where they are not."""

import numpy as np
import pytest
from scipy import stats

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.clustered import clustered_auc, clustered_share, kish, linked
from dialtell.train.stats.discrimination import delong, newcombe_auc
from dialtell.train.stats.proportion import wilson


def test_items_that_share_a_key_are_linked_through_others():
    sources = ["book", "book", "", "museum", "", ""]
    dials = ["a", "b", "b", "c", "", ""]
    assert linked(dials, sources).tolist() == [0, 0, 0, 1, 2, 3]
    assert linked([None] * 3).tolist() == [0, 1, 2]


def test_independent_items_give_wilsons_interval():
    # 15 of 148, Newcombe 1998, table I, method 3
    measured = clustered_share(np.arange(148) < 15, np.arange(148))
    assert measured.interval == pytest.approx((0.0624, 0.1605), abs=5e-5)
    assert measured.effective == 148


def test_answers_alike_within_clusters_count_once_each():
    # five dials, four photographs each, all photographs of a dial called alike: worth at most five dials
    hits, clusters = np.repeat([1, 1, 1, 1, 0], 4), np.repeat(np.arange(5), 4)
    assert kish(clusters) == 5
    assert clustered_share(hits, clusters).interval == pytest.approx(wilson(4, 5))
    perfect = clustered_share(np.ones(20), clusters).interval
    assert perfect == wilson(5, 5) and perfect.low < wilson(20, 20).low
    # one source, however many photographs, is one
    assert clustered_share(np.ones(50), np.zeros(50)).interval == pytest.approx(wilson(1, 1))


def test_design_effect_is_that_of_the_ratio_estimate():
    # linearised variance of a ratio of cluster totals (Cochran, Sampling Techniques, 1977, 11.8; from memory)
    rng = np.random.default_rng(5)
    clusters = np.repeat(np.arange(40), rng.integers(1, 9, 40))
    hits = rng.random(len(clusters)) < np.clip(rng.normal(0.7, 0.25, 40), 0, 1)[clusters]
    totals = np.array([(hits[clusters == k].sum(), (clusters == k).sum()) for k in range(40)], dtype=float)
    share = hits.mean()
    variance = 40 * np.var(totals[:, 0] - share * totals[:, 1], ddof=1) / len(hits) ** 2
    freedom = (stats.t.ppf(0.975, len(hits) - 1) / stats.t.ppf(0.975, 39)) ** 2
    assert clustered_share(hits, clusters).effective == pytest.approx(share * (1 - share) / variance * freedom)


@pytest.mark.parametrize(("count", "icc", "truth"), [(6, 0.5, 0.9), (20, 0.5, 0.9), (20, 0.0, 0.8)])
def test_share_intervals_hold_their_level(count, icc, truth):
    rng = np.random.default_rng(count)
    edge, covered = stats.norm.ppf(truth), 0
    for _ in range(400):
        clusters = np.repeat(np.arange(count), rng.integers(1, 7, count))
        latent = np.sqrt(icc) * rng.normal(size=count)[clusters] + np.sqrt(1 - icc) * rng.normal(size=len(clusters))
        low, high = clustered_share(latent < edge, clusters).interval
        covered += low <= truth <= high
    assert covered / 400 > 0.92  # 95 % less three standard errors


def test_newcombe_interval_does_not_collapse_and_nears_delong():
    low, high = newcombe_auc(1.0, 20, 20)
    assert high == 1.0 and 0.85 < low < 0.95
    # the ends solve the score equation with the Hanley-McNeil variance (Radiology 143, 1982, 29-36)
    area, m, n = 0.9, 30.0, 50.0
    for t in newcombe_auc(area, m, n):
        spare = (m + n) / 2 - 1
        q1, q2 = t / (2 - t), 2 * t * t / (1 + t)
        variance = (t * (1 - t) + spare * (q1 - t * t) + spare * (q2 - t * t)) / (m * n)
        assert abs(area - t) == pytest.approx(1.959964 * np.sqrt(variance), rel=1e-5)
    rng = np.random.default_rng(0)
    labels = np.repeat([1, 0], 1000)
    scores = rng.normal(size=2000) + labels
    value, wide = delong(labels, scores)
    assert newcombe_auc(value, 1000, 1000) == pytest.approx(wide, abs=0.004)
    assert newcombe_auc(0.3, 9, 12) == pytest.approx([1 - x for x in newcombe_auc(0.7, 12, 9)[::-1]], abs=1e-6)
    assert newcombe_auc(0.0, 5, 5).low == 0.0


def test_perfect_separation_of_few_clusters_leaves_room():
    labels, clusters = np.repeat([1, 0], 20), np.repeat(np.arange(8), 5)
    measured = clustered_auc(labels, labels * 2.0, clusters, rng=np.random.default_rng(0), draws=200)
    assert measured.value == 1.0 and measured.interval.high == 1.0
    assert measured.interval == pytest.approx(newcombe_auc(1.0, 4, 4))
    one_each = clustered_auc([1, 1, 0, 0], [3, 2, 1, 0], [7, 7, 8, 8], rng=np.random.default_rng(0))
    assert one_each.interval.low < 0.4  # one painted source against one printed shows next to nothing


def test_lists_of_other_lengths_are_named():
    with pytest.raises(ParameterError, match=r"hits have shape \(2,\) and clusters \(1,\)"):
        clustered_share([1, 0], [1])
    with pytest.raises(ParameterError, match="0 hand"):
        newcombe_auc(0.5, 0, 3)
