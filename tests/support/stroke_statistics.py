"""What a line's statistics are, measured from drawn pixels with the estimators of the pen data.

The reference figures (UNIPEN train_r01_v07, CC BY 4.0, International Unipen Foundation; I. Guyon et al., ICPR 1994)
were made so: 5 % of the stroke is cut off at each end, a line is fitted to the rest by total least squares, the
deviations from it are taken at SAMPLES even places, and mode k of their DCT-II makes k/2 cycles along the stroke.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import dct

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.strokes.paint import Paint, mask
from dialtell.synth.strokes.stroke import Floats

SAMPLES = 128
TRIM = 0.05
CYCLES = np.arange(1, SAMPLES) / 2.0  # of the DCT modes 1, 2, ... along the core of a stroke


@dataclass(frozen=True, eq=False)
class Line:
    """One stroke as traced.

    length_mm : end to end. angle_deg : of the fitted line, clockwise from upright, -90..90.
    deviation : (SAMPLES,) mm off the fitted line, along the core.
    ends : (2, 2) mm, where the drawn stroke begins and stops, top (or left) end first.
    hooks : (2,) mm, how far off the fitted line each end lies.
    """

    length_mm: float
    angle_deg: float
    deviation: Floats
    ends: Floats
    hooks: Floats

    @property
    def rms_mm(self) -> float:
        """RMS deviation from the fitted line."""
        return float(np.sqrt(np.mean(self.deviation**2)))

    @property
    def power(self) -> Floats:
        """(SAMPLES - 1,) power of the modes 1, 2, ... in mm squared; their sum is the mean square deviation."""
        modes = dct(self.deviation, type=2, norm="ortho")
        return np.asarray(modes[1:] ** 2 / SAMPLES)

    @property
    def correlation_length(self) -> float:
        """Lag at which the autocorrelation (biased estimate) has fallen to 1/e, share of the core's length."""
        off = self.deviation - self.deviation.mean()
        products = np.correlate(off, off, "full")[SAMPLES - 1 :]
        below = products < products[0] / np.e
        return float(np.argmax(below)) / (SAMPLES - 1)


def fit_line(path: Floats, ends: Floats) -> Line:
    """Statistics of a traced centre line.

    path : (N, 2) mm in order along the stroke, N >= 8. ends : (2, 2) mm.
    """
    if len(path) < 8:
        raise ParameterError(f"path has {len(path)} points; trace the stroke at a larger scale to get 8 or more")
    steps = np.hypot(*np.diff(path, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.linspace(TRIM, 1 - TRIM, SAMPLES) * along[-1]
    core = np.stack([np.interp(at, along, path[:, axis]) for axis in (0, 1)], axis=1)
    middle = core.mean(axis=0)
    direction = np.linalg.svd(core - middle, full_matrices=False)[2][0]
    direction = direction * (1.0 if direction @ (path[-1] - path[0]) > 0 else -1.0)
    aside = np.array([-direction[1], direction[0]])
    across = (core - middle) @ aside
    angle = np.degrees(np.arctan2(-direction[0], direction[1]))
    return Line(float(np.hypot(*(ends[1] - ends[0]))), float(angle), across, ends, (path[[0, -1]] - middle) @ aside)


def trace(share: NDArray[np.floating], px_per_mm: float, *, upright: bool = True) -> tuple[Floats, Floats]:
    """Centre line and ends of the one stroke in a picture of covered share (H, W).

    upright : the stroke runs down the picture; else across it.
    Returns (N, 2) mm, one point a pixel row (column), and (2, 2) mm ends, where the stroke is half as wide as in
    the middle.
    """
    picture = np.asarray(share if upright else share.T, dtype=np.float64)
    mass = picture.sum(axis=1)
    if not mass.any():
        raise ParameterError("share is empty; draw a stroke inside the frame")
    half = 0.5 * float(np.median(mass[mass > 0.2 * mass.max()]))
    rows = np.flatnonzero(mass >= half)
    first, last = int(rows[0]), int(rows[-1])
    rows = np.arange(first, last + 1)
    rows = rows[mass[rows] > 0]
    columns = np.arange(picture.shape[1]) + 0.5
    x = picture[rows] @ columns / mass[rows]
    path = np.stack([x, rows + 0.5], axis=1)
    ends = path[[0, -1]].copy()
    # a row drawn in part tells where within it the stroke ends
    ends[0, 1] = first + 0.5 - _part(mass, first - 1, first, half)
    ends[1, 1] = last + 0.5 + _part(mass, last + 1, last, half)
    order = [0, 1] if upright else [1, 0]
    return path[:, order] / px_per_mm, ends[:, order] / px_per_mm


def _part(mass: Floats, outside: int, inside: int, half: float) -> float:
    """Rows from the middle of `inside` to where the mass falls to `half`, 0..1."""
    beyond = float(mass[outside]) if 0 <= outside < len(mass) else 0.0
    return float(np.clip((mass[inside] - half) / max(mass[inside] - beyond, 1e-12), 0.0, 1.0))


def trace_each(paint: Paint, px_per_mm: float, *, upright: bool = True) -> list[Line]:
    """Every stroke of the paint drawn alone, without a camera, and traced back from its pixels."""
    lines = []
    for number in np.unique(paint.stroke):
        alone = paint.select(paint.stroke == number)
        points = np.concatenate([alone.left, alone.right])
        low = np.floor(points.min(axis=0) * px_per_mm) - 2
        size = np.ceil(points.max(axis=0) * px_per_mm) + 2 - low
        matrix = np.array([[px_per_mm, 0, -low[0]], [0, px_per_mm, -low[1]], [0, 0, 1.0]])
        share = mask(alone, matrix, (int(size[1]), int(size[0])))
        path, ends = trace(share, px_per_mm, upright=upright)
        lines.append(fit_line(path + low / px_per_mm, ends + low / px_per_mm))
    return lines


def pooled_power(lines: Sequence[Line]) -> Floats:
    """Mean power of the modes over strokes, each in shares of its length squared; (SAMPLES - 1,)."""
    return np.asarray(np.mean([line.power / line.length_mm**2 for line in lines], axis=0))


def band_shares(power: Floats) -> tuple[float, float, float]:
    """Shares of power below 2, from 2 to below 6, and from 6 cycles a stroke on."""
    total = power.sum()
    low, high = CYCLES < 2, CYCLES >= 6
    return float(power[low].sum() / total), float(power[~low & ~high].sum() / total), float(power[high].sum() / total)


def spectral_slope(power: Floats) -> float:
    """Slope of ln power on ln cycles from 1.5 to 8 cycles a stroke."""
    use = (CYCLES >= 1.5) & (CYCLES <= 8)
    return float(np.polyfit(np.log(CYCLES[use]), np.log(power[use]), 1)[0])


def growth(lines: Sequence[Line]) -> float:
    """Exponent of RMS deviation in mm on length in mm, by least squares of logarithms."""
    length = np.log([line.length_mm for line in lines])
    return float(np.polyfit(length, np.log([line.rms_mm for line in lines]), 1)[0])
