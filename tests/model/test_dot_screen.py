"""What is a dot screen and what only resembles one, drawn."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from drawn_dial import draw, scene

from dialtell.model.reading.density import optical_density
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.sharpness import Sharpness, measure_sharpness
from dialtell.synth.camera.codecs import compress
from dialtell.synth.camera.halftone import screen

DRAWN = scene(460, noise=0.01, blur=0.7)
LIGHT = draw(DRAWN, np.random.default_rng(0))
Y, X = (axis.astype(np.float32) for axis in np.mgrid[0 : LIGHT.shape[0], 0 : LIGHT.shape[1]])


def looked_at(light: np.ndarray, dial: DialGeometry = DRAWN.dial) -> Sharpness:
    return measure_sharpness(optical_density(light.astype(np.float32), dial), dial)


def saved(light: np.ndarray, quality: int) -> np.ndarray:
    """Light after one JPEG generation of a grey picture."""
    codes = np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    kept = compress(np.repeat(codes[..., None], 3, axis=2), quality, "420")
    return (kept[..., 1] / np.float32(255)) ** np.float32(2.2)


def bars(period: float, degrees: float) -> np.ndarray:
    """0..1, parallel, with steep edges; each pixel the mean over its area, as a sensor's is (points would fold the
    edges' overtones back into waves that cross the bars)."""
    turn = np.radians(degrees)
    total = np.zeros_like(X)
    parts = (np.arange(4) - 1.5) / 4
    for right in parts:
        for down in parts:
            along = (X + right) * np.cos(turn) + (Y + down) * np.sin(turn)
            total += np.clip(0.5 + 2 * np.cos(2 * np.pi * along / period), 0, 1)
    return np.asarray(total / 16)


@pytest.mark.parametrize(("pitch", "tone"), [(2.6, 0.9), (4.0, 0.9), (4.0, 0.5), (7.0, 0.6)])
def test_printed_screen_from_light_to_middle_tones(pitch: float, tone: float) -> None:
    plate = screen(LIGHT / np.float32(0.8 / tone), pitch_px=pitch, angle_deg=40.0, dot_gain=0.1)
    found = looked_at(saved(cv2.GaussianBlur(plate, (0, 0), 0.25 * pitch), 80))
    assert found.halftone
    assert found.screen_px == pytest.approx(pitch, rel=0.08)


def test_screen_of_a_page_seen_askew() -> None:
    plate = cv2.GaussianBlur(screen(LIGHT, pitch_px=4.0, angle_deg=45.0), (0, 0), 1.0)
    matrix = np.array([[0.97, 0.06, 0.0], [0.0, 0.9, 0.0]])
    x, y = matrix @ (*DRAWN.dial.center_px, 1.0)
    dial = DialGeometry((x, y), tuple(0.9 * np.array(DRAWN.dial.axes_px)))
    assert looked_at(cv2.warpAffine(plate, matrix, plate.shape[::-1], borderMode=cv2.BORDER_REFLECT), dial).halftone


@pytest.mark.parametrize("period", [3.3, 6.6, 11.0])
@pytest.mark.parametrize("degrees", [20.0, 63.0])
def test_parallel_bars_are_no_screen(period: float, degrees: float) -> None:
    """Blinds mirrored in the glass over half of a dial, and metal brushed one way all over."""
    mirrored = LIGHT + 0.15 * bars(period, degrees) * (X > DRAWN.dial.center_px[0])
    brushed = LIGHT * (1 - 0.15 * bars(period, degrees))
    for light in (mirrored, brushed, saved(mirrored, 80), saved(brushed, 80)):
        assert not looked_at(light).halftone


def test_parallel_strokes_of_figures_on_a_small_dial_are_no_screen() -> None:
    """Where only few tiles are bare: the bars of Roman figures, turned as they are round the dial."""
    x, y = X - DRAWN.dial.center_px[0], Y - DRAWN.dial.center_px[1]
    hour = np.pi / 6 * np.round(np.arctan2(y, x) / (np.pi / 6))
    across, out = y * np.cos(hour) - x * np.sin(hour), x * np.cos(hour) + y * np.sin(hour)
    figures = (np.abs(across) < 13) & (np.abs(out - 155) < 32) & (np.cos(2 * np.pi * across / 6.6) > 0)
    assert not looked_at(np.where(figures, 0.05, LIGHT)).halftone


def test_engine_turning_is_no_screen() -> None:
    x, y = X - DRAWN.dial.center_px[0], Y - DRAWN.dial.center_px[1]
    turned = np.cos(180 * np.arctan2(y, x)) + np.cos(2 * np.pi * np.hypot(x, y) / 6)
    assert not looked_at(LIGHT * (1 - 0.05 * turned)).halftone


def test_cloth_round_the_dial_is_no_screen() -> None:
    weave = np.cos(2 * np.pi * (X + Y) / 6) + np.cos(2 * np.pi * (X - Y) / 6)
    outside = np.hypot(X - DRAWN.dial.center_px[0], Y - DRAWN.dial.center_px[1]) > 1.02 * DRAWN.dial.axes_px[0]
    assert not looked_at(LIGHT + 0.1 * (2 + weave) * outside).halftone


@pytest.mark.parametrize("times", [1.5, 1.7, 2.4, 3.0])
def test_repeated_pixels_are_no_screen(times: float) -> None:
    height, width = LIGHT.shape
    small = cv2.resize(LIGHT, (round(width / times), round(height / times)), interpolation=cv2.INTER_AREA)
    grainy = small + np.random.default_rng(2).normal(0, 0.02, small.shape).astype(np.float32)
    assert not looked_at(cv2.resize(grainy, (width, height), interpolation=cv2.INTER_NEAREST)).halftone


@pytest.mark.parametrize("quality", [20, 40])
def test_blocks_of_strong_compression_are_no_screen(quality: int) -> None:
    assert not looked_at(saved(LIGHT, quality)).halftone


def test_sharpened_grain_is_no_screen() -> None:
    grainy = LIGHT + np.random.default_rng(3).normal(0, 0.04, LIGHT.shape).astype(np.float32)
    assert not looked_at(grainy + 2 * (grainy - cv2.GaussianBlur(grainy, (0, 0), 1.2))).halftone
