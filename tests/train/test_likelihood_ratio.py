import math

import numpy as np
import pytest

from dialtell.train.stats.likelihood_ratio import cllr, validated_bounds


@pytest.mark.parametrize(
    ("hand", "printed", "cost"),
    [
        ([1, 1], [1, 1], 1.0),
        ([3, 3], [1 / 3, 1 / 3], 0.4150374992788437),
        ([1], [1 / 3, 1 / 3], 0.7075187496394219),
        ([8, 8], [8], 1.6699250014423126),
        ([2, 2], [2], 1.0849625007211563),
    ],
)
def test_cllr_worked_values(hand, printed, cost):
    # Formula of Bruemmer and du Preez (2006), worked by hand: 1/2 [mean log2(1 + 1/LR) + mean log2(1 + LR)].
    assert cllr(np.log10(hand), np.log10(printed)) == pytest.approx(cost, abs=1e-12)


def test_cllr_of_huge_ratios_does_not_overflow():
    assert cllr([400.0], [-400.0]) == 0.0
    assert cllr([-400.0], [-400.0]) == pytest.approx(200 * math.log2(10))


@pytest.mark.parametrize(
    ("n", "low", "high"),
    [(10, 0.102, 10.0), (20, 0.050, 19.95), (30, 0.034, 29.5), (100, 0.0102, 97.7)],
)
def test_perfect_separation_caps_the_ratio_near_n(n, low, high):
    # Reference values of the method of Vergeer et al. (2016) on a grid of 0.01 in log10 LR, whose last good
    # step lies at or inside the exact crossing, which is n.
    bounds = validated_bounds([8.0] * n, [-8.0] * n)
    assert bounds == pytest.approx((-math.log10(n), math.log10(n)), abs=1e-12)
    assert 0 <= bounds.high - math.log10(high) < 0.0105
    assert 0 <= math.log10(low) - bounds.low < 0.0105


def grid_bounds(hand, printed, step=0.001):
    """The definition of the source, threshold by threshold: stop where evidence does worse than none."""
    hand, printed = np.append(hand, -np.inf), np.append(printed, np.inf)

    def better(threshold):
        odds = 10.0**threshold
        miss, false = np.mean(hand < threshold), np.mean(printed >= threshold)
        return (miss + odds * false) <= min(1.0, odds) + 1e-12

    high = low = 0.0
    while better(high + step):
        high += step
    while better(low - step):
        low -= step
    return low, high


@pytest.mark.parametrize("seed", range(6))
def test_exact_bounds_agree_with_a_grid_search(seed):
    rng = np.random.default_rng(seed)
    hand = rng.normal(1.0, 0.8, int(rng.integers(15, 60)))
    printed = rng.normal(-1.0, 0.8, int(rng.integers(15, 60)))
    assert validated_bounds(hand, printed) == pytest.approx(grid_bounds(hand, printed), abs=0.0011)


def test_bounds_never_pass_what_validation_showed():
    # 200 painted dials at LR 3 and no errors: nothing vouches for more than 3.
    assert validated_bounds([math.log10(3)] * 200, [-5.0] * 200).high == pytest.approx(math.log10(3))
    # Evidence that misleads as often as not supports nothing.
    assert validated_bounds([1.0, -1.0], [1.0, -1.0]) == (0.0, 0.0)
