"""What is done to a photograph after the lens, for the tests of sharpness: six ways, and what each leaves of a slanted
edge, measured by a small method of its own.

The slanted edge follows ISO 12233 (edge-based spatial frequency response, from memory): the edge's place in each row, a
straight line through these, all pixels by their distance from it in bins of a quarter of a pixel, the derivative, a
window, the size of its Fourier transform.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.photo import linear_light
from dialtell.synth.making import make
from dialtell.synth.shared.srgb import codes
from dialtell.synth.shared.terms import Process
from dialtell.synth.specimen import plain_making, specimen

Image = NDArray[np.float32]
Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]

WAYS = ("denoised", "halved", "tails", "saved", "veil", "burst")
GAUSSIAN = math.sqrt(2.0 * math.log(10.0)) / (2.0 * math.pi)  # frequency * SD where a Gaussian's MTF is a tenth
_OVERSAMPLED = 4


def finished(scene: Image, way: str, *, sharpen: float = 1.0, noise: float = 0.0, seed: int = 0) -> Codes:
    """A photograph finished in one of WAYS, or "plain".

    denoised : non-local means, then an unsharp mask. halved : half the pixels, unsharp mask, enlarged again (cubic).
    tails : 28 % of the light spread over 4 and 14 px, then an unsharp mask. saved : JPEG 70, twice. veil : 6 % of
    white. burst : the mean of two frames half a pixel apart.
    scene : (H, W) linear light 0..1 behind the lens. sharpen : on the amount of every unsharp mask, 0 for what the
    picture carries without. noise : SD of light. Returns (H, W) uint8 sRGB.
    """
    if way == "tails":  # flare and halation: 28 % of the light over 4 and 14 px
        scene = 0.72 * scene + 0.14 * cv2.GaussianBlur(scene, (0, 0), 4) + 0.14 * cv2.GaussianBlur(scene, (0, 0), 14)
    elif way == "veil":
        scene = 0.94 * scene + 0.06
    rng = np.random.default_rng(seed)
    frames = [scene]
    if way == "burst":  # two frames half a pixel apart
        frames.append(_shifted(scene, 0.5 * math.cos(0.6), 0.5 * math.sin(0.6)))
    seen = np.mean([frame + rng.normal(0, noise, frame.shape) for frame in frames], axis=0)
    code = codes(np.clip(seen, 0, 1).astype(np.float32))
    if way == "denoised":
        if noise:
            code = cv2.fastNlMeansDenoising(code, None, 5, 5, 15)
        return sharpened(code, 1.0 * sharpen, 1.5)
    if way == "halved":
        small = cv2.resize(code, (code.shape[1] // 2, code.shape[0] // 2), interpolation=cv2.INTER_AREA)
        return cv2.resize(sharpened(small, 0.9 * sharpen, 1.0), code.shape[::-1], interpolation=cv2.INTER_CUBIC)
    if way == "tails":
        return sharpened(code, 1.0 * sharpen, 2.0)
    if way == "saved":
        for _ in range(2):
            code = cv2.imdecode(cv2.imencode(".jpg", code, [cv2.IMWRITE_JPEG_QUALITY, 70])[1], cv2.IMREAD_GRAYSCALE)
    return code


def sharp_dial(per_mm: float, process: Process, turn: float, fine: int = 3) -> tuple[Image, DialGeometry]:
    """The perfect specimen dial in linear light, `fine` times as large as at `per_mm` px/mm, and where it will lie."""
    design = specimen()
    radius = design.radius_mm * per_mm
    side = int(2.2 * radius) + 1
    c, s, middle = fine * per_mm * math.cos(turn), fine * per_mm * math.sin(turn), 0.5 * fine * side
    matrix = np.array([[c, -s, middle], [s, c, middle], [0.0, 0.0, 1.0]])
    light = np.full((fine * side, fine * side), 0.8, np.float32)
    for coat in make(design, plain_making(process)):
        share, density = coat.lay(matrix, light.shape)
        light *= 1 - share + share * np.power(10.0, -density, dtype=np.float32)
    return light, DialGeometry((0.5 * side, 0.5 * side), (radius, radius))


def through_lens(large: Image, sigma: float, fine: int = 3) -> Image:
    """The dial as pixels see it, blurred before it is sampled; sigma in px, the pixel's own width included."""
    soft = cv2.GaussianBlur(large, (0, 0), fine * math.sqrt(sigma**2 - 1 / 12))
    return cv2.resize(soft, (large.shape[1] // fine, large.shape[0] // fine), interpolation=cv2.INTER_AREA)


def sharpened(code: Codes, amount: float, size: float) -> Codes:
    """An unsharp mask of this amount and SD in px."""
    soft = cv2.GaussianBlur(code, (0, 0), size)
    return cv2.addWeighted(code, 1.0 + amount, soft, -amount, 0.0)


def slanted_edge(sigma: float, *, upright: bool = True, side: int = 240, black: float = 0.04) -> Image:
    """(side, side) linear light of an edge 5 degrees off a column (a row), a Gaussian's step exact at every pixel's
    centre; sigma in px, the pixel's own width included."""
    y, x = np.mgrid[0:side, 0:side] + 0.5 - side / 2
    along = x if upright else y
    off = along * math.cos(math.radians(5)) + (y if upright else x) * math.sin(math.radians(5))
    return (black + (0.8 - black) * 0.5 * (1 + erf(off / (sigma * math.sqrt(2))))).astype(np.float32)


def frequency_response(code: Codes) -> tuple[Floats, Floats]:
    """Frequencies in cycles per px, and the response, of an edge near a column, dark on the left; ISO 12233."""
    picture = linear_light(code).astype(np.float64)
    inner = picture[20:-20, 30:-30]
    rows, columns = np.arange(len(inner)), np.arange(inner.shape[1])
    rise = np.diff(inner, axis=1)
    near = np.abs(columns[:-1] - np.argmax(cv2.GaussianBlur(rise, (0, 0), 2), axis=1)[:, None]) < 20
    rise = rise * near
    middle = (rise * (columns[:-1] + 0.5)).sum(axis=1) / rise.sum(axis=1)
    slope, start = np.polyfit(rows, middle, 1)
    apart = (columns[None, :] - (start + slope * rows[:, None])) / math.hypot(1.0, slope)
    place = np.floor(apart * _OVERSAMPLED).astype(int)
    reach = 64 * _OVERSAMPLED
    kept = np.abs(place + 0.5) < reach
    place = place[kept] + reach
    spread = np.bincount(place, inner[kept], 2 * reach) / np.bincount(place, minlength=2 * reach)
    line = np.diff(spread)
    line = line * np.hamming(len(line))
    response = np.abs(np.fft.rfft(line))
    frequency = np.fft.rfftfreq(len(line), 1.0 / _OVERSAMPLED)
    # bins and differences each are a box a quarter of a pixel wide
    return frequency, response / response[0] / np.sinc(frequency / _OVERSAMPLED) ** 2


def equivalent_sigma(frequency: Floats, response: Floats) -> float:
    """SD in px of the Gaussian whose response falls to a tenth of its greatest where this one does."""
    low = 0.1 * response.max()
    at = int(np.flatnonzero(response[response.argmax() :] < low)[0] + response.argmax())
    share = (response[at - 1] - low) / (response[at - 1] - response[at])
    return GAUSSIAN / float(frequency[at - 1] + share * (frequency[at] - frequency[at - 1]))


def slanted_sigma(sigma: float, way: str, *, sharpen: float = 0.0) -> float:
    """What a way of finishing leaves of an edge of this SD: the equivalent SD, geometric mean over both directions."""
    found = []
    for upright in (True, False):
        code = finished(slanted_edge(sigma, upright=upright), way, sharpen=sharpen)
        found.append(equivalent_sigma(*frequency_response(code if upright else code.T)))
    return math.sqrt(found[0] * found[1])


def _shifted(picture: Image, right: float, down: float) -> Image:
    """By the Fourier transform, so that nothing is softened."""
    fy, fx = np.fft.fftfreq(picture.shape[0])[:, None], np.fft.rfftfreq(picture.shape[1])[None, :]
    waves = np.fft.rfft2(picture) * np.exp(-2j * math.pi * (fx * right + fy * down))
    return np.fft.irfft2(waves, picture.shape).astype(np.float32)
