"""Light: brighter on the side it comes from, neutral when nothing is asked for, reflections only add."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.photograph.light import apply_light, sample_light
from dialtell.synth.photograph.view import ViewSpec
from dialtell.synth.shared.errors import ParameterError

VIEW = ViewSpec(10.0, 0.0, 0.0, 0.0, 0.0, 480, 500, 250.0, 240.0, 22.0, "whole")
WHITE = np.full((480, 500, 3), 0.8, dtype=np.float32)
EVEN = replace(
    sample_light(rng=np.random.default_rng(0)), colour=(1.0, 1.0, 1.0), shade_colour=(1.0, 1.0, 1.0), falloff=0.0,
    vignette=0.0, haze=0.0, glare=0.0, window=0.0,
)  # fmt: skip


def test_even_light_is_the_reflectance():
    np.testing.assert_allclose(apply_light(EVEN, VIEW, WHITE), WHITE, rtol=1e-6)


@pytest.mark.parametrize(("azimuth", "bright", "dark"), [(0.0, (5, 250), (475, 250)), (90.0, (240, 495), (240, 5))])
def test_light_comes_from_its_azimuth(azimuth, bright, dark):
    lit = apply_light(replace(EVEN, falloff=0.5, azimuth_deg=azimuth), VIEW, WHITE)[..., 0]
    assert lit[bright] == pytest.approx(0.8, rel=0.02) and lit[dark] == pytest.approx(0.4, rel=0.03)


def test_vignette_darkens_corners_by_its_share():
    lit = apply_light(replace(EVEN, vignette=0.4), VIEW, WHITE)[..., 1]
    assert lit[240, 250] == pytest.approx(0.8, rel=0.01)
    assert lit[0, 0] == pytest.approx(0.8 * 0.6, rel=0.02)


def test_haze_glare_and_window_only_add():
    black = np.zeros_like(WHITE)
    np.testing.assert_allclose(apply_light(replace(EVEN, haze=0.05), VIEW, black), 0.05, rtol=1e-5)
    glare = replace(EVEN, glare=0.7, glare_x=0.5, glare_y=-0.25, glare_size=0.1, glare_stretch=2.0)
    lit = apply_light(glare, VIEW, black)[..., 0]
    row, column = np.unravel_index(lit.argmax(), lit.shape)
    assert lit.max() == pytest.approx(0.7, rel=0.03)
    assert (column, row) == (pytest.approx(250 + 110, abs=6), pytest.approx(240 - 55, abs=6))
    window = replace(EVEN, window=0.3, window_x=0.0, window_y=0.0, window_size=0.6, window_blur=0.01, window_deg=0.0)
    lit = apply_light(window, VIEW, black)[..., 0]
    assert lit.max() == pytest.approx(0.3, rel=0.02) and lit.min() == 0.0
    assert lit[240, 250] < 0.5 * lit.max()  # the bars cross in the middle


def test_same_spec_same_bytes_and_input_kept():
    light = sample_light(rng=np.random.default_rng(3))
    assert apply_light(light, VIEW, WHITE).tobytes() == apply_light(light, VIEW, WHITE).tobytes()
    assert WHITE.min() == WHITE.max()


@pytest.mark.parametrize(
    ("name", "value"), [("falloff", 0.9), ("glare", -1.0), ("glare_x", 3.0), ("colour", (9.0, 1.0, 1.0))]
)
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        replace(EVEN, **{name: value})
