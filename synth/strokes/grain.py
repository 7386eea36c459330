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

CELLS = 128  # a side of the tile, after which grain repeats: 2.5 mm of 20 um grain
STEPS = 8  # samples a cell, each of which knows its nearest centre
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
    place = _placed(points, seed, turned=float(size[0]) == float(size[1])) / size * 2.0
    place %= 2 * BUMPS
    flat = np.zeros((-(-len(place) // ROW) * ROW, 2), dtype=np.float32)
    flat[: len(place)] = place
    grid = flat.reshape(-1, ROW, 2)
    seen = cv2.remap(tile, grid, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    left = 1.0 / np.sqrt(np.prod(1.0 + (0.6 * pixel_mm / size) ** 2))
    return np.asarray(seen.reshape(-1)[: len(place)] * np.float32(left), dtype=np.float32)


def cells(points: Points, cell_mm: float, seed: int) -> Cells:
    """The grain nearest to each point (N, 2) mm; centres lie about `cell_mm` apart."""
    tile = _centres()
    place = _placed(points, seed, turned=False) * (1.0 / cell_mm)
    place %= CELLS
    at = np.minimum((place * STEPS).astype(np.int32), CELLS * STEPS - 1)
    found = tile[at[:, 1], at[:, 0]]
    to_centre = ((at + 0.5) * (1.0 / STEPS) + found[:, :2] - place) * cell_mm
    return Cells(to_centre, found[:, 2], found[:, 3])


def _placed(points: Points, seed: int, *, turned: bool) -> Points:
    """Points moved, and turned if asked, by the seed."""
    rng = np.random.default_rng(seed)
    shift, turn = rng.uniform(0.0, 1000.0, 2), rng.uniform(0.0, 2 * np.pi)
    if turned:
        c, s = np.cos(turn), np.sin(turn)
        points = points @ np.array([[c, s], [-s, c]])
    return np.asarray(points + shift)


@lru_cache(maxsize=1)
def _bumps() -> Values:
    """(2 BUMPS + 1, ...) unit-RMS noise that repeats, two samples a bump, its first row and column again at the end."""
    white = np.random.default_rng(1).standard_normal((2 * BUMPS, 2 * BUMPS)).astype(np.float32)
    wide = np.pad(white, 4, mode="wrap")
    soft = cv2.GaussianBlur(wide, (0, 0), 1.0)[4:-4, 4:-4]
    soft /= soft.std()
    # between samples bilinear reading loses variance: about a fifth of it at this softness
    return np.asarray(np.pad(1.06 * soft, (0, 1), mode="wrap"), dtype=np.float32)


@lru_cache(maxsize=1)
def _centres() -> Values:
    """(CELLS * STEPS, ..., 4): from each sample to the nearest centre, in cells, and that centre's two numbers."""
    rng = np.random.default_rng(2)
    jitter = rng.uniform(-0.42, 0.42, (CELLS, CELLS, 2))
    own = rng.uniform(0.0, 1.0, (CELLS, CELLS, 2))
    side = CELLS * STEPS
    inside = ((np.arange(side) % STEPS) + 0.5) / STEPS - 0.5
    best = np.full((side, side), np.inf)
    tile = np.empty((side, side, 4), dtype=np.float32)

    def spread(values: Points) -> Points:
        return np.repeat(np.repeat(values, STEPS, axis=0), STEPS, axis=1)

    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            near = spread(np.roll(jitter, (-down, -across), axis=(0, 1)))
            dx, dy = across + near[..., 0] - inside[None, :], down + near[..., 1] - inside[:, None]
            away = dx * dx + dy * dy
            closer = away < best
            best[closer] = away[closer]
            numbers = spread(np.roll(own, (-down, -across), axis=(0, 1)))
            tile[closer] = np.stack([dx, dy, numbers[..., 0], numbers[..., 1]], axis=2)[closer]
    return tile
