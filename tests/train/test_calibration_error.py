import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.calibration_error import (
    brier,
    error_if_calibrated,
    expected_calibration_error,
    reliability_table,
)


def test_brier_of_the_documented_example_and_scikit_learn():
    labels, probabilities = [0, 1, 1, 0], [0.1, 0.9, 0.8, 0.3]
    assert brier(labels, probabilities) == pytest.approx(0.0375)  # scikit-learn documentation
    assert brier(labels, probabilities) == pytest.approx(brier_score_loss(labels, y_proba=probabilities))


def test_table_agrees_with_scikit_learn():
    rng = np.random.default_rng(2)
    probabilities = np.round(rng.uniform(0.15, 1, 300), 2)  # some sit on bin edges, low bins stay empty
    labels = rng.uniform(size=300) < probabilities**2
    shares, means = calibration_curve(labels, probabilities, n_bins=10)
    table = [row for row in reliability_table(labels, probabilities, bins=10) if row.count]
    assert [row.share_hand for row in table] == pytest.approx(shares)
    assert [row.mean_probability for row in table] == pytest.approx(means)
    weights = np.array([row.count for row in table]) / 300
    expected = float((weights * abs(shares - means)).sum())
    assert expected_calibration_error(labels, probabilities, bins=10) == pytest.approx(expected)


def test_edges_belong_to_the_bin_below_and_empty_bins_stay():
    table = reliability_table([0, 1, 1], [0.0, 0.5, 1.0], bins=2)
    assert [(row.count, row.mean_probability) for row in table] == [(2, 0.25), (1, 1.0)]
    empty = reliability_table([1], [0.9], bins=3)[0]
    assert (empty.count, empty.share_hand, empty.share_interval) == (0, None, (0.0, 1.0))


def test_always_saying_nine_tenths_when_half_are_painted():
    assert expected_calibration_error([0, 1] * 50, [0.9] * 100) == pytest.approx(0.4)
    assert expected_calibration_error([0, 1] * 50, [0.5] * 100) == 0.0


def test_probability_out_of_range_is_named():
    with pytest.raises(ParameterError, match=r"probabilities hold 1\.2"):
        brier([1], [1.2])


def test_error_owed_to_few_items_alone():
    rng = np.random.default_rng(0)
    # one bin, all 0.5: |mean of n fair coins - 1/2|, mean sqrt(1 / (2 pi n)) for large n (half-normal)
    mean, most = error_if_calibrated([0.49] * 400, rng=rng, draws=4000)
    assert mean == pytest.approx(np.sqrt(2 / np.pi) * 0.5 / 20, rel=0.05)
    assert most == pytest.approx(1.96 * 0.5 / 20, rel=0.07)
    few, _ = error_if_calibrated(np.linspace(0.02, 0.98, 30), rng=rng)
    many, _ = error_if_calibrated(np.tile(np.linspace(0.02, 0.98, 30), 40), rng=rng)
    assert few > 0.1 > 0.05 > many
    # agrees with the error itself on truths drawn from the probabilities
    chances = rng.uniform(size=50)
    drawn = [expected_calibration_error(rng.random(50) < chances, chances) for _ in range(400)]
    assert error_if_calibrated(chances, rng=rng, draws=2000)[0] == pytest.approx(np.mean(drawn), rel=0.05)
