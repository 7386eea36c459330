"""The trial of truth itself: what is planted is what is told apart, and the table counts it."""

import cv2
import numpy as np
import pytest
from trials.reading.lineup_truth import KINDS, Bare, Odd, Twin, members_of, perfected, planted, report, spec_at

from dialtell.evaluate.lineups.gathering import line_ups
from dialtell.evaluate.measurements.sheet import lay_flat
from dialtell.train.bags.bags import read_spec


@pytest.fixture(scope="module")
def spec():
    return spec_at(2, 24.0, 0.0, 0.0)


def test_the_planted_mark_is_one_of_twelve_and_first(spec):
    pixels, cover = planted(spec, "faded five-minute mark", np.random.default_rng(5))
    assert pixels.shape[:2] == cover.shape and 0 < (cover > 0.2).mean() < 0.01
    ups = line_ups(lay_flat(read_spec(spec, pixels, rng=np.random.default_rng(0))))
    (marks,) = [group for group in ups.groups if group.what == "five-minute marks" and group.zone == "minute track"]
    own = members_of(ups, marks, cover)
    assert len(own) == 12 and own.sum() == 1
    assert own[marks.ranked[0]]
    bare = Bare(spec, np.random.default_rng(0))
    assert bare.over(ups, marks, own) > 3.0
    other = np.zeros(12, bool)
    other[(int(np.flatnonzero(own)[0]) + 6) % 12] = True
    assert bare.over(ups, marks, other) < 0.5  # where nothing was planted, the photographs differ by their file alone


def test_a_perfect_camera_leaves_the_paint_alone(spec):
    clean = perfected(spec)
    pixels, cover = planted(clean, "faded tick", np.random.default_rng(5))
    noisy, same = planted(spec, "faded tick", np.random.default_rng(5))
    assert (cover == same).all() and pixels.shape == noisy.shape
    grain = [cv2.Laplacian(one[..., 1].astype(np.float32), cv2.CV_32F) for one in (pixels, noisy)]
    assert np.median(np.abs(grain[0])) < np.median(np.abs(grain[1]))


def test_a_figure_by_a_hand_leaves_the_rest_as_it_was(spec):
    pixels, cover = planted(spec, "figure by a hand", np.random.default_rng(5))
    other, elsewhere = planted(spec, "figure by a hand", np.random.default_rng(6))
    assert (cover > 0.2).any() and not ((cover > 0.2) & (elsewhere > 0.2)).all()
    differs = (np.abs(pixels.astype(int) - other) > 48).any(axis=2)  # beyond what the same file format makes of it
    near = cv2.dilate((np.maximum(cover, elsewhere) > 0.02).astype(np.uint8), np.ones((15, 15), np.uint8)) > 0
    assert differs.any() and (differs & ~near).sum() < 0.01 * differs.sum()  # what the file format spreads


def test_the_table_counts_ranks_and_twins():
    odds = [Odd(k, KINDS[1], True, k < 9, 12, 1, k < 5, 0, 25.0, 9.5 - k) for k in range(10)]
    odds.append(Odd(10, KINDS[1], False))
    twins = [
        Twin(k, hand, 30.0, {"all": 0.1 + 0.1 * hand + 0.001 * k}, {"all": 2.0 + hand + 0.001 * k})
        for k in range(6) for hand in (True, False)
    ]  # fmt: skip
    text = "\n".join(report(odds, twins))
    assert "ranked first 9 of 10 = 0.90" in text and "by chance 0.08" in text and "on 10 of 11 dials" in text
    assert "above the noise          ranked first 9 of 9" in text and "all kinds" in text
    assert "30 px/mm all            excess AUC 1.00" in text and "n = 6, 6" in text
