"""Blur of edges against exactly drawn ones, and the dot screen of a print."""

import math

import cv2
import numpy as np
import pytest
from drawn_dial import draw, scene
from scipy.special import erf

from dialtell.model.reading.density import optical_density
from dialtell.model.reading.edge_response import TEN_TO_NINETY
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.sharpness import PIXEL_SIGMA, measure_sharpness


def steps(sigma: float, angle: float, noise: float = 0.0, period: float = 90.0) -> np.ndarray:
    """Density of wide bars whose edges are Gaussian-blurred steps, exact at each pixel's centre."""
    y, x = np.mgrid[0:500, 0:500] + 0.5
    along = x * math.cos(angle) + y * math.sin(angle)
    off = np.abs((along + period / 2) % period - period / 2) - period / 4
    light = 0.04 + 0.96 * 0.5 * (1 + erf(off / (sigma * math.sqrt(2))))
    light += np.random.default_rng(0).normal(0, noise, light.shape)
    return np.clip(-np.log10(np.clip(light, 0.01, None)), -0.2, 2).astype(np.float32)


DIAL = DialGeometry((250.0, 250.0), (245.0, 245.0))


def test_ten_to_ninety_of_a_gaussian_step() -> None:
    x = np.linspace(-3, 3, 600001)
    rise = 0.5 * (1 + erf(x / math.sqrt(2)))
    assert x[rise > 0.9][0] - x[rise > 0.1][0] == pytest.approx(TEN_TO_NINETY, abs=1e-4)


@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0])
@pytest.mark.parametrize("angle", [0.05, 0.4, 1.2])
def test_known_blur(sigma: float, angle: float) -> None:
    found = measure_sharpness(steps(sigma, angle), DIAL)
    assert found.edge_sigma_px == pytest.approx(sigma, rel=0.15)
    assert found.true_pixels_per_radius == pytest.approx(245 * min(1, 0.5 / found.edge_sigma_px))
    assert not found.halftone


@pytest.mark.parametrize("sigma", [0.7, 1.5, 3.0])
def test_known_blur_in_noise(sigma: float) -> None:
    found = measure_sharpness(steps(sigma, 0.3, noise=0.02), DIAL)
    assert found.edge_sigma_px == pytest.approx(sigma, rel=0.15)


def test_scaling_up_adds_pixels_but_no_detail() -> None:
    # strokes of a drawn dial, not ideal steps: blur of 1 px in the small picture
    small = scene(520, blur=0.8, noise=0.004, tilt=10)
    light = draw(small, np.random.default_rng(0))
    sharp = measure_sharpness(optical_density(light, small.dial), small.dial)
    big = np.clip(cv2.resize(light, None, fx=2.5, fy=2.5, interpolation=cv2.INTER_CUBIC), 0, 1)
    dial = small.dial.scaled(2.5)
    soft = measure_sharpness(optical_density(big, dial), dial)
    assert soft.edge_sigma_px == pytest.approx(2.5 * sharp.edge_sigma_px, rel=0.2)
    assert soft.true_pixels_per_radius == pytest.approx(sharp.true_pixels_per_radius, rel=0.2)


@pytest.mark.parametrize("times", [2, 3, 5])
def test_repeated_pixels_add_no_detail(times: int) -> None:
    small = scene(520, blur=0.8, noise=0.004)
    light = draw(small, np.random.default_rng(0))
    sharp = measure_sharpness(optical_density(light, small.dial), small.dial)
    big, dial = light.repeat(times, axis=0).repeat(times, axis=1), small.dial.scaled(times)
    # grain added after the enlarging, as a second exposure or JPEG would
    big = (big + np.random.default_rng(1).normal(0, 0.004, big.shape)).clip(0, 1).astype(np.float32)
    found = measure_sharpness(optical_density(big, dial), dial)
    assert found.true_pixels_per_radius <= 1.05 * small.dial.pixels_per_radius
    assert found.true_pixels_per_radius >= 0.7 * sharp.true_pixels_per_radius


@pytest.mark.parametrize("amount", [0.5, 1.0])
def test_sharpening_is_seen_through(amount: float) -> None:
    """A mask of unsharp edges narrows them by up to a half; what is told stays within a quarter of an octave."""
    drawn = scene(1000, blur=2.0, noise=0.002)
    light = 0.8 * draw(drawn, np.random.default_rng(0))
    plain = measure_sharpness(optical_density(light, drawn.dial), drawn.dial)
    steep = (light + amount * (light - cv2.GaussianBlur(light, (0, 0), 2.4))).clip(0, 1)
    found = measure_sharpness(optical_density(steep, drawn.dial), drawn.dial)
    assert found.true_pixels_per_radius == pytest.approx(plain.true_pixels_per_radius, rel=0.19)


@pytest.mark.parametrize("blur", [0.5, 1.0, 2.0])
def test_strokes_of_a_dial(blur: float) -> None:
    # stems are 11 px wide here; a pixel adds 1/12 px^2 of its own; below half a pixel there is nothing more to resolve
    drawn = scene(900, blur=blur, noise=0.01, tilt=15, angle=30, shading=0.3)
    found = measure_sharpness(optical_density(draw(drawn, np.random.default_rng(1)), drawn.dial), drawn.dial)
    assert max(found.edge_sigma_px, PIXEL_SIGMA) == pytest.approx(math.hypot(blur, math.sqrt(1 / 12)), rel=0.15)


@pytest.mark.parametrize("period", [2.6, 4.0, 7.0])
def test_dot_screen(period: float) -> None:
    drawn = scene(700, noise=0.01, blur=0.7)
    light = draw(drawn, np.random.default_rng(0))
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    wave = 2 * math.pi / period
    u, v = (x + y) / math.sqrt(2), (x - y) / math.sqrt(2)
    printed = light * (1 - 0.04 * (np.cos(wave * u) + np.cos(wave * v))).astype(np.float32)
    assert not measure_sharpness(optical_density(light, drawn.dial), drawn.dial).halftone
    found = measure_sharpness(optical_density(printed, drawn.dial), drawn.dial)
    assert found.halftone and found.screen_px == pytest.approx(period, rel=0.06)


def test_nothing_to_measure() -> None:
    for density in (np.zeros((500, 500), np.float32), np.full((500, 500), 1.0, np.float32)):
        found = measure_sharpness(density, DIAL)
        assert math.isnan(found.edge_sigma_px) and found.true_pixels_per_radius == 0 and found.edges == 0
