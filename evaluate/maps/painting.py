"""Maps over the patches of a dial painted onto its photograph and onto close views."""

from __future__ import annotations

import math

import cv2
import numpy as np
import torch
from numpy.typing import ArrayLike, NDArray

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import PatchSet
from dialtell.synth.shared.errors import ParameterError

Map = NDArray[np.float32]
Floats = NDArray[np.float64]

_LONGEST_MAP = 480  # px of the map's dial; painting grows with its area, and it is smoothed on the page anyway


def photo_map(values: Map, patches: PatchSet, geometry: DialGeometry, shape: tuple[int, int]) -> Map:
    """A map (N, S, S) over a photograph of (H, W): float32, 0 off the patches. geometry : of that photograph."""
    rows, columns = geometry.box(shape, 1.05)
    height, width = rows.stop - rows.start, columns.stop - columns.start
    painted = np.zeros(shape, np.float32)
    if not (height and width):
        return painted
    scale = min(1.0, _LONGEST_MAP / max(height, width))
    size = (max(round(height * scale), 1), max(round(width * scale), 1))
    places = (patches.grids(geometry) - (columns.start, rows.start)) * (size[1] / width, size[0] / height)
    small = paint_map(values, places, size)
    painted[rows, columns] = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    return painted


def view_map(values: Map, patches: PatchSet, view: DialGeometry, shape: tuple[int, int]) -> Map:
    """A map (N, S, S) over a close view of (H, W), from the patches that reach into it. view : the dial in that
    picture."""
    places = patches.grids(view)
    high, low = places.max(axis=(1, 2)), places.min(axis=(1, 2))
    reach = (high > 0).all(axis=1) & (low < (shape[1], shape[0])).all(axis=1)
    return paint_map(values[reach], places[reach], shape)


def paint_map(values: ArrayLike, grids: ArrayLike, shape: tuple[int, int]) -> Map:
    """Values of overlapping patches painted onto one photograph.

    values : (N, S, S), signed. grids : (N, S, S, 2) photo px (x, y) that each patch pixel's centre samples; the first
    photo pixel's centre is (0.5, 0.5). Samples outside the photo are left out. shape : (H, W) of the photo.

    Returns (H, W) float32: the mean of the samples near a pixel, each weighted bilinearly by its distance, where
    patches overlap the mean of all; 0 where no patch reached. Being a mean it keeps sign and height, not the sum.
    """
    value, grid = np.asarray(values, dtype=np.float64), np.asarray(grids, dtype=np.float64)
    if value.ndim != 3 or grid.shape != (*value.shape, 2):
        raise ParameterError(f"values are {value.shape} and grids {grid.shape}; give (N, S, S) and (N, S, S, 2)")
    height, width = shape
    total, weight = np.zeros(height * width), np.zeros(height * width)
    for patch, place in zip(value, grid, strict=True):
        _splat(*_densified(patch, place), shape, total, weight)
    painted = np.divide(total, weight, out=np.zeros_like(total), where=weight > 1e-9)
    return painted.reshape(height, width).astype(np.float32)


def _densified(patch: Floats, place: Floats) -> tuple[Floats, Floats]:
    """Patch and places resampled until neighbours lie at most 1 photo px apart, so that no holes stay."""
    gaps = [np.linalg.norm(np.diff(place, axis=axis), axis=-1).max(initial=0.0) for axis in (0, 1)]
    factor = min(16, max(1, math.ceil(max(gaps) - 1e-6)))
    if factor == 1:
        return patch, place
    layers = torch.from_numpy(np.concatenate([patch[None], np.moveaxis(place, -1, 0)]))[None]
    size = [factor * (side - 1) + 1 for side in patch.shape]
    fine = torch.nn.functional.interpolate(layers, size=size, mode="bilinear", align_corners=True)[0].numpy()
    return fine[0], np.moveaxis(fine[1:], 0, -1)


def _splat(
    patch: Floats,
    place: Floats,
    shape: tuple[int, int],
    total: Floats,
    weight: Floats,
) -> None:
    """Add each sample to the four pixels around it, in place: within the patch's own box, whatever the photo's size."""
    height, width = shape
    # The pixel whose centre is at (0.5, 0.5) has index 0.
    x, y = place[..., 0].ravel() - 0.5, place[..., 1].ravel() - 0.5
    column, row = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    top, bottom = max(int(row.min()), 0), min(int(row.max()) + 2, height)
    left, end = max(int(column.min()), 0), min(int(column.max()) + 2, width)
    if top >= bottom or left >= end:
        return
    high, wide = bottom - top, end - left
    box = np.zeros((2, high * wide))
    value, right, down = patch.ravel(), x - column, y - row
    for step_down, share_down in ((0, 1 - down), (1, down)):
        for step_right, share_right in ((0, 1 - right), (1, right)):
            at_row, at_column = row + step_down - top, column + step_right - left
            inside = (at_row >= 0) & (at_row < high) & (at_column >= 0) & (at_column < wide)
            flat = at_row[inside] * wide + at_column[inside]
            share = (share_down * share_right)[inside]
            box[0] += np.bincount(flat, share * value[inside], high * wide)
            box[1] += np.bincount(flat, share, high * wide)
    for into, own in ((total, box[0]), (weight, box[1])):
        into.reshape(height, width)[top:bottom, left:end] += own.reshape(high, wide)
