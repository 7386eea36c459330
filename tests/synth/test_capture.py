"""Bursts and mosaics: where nothing was shifted nothing changes; shifts make straight edges wavy, as measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.camera.capture import Capture, merged, mosaicked, sample_capture
from dialtell.synth.photograph.texture import soften
from dialtell.synth.shared.errors import ParameterError

STILL = Capture(frames=1, residual_px=0.0, tile_px=32, dropped=0.0, mosaic="none", seed=3)


def slanted_edge(height=600, width=240, slope=0.02):
    """A dark bar's edge in linear light, blurred as by a lens; sigma 0.8 px."""
    x = np.arange(width, dtype=np.float32) - np.float32(width / 2)
    y = np.arange(height, dtype=np.float32)[:, None]
    edge = np.clip(x - np.float32(slope) * (y - height / 2) + 0.5, 0.0, 1.0) * np.float32(0.74) + np.float32(0.06)
    return np.repeat(soften(edge, 0.8)[..., None], 3, axis=2)


def wobble(light):
    """Standard deviation, px, of where each row crosses the middle level, off a straight line, ends left out."""
    level = light[..., 1].astype(np.float64)
    middle = 0.5 * (level.min() + level.max())
    places = np.array([np.interp(middle, row, np.arange(row.size)) for row in np.maximum.accumulate(level, axis=1)])
    rows = np.arange(places.size)[40:-40]
    return float(np.std(places[40:-40] - np.polyval(np.polyfit(rows, places[40:-40], 1), rows)))


def test_one_frame_and_frames_that_fit_are_left_alone():
    light = slanted_edge(96, 80)
    assert merged(STILL, light) is light
    np.testing.assert_array_equal(merged(replace(STILL, frames=6), light), light)
    np.testing.assert_allclose(merged(replace(STILL, frames=3, residual_px=0.7, dropped=1.0), light), light, atol=1e-6)


@pytest.mark.parametrize(
    ("frames", "residual", "measured"),
    # micrometres at 10 px/mm, measured in a fuller simulation that has noise, mosaic and JPEG as well
    [(6, 0.25, 9.6), (3, 0.6, 19.0)],
)
def test_merged_edges_wobble_as_measured(frames, residual, measured):
    light = slanted_edge()
    assert 100.0 * wobble(light) < 4.0  # reading between pixels
    found = np.mean([
        100.0 * wobble(merged(replace(STILL, frames=frames, residual_px=residual, seed=seed), light))
        for seed in range(8)
    ])  # fmt: skip
    assert 0.4 * measured < found < 1.6 * measured


def test_more_frames_wobble_less_and_light_is_kept():
    light = slanted_edge()
    few, many = (
        np.mean([wobble(merged(replace(STILL, frames=n, residual_px=0.6, seed=seed), light)) for seed in range(6)])
        for n in (3, 12)
    )
    assert many < 0.75 * few
    assert merged(replace(STILL, frames=3, residual_px=0.6), light).mean() == pytest.approx(light.mean(), rel=2e-3)


@pytest.mark.parametrize("mosaic", ["bilinear", "edges"])
def test_a_mosaic_keeps_even_colours_and_spoils_fine_ones(mosaic):
    colour = np.array([0.9, 0.4, 0.15], dtype=np.float32)
    even = np.broadcast_to(colour, (64, 62, 3)).astype(np.float32)
    found = mosaicked(replace(STILL, mosaic=mosaic), even)
    np.testing.assert_allclose(found[4:-4, 4:-4], even[4:-4, 4:-4], atol=2e-4)
    stripes = np.zeros((64, 64, 3), dtype=np.float32)
    stripes[:, ::3] = 0.8
    seen = mosaicked(replace(STILL, mosaic=mosaic), stripes)
    assert np.ptp(seen[4:-4, 4:-4], axis=2).max() > 0.1  # colours where there were none
    dark = np.full((32, 32, 3), -0.02, dtype=np.float32)
    np.testing.assert_allclose(mosaicked(replace(STILL, mosaic=mosaic), dark)[4:-4, 4:-4], -0.02, atol=2e-4)


def test_draws_are_in_range_and_replay():
    light = slanted_edge(80, 90)
    for seed in range(30):
        one, other = (sample_capture(rng=np.random.default_rng(seed)) for _ in range(2))
        assert one == other
        assert mosaicked(one, merged(one, light)).tobytes() == mosaicked(one, merged(one, light)).tobytes()


@pytest.mark.parametrize(
    ("name", "value"), [("frames", 0), ("residual_px", 2.0), ("tile_px", 4), ("dropped", -0.1), ("mosaic", "round")]
)
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        replace(STILL, **{name: value})
