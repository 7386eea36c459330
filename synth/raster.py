"""Exact-area rasteriser: what share of each pixel a polygon covers, summed with a weight per polygon.

Every edge is cut where it crosses a pixel border; each piece adds its height and the area to its right to one
pixel, and a running sum along the row turns these into coverage (the signed-area accumulation of scan-converters,
here in one numpy pass for all polygons). Coverage of a simple polygon is exact to rounding; areas of neighbouring
polygons that share an edge add up without a seam, so a stroke may be drawn as slices of different density.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def edges_of(polygons: Sequence[Floats]) -> tuple[Floats, NDArray[np.int64]]:
    """Edges of closed polygons, all given the same winding (positive shoelace area in x right, y down).

    polygons : each (N, 2) px, without a repeated last point.
    Returns (E, 4) edges x0, y0, x1, y1 and (E,) the index of the polygon each belongs to.
    """
    edges: list[Floats] = []
    owner: list[NDArray[np.int64]] = []
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
    layers = weights[:, None] if weights.ndim == 1 else weights
    height, width = shape
    sums = np.zeros((layers.shape[1], height * (width + 2)))
    x0, y0, x1, y1, owner = _cut(edges, shape)
    if len(x0):
        dy = y1 - y0
        middle = 0.5 * (x0 + x1)
        column = np.clip(np.floor(middle), 0, width - 1).astype(np.int64)
        row = np.clip(np.floor(0.5 * (y0 + y1)), 0, height - 1).astype(np.int64)
        cell = row * (width + 2) + column
        # a piece inside a pixel leaves to its right the rest of that pixel, and all of the pixels after it
        here = dy * (column + 1 - np.clip(middle, column, column + 1))
        for layer in range(layers.shape[1]):
            w = layers[owner, layer]
            total = np.bincount(cell, weights=w * here, minlength=sums.shape[1])
            total += np.bincount(cell + 1, weights=w * (dy - here), minlength=sums.shape[1])
            sums[layer] = total
    field = np.cumsum(sums.reshape(-1, height, width + 2), axis=2)[:, :, :width].astype(np.float32)
    # the sign of the winding rule above: with y down a positive area runs down its right side
    np.negative(field, out=field)
    return field[0] if weights.ndim == 1 else field


def coverage(
    polygons: Sequence[Floats], shape: tuple[int, int], weights: Floats | None = None
) -> NDArray[np.float32]:
    """Share of each pixel covered, summed over polygons (times `weights`, one per polygon); (H, W) float32."""
    edges, owner = edges_of(polygons)
    per_edge = np.ones(len(owner)) if weights is None else np.asarray(weights, dtype=np.float64)[owner]
    return accumulate(edges, per_edge, shape)


def _cut(
    edges: Floats, shape: tuple[int, int]
) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.int64]]:
    """Cut edges at pixel rows, then at pixel columns; clip to the canvas (x is clamped, so coverage stays right)."""
    height, width = shape
    owner = np.flatnonzero(edges[:, 1] != edges[:, 3])
    x0, y0, x1, y1 = edges[owner].T
    # clip in y
    low, high = np.minimum(y0, y1), np.maximum(y0, y1)
    keep = (high > 0) & (low < height) & (np.minimum(x0, x1) < width)
    x0, y0, x1, y1, owner = x0[keep], y0[keep], x1[keep], y1[keep], owner[keep]
    slope = (x1 - x0) / (y1 - y0)
    c0, c1 = np.clip(y0, 0, height), np.clip(y1, 0, height)
    x0, x1 = x0 + (c0 - y0) * slope, x1 + (c1 - y1) * slope
    y0, y1 = c0, c1
    # clamp in x: what lies left of the canvas covers from its border on, what lies right covers nothing
    x0, y0, x1, y1, owner = _split(x0, y0, x1, y1, owner, along_rows=True)
    left = np.maximum(x0, x1) <= 0
    x0, x1 = np.where(left, 0.0, x0), np.where(left, 0.0, x1)
    keep = np.minimum(x0, x1) < width
    x0, y0, x1, y1, owner = x0[keep], y0[keep], x1[keep], y1[keep], owner[keep]
    x0, y0, x1, y1, owner = _split(x0, y0, x1, y1, owner, along_rows=False)
    left = np.maximum(x0, x1) <= 0
    x0, x1 = np.where(left, 0.0, x0), np.where(left, 0.0, x1)
    keep = np.minimum(x0, x1) < width
    return x0[keep], y0[keep], x1[keep], y1[keep], owner[keep]


def _split(
    x0: Floats, y0: Floats, x1: Floats, y1: Floats, owner: NDArray[np.int64], *, along_rows: bool
) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.int64]]:
    """Split pieces at whole values of y (along_rows) or x."""
    a, b = (y0, y1) if along_rows else (x0, x1)
    low, high = np.minimum(a, b), np.maximum(a, b)
    first = np.floor(low) + 1
    count = np.maximum(np.ceil(high) - first, 0).astype(np.int64)
    pieces = count + 1
    if len(pieces) == 0 or int(pieces.max(initial=1)) == 1:
        return x0, y0, x1, y1, owner
    start = np.repeat(np.arange(len(pieces)), pieces)
    offset = np.arange(len(start)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    span = (b - a)[start]
    safe = np.where(span == 0, 1.0, span)
    rising = span > 0
    base_low, base_n = first[start], count[start]
    k_from = np.where(rising, offset - 1, base_n - offset)
    k_to = np.where(rising, offset, base_n - offset - 1)
    t0 = np.where(offset == 0, 0.0, (base_low + k_from - a[start]) / safe)
    t1 = np.where(offset == base_n, 1.0, (base_low + k_to - a[start]) / safe)
    dx, dy = (x1 - x0)[start], (y1 - y0)[start]
    return x0[start] + t0 * dx, y0[start] + t0 * dy, x0[start] + t1 * dx, y0[start] + t1 * dy, owner[start]
