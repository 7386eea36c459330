"""Real codecs: the picture comes back, worse the lower the quality, the same every time."""

from __future__ import annotations

import numpy as np
import pytest

from dialtell.synth.camera.codecs import compress, heic, webp
from dialtell.synth.photograph.texture import smooth_noise
from dialtell.synth.shared.errors import ParameterError


def picture():
    fields = [smooth_noise(seed, (96, 120), (5, 5)) for seed in range(3)]
    return np.clip(128 + 40 * np.stack(fields, axis=2), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("codec", [lambda p, q: compress(p, q, "420"), webp, heic], ids=["jpeg", "webp", "heic"])
def test_lower_quality_loses_more_and_colours_stay(codec):
    photo = picture()
    kept = photo.copy()
    error = [np.abs(codec(photo, quality).astype(int) - photo).mean() for quality in (30, 60, 95)]
    assert error[0] > error[1] > error[2] > 0.0
    assert error[2] < 10
    assert codec(photo, 70).tobytes() == codec(photo, 70).tobytes()
    assert (photo == kept).all()
    red = np.zeros((48, 64, 3), dtype=np.uint8)
    red[..., 0] = 200
    np.testing.assert_allclose(codec(red, 90)[24, 32], [200, 0, 0], atol=8)


def test_an_unknown_sampling_is_refused():
    with pytest.raises(ParameterError, match="sampling"):
        compress(picture(), 80, "411")


def test_what_webp_cannot_hold_is_a_jpeg():
    noise = np.random.default_rng(0).integers(0, 256, (17_000, 16, 3), dtype=np.uint8)  # over 16 383 px
    assert np.array_equal(webp(noise, 80), compress(noise, 80, "420"))
