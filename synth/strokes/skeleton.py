"""Strokes of all items in arrays: resampled evenly, grouped by length, ready for a process to be applied.

Sampling is fixed in millimetres, never in pixels, so one dial is the same dial in every photograph of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.terms import ZONES, Kind
from dialtell.synth.strokes.stroke import Floats, Item

Ints = NDArray[np.int64]

SPACING_MM = 0.06  # aimed distance of samples along a stroke
FEWEST, MOST = 8, 1024  # samples of a stroke

KINDS: tuple[Kind, ...] = tuple(Kind)


@dataclass(frozen=True, eq=False)
class StrokeBatch:
    """S strokes of M samples each.

    path : (S, M, 2) mm. width : (S, M) mm full width. length : (S,) mm along the path.
    item : (S,) index of the item. kind : (S,) index into KINDS. zone : (S,) index into ZONES.
    ink : (S,). nominal : (S,) mm. form : S names. stroke : (S,) running number over the whole dial.
    """

    path: Floats
    width: Floats
    length: Floats
    item: Ints
    kind: Ints
    zone: Ints
    ink: Ints
    nominal: Floats
    form: tuple[str, ...]
    stroke: Ints

    def is_kind(self, *kinds: Kind) -> NDArray[np.bool_]:
        """(S,) true where the stroke is of one of the kinds."""
        return np.isin(self.kind, [KINDS.index(kind) for kind in kinds])


@dataclass(frozen=True, eq=False)
class ItemTable:
    """What the strokes of an item share, one row an item.

    anchor : (I, 2) mm. up : (I,) radians. height : (I,) mm. zone, word : (I,). group : I names.
    """

    anchor: Floats
    up: Floats
    height: Floats
    zone: Ints
    word: Ints
    group: tuple[str, ...]


def tabulate(items: Sequence[Item]) -> ItemTable:
    """The items as columns."""
    return ItemTable(
        anchor=np.array([item.anchor for item in items], dtype=np.float64).reshape(-1, 2),
        up=np.array([item.up for item in items], dtype=np.float64),
        height=np.array([item.height for item in items], dtype=np.float64),
        zone=np.array([ZONES.index(item.zone) for item in items], dtype=np.int64),
        word=np.array([item.word for item in items], dtype=np.int64),
        group=tuple(item.group for item in items),
    )


def gather(items: Sequence[Item]) -> list[StrokeBatch]:
    """Resample every stroke evenly along its length and batch strokes with the same number of samples."""
    strokes = [(index, item, stroke) for index, item in enumerate(items) for stroke in item.strokes]
    if not strokes:
        return []
    points = np.concatenate([stroke.path for _, _, stroke in strokes])
    widths = np.concatenate([stroke.width for _, _, stroke in strokes])
    sizes = np.array([len(stroke.path) for _, _, stroke in strokes])
    last = np.cumsum(sizes) - 1
    first = last - sizes + 1
    # all strokes lie end to end on one scale, a millimetre apart, so that one interpolation does them all
    steps = np.hypot(*np.diff(points, axis=0).T)
    steps[last[:-1]] = 1.0
    along = np.concatenate([[0.0], np.cumsum(steps)])
    length = along[last] - along[first]
    count = np.full(len(strokes), FEWEST)
    while (short := (count < MOST) & (count * SPACING_MM < length)).any():
        count[short] *= 2
    owner = np.array([index for index, _, _ in strokes])
    kind = np.array([KINDS.index(stroke.kind) for _, _, stroke in strokes])
    zone = np.array([ZONES.index(item.zone) for _, item, _ in strokes])
    ink = np.array([item.ink for _, item, _ in strokes])
    nominal = np.array([stroke.nominal for _, _, stroke in strokes])
    batches = []
    for samples in np.unique(count):
        rows = np.flatnonzero(count == samples)
        at = along[first[rows], None] + length[rows, None] * np.linspace(0.0, 1.0, samples)
        batches.append(
            StrokeBatch(
                path=np.stack([np.interp(at, along, points[:, axis]) for axis in (0, 1)], axis=2),
                width=np.interp(at, along, widths),
                length=length[rows],
                item=owner[rows],
                kind=kind[rows],
                zone=zone[rows],
                ink=ink[rows],
                nominal=nominal[rows],
                form=tuple(strokes[row][2].form for row in rows),
                stroke=rows,
            )
        )
    return batches


def tangents(path: Floats) -> Floats:
    """Unit tangents (S, M, 2) of paths (S, M, 2); a point-like stroke gets (1, 0)."""
    slope = np.gradient(path, axis=1)
    size = np.linalg.norm(slope, axis=2, keepdims=True)
    flat = np.zeros_like(slope)
    flat[..., 0] = 1.0
    return np.where(size > 1e-12, slope / np.maximum(size, 1e-12), flat)


def normals(path: Floats) -> Floats:
    """Unit normals (S, M, 2): tangents turned a quarter clockwise as seen on the dial."""
    t = tangents(path)
    return np.stack([-t[..., 1], t[..., 0]], axis=2)
