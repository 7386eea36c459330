"""Ink that no stroke like it has stands out at its pixels; what repeats, and what has no like, does not."""

import cv2
import numpy as np
import pytest

from dialtell.evaluate.maps.odd_strokes import outside
from dialtell.model.reading.patches import SIDE, PatchSet


def ticks(count=20, noise=0.01, seed=3):
    """A ring of ticks between two lines, each a little off, as a plate's are in a photograph."""
    rng = np.random.default_rng(seed)
    turn = np.arange(count) * 2 * np.pi / count
    density = np.zeros((count, 4 * SIDE, 4 * SIDE), np.float32)
    for patch in density:
        x, y = 126 + rng.integers(-3, 4), 60 + rng.integers(-3, 4)
        patch[y : y + 4] = patch[y + 120 : y + 124] = 0.8
        patch[y + 40 : y + 120, x : x + 14] = 0.9
    density = np.array([cv2.resize(each, (SIDE, SIDE), interpolation=cv2.INTER_AREA) for each in density])
    density += rng.normal(0, noise, density.shape).astype(np.float32)
    return PatchSet(
        density.astype(np.float32), np.ones(count, np.int64), 0.8 * np.stack([np.cos(turn), np.sin(turn)], axis=1),
        np.stack([-np.sin(turn), np.cos(turn)], axis=1), np.full(count, 0.1), 1.0, 0.0,
    )  # fmt: skip


def test_a_faded_tick_and_one_run_past_its_line_stand_out_where_they_are():
    given = ticks()
    given.density[4, 24:44, 26:40] *= 0.45
    given.density[11, 17:24, 30:35] = 0.9
    odd = outside(given)
    assert odd.shape == given.density.shape and (odd >= 0).all() and np.isfinite(odd).all()
    height = odd.max(axis=(1, 2))
    assert set(np.argsort(-height)[:2]) == {4, 11}
    assert min(height[4], height[11]) > 3 * np.delete(height, [4, 11]).max()
    for index, rows in ((4, (24, 44)), (11, (17, 26))):
        row, column = np.unravel_index(int(odd[index].argmax()), odd[index].shape)
        assert rows[0] <= row < rows[1] and 26 <= column < 40


def test_noise_hides_what_it_is_as_large_as():
    def told(noise):
        given = ticks(noise=noise)
        given.density[4, 24:44, 26:40] *= 0.8
        height = outside(given).max(axis=(1, 2))
        return height[4] / np.median(height)

    assert told(0.005) > 2 * told(0.15)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_too_few_to_compare_say_nothing(count):
    given = ticks(count)
    given.density[0] *= 0.4
    assert not outside(given).any()


def test_what_has_no_like_is_not_odd():
    """Patches that share no strokes, as of a signature's letters: nothing is claimed of them."""
    given = ticks(12)
    rng = np.random.default_rng(2)
    for patch in given.density:
        patch[:] = 0
        for _ in range(3):
            start, end = rng.integers(4, 60, (2, 2)).tolist()
            cv2.line(patch, start, end, 0.9, 4)
    assert outside(given).max() < 0.2 * outside_of_a_faded_tick()


def outside_of_a_faded_tick():
    given = ticks()
    given.density[4, 24:44, 26:40] *= 0.45
    return float(outside(given)[4].max())


def test_strokes_that_overlap_are_not_held_against_themselves():
    """Two patches that show the same faded tick do not excuse each other."""
    given = ticks()
    given.density[4, 24:44, 26:40] *= 0.45
    given.density[5] = given.density[4]
    given.center[5] = given.center[4] + 0.01
    height = outside(given).max(axis=(1, 2))
    assert set(np.argsort(-height)[:2]) == {4, 5}
