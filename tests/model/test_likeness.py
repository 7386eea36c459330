"""Divisions and hours round a disc tell a dial from other round things, also under perspective and half covered."""

import math
from dataclasses import replace

import numpy as np
import pytest
from drawn_dial import cut, draw, scene

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.likeness import Likeness, _pushed, likeness


def _disc(marks: int, inner: float, outer: float, half: float, centre: float = 0.0) -> tuple[np.ndarray, DialGeometry]:
    """A white disc of 150 px with `marks` dark wedges of `half` radians between two radii, about a centre off by
    `centre` radii."""
    geometry = DialGeometry((180.0, 180.0), (150.0, 150.0))
    rows, columns = np.mgrid[0:360, 0:360] + 0.5
    x, y = (columns - 180) / 150 - centre, (rows - 180) / 150
    radius, turn = np.hypot(x, y), np.arctan2(x, -y)
    step = 2 * math.pi / marks
    off = np.abs((turn + step / 2) % step - step / 2)
    light = np.where(np.hypot((columns - 180) / 150, y) < 1, 0.8, 0.1)
    light[(off < half) & (radius > inner) & (radius < outer)] = 0.05
    return light.astype(np.float32), geometry


@pytest.mark.parametrize("tilt", [0, 30])
def test_drawn_dial_is_like_a_dial(tilt: float) -> None:
    drawn = scene(400, tilt=tilt, hands=True, blur=1.0)
    found = likeness(draw(drawn, np.random.default_rng(0)), drawn.dial)
    assert found.beyond_doubt and found.divisions > 12 and found.under < 1


def test_half_in_the_frame_and_half_covered() -> None:
    drawn = cut(scene(400), 0.1)
    assert likeness(draw(drawn, np.random.default_rng(0)), drawn.dial).of_a_dial
    whole = scene(400)
    light = draw(whole, np.random.default_rng(0))
    light[:, : light.shape[1] // 2 - 90] = 0.1  # something broad and dark
    assert likeness(light, whole.dial).of_a_dial


@pytest.mark.parametrize("marks", [16, 20, 33, 50, 100])
def test_wheels_and_rings_of_other_numbers_are_not(marks: int) -> None:
    assert not likeness(*_disc(marks, 0.2, 0.95, 0.02)).of_a_dial  # spokes
    assert not likeness(*_disc(marks, 0.8, 0.9, 0.25 * math.pi / marks)).of_a_dial  # a pattern


def test_sixty_divisions_are_and_sixty_spokes_are_not() -> None:
    assert likeness(*_disc(60, 0.85, 0.95, 0.02)).of_a_dial
    assert not likeness(*_disc(60, 0.2, 0.95, 0.02)).of_a_dial


def test_push_is_a_projective_map_that_keeps_the_circle() -> None:
    turn = np.linspace(0, 2 * np.pi, 50)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    assert np.hypot(*np.moveaxis(_pushed(circle, 0.7, 0.08), -1, 0)) == pytest.approx(1.0, abs=1e-12)
    assert _pushed(np.zeros(2), 0.7, 0.08) == pytest.approx([0.08 * math.cos(0.7), 0.08 * math.sin(0.7)])
    line = np.array([0.2, -0.4]) + np.linspace(0, 0.5, 3)[:, None] * np.array([1.0, 0.8])
    first, middle, last = _pushed(line, 0.7, 0.08)
    assert np.cross([*(middle - first), 0], [*(last - first), 0])[2] == pytest.approx(0.0, abs=1e-12)


def test_bounds() -> None:
    good = Likeness(divisions=8.0, under=0.2, within=2.0, foreign=0.3, figures=1.0, beside=3.0)
    assert good.of_a_dial
    assert not replace(good, under=2.0).of_a_dial  # a lower number carries it
    assert not replace(good, within=9.5).of_a_dial  # spokes
    assert not replace(good, foreign=0.95).of_a_dial  # a ring of 17 holes
    assert replace(good, divisions=3.0, figures=12.0, beside=0.2).of_a_dial  # hours help out
    assert not replace(good, divisions=3.0, figures=200.0, beside=0.01).of_a_dial  # twelve equal petals
