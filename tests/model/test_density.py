"""Density against the local enamel: exact values, and a ground that light, hands and heavy figures do not pull."""

import numpy as np
import pytest
from drawn_dial import draw, scene

from dialtell.model.reading.density import HIGHEST, LOWEST, optical_density
from dialtell.model.reading.geometry import DialGeometry
from dialtell.synth.shared.errors import ParameterError


def test_density_of_known_reflectances() -> None:
    # D = -log10 R (ISO 5, from memory): 0.5 -> 0.3010, 0.1 -> 1, 0.05 -> 1.3010; below 0.01 it is clipped at 2
    dial = DialGeometry((300.0, 300.0), (280.0, 280.0))
    light = np.full((600, 600), 0.7, np.float32)
    marks = {(200, 200): 0.5, (200, 400): 0.1, (400, 200): 0.05, (400, 400): 0.001, (300, 300): 2.0}
    for (row, column), reflectance in marks.items():
        light[row - 6 : row + 6, column - 6 : column + 6] = 0.7 * reflectance
    density = optical_density(light, dial)
    assert density.dtype == np.float32
    for (row, column), expected in zip(marks, (0.3010, 1.0, 1.3010, 2.0, -0.2), strict=True):
        assert density[row, column] == pytest.approx(expected, abs=2e-3)
    assert density[300, 100] == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("across", [240, 900])
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_uneven_light_hands_and_figures(across: int, noise: float) -> None:
    drawn = scene(across, shading=0.7, hands=True, tilt=25, angle=30, noise=noise, ground=0.05)
    density = optical_density(draw(drawn, np.random.default_rng(0)), drawn.dial)
    rows, columns = np.mgrid[0 : density.shape[0], 0 : density.shape[1]] + 0.5
    dial = drawn.dial.to_dial(np.stack([columns, rows], axis=-1))
    radius = np.hypot(dial[..., 0], dial[..., 1])
    # bare enamel: a free ring between seconds and figures is mostly unmarked; another just inside the edge
    for low, high in ((0.3, 0.55), (0.945, 0.985)):
        ring = density[(radius > low) & (radius < high)]
        assert np.median(ring) == pytest.approx(0, abs=0.02)
        assert np.percentile(ring, 20) > -0.03 - 1.2 * noise
    # a broad dark place: where both hands cover the hub, of light 0.08 under enamel of 0.8
    hub = density[radius < 0.015]
    assert np.median(hub) == pytest.approx(1.0, abs=0.08)


def test_ground_is_the_light_on_the_enamel() -> None:
    drawn = scene(500, shading=0.6, hands=True)
    light = draw(drawn, np.random.default_rng(0))
    bare = draw(
        scene(500, shading=0.6, figures=False, ticks=False, rings=False, seconds=False), np.random.default_rng(0)
    )
    rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]] + 0.5
    dial = drawn.dial.to_dial(np.stack([columns, rows], axis=-1))
    radius = np.hypot(dial[..., 0], dial[..., 1])
    inside = (radius < 0.97) & (radius > 0.05)
    density = optical_density(light, drawn.dial)
    told = inside & (density > LOWEST + 0.01) & (density < HIGHEST - 0.01)  # where it was not clipped
    ground = light[told] * 10.0 ** density[told]
    assert told.sum() > 0.95 * inside.sum()
    assert np.percentile(np.abs(ground / bare[told] - 1), 95) < 0.03


def test_outside_the_box_is_zero_and_frames_may_cut() -> None:
    drawn = scene(300, margin=0.6)
    light = draw(drawn, np.random.default_rng(0))
    density = optical_density(light, drawn.dial)
    assert np.all(density[:20] == 0)
    half = light[:, : light.shape[1] // 2]
    assert optical_density(half, drawn.dial).shape == half.shape
    with pytest.raises(ParameterError, match="outside the"):
        optical_density(light, DialGeometry((9000.0, 9000.0), (100.0, 100.0)))
    assert np.all(np.isfinite(optical_density(np.zeros_like(light), drawn.dial)))
