"""Shapes of the object's parts in mm, and drawing them in the smallest box of the frame that holds them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.raster import coverage

Floats = NDArray[np.float64]
Image = NDArray[np.float32]


class Patch(NamedTuple):
    """Coverage in a box of the frame: `cover` (h, w) float32 belongs to pixels [rows, columns]."""

    rows: slice
    columns: slice
    cover: Image


def cover_patch(
    polygons: Sequence[Floats], shape: tuple[int, int], weights: Floats | None = None, pad: int = 0
) -> Patch | None:
    """Coverage of px polygons in their bounding box, grown by `pad` px and cut to the frame; None if outside."""
    if not polygons:
        return None
    points = np.concatenate(polygons)
    low = np.floor(points.min(axis=0)).astype(int) - pad
    high = np.ceil(points.max(axis=0)).astype(int) + pad
    left, top = max(int(low[0]), 0), max(int(low[1]), 0)
    right, bottom = min(int(high[0]), shape[1]), min(int(high[1]), shape[0])
    if right <= left or bottom <= top:
        return None
    shift = np.array([left, top], dtype=np.float64)
    cover = coverage([polygon - shift for polygon in polygons], (bottom - top, right - left), weights)
    return Patch(slice(top, bottom), slice(left, right), cover)


def direction(angle: Floats | float) -> Floats:
    """Unit vectors of angles in radians clockwise from 12 o'clock; (..., 2)."""
    return np.stack([np.sin(angle), -np.cos(angle)], axis=-1)


def circle(x: float, y: float, radius: float, count: int = 360) -> Floats:
    """(count, 2) points of a circle, clockwise as seen."""
    return np.array([x, y]) + radius * direction(np.linspace(0.0, 2.0 * np.pi, count, endpoint=False))


def ring_slices(
    x: float, y: float, inner: float, outer: float, count: int = 96
) -> tuple[list[Floats], Floats]:
    """A ring as `count` quadrilaterals without seams, and the (count,) angle of the middle of each, radians."""
    angle = np.linspace(0.0, 2.0 * np.pi, count + 1)
    spoke = direction(angle)
    quads = np.stack([inner * spoke[:-1], outer * spoke[:-1], outer * spoke[1:], inner * spoke[1:]], axis=1)
    return list(quads + np.array([x, y])), 0.5 * (angle[:-1] + angle[1:])


def blob(rng: np.random.Generator, x: float, y: float, radius: float, rough: float = 0.25) -> Floats:
    """An irregular closed outline (36, 2) of mean radius `radius`; rough 0..0.5 is its relative unevenness."""
    angle = np.linspace(0.0, 2.0 * np.pi, 36, endpoint=False)
    order = np.arange(1, 6)
    swing = rng.normal(size=5) / order**0.8
    wave = (swing[:, None] * np.sin(order[:, None] * angle + rng.uniform(0.0, 2 * np.pi, (5, 1)))).sum(axis=0)
    reach = radius * np.exp(rough * wave)
    return np.array([x, y]) + reach[:, None] * direction(angle)


def ribbon(path: Floats, width: Floats) -> list[Floats]:
    """Slices of a line of full width `width` (N,) about `path` (N, 2); neighbours share their ends."""
    along = np.gradient(path, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    side = 0.5 * width[:, None] * np.stack([-along[:, 1], along[:, 0]], axis=1)
    left, right = path - side, path + side
    return list(np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1))
