"""How sharp a photograph really is: the blur of its strokes' edges, and a printer's dot screen if there is one.

A photograph scaled up, out of focus or sharpened has more pixels, or more contrast, than detail. Its true resolution is
that of a plain picture whose detail ends at the same frequency: where the response of the edges to detail has fallen to
a tenth (limiting resolution, ISO 12233, from memory), told as the SD sigma of the Gaussian blur that ends there. What
counts is what the picture carried before it was sharpened: sharpening brings out what there is and adds none; halving
and enlarging leaves half at most; a veil of light takes contrast alone, and so, all but a tenth, do long tails.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from dialtell.model.reading.dot_screen import screen_period
from dialtell.model.reading.edge_response import REACH, common_sigma
from dialtell.model.reading.geometry import DialGeometry
from dialtell.synth.shared.errors import ParameterError

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

PIXEL_SIGMA = 0.5  # px, of a photograph whose pixels are just used: at half a pixel a stroke edge spans 1.3 px
_MOST_EDGES = 4000  # looked at along the rows, and as many along the columns
_MOST_LINES = 800  # rows or columns looked along
_FEWEST_EDGES = 20


@dataclass(frozen=True)
class Sharpness:
    """edge_sigma_px : px, blur SD of the full black edges before any sharpening, the pixel's own width included; nan
        without edges.

    true_pixels_per_radius : px per dial radius that carry detail, pixels_per_radius * min(1, 0.5 / edge_sigma_px):
        the size to which the photograph could be reduced until its edges are half a pixel soft; less where pixels
        merely repeat their neighbours. 0 without edges.
    edges : how many edge profiles were used.
    halftone : whether a regular dot screen shows in the bare enamel.
    screen_px : px, its period; nan without one.
    """

    edge_sigma_px: float
    true_pixels_per_radius: float
    edges: int
    halftone: bool
    screen_px: float


def measure_sharpness(density: Image, geometry: DialGeometry) -> Sharpness:
    """Blur of the strokes' edges on the dial.

    density : (H, W) float32 optical density from `optical_density`.
    """
    if density.ndim != 2:
        raise ParameterError(f"density has shape {density.shape}; give (H, W)")
    box = geometry.box(density.shape, 0.95)
    dial = density[box]
    times = _repeats(dial)
    if times > 1.0:  # look at it before it was enlarged
        size = (max(round(density.shape[1] / times), 1), max(round(density.shape[0] / times), 1))
        small = np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
        found = measure_sharpness(small, geometry.scaled(size[0] / density.shape[1]))
        return replace(found, edge_sigma_px=found.edge_sigma_px * times, screen_px=found.screen_px * times)
    period = screen_period(dial, geometry, box)
    edges = _find_edges(dial, geometry, box)
    if len(edges.slant) < _FEWEST_EDGES:
        return Sharpness(float("nan"), 0.0, len(edges.slant), period is not None, period or float("nan"))
    sigma = common_sigma(edges.profile, edges.slant, edges.low, edges.high)
    true = geometry.pixels_per_radius * min(1.0, PIXEL_SIGMA / sigma)
    return Sharpness(sigma, true, len(edges.slant), period is not None, period or float("nan"))


@dataclass(frozen=True)
class _Edges:
    """N edges between bare enamel and full ink, see common_sigma."""

    profile: Floats
    slant: Floats
    low: Floats
    high: Floats

    def __add__(self, other: _Edges) -> _Edges:
        return _Edges(*(np.concatenate(pair) for pair in zip(vars(self).values(), vars(other).values(), strict=True)))


def _no_edges() -> _Edges:
    return _Edges(np.empty((0, 2 * REACH + 2)), np.empty(0), np.empty(0), np.empty(0))


def _inside(
    geometry: DialGeometry, box: tuple[slice, slice], rows: Floats, columns: Floats, extent: float
) -> NDArray[np.bool_]:
    """(rows, columns) which pixels, counted within the box, lie within `extent` dial radii."""
    return _on_dial(geometry, box, rows[:, None], columns[None, :], extent)


def _on_dial(
    geometry: DialGeometry, box: tuple[slice, slice], row: Floats, column: Floats, extent: float
) -> NDArray[np.bool_]:
    """Which places, counted within the box, lie within `extent` dial radii."""
    inverse = np.linalg.inv(geometry.matrix).astype(np.float32)
    x = (column + box[1].start + 0.5 - geometry.center_px[0]).astype(np.float32)
    y = (row + box[0].start + 0.5 - geometry.center_px[1]).astype(np.float32)
    u, v = inverse[0, 0] * x + inverse[0, 1] * y, inverse[1, 0] * x + inverse[1, 1] * y
    return np.asarray(u * u + v * v < extent * extent)


def _find_edges(dial: Image, geometry: DialGeometry, box: tuple[slice, slice]) -> _Edges:
    """Edges between bare enamel and full ink, found along rows and columns."""
    height, width = dial.shape
    every = max(height // _MOST_LINES, 1), max(width // _MOST_LINES, 1)
    rows, columns = np.arange(2, height - 2, every[0]), np.arange(2, width - 2, every[1])
    if not (len(rows) and len(columns)):
        return _no_edges()
    coarse = dial[np.ix_(rows[::3], columns[::3])][
        _inside(geometry, box, rows[::3].astype(float), columns[::3].astype(float), 0.93)
    ]
    # the black of this photograph is what its darkest strokes reach
    black = 10.0 ** -float(np.percentile(coarse, 99.5)) if coarse.size else 1.0
    if black > 0.75:
        return _no_edges()
    upright = _along_rows(dial, rows, lambda row, column: _on_dial(geometry, box, row, column, 0.93), black)
    level = _along_rows(dial.T, columns, lambda row, column: _on_dial(geometry, box, column, row, 0.93), black)
    return upright + level


def _along_rows(
    dial: Image, rows: NDArray[np.int64], inside: Callable[[Floats, Floats], NDArray[np.bool_]], black: float
) -> _Edges:
    """Where a row crosses half way between enamel and ink on a clean full edge.

    inside : which of the places (row, column) are to be looked at.
    Blur acts on light, so it is measured there, relative to the enamel = 1.
    """
    lines = slice(int(rows[0]), int(rows[-1]) + 1, int(rows[1] - rows[0]) if len(rows) > 1 else 1)  # a view, no copy
    dark = dial[lines] > -np.log10(0.5 * (1 + black))
    if not dark.flags.c_contiguous:  # columns, which come as rows here: laid out as such, in a tenth of numpy's time
        dark = np.asarray(cv2.transpose(dark.T.view(np.uint8))).view(np.bool_)
    crossing = dark[:, 1:] != dark[:, :-1]
    crossing[:, : REACH + 1] = False
    crossing[:, -REACH - 1 :] = False
    row, column = np.divmod(np.flatnonzero(crossing), crossing.shape[1])  # as nonzero gives them, sooner
    here = inside(rows[row].astype(np.float64), (column + 1).astype(np.float64))
    row, column = row[here], column[here]
    if len(row) > 4 * _MOST_EDGES:
        step = len(row) // (4 * _MOST_EDGES) + 1
        row, column = row[::step], column[::step]
    if len(row) == 0:
        return _no_edges()
    row = rows[row]
    # only edges that the row crosses nearly square: their width along the row needs little correction
    about = _light(dial[row[:, None] + [[0, 0, -1, 1, -1, 1]], column[:, None] + [[0, 1, 0, 0, 1, 1]]])
    across = about[:, 1] - about[:, 0]
    down = 0.25 * (about[:, 3] - about[:, 2] + about[:, 5] - about[:, 4])
    square = np.abs(down) < 0.5 * np.abs(across)
    row, column, across, down = row[square], column[square], across[square], down[square]
    if len(row) > _MOST_EDGES:
        some = np.linspace(0, len(row) - 1, _MOST_EDGES).astype(np.int64)
        row, column, across, down = row[some], column[some], across[some], down[some]
    reach = np.arange(-REACH, REACH + 2)
    profile = _light(dial[row[:, None], column[:, None] + reach[None, :]]).astype(np.float64)
    profile = np.where((across < 0)[:, None], profile[:, ::-1], profile)  # dark to light
    low, low_ok = _plateau(profile[:, REACH::-1], -1.0)
    high, high_ok = _plateau(profile[:, REACH + 1 :], 1.0)
    full = low_ok & high_ok & (high - low > 0.75 * (1 - black))
    slant = np.hypot(across, down)[full] / np.abs(across)[full]
    return _Edges(profile[full], slant, low[full], high[full])


def _light(density: Image) -> Image:
    """Share of the enamel's light that a density leaves; a third of the time of a power of ten."""
    power = density * np.float32(-np.log(10.0))
    return np.asarray(np.exp(power, out=power), dtype=np.float32)


