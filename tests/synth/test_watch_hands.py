"""Hands: they point where the time says, hide what they cover, and leave the rest to their shadow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.photograph.view import ViewSpec
from dialtell.synth.photograph.watch_hands import SHAPES, paint_hands, sample_hands
from dialtell.synth.shared.errors import ParameterError

VIEW = ViewSpec(10.0, 0.0, 0.0, 0.0, 0.0, 500, 500, 250.0, 250.0, 22.0, "whole")
WHITE = np.full((500, 500, 3), 0.8, dtype=np.float32)


def some_hands(**changes):
    hands = sample_hands(rng=np.random.default_rng(2), none_share=0.0)
    fixed = {"hour_mm": 0.0, "minute_mm": 19.0, "minute_deg": 90.0, "second_mm": 0.0, "shadow": 0.0}
    return replace(hands, **{**fixed, **changes})


@pytest.mark.parametrize("shape", SHAPES[1:])
def test_a_hand_at_a_quarter_past_points_right_and_reaches_its_length(shape):
    picture, covered = paint_hands(some_hands(shape=shape), VIEW, WHITE)
    columns = np.flatnonzero(covered[248:252].max(axis=0) > 0.2)
    assert columns.max() == pytest.approx(250 + 190, abs=6)
    assert covered.min() >= 0.0 and covered.max() == pytest.approx(1.0)
    untouched = covered == 0.0
    assert (picture[untouched] == WHITE[untouched]).all()  # no shadow asked for, no change elsewhere
    assert covered[:200].max() == 0.0 and covered[300:].max() == 0.0


def test_outline_is_symmetric_about_its_axis():
    for shape in SHAPES[1:]:
        covered = paint_hands(some_hands(shape=shape, minute_deg=0.0), VIEW, WHITE)[1]
        np.testing.assert_allclose(covered, covered[:, ::-1], atol=1e-4)


def test_shadow_falls_to_its_side_and_takes_no_metal():
    hands = some_hands(shape="baton", shadow=0.6, shadow_x_mm=0.0, shadow_y_mm=1.5, shadow_blur_mm=0.1)
    picture, covered = paint_hands(hands, VIEW, WHITE)
    assert covered[265, 400] == 0.0 and picture[265, 400, 0] == pytest.approx(0.8 * 0.4, rel=0.05)
    assert picture[235, 400, 0] == np.float32(0.8)


def test_none_leaves_the_picture_and_same_spec_gives_same_bytes():
    picture, covered = paint_hands(some_hands(shape="none"), VIEW, WHITE)
    assert picture is WHITE and covered.max() == 0.0
    hands = sample_hands(rng=np.random.default_rng(5), none_share=0.0, seconds_centre_mm=(0, 11), seconds_radius_mm=4.5)
    assert paint_hands(hands, VIEW, WHITE)[0].tobytes() == paint_hands(hands, VIEW, WHITE)[0].tobytes()
    assert WHITE.min() == WHITE.max()  # the input is not written to


def test_hour_hand_agrees_with_the_minute_hand():
    for seed in range(50):
        hands = sample_hands(rng=np.random.default_rng(seed))
        assert (12.0 * hands.hour_deg - hands.minute_deg) % 360.0 == pytest.approx(0.0, abs=1e-6) or (
            12.0 * hands.hour_deg - hands.minute_deg
        ) % 360.0 == pytest.approx(360.0, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "value"), [("shape", "sword"), ("finish", "red"), ("weight", 9.0), ("hour_deg", -1.0)]
)
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        some_hands(**{name: value})
