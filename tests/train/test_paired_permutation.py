"""The paired permutation test against SciPy's, and what clusters change."""

import numpy as np
import pytest
from scipy import stats

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.paired_permutation import MOST_EXACT, paired_permutation


def mean(answers):
    return float(answers.mean())


@pytest.mark.parametrize("seed", range(4))
def test_all_swaps_agree_with_scipy(seed):
    rng = np.random.default_rng(seed)
    first, second = np.round(rng.normal(0.4, 1.0, 9), 1), np.round(rng.normal(0.0, 1.0, 9), 1)
    expected = stats.permutation_test(
        (first, second), lambda x, y: x.mean() - y.mean(), permutation_type="samples", vectorized=False, n_resamples=1e9
    )
    found = paired_permutation(mean, first, second, np.arange(9), rng=rng)
    assert found.exact and found.swaps == 2**9
    assert found.p == pytest.approx(expected.pvalue) and found.difference == pytest.approx(expected.statistic)


def test_drawn_swaps_near_the_exact_ones():
    rng = np.random.default_rng(3)
    n = MOST_EXACT + 3
    first = rng.normal(0.5, 1.0, n)
    expected = stats.permutation_test(
        (first, np.zeros(n)), lambda x, y: x.mean() - y.mean(), permutation_type="samples", vectorized=False,
        n_resamples=1e9,
    ).pvalue  # fmt: skip
    found = paired_permutation(mean, first, np.zeros(n), np.arange(n), rng=rng, draws=20_000)
    assert not found.exact
    assert found.p == pytest.approx(expected, abs=3 * np.sqrt(expected / 20_000))


def test_all_differences_one_way_give_the_smallest_p():
    # sign test by hand: of 2^6 swaps, the observed one and its mirror are as large
    found = paired_permutation(mean, np.ones(6), np.zeros(6), np.arange(6), rng=np.random.default_rng(0))
    assert found.p == 2 / 64
    # the same photographs, but of two sources: 2 of 2^2
    clustered = paired_permutation(mean, np.ones(6), np.zeros(6), [0, 0, 0, 1, 1, 1], rng=np.random.default_rng(0))
    assert (clustered.p, clustered.clusters) == (0.5, 2)


def test_the_same_answers_differ_in_nothing():
    answers = np.random.default_rng(1).normal(size=30)
    found = paired_permutation(mean, answers, answers, np.arange(30), rng=np.random.default_rng(0), draws=99)
    assert (found.difference, found.p) == (0.0, 1.0)


def test_p_is_uniform_where_there_is_no_difference():
    rng = np.random.default_rng(8)
    below = [
        paired_permutation(mean, rng.normal(size=20), rng.normal(size=20), np.arange(20), rng=rng, draws=199).p <= 0.1
        for _ in range(300)
    ]
    assert abs(np.mean(below) - 0.1) < 3 * np.sqrt(0.09 / 300)


def test_answers_of_other_lengths_are_named():
    with pytest.raises(ParameterError, match=r"shapes \(3,\) and \(2,\)"):
        paired_permutation(mean, [1, 2, 3], [1, 2], [0, 1, 2], rng=np.random.default_rng(0))
