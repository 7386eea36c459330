"""Ink cut into pieces, and pieces put together that are of one shape: groups of strokes meant to be the same.

Nothing is read as a letter. A group is a set of pieces that cover one another after the best small shift and turn
better than they cover any other piece, so that it is every I of a Roman chapter, or every 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform

from dialtell.evaluate.lineups.cuts import Cut, Labels
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.strokes import INK, OVER_GRAIN
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

UNLIKE = {Zone.NUMERALS: 0.08}  # 1 - correlation up to which pieces are of one shape: figures have few shapes,
LETTERS_UNLIKE = 0.05  # letters many
LIKE_SIZE = 0.22  # ln of width or height within which pieces may be of one shape, and a px or two
LEAST_HEIGHT = 5.0  # sheet px a piece must be across or down
MOST_CUT = 0.4  # of its smaller size, by which a piece may go on where it was cut off
MOST_PIECES = 90  # of a zone, the largest
TALL = 30.0  # px of the larger pieces in the copy that shapes are compared in
_SHIFTS = ((0.0, 0.0), (-1.3, 0.0), (1.3, 0.0), (0.0, -1.3), (0.0, 1.3))  # px of that copy
_TURNS = (-0.05, 0.0, 0.05)  # radians


@dataclass(frozen=True, eq=False)
class Pieces:
    """labels : (H, W) int32 numbers, 0 for none. cuts : a cut each, `owner` its number."""

    labels: Labels
    cuts: tuple[Cut, ...]


def find_pieces(
    sheet: StrokeSheet, where: Flags, turn: Callable[[Floats], Floats], name: Callable[[Floats], list[str]], first: int,
    *, free: bool = False,
) -> Pieces:  # fmt: skip
    """Pieces of ink within `where` (H, W).

    turn : from (N, 2) dial radii to the radians by which up is turned there. name : likewise to where they stand.
    first : number of the first piece. free : leave out those that go on broadly beyond `where`, whose shape would be
    its edge's. Pieces that something hides in part are left out.
    """
    level = max(2 * INK, OVER_GRAIN * sheet.grain, 0.3 * (1.0 - sheet.black))
    dark = sheet.light < 1.0 - level
    ink = (dark & where).astype(np.uint8)
    count, label, stats, middles = cv2.connectedComponentsWithStats(ink, connectivity=8)
    order = [k for k in np.argsort(-stats[1:, cv2.CC_STAT_AREA]) + 1][:MOST_PIECES]
    covered, beyond = (
        cv2.dilate(flags.astype(np.uint8), np.ones((3, 3), np.uint8)) for flags in (sheet.hidden, dark & ~where)
    )
    numbers = np.zeros(count, np.int32)
    points = sheet.to_dial(np.asarray(middles[order] + 0.5, dtype=np.float64)).reshape(-1, 2)
    cuts: list[Cut] = []
    for k, angle, said in zip(order, turn(points), name(points), strict=True):
        x, y, width, height, area = (int(v) for v in stats[k])
        box = slice(y, y + height), slice(x, x + width)
        own = label[box] == k
        if max(width, height) < LEAST_HEIGHT or area < 8 or covered[box][own].any():
            continue
        if free and beyond[box][own].sum() > MOST_CUT * min(width, height):
            continue
        rows, columns = np.nonzero(own)
        c, s = math.cos(angle), math.sin(angle)
        across, down = c * columns + s * rows, c * rows - s * columns
        # middle of its box in its own frame: a centroid would follow its weight
        u, v = 0.5 * (across.min() + across.max()), 0.5 * (down.min() + down.max())
        size = (float(np.ptp(across)) + 1.0, float(np.ptp(down)) + 1.0)
        numbers[k] = first + len(cuts)
        cuts.append(
            Cut(x + c * u - s * v + 0.5, y + s * u + c * v + 0.5, float(angle), size, said, int(numbers[k]))
        )  # fmt: skip
    return Pieces(numbers[label], tuple(cuts))


def groups_of(
    sheet: StrokeSheet, own: Labels, cuts: tuple[Cut, ...], least: int, unlike_to: float
) -> tuple[list[list[Cut]], float]:
    """Pieces of one shape, `least` and more, the largest group first; and how alike they are, 0..1, summed."""
    if len(cuts) < least:
        return [], 0.0
    size = np.array([cut.size for cut in cuts])
    scale = min(TALL / float(np.quantile(size.max(axis=1), 0.8)), 1.0)
    alike = _correlations(sheet, own, cuts, scale)
    slack = np.log1p(2.0 / np.minimum(size[:, None], size[None, :]))
    near = (np.abs(np.log(size[:, None] / size[None, :])) < LIKE_SIZE + slack).all(axis=-1)
    unlike = np.where(near, 1.0 - alike, 1.0)
    np.fill_diagonal(unlike, 0.0)
    told = fcluster(linkage(squareform(np.clip(unlike, 0.0, 1.0), checks=False), "average"), unlike_to, "distance")
    found, worth = [], 0.0
    for number in np.unique(told):
        member = np.flatnonzero(told == number)
        if len(member) >= least:
            found.append([cuts[k] for k in member])
            among = alike[np.ix_(member, member)]
            worth += float(among.mean() * len(member))
    found.sort(key=lambda group: -len(group) * group[0].size[1])
    return found, worth


def _correlations(sheet: StrokeSheet, own: Labels, cuts: tuple[Cut, ...], scale: float) -> Floats:
    """(N, N) best correlation of each two pieces over small shifts and turns, in a copy `scale` times the sheet."""
    side = 2 * math.ceil(0.5 * min(scale * max(max(cut.size) for cut in cuts), 1.5 * TALL) + 3) + 1
    height, width = round(sheet.light.shape[0] * scale), round(sheet.light.shape[1] * scale)
    dark = np.clip(1.0 - sheet.light, 0.0, 1.0).astype(np.float32)
    if scale < 1.0:
        dark = np.asarray(cv2.resize(dark, (width, height), interpolation=cv2.INTER_AREA))
        own = np.asarray(cv2.resize(own, (width, height), interpolation=cv2.INTER_NEAREST))
    dark, owner = np.asarray(cv2.GaussianBlur(dark, (0, 0), 0.8)), own.astype(np.float32)
    plain = np.array([_window(dark, owner, cut, scale, side, 0.0, 0.0, 0.0) for cut in cuts])
    plain = _unit(plain)
    best = np.zeros((len(cuts), len(cuts)))
    for turn in _TURNS:
        for right, down in _SHIFTS:
            moved = np.array([_window(dark, owner, cut, scale, side, right, down, turn) for cut in cuts])
            best = np.maximum(best, _unit(moved) @ plain.T)
    return np.maximum(best, best.T)


def _window(
    dark: NDArray[np.float32],
    own: NDArray[np.float32],
    cut: Cut,
    scale: float,
    side: int,
    right: float,
    down: float,
    turn: float,
) -> NDArray[np.float32]:
    c, s = math.cos(cut.turn + turn), math.sin(cut.turn + turn)
    half = 0.5 * (side - 1)
    x = cut.x * scale - 0.5 + right - (c * half - s * half)
    y = cut.y * scale - 0.5 + down - (s * half + c * half)
    matrix = np.array([[c, -s, x], [s, c, y]])
    flags = cv2.WARP_INVERSE_MAP
    light = cv2.warpAffine(dark, matrix, (side, side), flags=flags | cv2.INTER_LINEAR)
    if cut.owner:
        mine = cv2.warpAffine(own, matrix, (side, side), flags=flags | cv2.INTER_NEAREST)
        light = np.where(mine == cut.owner, light, np.float32(0.0))
    return np.asarray(light, dtype=np.float32).ravel()


def _unit(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-6), dtype=np.float32)


def zone_ink(sheet: StrokeSheet, zone: Zone) -> Flags:
    """(H, W) where the sheet's strokes belong to a zone."""
    return np.asarray(sheet.label == ZONES.index(zone))


def numbered_on(pieces: Pieces, first: int) -> Pieces:
    """The same pieces numbered from `first` on."""
    shift = first - min((cut.owner for cut in pieces.cuts), default=first)
    labels = np.where(pieces.labels > 0, pieces.labels + shift, 0).astype(np.int32)
    return Pieces(labels, tuple(replace(cut, owner=cut.owner + shift) for cut in pieces.cuts))
