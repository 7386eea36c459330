"""Every place of a dial's design with what a close-up of it would add: how finely it is shown now, whether something
lies over it, how thin its strokes are."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.patches import MOST_HIDDEN, SCALE, SPAN, lattice, places
from dialtell.model.reading.steps import Reading

Floats = NDArray[np.float64]
Index = NDArray[np.int64]
Flags = NDArray[np.bool_]

CLOSE = 1540.0  # px per dial radius from which strokes of a steady hand can be told: 70 px/mm on 18 size (FIGURES.md)
OCTAVES = 2.5  # by which a place may be shown too coarsely; beyond, nothing is seen of thin strokes at all
INKED = 0.3  # share of the full density from which a place counts as stroke
THIN = 8.0  # px of a patch, 0.55 mm on 18 size: strokes of this breadth count half as much as the thinnest
MOST_OFF = 0.98  # dial radii from the middle


@dataclass(frozen=True, eq=False)
class Spots:
    """Places of one dial. center : (N, 2) dial radii. zone : (N,) index into ZONES. worth : (N,) 0..1, how thin its
    strokes are. lacking : (N,) 0..1, how much of what a close-up would show is not shown yet. covered : (N,) something
    lies over it. level : (N,) px per dial radius truly resolved there."""

    center: Floats
    zone: Index
    worth: Floats
    lacking: Floats
    covered: Flags
    level: Floats


def spots_of(reading: Reading, wished: float = CLOSE) -> Spots:
    """All places of a whole dial, of several photographs where these were brought together.

    wished : px per dial radius of a close-up.
    """
    patches, zones = reading.patches, reading.zones
    level = SCALE * np.exp2(patches.resolutions)
    lacking = np.clip(np.log2(wished / level) / OCTAVES, 0.0, 1.0)
    turn = 0.0
    if reading.divisions is not None and reading.twelve is not None:
        turn = reading.divisions.nearest(reading.twelve.radians) - reading.twelve.radians
    center, right = places(zones, turn)
    label = zones.seen_by(zones.seen).at(center)  # within the rings also where a hand lies
    over = zones.share(zones.hidden, lattice(center, right, 8)) >= MOST_HIDDEN
    over &= (label >= 0) & (np.hypot(*center.T) < MOST_OFF) & ~_near(center, patches.center)
    return Spots(
        center=np.concatenate([patches.center, center[over]]),
        zone=np.concatenate([patches.zone, label[over].astype(np.int64)]),
        worth=np.concatenate([thinness(patches.density), np.full(int(over.sum()), 0.5)]),
        lacking=np.concatenate([lacking, np.ones(int(over.sum()))]),
        covered=np.concatenate([np.zeros(len(patches), bool), np.ones(int(over.sum()), bool)]),
        level=np.concatenate([level, np.zeros(int(over.sum()))]),
    )


def thinness(density: NDArray[np.float32]) -> Floats:
    """(N,) 0..1 of patches (N, S, S): 1 of hairlines, 0.5 of strokes THIN px broad."""
    cross = np.asarray(cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3)))
    found = np.zeros(len(density))
    for at, patch in enumerate(density):
        ink = (patch > INKED).astype(np.uint8)
        area = int(ink.sum())
        rim = area - int(cv2.erode(ink, cross, borderValue=1).sum())
        found[at] = (
            0.0 if rim == 0 else 1.0 / (1.0 + (2.0 * area / rim / THIN) ** 2)
        )  # breadth is twice area over outline
    return found


def _near(points: Floats, others: Floats) -> Flags:
    """(N,) whether a place is one of `others`, to half a patch."""
    if not len(points) or not len(others):
        return np.zeros(len(points), bool)
    away = np.hypot(*(points[:, None] - others[None]).transpose(2, 0, 1)).min(axis=1)
    return np.asarray(away < 0.5 * SPAN)
