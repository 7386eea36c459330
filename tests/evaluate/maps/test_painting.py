"""Maps painted where their patches were cut, without holes, whatever the scale."""

import numpy as np
import pytest

from dialtell.evaluate.maps.painting import paint_map, paint_maps
from dialtell.synth.shared.errors import ParameterError


def grid(left, top, side, step=1.0):
    across = left + step * (np.arange(side) + 0.5)
    down = top + step * (np.arange(side) + 0.5)
    return np.stack(np.meshgrid(across, down), axis=-1)


def test_map_lands_on_the_same_pixels_and_averages_overlaps():
    patches = np.stack([np.full((4, 4), 1.0), np.full((4, 4), -3.0)])
    painted = paint_map(patches, np.stack([grid(2, 1, 4), grid(4, 1, 4)]), (6, 10))
    expected = np.zeros((6, 10))
    expected[1:5, 2:4], expected[1:5, 4:6], expected[1:5, 6:8] = 1.0, -1.0, -3.0
    np.testing.assert_allclose(painted, expected, atol=1e-6)
    assert painted.dtype == np.float32


@pytest.mark.parametrize("step", [0.4, 1.7, 5.3])
def test_map_has_no_holes_at_any_scale_and_keeps_a_ramp(step):
    place = grid(3, 3, 12, step)
    painted = paint_map(place[None, ..., 0] + 2 * place[None, ..., 1], place[None], (80, 80))
    inside = slice(4 + int(step), int(3 + 11 * step) - 1)
    centres = np.arange(80) + 0.5
    ramp = centres[None, :] + 2 * centres[:, None]
    np.testing.assert_allclose(painted[inside, inside], ramp[inside, inside], atol=0.35)


def test_samples_off_the_photo_are_left_out():
    painted = paint_map(np.ones((1, 6, 6)), grid(-3, -3, 6)[None], (8, 8))
    assert painted[:3, :3] == pytest.approx(1) and painted[4:].sum() == 0


def test_several_maps_at_once_are_those_painted_alone():
    rng = np.random.default_rng(4)
    values, places = rng.normal(size=(3, 2, 6, 6)), np.stack([grid(-2, 1, 6), grid(3, 2, 6, 1.6)])
    together = paint_maps(values, places, (14, 14))
    for painted, alone in zip(together, values, strict=True):
        assert np.array_equal(painted, paint_map(alone, places, (14, 14)))


def test_bad_shapes_are_named():
    with pytest.raises(ParameterError, match="grids"):
        paint_map(np.ones((1, 4, 4)), np.ones((1, 3, 3, 2)), (8, 8))
