"""Patches of larger scales, of what a photograph truly resolves beyond the first scale: quarters of its patches, and
sixteenths, cut anew from the photograph as it is.

Each lies at the same place of its patch as the same part of its neighbours, so that like strokes look alike here too.
How many there are is bounded: of many, some of each part, evenly over the dial.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import DialGeometry, Image
from dialtell.model.reading.patches import (
    HIGH,
    LEAST_INK,
    LOW,
    MOST_EDGES,
    MOST_HIDDEN,
    MOST_INK,
    SCALE,
    SIDE,
    SPAN,
    Floats,
    PatchSet,
    cut_at,
    lattice,
    reduced,
    within,
)  # fmt: skip
from dialtell.model.reading.zones import INK, ZoneMap

FINEST = 2  # log2: four times the first scale, 116 px/mm on an 18 size dial
SHORT = 0.25  # log2 by which a photograph may fall short of what a scale shows (judgement)
MOST = 72  # patches of a scale
_TRIED = 3  # times as many are cut, of which those with ink stay


def with_fine(
    patches: PatchSet, density: Image, geometry: DialGeometry, zones: ZoneMap, true_pixels_per_radius: float
) -> PatchSet:
    """The same set and its `fine` patches. density : (H, W) D, photo px, as large as the photograph is."""
    resolved = np.log2(max(true_pixels_per_radius, 1.0) / SCALE)
    scales = [scale for scale in range(1, FINEST + 1) if resolved >= scale - SHORT]
    found = [cut for scale in scales if len(cut := _cut_scale(patches, density, geometry, zones, scale))]
    if not found:
        return patches
    fine, *finer = found
    return replace(patches, fine=replace(fine, fine=finer[0]).joined if finer else fine)


def _cut_scale(patches: PatchSet, density: Image, geometry: DialGeometry, zones: ZoneMap, scale: int) -> PatchSet:
    pixels, span = SCALE * 2.0**scale, SPAN / 2.0**scale
    centers, rights = _parts(patches.center, patches.right, 2**scale)
    keep = spread(len(centers), _TRIED * MOST)
    centers, rights = centers[keep], rights[keep]
    label = zones.at(centers)
    points = lattice(centers, rights, 4, span)
    good = (label >= 0) & (zones.share(zones.hidden, points) < MOST_HIDDEN)
    good &= zones.share(zones.edges, points) < MOST_EDGES
    photo, place = reduced(density, geometry, pixels)
    good &= within(photo, centers, rights, place, pixels)
    centers, rights, label = centers[good], rights[good], label[good]
    cut = cut_at(photo, centers, rights, place, pixels)
    ink = np.count_nonzero(cut > INK, axis=(1, 2)) / SIDE**2
    inked = np.flatnonzero((ink >= LEAST_INK) & (ink <= MOST_INK))
    chosen = inked[spread(len(inked), MOST)]
    return PatchSet(
        density=np.clip(cut[chosen] / patches.full, LOW, HIGH),
        zone=label[chosen].astype(np.int64),
        center=centers[chosen],
        right=rights[chosen],
        ink=ink[chosen],
        full=patches.full,
        resolution=patches.resolution,
        scale=np.full(len(chosen), float(scale)),
    )


def _parts(center: Floats, right: Floats, side: int) -> tuple[Floats, Floats]:
    """Centres and right vectors (side ** 2 * N, 2) of the parts of patches, all of one part of each together."""
    parts = lattice(center, right, side).reshape(len(center), side * side, 2)
    return parts.transpose(1, 0, 2).reshape(-1, 2), np.tile(right, (side * side, 1))


def spread(count: int, most: int) -> NDArray[np.int64]:
    """Places of at most `most` of `count`, evenly spread."""
    return np.unique(np.linspace(0, max(count - 1, 0), min(count, most)).astype(np.int64))
