"""Shapes of the object's parts in mm, and drawing them in the smallest box of the frame that holds them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.strokes.raster import accumulate

Floats = NDArray[np.float64]
Image = NDArray[np.float32]


SHEET = 1024  # px, width of the sheet small shapes share


class Patch(NamedTuple):
    """Coverage in a box of the frame: `cover` (h, w) float32 belongs to pixels [rows, columns]."""

    rows: slice
    columns: slice
    cover: Image


def edges_of_stack(polygons: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """raster.edges_of for (N, M, 2) polygons of equal length, many times as fast when they are small."""
    following = np.roll(polygons, -1, axis=1)
    area = (polygons[..., 0] * following[..., 1] - following[..., 0] * polygons[..., 1]).sum(axis=1)
    pair = np.concatenate([polygons, following], axis=2)
    pair[area < 0.0] = pair[area < 0.0][..., [2, 3, 0, 1]]
    return pair.reshape(-1, 4), np.repeat(np.arange(len(polygons)), polygons.shape[1])


def cover_patch(
    polygons: Sequence[Floats] | Floats, shape: tuple[int, int], weights: Floats | None = None, pad: int = 0
) -> Patch | None:
    """Coverage of px polygons, summed (times `weights`), in their bounding box; None if they miss the frame.

    polygons : several (M, 2), or one (N, M, 2). pad : px by which the box is grown, within the frame.
    """
    if len(polygons) == 0:
        return None
    stacks = [polygons] if isinstance(polygons, np.ndarray) else [polygon[None] for polygon in polygons]
    found = [edges_of_stack(group) for group in stacks]
    edges = np.concatenate([pair for pair, _ in found])
    low = np.floor(edges[:, :2].min(axis=0)).astype(int) - pad
    high = np.ceil(edges[:, :2].max(axis=0)).astype(int) + pad
    left, top = max(int(low[0]), 0), max(int(low[1]), 0)
    right, bottom = min(int(high[0]), shape[1]), min(int(high[1]), shape[0])
    if right <= left or bottom <= top:
        return None
    per_edge = np.ones(len(edges))
    if weights is not None:
        first = np.cumsum([0] + [len(group) for group in stacks[:-1]])
        per_edge = np.concatenate([weights[start + owner] for start, (_, owner) in zip(first, found, strict=True)])
    box = (bottom - top, right - left)
    cover = accumulate(edges - np.array([left, top, left, top]), per_edge, box)
    return Patch(slice(top, bottom), slice(left, right), cover)


def cover_each(polygons: Floats, shape: tuple[int, int]) -> list[Patch | None]:
    """Coverage of each of many px polygons (N, M, 2) on its own, None for those that miss the frame.

    Small ones are drawn side by side on one sheet and cut out again, which saves the cost of a call for each.
    """
    if len(polygons) == 0:
        return []
    low = np.floor(polygons.min(axis=1)).astype(np.int64)
    size = np.ceil(polygons.max(axis=1)).astype(np.int64) - low
    small = np.flatnonzero(size.max(axis=1) <= SHEET // 4)
    small = small[np.argsort(size[small, 1], kind="stable")]
    place = np.zeros_like(low)
    across, top, tall = 0, 0, 0
    for index in small:
        if across + size[index, 0] > SHEET:
            across, top, tall = 0, top + tall, 0
        place[index] = across, top
        across, tall = across + int(size[index, 0]), max(tall, int(size[index, 1]))
    edges, owner = edges_of_stack(polygons[small] + (place - low)[small, None])
    sheet = accumulate(edges, np.ones(len(owner)), (max(top + tall, 1), SHEET))
    patches: list[Patch | None] = []
    on_sheet = np.isin(np.arange(len(polygons)), small)
    for number in range(len(polygons)):
        if not on_sheet[number]:
            patches.append(cover_patch(polygons[number : number + 1], shape))
            continue
        (left, upper), (wide, high) = low[number].tolist(), size[number].tolist()
        first = max(-left, 0), max(-upper, 0)
        last = min(shape[1] - left, wide), min(shape[0] - upper, high)
        if last[0] <= first[0] or last[1] <= first[1]:
            patches.append(None)
            continue
        x, y = place[number]
        cover = sheet[y + first[1] : y + last[1], x + first[0] : x + last[0]]
        rows, columns = slice(upper + first[1], upper + last[1]), slice(left + first[0], left + last[0])
        patches.append(Patch(rows, columns, cover))
    return patches


def direction(angle: Floats | float) -> Floats:
    """Unit vectors of angles in radians clockwise from 12 o'clock; (..., 2)."""
    return np.stack([np.sin(angle), -np.cos(angle)], axis=-1)


def circle(x: float, y: float, radius: float, count: int = 360) -> Floats:
    """(count, 2) points of a circle, clockwise as seen."""
    return np.array([x, y]) + radius * direction(np.linspace(0.0, 2.0 * np.pi, count, endpoint=False))


def ring_slices(x: float, y: float, inner: float, outer: float, count: int = 96) -> tuple[Floats, Floats]:
    """A ring as (count, 4, 2) quadrilaterals without seams, and (count,) angles of their middles, radians."""
    angle = np.linspace(0.0, 2.0 * np.pi, count + 1)
    spoke = direction(angle)
    quads = np.stack([inner * spoke[:-1], outer * spoke[:-1], outer * spoke[1:], inner * spoke[1:]], axis=1)
    return quads + np.array([x, y]), 0.5 * (angle[:-1] + angle[1:])


def blob(rng: np.random.Generator, x: float, y: float, radius: float, rough: float = 0.25) -> Floats:
    """An irregular closed outline (36, 2) of mean radius `radius`; rough 0..0.5, its unevenness."""
    angle = np.linspace(0.0, 2.0 * np.pi, 36, endpoint=False)
    order = np.arange(1, 6)
    swing = rng.normal(size=5) / order**0.8
    wave = (swing[:, None] * np.sin(order[:, None] * angle + rng.uniform(0.0, 2 * np.pi, (5, 1)))).sum(axis=0)
    reach: Floats = radius * np.exp(rough * wave)
    return np.array([x, y]) + reach[:, None] * direction(angle)


def ribbon(path: Floats, width: Floats) -> Floats:
    """(N - 1, 4, 2) slices of a line of full width `width` (N,) along `path` (N, 2), ends shared."""
    along = np.gradient(path, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    side = 0.5 * width[:, None] * np.stack([-along[:, 1], along[:, 0]], axis=1)
    left, right = path - side, path + side
    return np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1)


def outline_of(slices: Floats) -> Floats:
    """(2 K + 2, 2) outline of a ribbon's (K, 4, 2) slices, once round."""
    return np.concatenate([slices[:, 0], slices[-1:, 1], slices[-1:, 2], slices[::-1, 3]])
