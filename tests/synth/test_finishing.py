"""Software of cameras and of people: each step does what its spec says, and nothing where it says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.camera.finishing import Edit, Finish, edited, finish, sample_edit, sample_finish
from dialtell.synth.shared.errors import ParameterError

PLAIN = Finish("none", 10.0, 0.0, 20.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0)
AS_IT_IS = Edit(1.0, 0.0, 1.0)


def noisy_step(deviation=6.0, size=200):
    rng = np.random.default_rng(4)
    photo = np.full((size, size, 3), 70.0)
    photo[:, size // 2 :] = 190.0
    return np.clip(photo + rng.normal(0.0, deviation, size=(size, size, 1)), 0, 255).round().astype(np.uint8)


def noise(photo):
    return photo[20:-20, 20:80, 1].astype(float).std()


def rise(photo):
    """Levels between the two pixels beside the edge."""
    row = photo[20:-20].astype(float).mean(axis=(0, 2))
    return np.diff(row)[95:104].max()


def test_nothing_asked_for_changes_nothing_but_rounding():
    photo = noisy_step()
    assert np.abs(finish(PLAIN, photo).astype(int) - photo).max() <= 2
    assert edited(AS_IT_IS, photo) is photo


@pytest.mark.parametrize("denoise", ["bilateral", "median", "guided"])
def test_denoising_calms_flat_places_and_keeps_edges(denoise):
    photo = noisy_step()
    calm = finish(replace(PLAIN, denoise=denoise, strength=25.0), photo)
    assert noise(calm) < 0.65 * noise(photo)
    assert rise(calm) > 0.85 * rise(photo)


def test_colour_noise_goes_and_luma_stays():
    rng = np.random.default_rng(0)
    photo = np.clip(128 + rng.normal(0, 12, size=(120, 120, 3)), 0, 255).astype(np.uint8)
    after = finish(replace(PLAIN, colour_px=3.0), photo)
    spread = [np.std(p[..., 0].astype(float) - p[..., 1]) for p in (photo, after)]
    assert spread[1] < 0.3 * spread[0]


def test_halos_and_their_limit_and_threshold():
    photo = noisy_step(0.0)
    row = finish(PLAIN, photo, sharpen=1.5, sharpen_px=1.5)[100, :, 1].astype(int)
    assert row.max() > 190 + 20 and row.min() < 70 - 20
    held = finish(replace(PLAIN, limit=8.0), photo, sharpen=1.5, sharpen_px=1.5)[100, :, 1].astype(int)
    assert held.max() <= 190 + 9 and held.min() >= 70 - 9
    grain = noisy_step(3.0)
    loud, quiet = (noise(finish(replace(PLAIN, threshold=t), grain, sharpen=2.0, sharpen_px=1.0)) for t in (0.0, 12.0))
    assert quiet < 1.1 * noise(grain) < loud


def test_local_tone_raises_detail_and_levels_light():
    x = np.linspace(60, 200, 400)
    photo = np.repeat(np.repeat((x + 8 * np.sin(x * 3))[None, :, None], 100, axis=0), 3, axis=2)
    photo = photo.round().astype(np.uint8)
    sharp = finish(replace(PLAIN, local_gain=1.6, local_px=12.0), photo)[50, :, 1].astype(float)
    flat = finish(replace(PLAIN, levelled=0.5), photo)[50, :, 1].astype(float)
    smooth = np.ones(41) / 41
    detail = [
        np.std((row - np.convolve(row, smooth, "same"))[60:-60]) for row in (photo[50, :, 1].astype(float), sharp)
    ]
    assert detail[1] > 1.3 * detail[0]
    assert np.polyfit(x, flat, 1)[0] == pytest.approx(0.5, abs=0.1)


def test_the_learned_look_loses_what_is_finest_and_leaves_no_halos():
    lines = np.full((100, 100, 3), 60, dtype=np.uint8)
    lines[:, ::2] = 200
    assert finish(replace(PLAIN, learned=1.0), lines)[20:-20, 20:-20].std() < 0.2 * lines.std()
    step = noisy_step(0.0)
    row = finish(replace(PLAIN, learned=1.0), step)[100, :, 1].astype(int)
    assert 70 - 16 <= row.min() and row.max() <= 190 + 16  # a cubic overshoots a little, sharpening would by 60
    assert (np.abs(np.diff(row)) > 30).sum() <= 3


def test_a_file_made_smaller_loses_what_is_finer_and_keeps_its_size():
    photo = noisy_step(12.0)
    small = edited(replace(AS_IT_IS, share=0.35), photo)
    assert small.shape == photo.shape and noise(small) < 0.6 * noise(photo)
    assert noise(edited(replace(AS_IT_IS, share=0.7, sharpen=1.0), photo)) > noise(
        edited(replace(AS_IT_IS, share=0.7), photo)
    )
    assert edited(replace(AS_IT_IS, share=1.2), photo).shape == photo.shape


def test_draws_are_in_range_and_replay():
    photo = noisy_step(8.0, 96)
    for seed in range(40):
        spec, again = (sample_finish(rng=np.random.default_rng(seed)) for _ in range(2))
        edit = sample_edit(rng=np.random.default_rng(seed), least=0.4)
        assert spec == again and 0.4 <= edit.share <= 1.2
        photos = [edited(edit, finish(spec, photo, sharpen=1.0)) for _ in range(2)]
        assert photos[0].tobytes() == photos[1].tobytes() and photos[0].dtype == np.uint8


@pytest.mark.parametrize(
    ("spec", "name", "value"),
    [
        (PLAIN, "denoise", "magic"),
        (PLAIN, "strength", 0.0),
        (PLAIN, "local_gain", 3.0),
        (PLAIN, "limit", 1.0),
        (PLAIN, "learned", 1.5),
        (AS_IT_IS, "share", 0.1),
        (AS_IT_IS, "sharpen", 4.0),
    ],
)
def test_values_out_of_range_are_named(spec, name, value):
    with pytest.raises(ParameterError, match=name):
        replace(spec, **{name: value})
