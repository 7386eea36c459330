"""Transfer prints measured back from renders without a camera."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_strokes import (
    CLEAN_PULL,
    MACHINE_PLATE,
    PAPER,
    after_alignment,
    centroids,
    frame,
    line_width,
    reflectance,
    tables,
    tick_ring,
    upright_strokes,
)

from dialtell.synth.making import Coat
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.strokes.hand import paint_by_hand
from dialtell.synth.strokes.hand_style import ORDINARY, Workshop
from dialtell.synth.strokes.paint import join
from dialtell.synth.strokes.plate import cut
from dialtell.synth.strokes.transfer import displaced, edge_noise, ghost, lay_down, sample_pull, taken

WIDTHS = np.array([0.08, 0.15, 0.3, 0.7])
DENSITY = 1.4


def print_of(items, plate=MACHINE_PLATE, pull=CLEAN_PULL):
    return lay_down(cut(*tables(items), plate), pull, DENSITY)


@pytest.mark.parametrize("px_per_mm", [60.0, 120.0])
@pytest.mark.parametrize("widen", [-0.015, 0.0, 0.02])
def test_widths_and_density_are_those_of_the_spec(px_per_mm, widen):
    plate = replace(MACHINE_PLATE, widen=widen)
    paint = print_of(upright_strokes(np.full(4, 3.0), WIDTHS), plate, replace(CLEAN_PULL, shift_mm=(0.003, 0.0)))
    picture = reflectance(paint, *frame((-1, -3.5), (7, 0.5), px_per_mm))
    rows = slice(int(1.5 * px_per_mm), int(2.5 * px_per_mm))
    for index, width in enumerate(WIDTHS):
        columns = slice(int((2 * index) * px_per_mm), int((2 * index + 2) * px_per_mm))
        profile = picture[rows, columns].mean(axis=0)
        assert line_width(profile, px_per_mm, 0.5) == pytest.approx(width + widen, abs=0.003)
        if (width + widen) * px_per_mm > 2:  # the middle pixel is wholly inked
            assert -np.log10(profile.min() / PAPER) == pytest.approx(DENSITY, abs=0.02)


def test_a_blurred_line_at_the_60_percent_transition_is_narrow_by_half_a_sigma():
    """A wide line read at 60 % is 0.5067 sigma too narrow, at 40 % as much too wide, at 50 % exact (computed)."""
    px_per_mm, sigma = 100.0, 4.0
    paint = print_of(upright_strokes([3.0], 0.7))
    sharp = reflectance(paint, *frame((-1, -3.5), (1, 0.5), px_per_mm))
    profile = cv2.GaussianBlur(sharp, (0, 0), sigma)[150:250].mean(axis=0)
    for threshold, gain in ((0.6, -0.5067), (0.5, 0.0), (0.4, 0.5067)):
        expected = 0.7 + gain * sigma / px_per_mm
        assert line_width(profile, px_per_mm, threshold) == pytest.approx(expected, abs=0.001)


def test_thin_strokes_are_as_black_as_thick_ones_and_painted_ones_are_not():
    items = upright_strokes(np.full(80, 3.0), np.tile([0.08, 0.7], 40))
    printed = print_of(items)
    assert np.ptp(printed.density) == 0.0
    painted = paint_by_hand(*tables(items), Workshop(ORDINARY, ORDINARY, ORDINARY, 2), DENSITY)
    mean = np.array([painted.density[painted.stroke == number].mean() for number in np.unique(painted.stroke)])
    thin, thick = mean[0::2], mean[1::2]
    assert thin.mean() < thick.mean() - 0.2
    assert abs(thick.mean() - DENSITY) < 0.05


def test_two_pulls_of_one_plate_coincide_and_two_painted_dials_do_not():
    plate = replace(MACHINE_PLATE, scatter=1.0, punched=False, seed=7)
    items = tick_ring()
    pulls = [
        replace(sample_pull(rng=np.random.default_rng(seed), radius_mm=22.0), slip_mm=(0.0, 0.0), stretch=0.0)
        for seed in (1, 2)
    ]
    first, second = (centroids(print_of(items, plate, pull)) for pull in pulls)
    assert np.abs(first - second).max() > 0.02  # the sheets lie differently
    assert after_alignment(first, second) < 0.002
    one, other = (
        centroids(paint_by_hand(*tables(items), Workshop(ORDINARY, ORDINARY, ORDINARY, seed), DENSITY))
        for seed in (1, 2)
    )
    assert after_alignment(one, other) > 0.020
    recut = centroids(print_of(items, replace(plate, seed=8), pulls[0]))
    assert after_alignment(first, recut) > 0.020  # another plate, as scattered as a good hand


def test_the_sheet_moves_turns_and_stretches_as_one():
    pull = replace(CLEAN_PULL, shift_mm=(0.2, -0.1), turn_deg=1.5, stretch=0.004, stretch_angle=0.0)
    points = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]])
    moved = displaced(points, pull)
    np.testing.assert_allclose(moved[0], [0.2, -0.1], atol=1e-12)
    assert np.hypot(*(moved[1] - moved[0])) == pytest.approx(10.04)
    assert np.hypot(*(moved[2] - moved[0])) == pytest.approx(10.0)
    assert np.degrees(np.arctan2(*(moved[1] - moved[0])[::-1])) == pytest.approx(1.5)


def test_a_slip_doubles_every_edge_by_its_offset():
    film = print_of(upright_strokes([3.0], 0.2))
    slipped = ghost(film, replace(CLEAN_PULL, slip_mm=(0.05, 0.0), slip_share=0.4))
    np.testing.assert_allclose(slipped.left - film.left, [[0.05, 0.0]] * len(film.left), atol=1e-12)
    np.testing.assert_allclose(slipped.density, 0.4 * film.density)
    assert not len(ghost(film, CLEAN_PULL).left)


def test_a_ghost_shows_beside_the_film_and_leaves_the_film_as_black_as_it_was():
    film = print_of(upright_strokes([3.0], 0.5))
    slipped = ghost(film, replace(CLEAN_PULL, slip_mm=(0.1, 0.0), slip_share=0.4))
    matrix, shape = frame((-1, -4), (1, 1), 60.0)
    plain, doubled = (Coat(film, 0.0, True, beneath).lay(matrix, shape) for beneath in (join([]), slipped))
    inside = plain[0] > 0.999
    np.testing.assert_allclose(doubled[1][inside], plain[1][inside], atol=1e-3)
    beside = (doubled[0] > 0.999) & (plain[0] == 0)
    assert beside.any()
    np.testing.assert_allclose(doubled[1][beside], 0.4 * plain[1][inside].mean(), rtol=0.01)


def test_pinholes_leave_the_area_bare_that_their_number_and_size_say():
    radius, px_per_mm = 20.0, 20.0
    matrix, shape = frame((-20, -20), (20, 20), px_per_mm)
    pull = replace(CLEAN_PULL, pinholes=10.0, pinhole_mm=0.05)
    holes = [
        float((1 - taken(replace(pull, seed=seed), radius, matrix, shape)).sum(dtype=np.float64)) / px_per_mm**2
        for seed in range(6)
    ]
    # a hole is a twelve-sided figure of area 3 r^2; radii are log-normal with sigma 0.4
    expected = 10.0 * np.pi * (radius / 10) ** 2 * 3 * 0.05**2 * np.exp(2 * 0.4**2)
    assert np.mean(holes) == pytest.approx(expected, rel=0.15)
    assert taken(CLEAN_PULL, radius, matrix, shape).min() == 1.0


@pytest.mark.parametrize("change", [{"turn_deg": np.nan}, {"shift_mm": (9.0, 0.0)}, {"slip_share": -0.1},
                                    {"bare": ((0.0, 1.0),)}, {"tears": ((0.0, 0.0, 0.0, np.inf, 0.1),)}])  # fmt: skip
def test_a_pull_out_of_range_is_named(change):
    with pytest.raises(ParameterError, match=f"Pull.{next(iter(change))} is"):
        replace(CLEAN_PULL, **change)


def test_the_edge_of_a_ring_closes_without_a_step():
    """Where a ring's last sample lies on its first the noise goes round; an open stroke's ends are unlike."""
    rng = np.random.default_rng(4)
    noise = edge_noise(np.full(400, 60.0), (400, 300), rng, closed=np.arange(400) < 200)
    step = np.abs(noise[:, 0] - noise[:, -1])
    assert step[:200].max() < 1e-9
    assert np.median(step[200:]) > 0.5
    assert np.std(noise[:200]) == pytest.approx(1.0, abs=0.03)
    inner = np.abs(np.diff(noise, axis=1)).mean()
    across = np.abs(noise[:200, 1] - noise[:200, -2]).mean()  # two samples apart over the closing
    assert across < 2.2 * inner
