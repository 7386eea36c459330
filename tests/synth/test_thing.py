"""Things that are no dials: each covers its place, lies where it is put, and casts a shadow that only darkens."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.settings.marked_things import PAINTERS as MARKED
from dialtell.synth.settings.plate import lattice
from dialtell.synth.settings.sketch import Sketch, figure
from dialtell.synth.settings.thing import PAINTERS, paint_thing, sample_thing
from dialtell.synth.shared.errors import ParameterError

SCALE = 60


@pytest.mark.parametrize("kind", PAINTERS)
def test_every_thing_is_there_the_same_each_time_and_ends_where_it_should(kind):
    rng = np.random.default_rng(2)
    _, _, radius, _ = lattice(SCALE)
    for _ in range(5):
        spec = replace(sample_thing(rng=rng), kind=kind, x=0.0, y=0.0, radius=0.8, shadow=0.0)
        layer = paint_thing(spec, SCALE)
        assert layer.colour.shape == (*radius.shape, 3) and layer.cover.shape == radius.shape
        assert layer.colour.dtype == layer.cover.dtype == np.float32
        assert 0.0 <= layer.colour.min() and layer.colour.max() <= 2.0
        assert 0.0 <= layer.cover.min() and layer.cover.max() == pytest.approx(1.0)
        if kind not in MARKED:
            assert layer.cover[(radius > 0.5) & (radius < 0.6)].mean() > 0.2
            assert layer.cover[radius > 1.5].max() == 0.0
        np.testing.assert_array_equal(layer.colour, paint_thing(spec, SCALE).colour)


def test_a_thing_is_as_large_as_told_and_where_told():
    spec = replace(sample_thing(rng=np.random.default_rng(0)), kind="plain", shadow=0.0, radius=0.6, x=0.2, y=-0.1)
    x, y, _, _ = lattice(SCALE)
    cover = paint_thing(spec, SCALE).cover
    assert cover.sum() == pytest.approx(np.pi * (0.6 * SCALE) ** 2, rel=0.02)
    assert np.average(x, weights=cover) == pytest.approx(0.2, abs=0.01)
    assert np.average(y, weights=cover) == pytest.approx(-0.1, abs=0.01)


def test_a_shadow_darkens_the_ground_away_from_the_light_and_leaves_the_thing():
    bare = replace(
        sample_thing(rng=np.random.default_rng(0)),
        kind="plain", shadow=0.0, radius=0.7, light_deg=90.0, x=0.0, y=0.0, shadow_reach=0.2,
    )  # fmt: skip
    ground = np.full((*lattice(SCALE)[0].shape, 3), 0.5, np.float32)
    without, shaded = (paint_thing(spec, SCALE).over(ground) for spec in (bare, replace(bare, shadow=0.8)))
    middle = ground.shape[0] // 2
    left, right = middle - int(0.78 * SCALE), middle + int(0.78 * SCALE)
    assert shaded[middle, left].max() < 0.4 < 0.47 < shaded[middle, right].min()
    np.testing.assert_allclose(shaded[middle, middle], without[middle, middle], atol=1e-5)
    assert (shaded <= without + 1e-5).all()


def test_a_drawing_turns_clockwise():
    upright, turned = Sketch(SCALE, (0.5, 0.5, 0.5)), Sketch(SCALE, (0.5, 0.5, 0.5), 90.0)
    for sketch in (upright, turned):
        sketch.ticks(1, 0.5, 0.9, 0.1, (1.0, 1.0, 1.0))
    x, y, _, _ = lattice(SCALE)
    assert np.average(y, weights=upright.codes[..., 3]) == pytest.approx(-0.7, abs=0.02)
    assert np.average(x, weights=turned.codes[..., 3]) == pytest.approx(0.7, abs=0.02)


def test_figures_fill_their_box():
    for text in "0123456789":
        stroke = figure(text)
        assert stroke.min() >= 0.0 and stroke.max() == pytest.approx(1.0)
        assert np.ptp(stroke[:, 1]) == pytest.approx(1.0)


def test_a_thing_out_of_range_is_refused():
    spec = sample_thing(rng=np.random.default_rng(1))
    with pytest.raises(ParameterError, match="kind is 'watch'; give one of"):
        replace(spec, kind="watch")
    with pytest.raises(ParameterError, match=r"radius is 3\.0 dial radii; give a value from 0\.5"):
        replace(spec, radius=3.0)
