"""Exact-area rasteriser: what share of each pixel a polygon covers, summed with a weight per polygon.

Every edge is cut where it crosses a pixel border; each piece adds its height and the area to its right to one
pixel, and a running sum along the row turns these into coverage (the signed-area accumulation of scan-converters,
here in one numpy pass for all polygons). Coverage of a simple polygon is exact to rounding; areas of neighbouring
polygons that share an edge add up without a seam, so a stroke may be drawn as slices of different density.

Strokes cover little of a frame, so rows are kept as runs of RUN pixels and only the runs that hold an edge or lie
inside a polygon are worked on; what a run inherits from its left is one number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RUN_BITS = 5
RUN = 1 << RUN_BITS  # pixels of a run; of 16, 32, 64 and 128 the fastest for a dial at 1400 px
CHUNK = 4096  # edges cut at once
NOTHING = 1e-9  # a sum below this is what rounding left


@dataclass(frozen=True, eq=False)
class Runs:
    """Sums in the runs that are not empty.

    index : (N,) number of each run, counted along the rows of a frame padded to whole runs.
    values : (K, N, RUN) weight times covered share, in K layers.
    shape : (H, W) of the frame.
    """

    index: Ints
    values: Floats
    shape: tuple[int, int]

    def spread(self, values: NDArray[np.floating]) -> NDArray[np.float32]:
        """(H, W) float32 frame of `values` (N, RUN), 0 outside the runs."""
        height, width = self.shape
        across = -(-width // RUN)
        frame = np.zeros((height * across, RUN), dtype=np.float32)
        frame[self.index] = values
        return frame.reshape(height, across * RUN)[:, :width]


def edges_of(polygons: Sequence[Floats]) -> tuple[Floats, Ints]:
    """Edges of closed polygons, all given the same winding (positive shoelace area in x right, y down).

    polygons : each (N, 2) px, without a repeated last point.
    Returns (E, 4) edges x0, y0, x1, y1 and (E,) the index of the polygon each belongs to.
    """
    edges: list[Floats] = []
    owner: list[Ints] = []
    for index, polygon in enumerate(polygons):
        following = np.roll(polygon, -1, axis=0)
        area = np.sum(polygon[:, 0] * following[:, 1] - following[:, 0] * polygon[:, 1])
        pair = np.hstack([polygon, following] if area >= 0 else [following, polygon])
        edges.append(pair)
        owner.append(np.full(len(pair), index, dtype=np.int64))
    if not edges:
        return np.empty((0, 4)), np.empty(0, dtype=np.int64)
    return np.concatenate(edges), np.concatenate(owner)


def accumulate(edges: Floats, weights: Floats, shape: tuple[int, int]) -> NDArray[np.float32]:
    """Sum over edges' polygons of weight times covered share, per pixel.

    edges : (E, 4) px, x0, y0, x1, y1; pixel (row, column) spans [column, column + 1) x [row, row + 1).
    weights : (E,) or (E, K) weight of each edge's polygon, in K layers done together.
    Returns (H, W) or (K, H, W) float32.
    """
    runs = accumulate_runs(edges, weights if weights.ndim == 2 else weights[:, None], shape)
    if weights.ndim == 1:
        return runs.spread(runs.values[0])
    return np.stack([runs.spread(layer) for layer in runs.values])


def accumulate_runs(edges: Floats, weights: Floats, shape: tuple[int, int]) -> Runs:
    """The same sums where there are any; weights : (E, K)."""
    height, width = shape
    across = -(-width // RUN)
    pieces = _cut(edges, shape)
    run = pieces.row * across + (pieces.column >> RUN_BITS)
    live = np.zeros(height * across, dtype=np.bool_)
    live[run] = True
    drops, inherited = [], []
    for layer in np.ascontiguousarray(weights.T):
        drop = pieces.drop * layer[pieces.owner]
        # what each run passes on to the runs on its right, and hence what each inherits
        passed = np.bincount(run, weights=drop, minlength=height * across).reshape(height, across)
        handed = (np.cumsum(passed, axis=1) - passed).ravel()
        live |= np.abs(handed) > NOTHING
        drops.append(drop)
        inherited.append(handed)
    index = np.flatnonzero(live)
    place = np.zeros(height * across, dtype=np.int64)
    # one slot more than pixels: what a piece adds to the next pixel may fall outside its run
    place[index] = np.arange(len(index)) * (RUN + 1)
    cell = place[run] + (pieces.column & (RUN - 1))
    slots = len(index) * (RUN + 1)
    values = np.empty((len(drops), len(index), RUN))
    for number, (drop, handed) in enumerate(zip(drops, inherited, strict=True)):
        here = drop * pieces.share
        sums = np.bincount(cell, weights=here, minlength=slots + 1)
        sums[1:] += np.bincount(cell, weights=drop - here, minlength=slots)
        slotted = sums[:slots].reshape(len(index), RUN + 1)
        slotted[:, 0] += handed[index]
        np.cumsum(slotted[:, :RUN], axis=1, out=values[number])
    return Runs(index, values, shape)


def coverage(polygons: Sequence[Floats], shape: tuple[int, int], weights: Floats | None = None) -> NDArray[np.float32]:
    """Share of each pixel covered, summed over polygons (times `weights`, one per polygon); (H, W) float32."""
    edges, owner = edges_of(polygons)
    per_edge = np.ones(len(owner)) if weights is None else np.asarray(weights, dtype=np.float64)[owner]
    return accumulate(edges, per_edge, shape)


class _Pieces(NamedTuple):
    """Edges cut to single pixels: drop is the signed height, share how much of the pixel lies to its right."""

    row: Ints
    column: Ints
    drop: Floats
    share: Floats
    owner: Ints


def _cut(edges: Floats, shape: tuple[int, int]) -> _Pieces:
    """Cut edges at pixel rows, then at pixel columns; CHUNK edges at a time, which stay in the processor's cache."""
    parts = [_cut_chunk(edges[start : start + CHUNK], start, shape) for start in range(0, max(len(edges), 1), CHUNK)]
    return _Pieces(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _cut_chunk(edges: Floats, number: int, shape: tuple[int, int]) -> _Pieces:
    """What lies left of the frame covers from its border on, what lies right, above or below covers nothing."""
    height, width = shape
    x0, y0, x1, y1 = np.ascontiguousarray(edges.T)
    upper, lower = np.minimum(y0, y1), np.maximum(y0, y1)
    kept = np.flatnonzero((y0 != y1) & (lower > 0) & (upper < height) & (np.minimum(x0, x1) < width))
    up = (y1 < y0)[kept]
    x0, x1, upper, lower = x0[kept], x1[kept], upper[kept], lower[kept]
    from_x = np.where(up, x1, x0)
    slope = np.where(up, x0 - x1, x1 - x0) / (lower - upper)
    top, bottom = np.maximum(upper, 0.0), np.minimum(lower, height)
    low = np.minimum(np.floor(top), height - 1).astype(np.int64)
    high = np.maximum(np.ceil(bottom).astype(np.int64), low + 1)
    edge, row, first, last = _steps(low, high)
    begin, end = row.astype(np.float64), row + 1.0
    begin[first], end[last] = top, bottom
    from_x, upper, slope = from_x[edge], upper[edge], slope[edge]
    x_top, x_bottom = from_x + (begin - upper) * slope, from_x + (end - upper) * slope
    left, right = np.minimum(x_top, x_bottom), np.maximum(x_top, x_bottom)
    # with y down a positive area runs down its right side, so an edge that runs up opens an area
    drop = (end - begin) * np.where(up, 1.0, -1.0)[edge]
    # column -1 gathers all that is left of the frame, column `width` all that is right of it
    low = np.clip(np.floor(left), -1, width).astype(np.int64)
    high = np.maximum(np.minimum(np.ceil(right), width + 1).astype(np.int64), low + 1)
    piece, column, first, last = _steps(low, high)
    begin, end = column.astype(np.float64), column + 1.0
    begin[first], end[last] = left, right
    whole = first == last
    part = (end - begin) * (drop / np.where(whole, 1.0, right - left))[piece]
    part[first[whole]] = drop[whole]
    share = column + 1 - 0.5 * (begin + end)
    row, owner = row[piece], (kept + number)[edge[piece]]
    if len(column) and (low.min() < 0 or high.max() > width):
        inside = column < width
        share[column < 0] = 1.0
        row, column, part = row[inside], np.maximum(column[inside], 0), part[inside]
        share, owner = share[inside], owner[inside]
    return _Pieces(row, column, part, share, owner)


def _steps(low: Ints, high: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """All whole numbers low[i] <= n < high[i]: the index i of each, the number, and where each i begins and ends."""
    count = high - low
    stop = np.cumsum(count)
    index = np.repeat(np.arange(len(count)), count)
    return index, np.arange(len(index)) + (low - stop + count)[index], stop - count, stop - 1
