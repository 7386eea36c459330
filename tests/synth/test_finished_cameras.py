"""Finished photographs: drawn apart from all else, at the scale of their capture, byte for byte the same again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.camera.camera import expose, finished, sample_camera
from dialtell.synth.camera.chain import Chain, is_magnified, sample_ratio
from dialtell.synth.scene import DialSpec, Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.record import from_record, to_record
from dialtell.synth.shared.terms import Process


def finished_camera(seed, px_per_mm=20.0, **options):
    rng = np.random.default_rng(seed)
    return finished(
        sample_camera(rng=rng, book_share=0.0), rng=rng, px_per_mm=px_per_mm, dial_radius_mm=22.0, **options
    )


def test_a_share_of_the_pictures_and_of_them_light_and_camera_alone():
    pairs = [(sample_spec(5, i, Range(finished=0.0)), sample_spec(5, i)) for i in range(120)]
    changed = [one != other for one, other in pairs]
    books = sum(one.camera.screen_px > 0 for one, _ in pairs)
    assert 0.7 * 120 - books - 15 < sum(changed) < 100
    assert all(replace(other, camera=one.camera, light=one.light) == one for one, other in pairs)
    assert all(one.camera.chain is None and one.light.sun is None and one.light.scratches is None for one, _ in pairs)
    assert all(other.camera.chain is None for _, other in pairs if other.camera.screen_px > 0)
    spec = next(other for _, other in pairs if other.camera.chain is not None)
    assert spec.as_process(Process.HAND).camera == spec.as_process(Process.TRANSFER).camera


def test_capture_is_8_to_40_px_per_mm_of_a_watch_and_never_finer_than_the_frame_bears():
    rng = np.random.default_rng(0)
    scales = np.array([20.0 * sample_ratio(rng=rng, px_per_mm=20.0, dial_radius_mm=22.0) for _ in range(2000)])
    assert 8.0 <= scales.min() < 8.3 and 38.0 < scales.max() <= 40.0
    assert 0.25 < np.mean((scales > 10) & (scales < 16)) < 0.34
    clock = np.array([sample_ratio(rng=rng, px_per_mm=4.0, dial_radius_mm=110.0) for _ in range(500)])
    assert 1.6 <= 4.0 * clock.min() and 4.0 * clock.max() <= 8.0  # a fifth of a watch's, as the dial is five times it
    assert is_magnified(60.0, 22.0) and not is_magnified(60.0, 11.0) and not is_magnified(30.0, 150.0)
    near = np.array([sample_ratio(rng=rng, px_per_mm=80.0, dial_radius_mm=22.0) for _ in range(500)])
    assert 0.4 <= near.min() and near.max() <= 1.3
    cameras = [finished_camera(seed) for seed in range(60)]
    assert all(0.25 <= camera.resolution <= 1.0 for camera in cameras)


def test_same_spec_same_bytes_and_through_a_record():
    rng = np.random.default_rng(2)
    light = (0.2 + 0.6 * rng.random((150, 170, 3))).astype(np.float32)
    light[60:90] = 0.03
    kept = light.copy()
    kinds = set()
    for seed in range(60):
        camera = finished_camera(seed, px_per_mm=20.0 if seed % 2 else 70.0, heic_share=0.1)
        assert isinstance(camera.chain, Chain)
        photo = expose(camera, light)
        assert photo.dtype == np.uint8 and photo.shape == light.shape and photo.std() > 5
        assert expose(camera, light).tobytes() == photo.tobytes()
        chain = camera.chain
        kinds |= {("frames", chain.capture.frames), ("mosaic", chain.capture.mosaic), ("heic", chain.heic > 0),
                  ("webp", chain.webp > 0), ("eyepiece", chain.eyepiece is not None), ("edit", chain.edit is not None),
                  ("denoise", chain.finish.denoise)}  # fmt: skip
    assert (light == kept).all()
    assert len(kinds) == 3 + 3 + 2 + 2 + 2 + 2 + 4
    spec = next(s for s in (sample_spec(3, i, Range(finished=1.0)) for i in range(9)) if s.camera.chain is not None)
    assert from_record(DialSpec, to_record(spec)) == spec


def test_heic_only_where_asked_for():
    assert all(finished_camera(seed).chain.heic == 0 for seed in range(100))
    chosen = [finished_camera(seed, heic_share=1.0) for seed in range(5)]
    assert all(camera.chain.heic > 0 and camera.jpeg_before == () for camera in chosen)


def test_blank_and_black_photographs_and_small_ones_stay_fine():
    for seed in range(12):
        camera = finished_camera(seed)
        even = expose(camera, np.full((64, 48, 3), 0.5, dtype=np.float32))
        assert even.shape == (64, 48, 3) and 20 < even.mean() and even.std() < 45
        black = expose(camera, np.zeros((16, 16, 3), dtype=np.float32))
        assert black.shape == (16, 16, 3)


def test_white_balance_takes_casts_out():
    warm = np.full((120, 120, 3), (0.75, 0.5, 0.3), dtype=np.float32)
    camera = next(c for c in map(finished_camera, range(50)) if c.chain.eyepiece is None and c.palette == "colour")
    camera = replace(camera, balance=(1.0, 1.0, 1.0), retouch=0.0, white_level=0.6)
    casts = []
    for balanced in (0.0, 1.0):
        photo = expose(replace(camera, chain=replace(camera.chain, balanced=balanced)), warm).astype(float)
        casts.append(photo[..., 0].mean() - photo[..., 2].mean())
    assert casts[0] > 30 > 8 > abs(casts[1])


def test_a_thin_line_is_fainter_after_a_finished_camera_than_after_a_plain_one_of_the_same_blur():
    field = np.full((160, 240, 3), 0.8, dtype=np.float32)
    field[:, 120:122] = 0.05
    thick = np.full((160, 240, 3), 0.8, dtype=np.float32)
    thick[:, 100:140] = 0.05

    def left(camera, light):
        row = expose(camera, light)[20:-20].astype(float).mean(axis=(0, 2))
        return np.median(row[10:80]) - row.min()

    ratio = {True: [], False: []}
    for seed in range(40):
        camera = replace(finished_camera(seed), retouch=0.0, resolution=1.0, focus_px=0.0, motion_px=0)
        if camera.chain.edit is not None:
            camera = replace(camera, chain=replace(camera.chain, edit=None))
        camera = replace(camera, chain=replace(camera.chain, balanced=0.0))
        for tailed in ratio:
            tails = camera.chain.tails if tailed else replace(camera.chain.tails, share=0.0)
            own = replace(camera, chain=replace(camera.chain, tails=tails))
            ratio[tailed].append(left(own, field) / left(own, thick))
    lost = 1.0 - np.array(ratio[True]) / np.array(ratio[False])
    assert 0.01 < np.median(lost) < 0.08, lost  # felt, but no third of the light: real prints' thin lines stay black


def test_whole_dials_are_drawn_the_same_again():
    scope = Range(pixels_per_radius=(100.0, 140.0), max_side=320, finished=1.0)
    for index in range(3):
        spec = sample_spec(17, index, scope)
        assert render(spec).tobytes() == render(spec).tobytes()


@pytest.mark.parametrize(("name", "value"), [("heic", 5), ("webp", 101), ("balanced", 1.2)])
def test_values_out_of_range_are_named(name, value):
    chain = finished_camera(0).chain
    with pytest.raises(ParameterError, match=name):
        replace(chain, **{name: value})
    with pytest.raises(ParameterError, match="px_per_mm"):
        sample_ratio(rng=np.random.default_rng(0), px_per_mm=0.0, dial_radius_mm=22.0)
