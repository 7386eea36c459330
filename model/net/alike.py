"""How alike the strokes of one dial are, in numpy: what likeness.py says of bags, each zone and scale by itself.

Scoring and the maps ask here, whatever runs the net, so that both runtimes judge the same pairs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]
Numbers = NDArray[np.int64]

LOOK = 32  # px, side of the patches compared: half of what the encoder sees
REACH = 2  # px of those, largest shift: 0.14 mm each way on a full-size dial at scale 0
BARE = 0.08  # D below which enamel is bare; 1 = full density
INK = 0.15  # D from which on it is ink
FEW_BARE = 24  # px, fewer tell no noise
SOFT = 4  # times that neighbours are averaged each way before patches are compared: an SD of a px
CALM = 0.54  # what that leaves of the variance `_noise` tells, of noise that is white in a patch
LEAST = 1e-5  # D squared: half a step of 8 bits
_ACROSS = np.asarray(np.array([1, 4, 6, 4, 1], np.float32) / 16)  # two neighbours averaged SOFT times


@dataclass(frozen=True, eq=False)
class Alike:
    """Each patch and the K of its zone and scale that are most like it; see Likeness, of one dial.

    beside : (N, K) which, -1 for none. alike, residual : (N, K). floor : of the whole photograph.
    """

    beside: Numbers
    alike: Map
    residual: Map
    floor: float


def looked(patches: NDArray[Any]) -> Map:
    """(P, S, S) D -> (P, LOOK ** 2), smaller, each px the mean of four by four."""
    wide = np.pad(np.asarray(patches, np.float32), ((0, 0), (1, 1), (1, 1)), mode="edge")
    half = wide[:, ::2] + wide[:, 1::2]
    half = half[:, :, ::2] + half[:, :, 1::2]
    full = half[:, :-1] + half[:, 1:]
    return ((full[:, :, :-1] + full[:, :, 1:]) * np.float32(1 / 16)).reshape(len(patches), -1)


def compared(
    looks: Map, zone: Numbers, scale: NDArray[Any], most: int, *, whole: NDArray[np.bool_] | None = None
) -> Alike:
    """looks : (N, LOOK ** 2). zone : (N,) -1 for no patch. scale : (N,) log2. most : K, fewer in small bags.

    whole : (N,) patches that show all there is, whose enamel tells the noise; None for all.
    """
    sharp, count = looks.reshape(-1, LOOK, LOOK), min(most, len(zone))
    beside = np.full((len(zone), count), -1, np.int64)
    alike, residual = np.zeros((2, *beside.shape), np.float32)
    image = _softened(sharp)
    told = np.stack([zone, scale], axis=1)
    kinds, kind = np.unique(told, axis=0, return_inverse=True)
    for which in np.flatnonzero(kinds[:, 0] >= 0):
        at = np.flatnonzero(kind.ravel() == which)
        k = min(count, len(at) - 1)
        if k > 0:
            found, alike[at, :k], residual[at, :k] = _nearest(image[at], k)
            beside[at, :k] = at[found]
    noise = _noise(sharp[(zone >= 0) & (True if whole is None else whole)])
    return Alike(beside, alike, residual, 0.5 * float(np.log(2 * CALM * noise + LEAST)))


def _softened(image: Map) -> Map:
    """Likewise through the kernel 1 4 6 4 1 each way: where edges lie between pixels, and the grain of the ink, differ
    by more than strokes of two hands do."""
    soft = np.empty_like(image)
    for into, own in zip(soft, image, strict=True):
        cv2.sepFilter2D(own, cv2.CV_32F, _ACROSS, _ACROSS, dst=into, borderType=cv2.BORDER_REPLICATE)
    return soft


def _nearest(image: Map, most: int) -> tuple[Numbers, Map, Map]:
    """`beside`, `alike` and `residual` of patches of one kind, each with `most` of the others."""
    left, ink = _differences(image)
    energy = np.square(image).sum(axis=(1, 2))
    alike = 1 - left / np.maximum(energy[:, None] + energy, 1.0)
    np.fill_diagonal(alike, -np.inf)
    beside = np.argsort(-alike, axis=1, kind="stable")[:, :most]
    over = np.take_along_axis(left, beside, 1) / (0.5 * (ink[:, None] + ink[beside]) + 4)
    residual = np.float32(0.5) * np.log(np.maximum(over, 0) + np.float32(LEAST))
    return beside, np.take_along_axis(alike, beside, 1), np.asarray(residual, np.float32)


def _differences(image: Map) -> tuple[Map, Map]:
    """(N, N) least sum of squared differences of the middle of patch i and a shifted part of patch j, between the
    shifts by a parabola each way; and (N,) px of ink in the middle."""
    inner, ways, count = LOOK - 2 * REACH, 2 * REACH + 1, len(image)
    middle = np.ascontiguousarray(image[:, REACH:-REACH, REACH:-REACH]).reshape(count, -1)
    still = np.square(middle).sum(axis=1)[:, None]
    left = np.empty((ways, ways, count, count), np.float32)
    for down in range(ways):
        for across in range(ways):
            moved = np.ascontiguousarray(image[:, down : down + inner, across : across + inner]).reshape(count, -1)
            np.subtract(still + np.square(moved).sum(axis=1), 2 * (middle @ moved.T), out=left[down, across])
    here = left[1:-1, 1:-1]
    gain = _dip(left[:-2, 1:-1], here, left[2:, 1:-1]) + _dip(left[1:-1, :-2], here, left[1:-1, 2:])
    # no less than a tenth of what is there: where both ways dip the parabolas may promise too much
    between = np.maximum(here - gain, np.float32(0.1) * here)
    least = np.minimum(between.min(axis=(0, 1)), left.min(axis=(0, 1)))
    return np.maximum(least, 0), np.asarray((middle > INK).sum(axis=1), np.float32)


def _dip(before: Map, here: Map, after: Map) -> Map:
    """How far the parabola through three neighbours dips below the one between them, 0 where that is not the least."""
    bend = np.maximum(before + after - 2 * here, np.float32(1e-3))
    slope = np.float32(0.5) * (after - before)
    return np.where((here <= before) & (here <= after), np.float32(0.5) * np.square(slope) / bend, np.float32(0))


def _noise(image: Map) -> float:
    """Variance of a px in bare enamel: the median over patches of what a mean of nine leaves; 0 where none is."""
    found = []
    near = cv2.boxFilter(np.ones((LOOK, LOOK), np.float32), -1, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
    for own in image:
        even = cv2.boxFilter(own, -1, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT) / near
        bare = cv2.dilate(even, np.ones((3, 3), np.uint8)) < BARE
        pixels = int(bare.sum())
        if pixels >= FEW_BARE:
            found.append(float(np.square(own - even)[bare].sum()) * (9 / 8) / pixels)
    return sorted(found)[(len(found) - 1) // 2] if found else 0.0
