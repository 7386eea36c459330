"""One bag out of several readings of one dial: every place is read from the photograph that resolves it best.

Nothing counts twice: of two patches of one place, the finer photograph's is kept. Photographs differ in exposure, so
what counts as full density is carried over from the whole view: at places that both show, the darkest strokes agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from dialtell.model.reading.fine_patches import MOST
from dialtell.model.reading.patches import HIGH, LOW, SCALE, SPAN, PatchSet
from dialtell.model.reading.steps import Reading

Floats = NDArray[np.float64]
Index = NDArray[np.int64]

ONE_PLACE = 0.5 * SPAN  # dial radii between centres, below which two patches are of one place
SAME_PATCH = 0.01 * SPAN  # below which they show the very same
DARKEST = 0.97  # quantile of a patch's density
DARK = 0.3  # of it in the whole view, from which a patch tells how dark the other photograph is
FEWEST = 4  # patches that tell it


@dataclass(frozen=True, eq=False)
class Merged:
    """One bag. patches : with `each`. source : (N,) index of the reading that each patch of `patches` is from;
    fine_source : likewise of `patches.fine`."""

    patches: PatchSet
    source: Index
    fine_source: Index

    @property
    def origin(self) -> Index:
        """(M,) that of each of `patches.joined`."""
        return np.concatenate([self.source, self.fine_source])

    def from_reading(self, index: int) -> int:
        """How many patches, of all scales, are from one reading."""
        return int((self.origin == index).sum())


def merge(readings: Sequence[Reading]) -> Merged:
    """Bring readings in one dial frame together, the whole view's first."""
    whole = readings[0]
    sets = [whole.patches, *(toned(reading, whole) for reading in readings[1:])]
    fineness = [reading.sharpness.true_pixels_per_radius for reading in readings]
    order = sorted(range(len(sets)), key=lambda index: -fineness[index])
    kept: dict[int, PatchSet] = {}
    taken = np.empty((0, 2))
    for index in order:
        free = _away(sets[index].center, taken) > ONE_PLACE
        kept[index] = sets[index].chosen(free)
        taken = np.concatenate([taken, kept[index].center])
    source = np.concatenate([np.full(len(kept[index]), index) for index in order])
    patches = _stacked([kept[index] for index in order], sets[0])
    fine = {index: part for index in order if (part := sets[index].fine) is not None}
    if not fine or not len(patches):
        return Merged(patches, source, np.empty(0, np.int64))
    nearest = cKDTree(patches.center)
    # a part of a patch is read from the photograph that the patch is from
    chosen = {index: part.chosen(source[nearest.query(part.center)[1]] == index) for index, part in fine.items()}
    whence = np.concatenate([np.full(len(part), index) for index, part in chosen.items()])
    every = _stacked(list(chosen.values()), sets[0])
    few = _few(every.scales)
    return Merged(replace(patches, fine=every.chosen(few) if len(few) else None), source, whence[few])


def toned(reading: Reading, whole: Reading) -> PatchSet:
    """Patches of a close-up with its full density such that its strokes are as dark as the whole view has them."""
    own, other = reading.patches, whole.patches
    mine, its = common(own, other)
    soft = 0.5 * SCALE / max(whole.sharpness.true_pixels_per_radius, 1.0)
    ours = np.array([_darkest(cv2.GaussianBlur(one, (0, 0), soft)) for one in own.density[mine]])
    theirs = np.array([_darkest(one) for one in other.density[its]])
    tells = (theirs > DARK) & (ours > 0.05) if len(mine) else np.empty(0, bool)
    if tells.sum() < FEWEST:
        return own
    times = float(np.exp(np.median(np.log(theirs[tells] / ours[tells]))))
    fine = None if own.fine is None else _times(own.fine, times)
    return replace(_times(own, times), fine=fine)


def common(first: PatchSet, second: PatchSet) -> tuple[Index, Index]:
    """Which patches of two sets show the very same place: (M,) of each."""
    if not len(first) or not len(second):
        return np.empty(0, np.int64), np.empty(0, np.int64)
    away, other = cKDTree(second.center).query(first.center)
    alike = (away < SAME_PATCH) & (first.zone == second.zone[other])
    return np.flatnonzero(alike), np.asarray(other[alike], np.int64)


def _times(patches: PatchSet, times: float) -> PatchSet:
    density = np.clip(patches.density * np.float32(times), LOW, HIGH)
    return replace(patches, density=density, full=patches.full / times)


def _darkest(patch: NDArray[np.float32]) -> float:
    return float(np.quantile(patch, DARKEST))


def _away(points: Floats, taken: Floats) -> Floats:
    """(N,) distance to the nearest of `taken`."""
    if not len(taken) or not len(points):
        return np.full(len(points), np.inf)
    return np.asarray(cKDTree(taken).query(points)[0])


def _stacked(parts: Sequence[PatchSet], like: PatchSet) -> PatchSet:
    """Sets of several photographs in one, each patch with the resolution of its own."""
    each = np.concatenate([part.resolutions for part in parts])
    scale = np.concatenate([part.scales for part in parts])
    return replace(
        like,
        density=np.concatenate([part.density for part in parts]),
        zone=np.concatenate([part.zone for part in parts]),
        center=np.concatenate([part.center for part in parts]),
        right=np.concatenate([part.right for part in parts]),
        ink=np.concatenate([part.ink for part in parts]),
        scale=scale if scale.any() else None,
        fine=None,
        each=each,
        resolution=float(np.median(each)) if len(each) else like.resolution,
    )


def _few(scales: Floats) -> Index:
    """At most MOST of each scale, evenly of all that there are."""
    found = [np.flatnonzero(scales == scale) for scale in np.unique(scales)]
    kept = [own[np.unique(np.linspace(0, len(own) - 1, min(len(own), MOST)).astype(int))] for own in found if len(own)]
    return np.concatenate(kept) if kept else np.empty(0, np.int64)
