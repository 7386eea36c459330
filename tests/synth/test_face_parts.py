"""The square a face is drawn on: cover of shapes against their areas, and what may be named what."""

import numpy as np
import pytest

from dialtell.synth.faces.face_parts import (
    NUMBER,
    around,
    band,
    bar,
    blend,
    circle,
    disc,
    filled,
    lattice,
    moved,
    named,
    oval,
)
from dialtell.synth.shared.terms import Seen


def test_shapes_cover_their_area_and_holes_are_left_out():
    scale = 100
    ring = filled([[oval(0.1, -0.2, 0.4, 0.3, 96), oval(0.1, -0.2, 0.2, 0.15, 96)]], scale)
    assert ring.sum() / scale**2 == pytest.approx(np.pi * (0.12 - 0.03), rel=0.02)
    assert circle(0.1, -0.2, 0.3, scale).sum() / scale**2 == pytest.approx(np.pi * 0.09, rel=0.005)
    assert band(0.5, 0.7, scale).sum() / scale**2 == pytest.approx(np.pi * 0.24, rel=0.005)
    assert disc(scale).sum() / scale**2 == pytest.approx(np.pi, rel=0.005)


def test_a_shape_lies_where_it_is_put_even_half_outside():
    scale = 80
    cover = filled([[moved(oval(0.0, 0.0, 0.1, 0.1, 48), 1.0, 0.25)]], scale)
    x, y, _, _ = lattice(scale)
    assert cover.sum() / scale**2 == pytest.approx(np.pi * 0.005, rel=0.06)
    assert (y * cover).sum() / cover.sum() == pytest.approx(0.25, abs=0.005)
    assert x[cover > 0].min() > 0.88
    assert filled([[moved(oval(0, 0, 0.1, 0.1), 3.0, 0.0)]], scale).max() == 0.0 == filled([], scale).max()


@pytest.mark.parametrize("hour", [0, 3, 7])
def test_a_bar_points_to_its_hour_clockwise_from_the_top(hour):
    cover = filled([[bar(0.5, 0.8, 0.06, hour * np.pi / 6)]], 100)
    x, y, _, turn = lattice(100)
    assert cover.sum() / 100**2 == pytest.approx(0.3 * 0.06, rel=0.1)
    assert (
        np.mod(np.arctan2((x * cover).sum(), -(y * cover).sum()), 2 * np.pi)
        == pytest.approx(hour * np.pi / 6, abs=0.01)
        or hour == 0
    )
    assert np.abs(np.sin(turn[cover > 0.5] - hour * np.pi / 6)).max() < 0.08


def test_around_keeps_lengths_and_turns_clockwise():
    ring = np.array([[0.0, -0.5], [0.1, 0.0]])
    np.testing.assert_allclose(around(ring, np.pi / 2), [[0.5, 0.0], [0.0, 0.1]], atol=1e-12)


def test_a_later_name_is_never_taken_by_an_earlier_one():
    seen = np.array([0, NUMBER[Seen.ENAMEL], NUMBER[Seen.HAND]], np.uint8)
    after = named(seen, Seen.HOLE, np.ones(3, np.bool_))
    np.testing.assert_array_equal(after, [0, NUMBER[Seen.HOLE], NUMBER[Seen.HAND]])


def test_blend_goes_from_one_to_the_other_and_leaves_the_first_alone():
    colour = np.full((1, 3, 3), 0.5, np.float32)
    mixed = blend(colour, (1.0, 0.0, 0.5), np.array([[0.0, 0.5, 1.0]], np.float32))
    np.testing.assert_allclose(mixed[0], [[0.5, 0.5, 0.5], [0.75, 0.25, 0.5], [1.0, 0.0, 0.5]], atol=1e-6)
    assert (colour == 0.5).all()
