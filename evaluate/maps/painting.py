"""Maps over the patches of a dial painted onto its photograph and onto close views."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import SPAN, PatchSet
from dialtell.synth.shared.errors import ParameterError

Map = NDArray[np.float32]
Floats = NDArray[np.float64]

_LONGEST_MAP = 480  # px of the map's dial; painting grows with its area, and it is smoothed on the page anyway


def photo_maps(values: Map, patches: PatchSet, geometry: DialGeometry, shape: tuple[int, int]) -> Map:
    """Maps (M, N, S, S) over a photograph of (H, W): (M, H, W) float32, 0 off the patches. geometry : of that
    photograph."""
    rows, columns = geometry.box(shape, 1.05)
    height, width = rows.stop - rows.start, columns.stop - columns.start
    painted = np.zeros((len(values), *shape), np.float32)
    if not (height and width):
        return painted
    scale = min(1.0, _LONGEST_MAP / max(height, width))
    size = (max(round(height * scale), 1), max(round(width * scale), 1))
    places = (patches.grids(geometry) - (columns.start, rows.start)) * (size[1] / width, size[0] / height)
    for into, small in zip(painted, paint_maps(values, places, size), strict=True):
        into[rows, columns] = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    return painted


def view_map(values: Map, patches: PatchSet, view: DialGeometry, shape: tuple[int, int]) -> Map:
    """A map (N, S, S) over a close view of (H, W), from the patches that reach into it. view : the dial in that
    picture."""
    middle = 0.5 * np.array(shape[::-1], dtype=np.float64)
    within = np.hypot(*(view.to_dial(middle) - view.to_dial(np.zeros(2)))) + math.sqrt(0.5) * SPAN  # dial radii
    near = np.flatnonzero(np.hypot(*(patches.center - view.to_dial(middle)).T) < within)
    places = patches.chosen(near).grids(view)
    high, low = places.max(axis=(1, 2)), places.min(axis=(1, 2))
    reach = (high > 0).all(axis=1) & (low < (shape[1], shape[0])).all(axis=1)
    return paint_map(values[near[reach]], places[reach], shape)


def paint_map(values: ArrayLike, grids: ArrayLike, shape: tuple[int, int]) -> Map:
    """Values of overlapping patches painted onto one photograph.

    values : (N, S, S), signed. grids : (N, S, S, 2) photo px (x, y) that each patch pixel's centre samples; the first
    photo pixel's centre is (0.5, 0.5). Samples outside the photo are left out. shape : (H, W) of the photo.

    Returns (H, W) float32: the mean of the samples near a pixel, each weighted bilinearly by its distance, where
    patches overlap the mean of all; 0 where no patch reached. Being a mean it keeps sign and height, not the sum.
    """
    return np.asarray(paint_maps(np.asarray(values)[None], grids, shape)[0])


def paint_maps(values: ArrayLike, grids: ArrayLike, shape: tuple[int, int]) -> Map:
    """Several such values (M, N, S, S) of the same patches: (M, H, W)."""
    value, grid = np.asarray(values, dtype=np.float64), np.asarray(grids, dtype=np.float64)
    if value.ndim != 4 or grid.shape != (*value.shape[1:], 2):
        raise ParameterError(f"values are {value.shape[1:]} and grids {grid.shape}; give (N, S, S) and (N, S, S, 2)")
    height, width = shape
    total = np.zeros((len(value) + 1, height * width))  # the last for the weights
    for number, place in enumerate(grid):
        _splat(*_densified(value[:, number], place), shape, total)
    painted = np.divide(total[:-1], total[-1:], out=np.zeros_like(total[:-1]), where=total[-1:] > 1e-9)
    return painted.reshape(len(value), height, width).astype(np.float32)


def _densified(patch: Floats, place: Floats) -> tuple[Floats, Floats]:
    """Patch (M, S, S) and places resampled until neighbours lie at most 1 photo px apart, so that no holes stay."""
    gaps = [np.linalg.norm(np.diff(place, axis=axis), axis=-1).max(initial=0.0) for axis in (0, 1)]
    factor = min(16, max(1, math.ceil(max(gaps) - 1e-6)))
    if factor == 1:
        return patch, place
    layers = np.concatenate([patch, np.moveaxis(place, -1, 0)])
    down, across = (_between(side, factor) for side in place.shape[:2])
    fine = down @ layers @ across.T
    return fine[:-2], np.moveaxis(fine[-2:], 0, -1)


def _between(side: int, factor: int) -> Floats:
    """(factor (side - 1) + 1, side) that puts factor - 1 values evenly between neighbours of so many."""
    at = np.arange(factor * (side - 1) + 1) / factor
    return np.asarray(np.maximum(1.0 - np.abs(at[:, None] - np.arange(side)), 0.0))


def _splat(patch: Floats, place: Floats, shape: tuple[int, int], total: Floats) -> None:
    """Add each sample to the four pixels around it, in place: within the patch's own box, whatever the photo's size.

    patch : (M, S, S). total : (M + 1, H W), the last the weights."""
    height, width = shape
    # The pixel whose centre is at (0.5, 0.5) has index 0.
    x, y = place[..., 0].ravel() - 0.5, place[..., 1].ravel() - 0.5
    column, row = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    top, bottom, left, end = int(row.min()), int(row.max()) + 2, int(column.min()), int(column.max()) + 2
    rows, columns = slice(max(top, 0), min(bottom, height)), slice(max(left, 0), min(end, width))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return
    high, wide = bottom - top, end - left
    layers = [*patch.reshape(len(patch), -1), np.ones(patch[0].size)]
    box = np.zeros((len(layers), high * wide))
    right, down, first = x - column, y - row, (row - top) * wide + column - left
    for step_down, share_down in ((0, 1 - down), (1, down)):
        for step_right, share_right in ((0, 1 - right), (1, right)):
            flat, share = first + step_down * wide + step_right, share_down * share_right
            for own, layer in zip(box, layers, strict=True):
                own += np.bincount(flat, share * layer, high * wide)
    whole = box.reshape(-1, high, wide)
    inside = whole[:, rows.start - top : rows.stop - top, columns.start - left : columns.stop - left]
    total.reshape(-1, height, width)[:, rows, columns] += inside
