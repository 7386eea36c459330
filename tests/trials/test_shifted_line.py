"""The line moves where the dials say so, and no further than so many dials can say."""

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from trials.training.shifted_line import shifted_line

from dialtell.model.net.calibration import Calibration
from dialtell.synth.shared.errors import ParameterError

LINE = Calibration(0.9, 0.2)


def dials(n, slope, offset, seed=0):
    """Logits whose log odds are slope * logit + offset, as many painted as printed."""
    rng = np.random.default_rng(seed)
    logit = rng.normal(0, 3, 40 * n)
    truth = (rng.random(40 * n) < 1 / (1 + np.exp(-(slope * logit + offset)))).astype(float)
    at = np.concatenate([np.flatnonzero(truth == side)[:n] for side in (1, 0)])
    return logit[at], truth[at]


def test_without_dials_nothing_moves():
    assert shifted_line(LINE, np.empty(0), np.empty(0)) == LINE


def test_many_dials_give_the_fit_of_scikit_learn():
    logit, truth = dials(3000, 0.5, 0.0, seed=2)
    free = LogisticRegression(C=np.inf).fit(logit[:, None], truth)
    moved = shifted_line(LINE, logit, truth)
    assert (moved.slope, moved.offset) == pytest.approx((free.coef_[0, 0], free.intercept_[0]), abs=0.01)
    assert (moved.low, moved.high) == (LINE.low, LINE.high)


def test_perfectly_parted_dials_do_not_run_away():
    moved = shifted_line(LINE, np.array([5.0, 6, 1, 0]), np.array([1.0, 1, 0, 0]))
    assert 0.5 * LINE.slope < moved.slope < 2 * LINE.slope and -3 < moved.offset < 0  # towards between 1 and 5


def test_both_kinds_count_alike():
    logit, truth = np.array([4.0, 2.0, 3.0, 1.0]), np.array([1.0, 0, 1, 0])
    once = shifted_line(LINE, logit, truth)
    more = shifted_line(LINE, np.concatenate([logit, logit]), np.concatenate([truth, truth]))
    assert more.offset < once.offset < LINE.offset  # twice as many say it more surely
    uneven = shifted_line(LINE, np.array([4.0, 4.0, 4.0, 2.0]), np.array([1.0, 1, 1, 0]))
    even = shifted_line(LINE, np.array([4.0, 4.0, 2.0, 2.0]), np.array([1.0, 1, 0, 0]))
    assert (uneven.slope, uneven.offset) == pytest.approx((even.slope, even.offset), abs=1e-4)


def test_lists_of_other_lengths_are_named():
    with pytest.raises(ParameterError, match="2 logits and 1 truths"):
        shifted_line(LINE, np.zeros(2), np.zeros(1))
