"""Thickness of bars of known width, and scales with how sure they are."""

import math

import numpy as np
import pytest

from dialtell.model.reading.scale import SIZES_SPREAD, SPREAD, Scale, given_scale, scale_from_strokes, thickness
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import size_mm


def bars(width, count=6, side=600):
    density = np.zeros((side, side), np.float32)
    for index in range(count):
        density[40 : side - 40, 60 + 80 * index : 60 + 80 * index + width] = 1.2
    return density


@pytest.mark.parametrize("width", [4, 7, 12, 15])
def test_thickness_of_bars(width):
    assert np.median(thickness(bars(width))) == pytest.approx(width, abs=1.0)


def test_a_watch_hand_is_no_stroke():
    density = bars(6)
    density[:, 500:590] = 1.2
    assert np.max(thickness(density)) < 10


def test_scale_follows_the_strokes():
    one, two = scale_from_strokes(bars(6)), scale_from_strokes(bars(12))
    assert two.pixels_per_radius / one.pixels_per_radius == pytest.approx(2.0, rel=0.15)
    assert one.spread == SPREAD and len(one.steps()) == 3


def test_no_scale_without_strokes():
    none = scale_from_strokes(np.zeros((300, 300), np.float32))
    assert not none.known and none.steps() == () and "--px-per-mm" in none.source
    assert not scale_from_strokes(bars(1)).known


def test_scale_given():
    assert given_scale(40.0, 44.873) == Scale(0.5 * 40 * 44.873, 0.0, "as given")
    rough = given_scale(40.0, None)
    # sizes 0 and 18, an inch and 5/30 plus size / 30 inches (NAWCC encyclopedia, "Watch Size"), lie within two SD
    for size in (0, 18):
        assert abs(math.log(0.5 * 40 * size_mm(size) / rough.pixels_per_radius)) < 2 * SIZES_SPREAD
    with pytest.raises(ParameterError, match="px_per_mm is 0"):
        given_scale(0.0, None)


def test_agreement():
    assert Scale(100.0, 0.0, "").allows(108.0) and not Scale(100.0, 0.0, "").allows(120.0)
    assert Scale(100.0, 0.2, "").allows(150.0) and Scale(None, 0.0, "").allows(3.0)
