"""The photograph: each effect does what the spec says, measured against a formula where there is one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from dialtell.synth.camera.camera import CameraSpec, blur, expose, sample_camera
from dialtell.synth.camera.codecs import compress
from dialtell.synth.camera.halftone import INK, PAPER, screen
from dialtell.synth.shared.errors import ParameterError

PLAIN = CameraSpec(
    sigma_px=0.0, defocus_px=0.0, motion_px=0, motion_deg=0.0, focus_px=0.0, focus_at=0.5, focus_deg=90.0,
    fringe_px=0.0, flare=0.0, white_level=1.0, balance=(1.0, 1.0, 1.0), shot=0.0, read=0.0, chroma=0.0,
    resolution=1.0, denoise=0.0, contrast=0.0, gamma=1.0, black=0.0, palette="colour", sharpen=0.0,
    sharpen_px=1.0, retouch=0.0, jpeg_before=(), jpeg_after=(), sampling="420", screen_px=0.0, screen_deg=45.0,
    dot_gain=0.0, rescan_px=0.0, mottle=0.0, mottle_px=2.0, seed=7,
)  # fmt: skip


def step(height=200, width=240):
    light = np.zeros((height, width, 3), dtype=np.float32)
    light[:, width // 2 :] = 1.0
    return light


def distance_10_90(profile):
    return np.interp(0.9, profile, np.arange(len(profile))) - np.interp(0.1, profile, np.arange(len(profile)))


@pytest.mark.parametrize("sigma", [1.5, 3.0, 5.0])
def test_gaussian_blur_of_a_step(sigma):
    # 10-90 distance of a step under a Gaussian: 2.5631 sigma (normal quantiles at 10 and 90 %)
    profile = blur(replace(PLAIN, sigma_px=sigma), step())[100, :, 0].astype(float)
    # in normal quantiles the edge is a straight line, so reading between pixels adds no error
    profile = norm.ppf(np.clip(profile[60:-60], 1e-3, 1 - 1e-3))
    place = np.interp(norm.ppf([0.1, 0.9]), profile, np.arange(len(profile)))
    # a sum over whole pixels has 1/12 px^2 of variance less than the integral (Euler-Maclaurin)
    assert np.ptp(place) == pytest.approx(2.5631 * np.sqrt(sigma**2 - 1 / 12), rel=0.01)


@pytest.mark.parametrize("radius", [2.5, 6.0])
def test_disc_blur_of_a_step(radius):
    # across an even disc the edge rises as 1/2 + (x sqrt(1-x^2) + asin x)/pi; 10 and 90 % lie at x = -+0.6870
    profile = blur(replace(PLAIN, defocus_px=radius), step())[100, :, 0].astype(float)
    assert distance_10_90(profile) == pytest.approx(2 * 0.6870 * radius, rel=0.06)


def test_motion_blurs_along_its_direction_only():
    shaken = blur(replace(PLAIN, motion_px=9, motion_deg=0.0), step())
    still = blur(replace(PLAIN, motion_px=9, motion_deg=90.0), step())
    assert distance_10_90(shaken[100, :, 0].astype(float)) == pytest.approx(0.8 * 9, abs=1.2)
    np.testing.assert_allclose(still, step(), atol=1e-5)
    assert shaken.mean() == pytest.approx(0.5, abs=0.01)


def test_shallow_focus_is_sharp_at_its_line_and_blurred_far_off():
    light = np.zeros((200, 400, 3), dtype=np.float32)
    light[::8] = 1.0
    seen = blur(replace(PLAIN, focus_px=4.0, focus_at=0.25, focus_deg=90.0), light)[..., 0]
    contrast = np.ptp(seen[50:150], axis=0)
    assert contrast[100] > 0.9 > 0.2 > contrast[390]


def test_plain_camera_is_srgb():
    # IEC 61966-2-1 (values from memory): linear 0.2140 -> 127.5, 0.0 -> 0, 1.0 -> 255
    light = step()
    light[:100, :120] = 0.2140
    photo = expose(PLAIN, light)
    assert photo.dtype == np.uint8 and photo.shape == light.shape
    assert photo[150, 10].tolist() == [0, 0, 0] and photo[50, 200].tolist() == [255, 255, 255]
    assert abs(int(photo[50, 10, 0]) - 127.5) <= 1.0


def test_noise_has_the_deviation_asked_for():
    light = np.full((400, 400, 3), 0.5, dtype=np.float32)
    camera = replace(PLAIN, shot=0.03, read=0.004, white_level=0.5)
    photo = expose(camera, light).astype(float) / 255.0
    linear = np.where(photo <= 0.04045, photo / 12.92, ((photo + 0.055) / 1.055) ** 2.4)
    expected = np.sqrt(0.03**2 * 0.5 + 0.004**2)
    assert linear[..., 1].std() == pytest.approx(expected, rel=0.03)
    assert linear.mean() == pytest.approx(0.5, abs=0.003)
    grey = np.ptp(expose(replace(camera, chroma=0.0), light).astype(int), axis=2).max()
    assert grey == 0 < np.ptp(expose(replace(camera, chroma=0.5), light).astype(int), axis=2).max()


@pytest.mark.parametrize(("sampling", "kept"), [("420", False), ("444", True)])
def test_chroma_subsampling_is_what_it_says(sampling, kept):
    stripes = np.zeros((64, 64, 3), dtype=np.uint8)
    stripes[:, ::2, 0] = stripes[:, 1::2, 1] = 130  # single-pixel red and green columns
    after = compress(stripes, 95, sampling).astype(int)
    difference = (after[..., 0] - after[..., 1])[:, ::2].mean()
    assert bool(difference > 90) is kept


def test_lower_quality_loses_more_and_red_stays_red():
    rng = np.random.default_rng(0)
    noise = rng.integers(0, 255, (96, 96, 3)).astype(np.uint8)
    error = [np.abs(compress(noise, q, "420").astype(int) - noise).mean() for q in (40, 75, 97)]
    assert error[0] > error[1] > error[2]
    red = np.zeros((32, 32, 3), dtype=np.uint8)
    red[..., 0] = 200
    np.testing.assert_allclose(compress(red, 90, "420")[16, 16], [200, 0, 0], atol=4)


def test_resolution_removes_what_is_finer():
    light = np.zeros((256, 256, 3), dtype=np.float32)
    light[:, ::4] = light[:, 1::4] = 1.0
    full, half = (expose(replace(PLAIN, resolution=r), light)[..., 0].std() for r in (1.0, 0.4))
    assert half < 0.25 * full


def test_sharpening_leaves_halos_and_flare_lifts_black():
    light = step() * np.float32(0.5) + np.float32(0.2)
    camera = replace(PLAIN, white_level=0.7, sigma_px=1.0, sharpen_px=2.0)
    plain, sharp = (expose(replace(camera, sharpen=s), light)[100, :, 0].astype(int) for s in (0.0, 1.5))
    assert sharp.max() > plain.max() + 5 and sharp.min() < plain.min() - 5
    assert expose(replace(PLAIN, flare=0.1), step())[100, 5, 0] == pytest.approx(63, abs=2)  # sRGB of 0.05


def test_tone_palette_and_retouch():
    light = np.repeat(np.linspace(0, 1, 256, dtype=np.float32)[None, :, None], 64, axis=0).repeat(3, axis=2)
    base = expose(PLAIN, light).astype(int)
    bent = expose(replace(PLAIN, contrast=0.8), light).astype(int)
    low, high = base[0, :, 0] == 60, base[0, :, 0] == 195
    assert bent[0, low, 0].mean() < 60 and bent[0, high, 0].mean() > 195
    tinted = light * np.array([1.0, 0.7, 0.5], dtype=np.float32)
    assert np.ptp(expose(replace(PLAIN, palette="grey"), tinted).astype(int), axis=2).max() == 0
    sepia = expose(replace(PLAIN, palette="sepia"), light)[0, 60].astype(int)
    assert sepia[0] > sepia[1] > sepia[2]
    retouched = [expose(replace(PLAIN, retouch=0.2, seed=s), light).astype(int) for s in (1, 2)]
    assert np.abs(retouched[0] - base).max() > 3 and np.abs(retouched[0] - retouched[1]).max() > 3


@pytest.mark.parametrize("pitch", [2.5, 4.0, 7.3])
@pytest.mark.parametrize("tone", [0.1, 0.5, 0.85, 1.0])
def test_halftone_keeps_the_mean_reflectance(pitch, tone):
    picture = np.full((300, 300), tone, dtype=np.float32)
    plate = screen(picture, pitch_px=pitch, angle_deg=37.0)
    assert plate.mean() == pytest.approx(INK + (PAPER - INK) * tone, abs=0.012)
    assert plate.min() >= INK - 1e-6 and plate.max() <= PAPER + 1e-6


def test_halftone_repeats_with_its_pitch_and_gain_darkens():
    plate = screen(np.full((256, 256), 0.6, dtype=np.float32), pitch_px=8.0, angle_deg=0.0)
    spectrum = np.abs(np.fft.rfft(plate[:, :].mean(axis=0) - plate.mean()))
    assert spectrum.argmax() == 256 / 8
    gained = screen(np.full((256, 256), 0.5, dtype=np.float32), pitch_px=8.0, angle_deg=20.0, dot_gain=0.2)
    assert gained.mean() == pytest.approx(INK + (PAPER - INK) * 0.3, abs=0.01)


def test_sampled_photographs_are_repeatable_and_in_range():
    rng = np.random.default_rng(11)
    light = (0.2 + 0.6 * rng.random((160, 180, 3))).astype(np.float32)
    kept = light.copy()
    for _ in range(60):
        camera = sample_camera(rng=rng, book_share=0.3)
        photo = expose(camera, light)
        assert photo.dtype == np.uint8 and photo.shape == light.shape and photo.std() > 0
        assert expose(camera, light).tobytes() == photo.tobytes()
    assert (light == kept).all()


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("sigma_px", -1.0),
        ("motion_px", 4),
        ("jpeg_after", (5,)),
        ("palette", "blue"),
        ("screen_px", 1.0),
        ("balance", (0, 1, 1)),
    ],
)
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name.split("_after")[0]):
        replace(PLAIN, **{name: value})


def test_radiance_of_the_wrong_kind_is_refused():
    with pytest.raises(ParameterError, match="float32"):
        expose(PLAIN, np.zeros((20, 20, 3)))


def test_grain_of_paper_leaves_the_mean_tone_and_has_the_stated_size():
    light = np.full((240, 240, 3), 0.4, dtype=np.float32)
    plain = expose(replace(PLAIN, white_level=0.5), light).astype(float)
    grainy = expose(replace(PLAIN, white_level=0.5, mottle=0.06, mottle_px=4.0), light).astype(float)
    difference = (grainy - plain)[..., 1] / plain[..., 1].mean()
    assert abs(difference.mean()) < 0.02
    assert 0.03 < difference.std() < 0.09
    near = np.mean(difference[:, 1:] * difference[:, :-1]) / difference.var()
    far = np.mean(difference[:, 40:] * difference[:, :-40]) / difference.var()
    assert near > 0.7
    assert abs(far) < 0.15
