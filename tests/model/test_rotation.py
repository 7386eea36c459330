"""Rotation from drawn minute tracks, to 0.2 degrees, and none where there is no track."""

import math

import numpy as np
import pytest
from drawn_dial import Scene, cut, draw, scene

from dialtell.model.reading.density import optical_density
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.outline import find_dial
from dialtell.model.reading.rotation import Rotation, find_rotation


def read(drawn: Scene) -> Rotation | None:
    return find_rotation(optical_density(draw(drawn, np.random.default_rng(0)), drawn.dial), drawn.dial)


@pytest.mark.parametrize("degrees", [-14.0, -6.2, -3.0, 0.0, 2.9, 7.3, 14.4])
def test_drawn_rotation(degrees: float) -> None:
    found = read(scene(500, rotation=degrees, tilt=20, angle=60, noise=0.02, blur=1))
    assert found is not None
    assert math.degrees(found.radians) == pytest.approx(degrees, abs=0.2)
    assert 0.87 < found.track_radius < 0.95
    assert found.confidence > 0.3 and found.hour_confidence > 0.5 and found.divisions == 60
    # the tick nearest to "up" is a whole number of divisions from 12 o'clock
    step = math.degrees(found.tick_phase - found.radians) / 6
    assert step == pytest.approx(round(step), abs=1e-6) and abs(math.degrees(found.tick_phase)) <= 3


@pytest.mark.parametrize("across", [160, 300])
def test_small_and_soft(across: int) -> None:
    found = read(scene(across, rotation=5.0, blur=1.0, noise=0.02, hands=True))
    assert found is not None and math.degrees(found.radians) == pytest.approx(5.0, abs=0.3)


def test_part_of_the_dial_out_of_frame() -> None:
    found = read(cut(scene(500, rotation=-4.0, hands=True), 0.7))
    assert found is not None and math.degrees(found.radians) == pytest.approx(-4.0, abs=0.2)


def test_found_outline_is_good_enough() -> None:
    drawn = scene(420, rotation=8.0, tilt=25, angle=30, texture=0.5, noise=0.02)
    light = draw(drawn, np.random.default_rng(1))
    dial = find_dial(light)
    assert dial
    found = find_rotation(optical_density(light, dial), dial)
    assert found is not None and math.degrees(found.radians) == pytest.approx(8.0, abs=0.2)
    # a rotation already in the geometry makes no difference
    assert find_rotation(optical_density(light, dial), dial.turned(1.0)) == found


def test_hour_from_figures_alone() -> None:
    # all sixty ticks alike: the figures tell which of them carries the hour
    dial = DialGeometry((300.0, 300.0), (280.0, 280.0))
    y, x = np.mgrid[0:600, 0:600] + 0.5 - 300.0
    radius, turn = np.hypot(x, y) / 280, np.arctan2(x, -y) - math.radians(11.0)
    minute = np.abs((turn * 30 / math.pi + 0.5) % 1 - 0.5) * 6 < 0.5
    hour = np.abs((turn * 6 / math.pi + 0.5) % 1 - 0.5) * 30 < 4
    density = np.where(minute & (radius > 0.9) & (radius < 0.94), 1.2, 0.0)
    density = np.where(hour & (radius > 0.6) & (radius < 0.8), 1.2, density).astype(np.float32)
    found = find_rotation(density, dial)
    assert found is not None and math.degrees(found.radians) == pytest.approx(11.0, abs=0.2)


def test_twenty_four_hour_track() -> None:
    dial = DialGeometry((300.0, 300.0), (280.0, 280.0))
    y, x = np.mgrid[0:600, 0:600] + 0.5 - 300.0
    radius, turn = np.hypot(x, y) / 280, np.arctan2(x, -y) - math.radians(-4.0)
    off = np.abs((turn * 60 / math.pi + 0.5) % 1 - 0.5) * 3
    hour = (turn * 60 / math.pi + 0.5) % 5 < 1
    density = np.where((off < np.where(hour, 0.7, 0.3)) & (radius > 0.88) & (radius < 0.93), 1.2, 0.0)
    found = find_rotation(density.astype(np.float32), dial)
    assert found is not None and found.divisions == 120
    assert math.degrees(found.radians) == pytest.approx(-4.0, abs=0.2)


def test_no_track() -> None:
    assert read(scene(400, ticks=False)) is None
    assert read(scene(400, ticks=False, figures=False, noise=0.05)) is None
    assert find_rotation(np.zeros((300, 300), np.float32), scene(200).dial) is None
    noise = np.random.default_rng(0).normal(0, 0.3, (400, 400)).astype(np.float32)
    assert find_rotation(noise, scene(300, shape=(400, 400), center=(200.0, 200.0)).dial) is None
