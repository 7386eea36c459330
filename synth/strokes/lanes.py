"""Where in its stroke a pixel lies: along it, across it, and in which stroke, for paint whose hairs leave streaks."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.strokes.paint import Cue, Paint, in_frame, project
from dialtell.synth.strokes.stroke import Floats

SHIFT = 4  # bits of a pixel's fraction cv2 draws with
FARTHEST = 2**14  # px; nothing is drawn beyond


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


def lanes(
    paint: Paint, homography: Floats, shape: tuple[int, int], pixels: NDArray[np.int64], points: Floats
) -> Lanes:
    """pixels : (N,) flat indices of the frame. points : (N, 2) mm, where they lie on the dial."""
    left, right = project(homography, paint.left), project(homography, paint.right)
    seen = in_frame(left, right, paint.follows, shape)
    end = np.flatnonzero(paint.follows & seen)
    label = np.zeros(shape, dtype=np.int32)
    corners = np.stack([left[end - 1], left[end], right[end], right[end - 1]], axis=1)
    # cv2 counts from the middle of the first pixel
    fixed = np.round((np.clip(corners, -FARTHEST, FARTHEST) - 0.5) * (1 << SHIFT)).astype(np.int32)
    for index, quad in enumerate(fixed):
        cv2.fillConvexPoly(label, quad, index + 1, cv2.LINE_8, SHIFT)
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
