"""From slices to covered share and density: coats, cues, and the numbers the rasteriser is given."""

import numpy as np
import pytest

from dialtell.synth.strokes.paint import Cue, flatten, join, lay, mask, project, slice_density
from dialtell.synth.strokes.skeleton import normals


def bar(x0, x1, y, width, density, stroke=0, cue=Cue.NONE, samples=9):
    path = np.stack([np.linspace(x0, x1, samples), np.full(samples, y)], axis=1)[None]
    half = np.full((1, samples), width / 2)
    numbers = {"ink": np.zeros(1, np.int64), "zone": np.zeros(1, np.int64), "stroke": np.full(1, stroke)}
    flags = np.full((1, samples), int(cue), dtype=np.int64)
    return flatten(path, half, normals(path), np.full((1, samples), density), flags, **numbers)


def test_a_bar_covers_what_it_should():
    share, density = lay(bar(2, 12, 5, 3, 1.2), np.eye(3), (10, 15), coat=0.0)
    expected = np.zeros((10, 15))
    expected[4:6, 2:12], expected[3, 2:12], expected[6, 2:12] = 1.0, 0.5, 0.5
    np.testing.assert_allclose(share, expected, atol=1e-6)
    np.testing.assert_allclose(density[share > 0], 1.2, atol=0.007)
    assert density[share == 0].max() == 0.0


def test_a_second_coat_darkens_paint_and_not_a_printed_film():
    crossing = join([bar(2, 18, 5, 2, 0.8, stroke=0), bar(8, 12, 5, 8, 0.8, stroke=1)])
    for coat in (0.0, 0.5):
        share, density = lay(crossing, np.eye(3), (10, 20), coat=coat)
        assert share[5, 10] == pytest.approx(1.0, abs=1e-6)
        assert density[5, 4] == pytest.approx(0.8, abs=0.003)
        expected = 0.8 * (1 + coat * np.exp(-0.8))
        assert density[5, 10] == pytest.approx(expected, abs=0.005)


def test_paints_of_two_densities_mix_by_area_where_they_meet():
    pair = join([bar(0, 5.5, 5, 4, 0.6), bar(5.5, 11, 5, 4, 1.4, stroke=1)])
    share, density = lay(pair, np.eye(3), (10, 11), coat=0.5)
    assert share[5, 5] == pytest.approx(1.0, abs=1e-6)
    assert density[5, 5] == pytest.approx(1.0, abs=0.005)


def test_rounding_of_density_is_below_half_a_thousandth_step_of_light():
    density = np.random.default_rng(0).uniform(0.02, 2.5, 5000)
    density[1::2] = density[0::2]  # pairs, so that the slice between has the same
    laid = slice_density(density)[1::2]
    assert np.abs(10.0**-laid - 10.0 ** -density[1::2]).max() <= 0.001 + 1e-12
    ordinary = density[1::2] < 1.0
    assert np.abs(laid - density[1::2])[ordinary].max() < 0.005


def test_masks_show_one_cue():
    both = join([bar(1, 9, 3, 2, 1.0, 0, Cue.FADING), bar(1, 9, 7, 2, 1.0, 1, Cue.POOL | Cue.GAP)])
    fading = mask(both, np.eye(3), (10, 10), Cue.FADING)
    pooled = mask(both, np.eye(3), (10, 10), Cue.POOL)
    assert fading[2:4, 1:9].min() == pytest.approx(1.0)
    assert fading[5:].max() == 0.0
    assert pooled[:5].max() == 0.0
    np.testing.assert_allclose(mask(both, np.eye(3), (10, 10)), fading + pooled, atol=1e-6)
    assert mask(join([]), np.eye(3), (4, 6), Cue.GAP).shape == (4, 6)


def test_whole_strokes_are_selected():
    both = join([bar(1, 9, 3, 2, 1.0, 0), bar(1, 9, 7, 2, 1.0, 1)])
    one = both.select(both.stroke == 1)
    assert (~one.follows).sum() == 1
    np.testing.assert_array_equal(one.left[:, 1], 8.0)


def test_projection_is_the_homography():
    matrix = np.array([[2.0, 0.1, 3.0], [-0.2, 1.8, 5.0], [1e-3, -2e-3, 1.0]])
    point = np.array([[4.0, -7.0]])
    x, y, w = matrix @ np.array([4.0, -7.0, 1.0])
    np.testing.assert_allclose(project(matrix, point), [[x / w, y / w]])