def _repeats(dial: Image) -> float:
    """How many times a picture was enlarged without interpolation (geometric mean over rows and columns), so that only
    every k-th of them differs from the one before; 1 for all others."""
    times = 1.0
    for differences in (np.diff(_light(dial[:, ::3]), axis=0), np.diff(_light(dial[::3]), axis=1).T):
        # differences of light: strokes tell, grain does not; in place, as new memory takes longer than the numbers
        np.abs(differences, out=differences)
        differences -= 0.03
        clear = np.clip(differences, 0.0, 0.2, out=differences).mean(axis=1)
        own = np.flatnonzero(clear > 0.3 * maximum_filter1d(clear, 17))
        steps = np.diff(own)
        usual = float(np.median(steps)) if len(steps) > 20 else 1.0
        regular = steps[np.abs(steps - usual) <= 1]
        if 2 <= usual <= 12 and len(regular) > 0.7 * len(steps):
            times *= float(regular.mean())
    return float(np.sqrt(times)) if times > 2.0 else 1.0


def _plateau(walk: Floats, sign: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Level reached walking away from an edge, and whether the walk came to a plateau before it turned back.

    The walk ends where the values stop going on in their direction; the level is the mean of the two values there.
    """
    going = np.diff(walk, axis=1) * sign > 0.004
    stop = np.where(going.all(axis=1), walk.shape[1], going.argmin(axis=1))
    usable = stop + 1 < walk.shape[1]
    at = np.minimum(stop, walk.shape[1] - 2)
    row = np.arange(len(walk))
    return 0.5 * (walk[row, at] + walk[row, at + 1]), usable
