"""Hard light: a shadow where the bezel stands before the sun, glints of scratches, both fixed to the dial."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.photograph.light import apply_light, hardened, sample_light
from dialtell.synth.photograph.scratches import Scratches, sample_scratches, scratch_light
from dialtell.synth.photograph.sun import Sun, bezel_shadow, sample_sun
from dialtell.synth.photograph.view import ViewSpec, homography, to_px
from dialtell.synth.shared.errors import ParameterError

VIEW = ViewSpec(10.0, 0.0, 0.0, 0.0, 0.0, 480, 500, 250.0, 240.0, 22.0, "whole")
SUN = Sun(depth=0.6, bezel=1.0, reach=0.1, soft=0.004)
MARKS = Scratches(120, 12.0, 60.0, 4, 0.8, 0.0, 0.2, -0.1, 7)
WHITE = np.full((480, 500, 3), 0.8, dtype=np.float32)


def place(view, x, y):
    """Pixel (row, column) of dial radii x, y."""
    column, row = to_px(homography(view), np.array([x, y]) * 22.0)
    return int(row), int(column)


@pytest.mark.parametrize("roll", [0.0, 70.0])
@pytest.mark.parametrize("azimuth", [0.0, 90.0, 215.0])
def test_the_shadow_lies_on_the_side_the_light_comes_from(azimuth, roll):
    view = replace(VIEW, roll_deg=roll)
    left = bezel_shadow(SUN, view, azimuth, 22.0)[..., 0]
    x, y = np.sin(np.radians(azimuth)), -np.cos(np.radians(azimuth))
    # 0.1 dial radii deep on the lit side: dark at 0.95, lit at 0.85, at the far edge and on the bezel
    assert left[place(view, 0.95 * x, 0.95 * y)] == pytest.approx(0.4, abs=0.02)
    assert left[place(view, 0.85 * x, 0.85 * y)] == 1.0
    assert left[place(view, -0.97 * x, -0.97 * y)] == 1.0
    assert left[place(view, 1.05 * x, 1.05 * y)] == 1.0


def test_a_soft_border_is_as_wide_as_stated():
    left = bezel_shadow(replace(SUN, soft=0.08), VIEW, 0.0, 22.0)[:, 250, 0]
    half = np.flatnonzero((left > 0.41) & (left < 0.99))
    inner = half[half > 240 - 0.98 * 220]  # not the border at the bezel itself
    assert len(inner) == pytest.approx(0.08 * 220, abs=3)


def test_scratches_only_add_and_keep_their_places_on_the_dial():
    light = scratch_light(MARKS, VIEW, 22.0)
    assert light.min() == 0.0 and 0.1 < light.max() <= 0.8
    assert 0.0005 < (light > 0.02).mean() < 0.2
    moved = scratch_light(MARKS, replace(VIEW, centre_x_px=200.0, centre_y_px=260.0), 22.0)
    np.testing.assert_array_equal(moved[40:400, 10:400], light[20:380, 60:450])
    other = scratch_light(replace(MARKS, glint_x=-0.8, glint_y=0.7), VIEW, 22.0)
    assert np.corrcoef(light.ravel(), other.ravel())[0, 1] < 0.7  # another lamp, other scratches glint
    soft = scratch_light(replace(MARKS, soft_um=200.0), VIEW, 22.0)
    assert soft.max() < 0.7 * light.max() and soft.sum() == pytest.approx(light.sum(), rel=0.02)


def test_in_a_photograph_both_belong_to_the_light():
    rng = np.random.default_rng(0)
    base = replace(sample_light(rng=rng), azimuth_deg=0.0, haze=0.0, glare=0.0, window=0.0)
    plain = apply_light(base, VIEW, WHITE)
    shaded = apply_light(replace(base, sun=SUN), VIEW, WHITE)
    scratched = apply_light(replace(base, scratches=MARKS), VIEW, WHITE)
    assert (shaded <= plain).all() and (scratched >= plain).all()
    assert (shaded < 0.6 * plain).any() and (scratched > plain + 0.1).any()


def test_draws_replay_and_only_a_bezel_casts_a_shadow():
    base = sample_light(rng=np.random.default_rng(1))
    drawn = [hardened(base, rng=np.random.default_rng(seed), bezel=True) for seed in range(200)]
    assert drawn == [hardened(base, rng=np.random.default_rng(seed), bezel=True) for seed in range(200)]
    assert 10 < sum(light.sun is not None for light in drawn) < 60
    assert 10 < sum(light.scratches is not None for light in drawn) < 70
    plain = replace(base, haze=0.5 * base.haze)  # half of the reflection is turned out
    assert all(hardened(base, rng=np.random.default_rng(seed), bezel=False) == plain for seed in range(50))
    for seed in range(40):
        rng = np.random.default_rng(seed)
        marks, sun = sample_scratches(rng=rng, dial_radius_mm=200.0), sample_sun(rng=rng)
        assert scratch_light(marks, VIEW, 22.0).tobytes() == scratch_light(marks, VIEW, 22.0).tobytes()
        assert 0.0 <= bezel_shadow(sun, VIEW, 33.0, 22.0).min() <= 1.0


@pytest.mark.parametrize(
    ("spec", "name", "value"),
    [(SUN, "depth", 1.0), (SUN, "soft", 0.0), (MARKS, "hairs", -1), (MARKS, "width_um", 0.0), (MARKS, "light", 9.0)],
)
def test_values_out_of_range_are_named(spec, name, value):
    with pytest.raises(ParameterError, match=name):
        replace(spec, **{name: value})
