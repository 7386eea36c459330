"""Fine structure fixed to the dial, for any list of points on it: smooth mottle, and cells with a centre each.

Both are read from a tile made once and repeated, turned and shifted by a seed: the same place of a dial has the same
grain in every photograph of it, and only the points asked for cost anything.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float32]
Points = NDArray[np.float64]

CELLS = 96  # a side of the tile, after which grain repeats: 1.9 mm of 20 um grain
STEPS = 6  # samples a cell, each of which knows its nearest centre
JITTER = 0.42  # cells, how far a centre may lie from its cell's middle
BUMPS = 256  # a side of the tile of mottle
ROW = 4096  # points a row when cv2 is asked for a list


class Cells(NamedTuple):
    """The grain each of N points lies in. to_centre : (N, 2) mm. first, second : (N,) 0..1, its own even numbers."""

    to_centre: Points
    first: Values
    second: Values


def mottle(points: Points, cell_mm: float | tuple[float, float], seed: int, pixel_mm: float) -> Values:
    """Smooth noise at points (N, 2) mm, of unit RMS where bumps are wider than a pixel; (N,) float32.

    cell_mm : size of the bumps, or along the first and the second coordinate. pixel_mm : a pixel's side; bumps below it
    average out, as they do in a photograph.
    """
    size = np.broadcast_to(np.asarray(cell_mm, dtype=np.float64), 2)
    tile = _bumps()
    if size[0] == size[1]:
        points = _turned(points, seed)  # else along and across keep their meaning
    seen = read(tile, _within((points + _shift(seed)) * (1.0 / (BUMPS * size)), 2 * BUMPS))
    left = 1.0 / np.sqrt(np.prod(1.0 + (0.6 * pixel_mm / size) ** 2))
    return np.asarray(seen * np.float32(left), dtype=np.float32)


def read(field: Values, places: NDArray[np.floating]) -> Values:
    """Values (N,) of a field (H, W) at places (N, 2), counted from the middle of its first sample; bilinear."""
    if not len(places):
        return np.empty(0, dtype=np.float32)
    maps = np.zeros((2, -(-len(places) // ROW) * ROW), dtype=np.float32)
    maps[:, : len(places)] = places.T
    x, y = maps.reshape(2, -1, ROW)
    seen = cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen.reshape(-1)[: len(places)], dtype=np.float32)


def cells(points: Points, cell_mm: float, seed: int) -> Cells:
    """The grain nearest to each point (N, 2) mm; centres lie about `cell_mm` apart."""
    tile = _nearest()
    place = _within((points + _shift(seed)) * (1.0 / (CELLS * cell_mm)), CELLS)
    at = np.minimum((place * np.float32(STEPS)).astype(np.int32), CELLS * STEPS - 1)
    found = tile.reshape(-1, 4)[at[:, 1] * (CELLS * STEPS) + at[:, 0]]
    to_centre = ((at + np.float32(0.5)) * np.float32(1.0 / STEPS) + found[:, :2] - place) * np.float32(cell_mm)
    return Cells(to_centre, found[:, 2], found[:, 3])


def centres(low: Points, high: Points, cell_mm: float, seed: int) -> tuple[Points, Values, Values]:
    """The centres of the same cells in the box `low`..`high` mm: (N, 2) mm, and their two numbers (N,) each."""
    shift = _shift(seed)
    first, last = (np.floor((corner + shift) / cell_mm).astype(np.int64) for corner in (low, high))
    column, row = np.meshgrid(np.arange(first[0], last[0] + 1), np.arange(first[1], last[1] + 1))
    jitter, own = _centres()
    at = row.ravel() % CELLS, column.ravel() % CELLS
    cell = np.stack([column.ravel(), row.ravel()], axis=1)
    return (cell + 0.5 + jitter[at]) * cell_mm - shift, own[at][:, 0], own[at][:, 1]


def _shift(seed: int) -> Points:
    """(2,) mm by which the seed moves the tile."""
    return np.random.default_rng(seed).uniform(0.0, 100.0, 2)


def _within(turns: Points, size: int) -> Values:
    """Places (N, 2) in a tile of `size` samples a side, from places counted in tiles; faster than a remainder."""
    place = (turns - np.floor(turns)).astype(np.float32)
    place *= np.float32(size)
    return place


def _turned(points: Points, seed: int) -> Points:
    """Points turned about the dial's centre by the seed."""
    turn = np.random.default_rng([seed, 1]).uniform(0.0, 2 * np.pi)
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


@lru_cache(maxsize=1)
def _bumps() -> Values:
    """(2 BUMPS + 1, ...) unit-RMS noise that repeats, two samples a bump, its first row and column again at the end."""
    white = np.random.default_rng(1).standard_normal((2 * BUMPS, 2 * BUMPS)).astype(np.float32)
    wide = np.pad(white, 4, mode="wrap")
    soft = np.asarray(cv2.GaussianBlur(wide, (0, 0), 1.0)[4:-4, 4:-4], dtype=np.float32)
    soft /= soft.std()
    # between samples bilinear reading loses variance: about a fifth of it at this softness
    return np.asarray(np.pad(1.06 * soft, (0, 1), mode="wrap"), dtype=np.float32)


@lru_cache(maxsize=1)
def _centres() -> tuple[Points, Values]:
    """(CELLS, CELLS, 2) cells from each cell's middle to its centre, and (CELLS, CELLS, 2) numbers 0..1."""
    rng = np.random.default_rng(2)
    jitter = rng.uniform(-JITTER, JITTER, (CELLS, CELLS, 2))
    return jitter, rng.uniform(0.0, 1.0, (CELLS, CELLS, 2)).astype(np.float32)


@lru_cache(maxsize=1)
def _nearest() -> Values:
    """(CELLS * STEPS, ..., 4): from each sample to the nearest centre, in cells, and that centre's two numbers."""
    jitter, own = _centres()
    side = CELLS * STEPS
    inside = ((np.arange(side) % STEPS) + 0.5) / STEPS - 0.5
    best = np.full((side, side), np.inf)
    tile = np.empty((side, side, 4), dtype=np.float32)
    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            near, numbers = (
                np.roll(values, (-down, -across), axis=(0, 1)).repeat(STEPS, axis=0).repeat(STEPS, axis=1)
                for values in (jitter, own)
            )
            dx, dy = across + near[..., 0] - inside[None, :], down + near[..., 1] - inside[:, None]
            away = dx * dx + dy * dy
            closer = away < best
            best[closer] = away[closer]
            tile[closer] = np.stack([dx, dy, numbers[..., 0], numbers[..., 1]], axis=2)[closer]
    return tile
