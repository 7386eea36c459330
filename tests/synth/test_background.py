"""What is behind a dial: of every kind, dark and light, the same each time, and a user's photographs where wanted."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.settings.background import PAINTERS, SHARES, paint_background, sample_background
from dialtell.synth.settings.sketch import light
from dialtell.synth.shared.errors import ParameterError

SHAPE = (96, 128)


@pytest.mark.parametrize("kind", PAINTERS)
def test_every_kind_is_painted_the_same_each_time_and_otherwise_with_another_seed(kind):
    rng = np.random.default_rng(3)
    for _ in range(6):
        spec = replace(sample_background(rng=rng), kind=kind)
        picture = paint_background(spec, SHAPE)
        assert picture.shape == (*SHAPE, 3) and picture.dtype == np.float32
        assert picture.min() >= 0.0 and picture.max() <= 1.2
        np.testing.assert_array_equal(picture, paint_background(spec, SHAPE))
    if kind not in ("plain", "white"):
        assert np.abs(picture - paint_background(replace(spec, seed=spec.seed + 1), SHAPE)).max() > 0.0005


def test_every_kind_has_its_share():
    assert set(SHARES) == set(PAINTERS)
    assert sum(SHARES.values()) == pytest.approx(1.0)


def test_grounds_are_dark_as_well_as_light():
    rng = np.random.default_rng(0)
    levels = [paint_background(sample_background(rng=rng), (48, 48)).mean() for _ in range(300)]
    assert np.percentile(levels, 5) < 0.03 and np.percentile(levels, 95) > 0.6


def test_a_photograph_of_the_users_is_taken_only_where_the_spec_says_so():
    spec = replace(sample_background(rng=np.random.default_rng(1)), photo=0.9)
    photos = [np.full((50, 300, 3), 10, np.uint8), np.full((300, 60, 3), 200, np.uint8)]
    taken = paint_background(replace(spec, from_photo=True), SHAPE, photos)
    np.testing.assert_allclose(taken, np.broadcast_to(light(photos[1])[0, 0], (*SHAPE, 3)), rtol=1e-6)
    drawn = paint_background(replace(spec, from_photo=False), SHAPE, photos)
    np.testing.assert_array_equal(drawn, paint_background(replace(spec, from_photo=True), SHAPE))


def test_a_ground_out_of_range_is_refused():
    spec = sample_background(rng=np.random.default_rng(1))
    with pytest.raises(ParameterError, match="kind is 'sea'; give one of"):
        replace(spec, kind="sea")
    with pytest.raises(ParameterError, match=r"blur is 0\.5"):
        replace(spec, blur=0.5)
