"""Divisions of drawn minute tracks: their phase to 0.2 degrees, and none where there is no track."""

import math

import numpy as np
import pytest
from drawn_dial import Scene, cut, draw, scene

from dialtell.model.reading.density import optical_density
from dialtell.model.reading.divisions import Divisions, find_divisions
from dialtell.model.reading.geometry import DialGeometry
from dialtell.synth.shared.errors import ParameterError


def read(drawn: Scene) -> Divisions | None:
    return find_divisions(optical_density(draw(drawn, np.random.default_rng(0)), drawn.dial), drawn.dial)


def off(found: Divisions | None, degrees: float) -> float:
    """Degrees from where a division stands to the one found nearest."""
    assert found is not None
    return abs(math.degrees(found.nearest(math.radians(degrees))) - degrees)


@pytest.mark.parametrize("degrees", [-14.0, -6.2, -3.0, 0.0, 2.9, 7.3, 14.4])
def test_drawn_rotation(degrees: float) -> None:
    found = read(scene(500, rotation=degrees, tilt=20, angle=60, noise=0.02, blur=1))
    assert off(found, degrees) < 0.2
    assert found is not None and 0.87 < found.radius < 0.95
    assert found.confidence > 0.3 and found.count == 60 and abs(math.degrees(found.phase)) <= 3


@pytest.mark.parametrize("across", [160, 300])
def test_small_and_soft(across: int) -> None:
    assert off(read(scene(across, rotation=5.0, blur=1.0, noise=0.02, hands=True)), 5.0) < 0.3


def test_part_of_the_dial_out_of_frame() -> None:
    assert off(read(cut(scene(500, rotation=-4.0, hands=True), 0.7)), -4.0) < 0.2


def test_a_rotation_already_in_the_geometry_makes_no_difference() -> None:
    drawn = scene(420, rotation=8.0, tilt=25, angle=30, noise=0.02)
    density = optical_density(draw(drawn, np.random.default_rng(1)), drawn.dial)
    assert find_divisions(density, drawn.dial) == find_divisions(density, drawn.dial.turned(1.0))


def test_the_nearest_of_any_direction() -> None:
    divisions = Divisions(0.5, math.radians(1.0), 0.9, 60)
    for degrees in range(-360, 720, 7):
        nearest = math.degrees(divisions.nearest(math.radians(degrees)))
        assert (abs(nearest - degrees) <= 3 + 1e-9 and (nearest - 1) % 6 == pytest.approx(0, abs=1e-6)) or (
            (nearest - 1) % 6 == pytest.approx(6, abs=1e-6)
        )


def test_twenty_four_hour_track() -> None:
    dial = DialGeometry((300.0, 300.0), (280.0, 280.0))
    y, x = np.mgrid[0:600, 0:600] + 0.5 - 300.0
    radius, turn = np.hypot(x, y) / 280, np.arctan2(x, -y) - math.radians(-4.0)
    away = np.abs((turn * 60 / math.pi + 0.5) % 1 - 0.5) * 3
    hour = (turn * 60 / math.pi + 0.5) % 5 < 1
    density = np.where((away < np.where(hour, 0.7, 0.3)) & (radius > 0.88) & (radius < 0.93), 1.2, 0.0)
    found = find_divisions(density.astype(np.float32), dial)
    assert found is not None and found.count == 120 and off(found, -4.0) < 0.2


def test_no_track() -> None:
    assert read(scene(400, ticks=False)) is None
    assert read(scene(400, ticks=False, figures=False, noise=0.05)) is None
    assert find_divisions(np.zeros((300, 300), np.float32), scene(200).dial) is None
    noise = np.random.default_rng(0).normal(0, 0.3, (400, 400)).astype(np.float32)
    assert find_divisions(noise, scene(300, shape=(400, 400), center=(200.0, 200.0)).dial) is None
    with pytest.raises(ParameterError, match=r"shape \(10, 10, 3\)"):
        find_divisions(np.zeros((10, 10, 3), np.float32), scene(200).dial)
