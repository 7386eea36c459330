"""Through a microscope: bright within its round field, dark outside, lamps where they are said to be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.camera.eyepiece import Eyepiece, look_through, sample_eyepiece
from dialtell.synth.shared.errors import ParameterError

FIELD = Eyepiece(
    x=0.1, y=-0.05, radius=0.4, edge=0.02, dim=0.0, surround=0.0, tint=0.0, lamps=0, lamp=0.0, lamp_size=0.02, ring=0.2,
    ring_x=0.0, ring_y=0.0, coaxial=0.0,
)  # fmt: skip
EVEN = np.full((300, 400, 3), 0.6, dtype=np.float32)


def away(x=0.1, y=-0.05):
    """Distance from the field's middle in units of the frame's shorter side."""
    rows, columns = np.mgrid[:300, :400] + 0.5
    return np.hypot((columns - 200) / 300 - x, (rows - 150) / 300 - y)


def test_the_field_is_bright_and_outside_it_is_dark():
    seen = look_through(FIELD, EVEN)
    np.testing.assert_allclose(seen[away() < 0.39], 0.6, atol=1e-5)
    assert (seen[away() > 0.41] == 0.0).all()
    lifted = look_through(replace(FIELD, surround=0.05), EVEN)
    np.testing.assert_allclose(lifted[away() > 0.41], 0.03, rtol=0.02)
    assert (EVEN == np.float32(0.6)).all()


def test_corners_darken_by_the_share_stated():
    seen = look_through(replace(FIELD, dim=0.5), EVEN)[..., 1]
    assert seen[135, 230] == pytest.approx(0.6, rel=0.01)
    border = seen[(away() > 0.385) & (away() < 0.392)]
    assert 0.3 < border.mean() < 0.36


def test_a_tint_makes_the_border_red():
    seen = look_through(replace(FIELD, tint=0.03), EVEN)
    ring = seen[(away() > 0.395) & (away() < 0.405)].mean(axis=0)
    assert ring[0] > 1.5 * ring[1] > 1.5 * ring[2]


def test_lamps_lie_on_their_ring_and_add_their_light():
    wide = replace(FIELD, x=0.0, y=0.0, radius=2.0, lamps=8, lamp=1.0)
    added = (look_through(wide, EVEN) - look_through(replace(wide, lamp=0.0), EVEN))[..., 1]
    assert added.max() == pytest.approx(1.0, rel=0.1)
    spots = away(0.0, 0.0)[added > 0.5]
    assert abs(spots - 0.2).max() < 0.03
    assert added.min() >= 0.0
    flat = look_through(replace(wide, lamp=0.0, coaxial=0.2), EVEN)
    assert flat[150, 200, 1] == pytest.approx(0.8, rel=1e-3)


def test_draws_are_in_range_and_replay():
    for seed in range(40):
        one, other = (sample_eyepiece(rng=np.random.default_rng(seed)) for _ in range(2))
        assert one == other
        seen = look_through(one, EVEN)
        assert seen.dtype == np.float32 and seen.min() >= 0.0 and seen.max() > 0.1


@pytest.mark.parametrize(("name", "value"), [("radius", 0.1), ("edge", 0.0), ("lamps", 40), ("coaxial", 0.9)])
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        replace(FIELD, **{name: value})
