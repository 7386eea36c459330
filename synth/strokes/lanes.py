"""Where in its stroke a pixel lies: along it, across it, and in which stroke, for paint whose hairs leave streaks."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.strokes.paint import Cue, Paint, project
from dialtell.synth.strokes.stroke import Floats

APART = 0.7  # px between the points that look up pixels
MOST = 2048  # of them along or across one slice


class Lanes(NamedTuple):
    """Of N pixels, the stroke laid last on each. stroke : (N,) its number among those drawn, -1 for none.

    along : (N,) mm from its start; left : (N,) mm to its end. across : (N,) mm from its middle, positive to the left.
    half : (N,) mm, half its width there. single : (N,) true where it is a stroke's only coat.
    """

    stroke: NDArray[np.int64]
    along: Floats
    left: Floats
    across: Floats
    half: Floats
    single: NDArray[np.bool_]


def lanes(paint: Paint, homography: Floats, shape: tuple[int, int], pixels: NDArray[np.int64], points: Floats) -> Lanes:
    """pixels : (N,) flat indices of the frame. points : (N, 2) mm, where they lie on the dial."""
    end, label = _labelled(paint, homography, shape)
    at = label.reshape(-1)[pixels].astype(np.int64) - 1
    middle = 0.5 * (paint.left + paint.right)
    first = np.flatnonzero(~paint.follows)
    number = np.cumsum(~paint.follows) - 1
    step = np.hypot(*(middle - np.roll(middle, 1, axis=0)).T) * paint.follows
    run = np.cumsum(step)
    run -= run[first][number]
    total = run[np.append(first[1:], len(run)) - 1][number]
    if not len(end):
        none = np.zeros(len(pixels))
        return Lanes(np.full(len(pixels), -1), none, none, none, none, none > 0)
    slice_end = end[at]
    begin = middle[slice_end - 1]
    ahead = middle[slice_end] - begin
    length = np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)
    ahead = ahead / length[:, None]
    side = paint.left - paint.right
    off = points - begin
    share = np.clip((off * ahead).sum(axis=1) / length, 0.0, 1.0)
    along = run[slice_end - 1] + share * length
    wide = np.hypot(side[:, 0], side[:, 1])
    half = 0.5 * (wide[slice_end - 1] * (1 - share) + wide[slice_end] * share)
    across = off[:, 1] * ahead[:, 0] - off[:, 0] * ahead[:, 1]
    single = (paint.cue[slice_end] & int(Cue.RETOUCH)) == 0
    return Lanes(np.where(at >= 0, number[slice_end], -1), along, total[slice_end] - along, across, half, single)


def _labelled(paint: Paint, homography: Floats, shape: tuple[int, int]) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Samples (E,) that end a slice in the frame, and (H, W) which of them lies on top, counted from 1; 0 for none.

    Nothing is drawn by this: points set close in every slice look up the pixels they fall on.
    """
    left, right = project(homography, paint.left), project(homography, paint.right)
    end = np.flatnonzero(paint.follows)
    corners = np.stack([left[end - 1], right[end - 1], left[end], right[end]], axis=1)
    low, high = corners.min(axis=1), corners.max(axis=1)
    seen = (high > 0).all(axis=1) & (low < np.array([shape[1], shape[0]])).all(axis=1)
    end, corners = end[seen], corners[seen]
    label = np.zeros(shape, dtype=np.int32)
    if not len(end):
        return end, label
    start, after = corners[:, 0:2].mean(axis=1), corners[:, 2:4].mean(axis=1)
    long = np.hypot(*(after - start).T)
    wide = np.linalg.norm(corners[:, [0, 2]] - corners[:, [1, 3]], axis=2).max(axis=1)
    rows, columns = (np.minimum(np.ceil(size / APART), MOST).astype(np.int64) + 1 for size in (long, wide))
    number = rows * columns
    owner = np.repeat(np.arange(len(end)), number)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(number) - number, number)
    row, column = np.divmod(within, columns[owner])
    # a corner, the two sides from it, and what bends them: four numbers a slice and axis, kept in single precision
    a, b, c, d = corners.transpose(1, 2, 0).astype(np.float32)
    u, v = ((at + np.float32(0.5)) / count[owner] for at, count in ((row, rows), (column, columns)))
    u, v = u.astype(np.float32), v.astype(np.float32)
    x, y = (
        (p[owner] + u * r[owner] + v * (q[owner] + u * s[owner])).astype(np.int32)
        for p, q, r, s in zip(a, b - a, c - a, a - b - c + d, strict=True)
    )
    inside = (x >= 0) & (y >= 0) & (x < shape[1]) & (y < shape[0])
    label[y[inside], x[inside]] = owner[inside] + 1
    # pixels that an edge only grazes
    grown = cv2.dilate(label.astype(np.float32), np.ones((3, 3), dtype=np.uint8)).astype(np.int32)
    return end, np.where(label > 0, label, grown)
