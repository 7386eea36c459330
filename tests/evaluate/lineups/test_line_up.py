"""Strokes drawn by exact area: the floor is honest, the fit finds what was moved, the odd one comes first."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from stroke_sheets import BLACK, RADIUS_MM, bar, flat, picture

from dialtell.evaluate.lineups.cuts import Cut, Field, nearest_piece
from dialtell.evaluate.lineups.line_up import ALONE, MANY, _aside, _before_rings, _blackness, _evened, _ways, line_up
from dialtell.evaluate.lineups.pieces import find_pieces, groups_of
from dialtell.evaluate.lineups.thin_thick import thin_thick
from dialtell.evaluate.measurements.strokes import find_strokes
from dialtell.synth.shared.terms import Zone

PER_MM = 30.0
NOISE = 0.012
SOFT = 1.0  # px, SD of an edge: as sharp as a camera's pixels can show without moire
COUNT = 12
STEP_MM = 0.9


def bars(absorbed=None, width=None, turns=None, noise=NOISE, seed=0):
    """A sheet of twelve ticks, and a cut of each a little off its place."""
    rng = np.random.default_rng(seed)
    absorbed = np.full(COUNT, 1 - BLACK) if absorbed is None else absorbed
    width = np.full(COUNT, 0.16) if width is None else width
    turns = np.zeros(COUNT) if turns is None else turns
    shift = rng.uniform(-0.5, 0.5, COUNT) / PER_MM  # where in its pixel a tick falls
    shapes = [bar(0.8 + STEP_MM * k + shift[k], 0.8, 1.1, width[k], turns[k]) for k in range(COUNT)]
    light = picture(shapes, absorbed, (0.8 + STEP_MM * COUNT, 3.0), PER_MM, SOFT, noise=noise, rng=rng)
    sheet = flat(light, PER_MM, SOFT)
    cuts = [
        Cut((0.8 + STEP_MM * k) * PER_MM, 1.35 * PER_MM, 0.0, (0.16 * PER_MM, 1.1 * PER_MM), str(k + 1))
        for k in range(COUNT)
    ]
    return Field(sheet, np.zeros(light.shape, np.int32)), cuts


def lined(field, cuts):
    return line_up(field, Zone.OTHER, "ticks", cuts, np.random.default_rng(1))


def test_equal_strokes_differ_by_little_more_than_the_noise():
    group = lined(*bars())
    assert 0.8 < np.median(group.times) < 1.6, group.times
    assert not group.odd
    assert 0.4 * NOISE < group.floor < NOISE  # smoothed, so below the noise of a pixel


def test_no_noise_leaves_only_what_reading_between_pixels_makes():
    group = lined(*bars(noise=0.0))
    assert group.excess.max() < 0.02


@pytest.mark.parametrize("number", [0, 5, 11])
def test_a_faded_or_broader_one_is_first_and_named(number):
    absorbed, width = np.full(COUNT, 1 - BLACK), np.full(COUNT, 0.16)
    absorbed[number] *= 0.75
    faded = lined(*bars(absorbed=absorbed, seed=number))
    assert faded.odd == [number]
    assert (faded.difference[number].sum() > 0) and faded.times[number] > 5  # lighter than the others
    width[number] *= 1.2
    broad = lined(*bars(width=width, seed=number))
    assert broad.ranked[0] == number and broad.difference[number].sum() < 0


def test_one_far_beyond_the_next_is_named_however_much_the_others_differ():
    group = lined(*bars())
    spread = np.geomspace(1.0, 6.0, COUNT)
    assert not replace(group, times=spread).odd
    spread[-1] = 1.1 * ALONE * spread[-2]
    assert replace(group, times=spread).odd == [COUNT - 1]


def test_a_neighbour_at_the_edge_does_not_draw_a_window_to_itself():
    window = np.zeros((9, 21))
    window[2:7, 13:16] = 1.0  # the stroke, 4 px right of the middle
    window[2:7, :2] = 0.9  # another, at the left edge
    assert _aside(window) == pytest.approx(4.0)
    assert _aside(np.zeros((9, 21))) == 0.0


def test_the_fit_finds_turn_and_shift_but_keeps_the_blackness():
    turns = np.zeros(COUNT)
    turns[4] = 0.06
    field, cuts = bars(turns=turns, noise=0.0)
    group = lined(field, cuts)
    assert group.fits[4, 2] == pytest.approx(0.06, abs=0.012)
    others = np.delete(np.arange(COUNT), 4)
    assert np.abs(group.fits[others, 2]).max() < 0.01
    assert group.excess[4] < 0.05


def test_hidden_strokes_are_left_out():
    field, cuts = bars()
    field.sheet.hidden[:, : int(1.2 * PER_MM)] = True
    assert len(lined(field, cuts).cuts) == COUNT - 1


def test_what_leans_across_the_dial_makes_no_stroke_odd():
    absorbed = np.linspace(0.5, 1.0, COUNT) * (1 - BLACK)
    absorbed[5] *= 0.85
    group = lined(*bars(absorbed=absorbed))
    assert group.ranked[0] == 5 and group.times[5] > 1.5 * group.times[group.ranked[1]]


@pytest.mark.parametrize("count", [3, COUNT, MANY + 4])
def test_each_way_of_expecting_a_stroke_leaves_it_out_and_counts_the_others_once(count):
    turn = 2 * np.pi * np.arange(count) / count
    place = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    place *= np.random.default_rng(count).uniform(0.8, 1.0, (count, 1))
    weight = np.random.default_rng(1).uniform(0.5, 1.0, count)
    ways = [way(weight) for way in _ways(place)]
    assert len(ways) == {3: 1, COUNT: 3}.get(count, 5)
    for others in ways:
        assert np.allclose(np.diag(others), 0.0, atol=1e-9) and np.allclose(others.sum(axis=1), 1.0)
    if count > 3:  # what bends evenly is foretold exactly
        x, y = place.T
        bent = 1.0 + 0.3 * x - 0.2 * y + 0.5 * x * y
        assert np.allclose(ways[2] @ bent, bent)


def test_one_that_stands_alone_is_foretold_by_the_mean_of_the_others():
    place = np.column_stack([np.linspace(0.0, 0.01, COUNT), np.random.default_rng(2).uniform(0.0, 0.01, COUNT)])
    place[0] = 1.0, 0.0
    others = _ways(place)[1](np.ones(COUNT))
    assert others[0].sum() == pytest.approx(1.0) and np.abs(others[0, 1:]).max() < 1.0


def test_a_stroke_weighed_down_says_little_of_the_others():
    place, weight = np.random.default_rng(0).uniform(-1, 1, (COUNT, 2)), np.ones(COUNT)
    before = [way(weight) for way in _ways(place)]
    weight[3] = 1e-3
    for way, even in zip(_ways(place), before, strict=True):
        others = way(weight)
        told = np.arange(COUNT) != 3
        assert np.abs(others[told, 3]).max() < 0.05 * np.abs(even[told, 3]).max()


def test_a_gleam_is_taken_off_and_a_shadow_divided_out():
    stroke = np.full((20, 11), 1.0, np.float32)
    stroke[4:16, 4:7] = 0.2
    shown = np.stack([stroke, stroke, stroke, stroke + np.float32(0.15), stroke * np.float32(0.8)])
    even, over = _evened(shown, np.ones(shown.shape, bool))
    assert np.allclose(even, stroke, atol=1e-5)
    assert over == pytest.approx([1.0, 1.0, 1.0, 1.15, 0.8], abs=1e-5)


def test_a_veil_over_strokes_and_their_ring_makes_none_odd():
    stroke = np.full((20, 31), 1.0, np.float32)
    stroke[14:17] = stroke[4:17, 14:17] = 0.2
    veil = np.random.default_rng(0).uniform(0.4, 1.0, COUNT).astype(np.float32)
    shown = 1.0 - (1.0 - stroke) * veil[:, None, None]
    where = np.zeros(shown.shape, bool)
    where[:, 14:17, :10] = True
    where[2] = False  # a figure stands before its ring
    beside = _blackness(shown, where, np.median(shown, axis=0))
    told = np.arange(COUNT) != 2
    assert np.allclose(beside[told] / veil[told], beside[0] / veil[0]) and beside[2] == 1.0
    others = _ways(np.random.default_rng(1).uniform(-1, 1, (COUNT, 2)), veil.astype(np.float64))[3](np.ones(COUNT))
    assert np.allclose(np.tensordot(others, shown, 1), shown, atol=1e-5)
    assert _blackness(shown, np.zeros_like(where), stroke) is None


def test_beyond_a_ring_a_tick_is_compared_in_its_own_columns_alone():
    ink = np.zeros((20, 11), bool)
    ink[4:18, 5] = True  # a tick that overruns the ring it stands on
    ring = np.zeros(20, bool)
    ring[13:15] = True
    free = _before_rings(ink, ring)
    assert free[:13].all() and free[13:, 4:7].all() and not free[13:, :4].any() and not free[13:, 7:].any()


def letters(words, scale=1.6):
    """A sheet with figures in a row; (H, W) light."""
    light = np.full((90, 46 * len(words) + 20), 255, np.uint8)
    for k, word in enumerate(words):
        cv2.putText(light, word, (14 + 46 * k, 64), cv2.FONT_HERSHEY_SIMPLEX, scale, 20, 4, cv2.LINE_AA)
    return cv2.GaussianBlur(light.astype(np.float32) / 255, (0, 0), 0.9)


def test_pieces_of_one_shape_are_put_together_and_no_others():
    words = "2521712572"
    sheet = flat(letters(words), PER_MM)
    where = np.ones(sheet.light.shape, bool)
    pieces = find_pieces(sheet, where, lambda p: np.zeros(len(p)), lambda p: [""] * len(p), 1)
    assert len(pieces.cuts) == len(words)
    found, worth = groups_of(sheet, nearest_piece(pieces.labels), pieces.cuts, 2, 0.05)
    told = sorted("".join(sorted(words[round((cut.x - 30) / 46)] for cut in group)) for group in found)
    assert told == sorted(["2222", "555"[: words.count("5")], "11", "77"])
    assert worth > 0.9 * len(words)


def test_blur_alone_keeps_strokes_on_the_band_and_a_thin_coat_falls_below():
    width = np.linspace(0.05, 0.5, COUNT)
    full = thin_thick(*traced(bars(width=width)[0]))
    assert full.left == pytest.approx((1.0, 1.0), abs=0.04)
    absorbed = np.where(width < 0.3, 0.55, 1.0) * (1 - BLACK)
    thin = thin_thick(*traced(bars(width=width, absorbed=absorbed)[0]))
    assert thin.left[0] < 0.75 and thin.left[1] > 0.95


def traced(field):
    return field.sheet, find_strokes(field.sheet)


def test_dial_radii_and_mm_agree():
    field, cuts = bars()
    across = field.sheet.to_dial(np.array([[cuts[1].x, 0.0]])) - field.sheet.to_dial(np.array([[cuts[0].x, 0.0]]))
    assert across[0, 0] * RADIUS_MM == pytest.approx(STEP_MM)
