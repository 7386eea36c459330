"""Strokes thinned to lines a pixel wide, and these cut at their junctions into branches.

T. Y. Zhang and C. Y. Suen, A fast parallel algorithm for thinning digital patterns, Communications of the ACM 27
(1984), 236-239 (conditions from memory; checked against scikit-image's skeletonize).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

# neighbours clockwise from above: P2 .. P9 of the paper
_AROUND = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))

_NEIGHBOURS = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 1]], np.uint8)
_BITS = np.array([[128, 1, 2], [64, 0, 4], [32, 16, 8]], np.uint8)  # bit k for the k-th of _AROUND


def _tables() -> tuple[Bools, Bools]:
    """For each of the 256 neighbourhoods, whether the first and the second sub-iteration take the pixel off."""
    code = np.arange(256)
    p = (code[:, None] >> np.arange(8)) & 1
    many = p.sum(axis=1)
    turns = ((p == 0) & (np.roll(p, -1, axis=1) == 1)).sum(axis=1)
    both = (many >= 2) & (many <= 6) & (turns == 1)
    first = both & (p[:, 0] * p[:, 2] * p[:, 4] == 0) & (p[:, 2] * p[:, 4] * p[:, 6] == 0)
    second = both & (p[:, 0] * p[:, 2] * p[:, 6] == 0) & (p[:, 0] * p[:, 4] * p[:, 6] == 0)
    return np.asarray(first), np.asarray(second)


def _ways() -> NDArray[np.uint8]:
    """How many separate ways lead out of the pixel, for each neighbourhood."""
    p = (np.arange(256)[:, None] >> np.arange(8)) & 1
    return np.asarray(((p == 0) & (np.roll(p, -1, axis=1) == 1)).sum(axis=1), dtype=np.uint8)


_FIRST, _SECOND = _tables()
_WAYS = _ways()


def thinned(ink: Bools) -> Bools:
    """The ink (H, W) thinned to its middle lines."""
    height, width = ink.shape
    across = width + 2
    flat = np.zeros((height + 2) * across, np.uint8)
    flat.reshape(height + 2, across)[1:-1, 1:-1] = ink
    steps = np.array([dy * across + dx for dy, dx in _AROUND])
    alive = np.flatnonzero(flat)
    idle = 0
    table = 0
    while idle < 2 and len(alive):
        code = np.zeros(len(alive), np.uint8)
        for bit, step in enumerate(steps):
            code |= flat[alive + step] << np.uint8(bit)
        goes = (_FIRST, _SECOND)[table][code]
        flat[alive[goes]] = 0
        idle = 0 if goes.any() else idle + 1
        alive = alive[~goes]
        table = 1 - table
    return np.asarray(flat.reshape(height + 2, across)[1:-1, 1:-1] == 1)


def pruned(line: Bools, most: int = 3) -> Bools:
    """A thinned picture less what hangs on it by no more than `most` px; true ends keep their place.

    Ends are taken off `most` times, then those that are left grow back along the line (R. C. Gonzalez and R. E. Woods,
    Digital Image Processing, pruning: from memory).
    """
    square = np.ones((3, 3), np.uint8)
    short = line.astype(np.uint8)
    for _ in range(most):
        short &= ~_tips(short)
    grown = _tips(short)
    for _ in range(most):
        grown = cv2.dilate(grown, square) & line.astype(np.uint8)
    # what vanished as a whole was a short line of its own, not something that hung on another
    _, label = cv2.connectedComponents(line.astype(np.uint8), connectivity=8)
    whole = line & ~np.isin(label, np.unique(label[short > 0]))
    return np.asarray((short | grown) > 0) | whole


def _tips(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    code = cv2.filter2D(mask, -1, _BITS, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(mask & (_WAYS[code] <= 1), dtype=np.uint8)


@dataclass(frozen=True, eq=False)
class Branch:
    """A line between ends and junctions. path : (N, 2) px (x, y) of pixel centres in order.

    free : whether each end is a true end, not a junction. closed : whether it runs back into itself.
    """

    path: NDArray[np.float64]
    free: tuple[bool, bool]
    closed: bool = False


def branches(line: Bools, least: int = 3) -> list[Branch]:
    """Cut a thinned picture at its junctions; branches of fewer than `least` px are left out."""
    mask = line.astype(np.uint8)
    code = cv2.filter2D(mask, -1, _BITS, borderType=cv2.BORDER_CONSTANT)
    # the corner of a staircase has three neighbours too, but two ways out
    junction = line & (_WAYS[code] >= 3)
    near = cv2.dilate(junction.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    rest = (line & ~near).astype(np.uint8)
    count, label = cv2.connectedComponents(rest, connectivity=8)
    rows, columns = np.nonzero(rest)
    order = np.argsort(label[rows, columns], kind="stable")
    rows, columns = rows[order], columns[order]
    bounds = np.searchsorted(label[rows, columns], np.arange(1, count + 1))
    tip = line & (_WAYS[code] <= 1)
    # of the rest every neighbour belongs to the same branch
    alone = cv2.filter2D(rest, -1, _NEIGHBOURS, borderType=cv2.BORDER_CONSTANT) <= 1
    found = []
    for first, last in pairwise(bounds.tolist()):
        if last - first >= least:
            found.append(_ordered(rows[first:last], columns[first:last], tip, alone))
    return found


def _ordered(rows: Ints, columns: Ints, tip: Bools, alone: Bools) -> Branch:
    # a pixel as one number, with a column to spare so that no step leads round the edge
    across = tip.shape[1] + 2
    code = rows * across + columns
    left = set(code.tolist())
    ends = code[alone[rows, columns]]
    here = int(ends.min()) if len(ends) else min(left)
    # straight neighbours before diagonal ones, so that no corner is left over
    steps = [dy * across + dx for dy, dx in (*_AROUND[::2], *_AROUND[1::2])]
    path = [here]
    left.discard(here)
    while True:
        for step in steps:
            if here + step in left:
                here += step
                break
        else:
            break
        path.append(here)
        left.discard(here)
    row, column = np.divmod(np.array(path), across)
    points = np.stack([column, row], axis=1).astype(np.float64) + 0.5
    free = tip[row[[0, -1]], column[[0, -1]]]
    return Branch(points, (bool(free[0]), bool(free[1])), not len(ends))
