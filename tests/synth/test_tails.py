"""Long tails: energy kept, thin strokes fainter, and sharpening does not bring them wholly back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.camera.finishing import Finish, finish
from dialtell.synth.camera.tails import Tails, sample_tails, spread
from dialtell.synth.photograph.texture import soften
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.srgb import encoded

TAILS = Tails(share=0.28, near_px=4.0, far_px=14.0, near=0.5, warm=0.0)
PLAIN = Finish("none", 10.0, 0.0, 20.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0)


def strokes(width):
    """A white field with a dark stroke of so many px, as a lens of sigma 0.8 px shows it."""
    field = np.full((161, 321), 0.8, dtype=np.float32)
    field[:, 160 : 160 + width] = 0.05
    return np.repeat(soften(field, 0.8)[..., None], 3, axis=2)


def contrast(photo, width):
    row = np.asarray(photo, dtype=np.float64)[80, :, 1]
    return (np.median(row) - row[155 : 165 + width].min()) / np.median(row)


@pytest.mark.parametrize("warm", [0.0, 0.4])
def test_energy_is_kept_in_every_channel(warm):
    rng = np.random.default_rng(1)
    light = np.zeros((203, 190, 3), dtype=np.float32)
    light[70:130, 60:120] = rng.random((60, 60, 3))
    after = spread(replace(TAILS, warm=warm), light)
    np.testing.assert_allclose(after.sum(axis=(0, 1)), light.sum(axis=(0, 1)), rtol=2e-3)


@pytest.mark.parametrize("sigma", [3.0, 6.0])
def test_a_point_spreads_as_a_gaussian_of_that_width(sigma):
    light = np.zeros((201, 201, 3), dtype=np.float32)
    light[100, 100] = 1.0
    after = spread(replace(TAILS, share=0.6, near=1.0, near_px=sigma), light)[..., 1].astype(float)
    after[100, 100] -= 0.4
    place = np.arange(201) - 100.0
    found = np.sqrt((after.sum(axis=0) * place**2).sum() / after.sum())
    assert after.sum() == pytest.approx(0.6, rel=0.01)
    assert found == pytest.approx(sigma, rel=0.12)


def test_thin_strokes_lose_more_than_thick_ones():
    thin, thick = (contrast(spread(TAILS, strokes(w)), w) / contrast(strokes(w), w) for w in (2, 24))
    assert thin < 0.85 < 0.9 < thick


def test_sharpening_does_not_bring_back_all_of_it():
    as_photo = [np.round(255 * encoded(np.clip(light, 0, 1))).astype(np.uint8) for light in
                (strokes(2), spread(TAILS, strokes(2)))]  # fmt: skip
    without, tailed = (finish(PLAIN, photo, sharpen=1.0, sharpen_px=1.0) for photo in as_photo)
    assert contrast(as_photo[1], 2) < contrast(tailed, 2) < 0.95 * contrast(without, 2)


def test_warm_tails_are_redder_beside_an_edge():
    light = np.zeros((80, 160, 3), dtype=np.float32)
    light[:, 80:] = 1.0
    beside = spread(replace(TAILS, warm=0.5), light)[40, 70]
    assert beside[0] > 1.3 * beside[1] > 1.3 * beside[2] > 0.0


def test_draws_are_in_range_and_none_is_none():
    light = strokes(3)
    assert spread(replace(TAILS, share=0.0), light) is light
    shares = [sample_tails(rng=np.random.default_rng(seed)).share for seed in range(200)]
    assert 0.02 <= min(shares) < 0.025 and 0.14 < max(shares) <= 0.16
    assert 0.046 < np.median(shares) < 0.068  # log-uniform: the root of 0.02 x 0.16


@pytest.mark.parametrize(("name", "value"), [("share", 0.7), ("near_px", 0.0), ("far_px", 90.0), ("warm", 1.0)])
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        replace(TAILS, **{name: value})
