"""Noise fixed to the dial: the same place, the same value, from wherever the dial is seen."""

import numpy as np
import pytest

from dialtell.synth.photograph.texture import dial_noise, enlarge_blocks
from dialtell.synth.photograph.view import ViewSpec, homography, to_px

REACH = 23.0


def view(px_per_mm=20.0, x=480.0, y=460.0, **changes):
    spec = {
        "px_per_mm": px_per_mm, "tilt_deg": 0.0, "azimuth_deg": 0.0, "roll_deg": 0.0, "perspective": 0.0,
        "height_px": 920, "width_px": 960, "centre_x_px": x, "centre_y_px": y, "dial_radius_mm": 22.0, "field": "whole",
    }  # fmt: skip
    return ViewSpec(**{**spec, **changes})


def field(spec, cell=(1.5, 1.5), seed=3, **options):
    return dial_noise(seed, homography(spec), spec.shape, cell, REACH, **options)


def test_a_frame_cut_from_a_larger_one_shows_the_same_noise():
    whole, part = view(), view(x=280.0, y=160.0, height_px=300, width_px=400)
    np.testing.assert_allclose(field(part), field(whole)[300:600, 200:600], atol=2e-3)


@pytest.mark.parametrize("step", [1, 8])
def test_values_stay_at_their_place_on_the_dial(step):
    """Read at the same 400 places of the dial from two views, by the homographies alone."""
    rng = np.random.default_rng(1)
    radius, turn = 20 * np.sqrt(rng.random(400)), rng.uniform(0, 2 * np.pi, 400)
    places = radius[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    read = []
    for spec in (view(), view(16.0, tilt_deg=20.0, azimuth_deg=60.0, roll_deg=50.0, perspective=0.15)):
        column, row = (to_px(homography(spec), places)).T.astype(int)
        read.append(enlarge_blocks(field(spec, (4.0, 4.0), step=step), spec.shape, step)[row, column])
    assert np.sqrt(np.mean((read[0] - read[1]) ** 2)) < 0.05 * np.std(read[0])


def test_variance_is_that_of_the_bumps_and_falls_when_a_pixel_holds_many():
    fine = [field(view(20.0), (0.5, 0.5), seed).std() for seed in range(4)]
    assert 0.65 < np.mean(fine) < 1.0
    # 0.5 mm at 0.5 px/mm: 4 x 4 bumps a pixel, so a quarter of the spread
    coarse = [field(view(0.5, 11.5, 11.5, height_px=23, width_px=23), (0.5, 0.5), seed).std() for seed in range(12)]
    assert np.mean(coarse) == pytest.approx(0.25 * np.mean(fine), rel=0.25)


def test_streaks_run_along_their_turn():
    spec = view()
    for turn, axis in ((0.0, 0), (np.pi / 2, 1)):
        noise = field(spec, (0.3, 3.0), turn=turn)[60:860, 80:880]
        rough = [float(np.abs(np.diff(noise, axis=k)).mean()) for k in (0, 1)]
        assert rough[axis] < 0.25 * rough[1 - axis]
