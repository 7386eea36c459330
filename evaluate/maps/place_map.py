"""The map of a dial: what each place adds to the call, seen on its ink.

The call of the net is a sum over places and pairs of like strokes (Explanation), so nothing has to be asked:
each place has its own share and half of each pair it is in. Laid out over the dial and summed the map is the dial's
ratio before its cap, less where every dial starts; of one zone it has the sign that the zone has, less its own start.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.maps.odd_strokes import outside
from dialtell.model.net.explanation import Explanation
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import SIDE, SPAN, PatchSet

Map = NDArray[np.float32]
Floats = NDArray[np.float64]

SMOOTH = 0.035  # dial radii, SD by which a place's share is laid out about it
INK = (0.1, 1.5)  # density from which ink counts, and beyond which more counts no more
PLANE = 160.0  # px per dial radius of the plane on which shares are laid out
_HALF = 1.2  # dial radii


@dataclass(frozen=True, eq=False)
class Places:
    """Places of a dial. center : (N, 2) dial radii. added : (N,) log10, positive towards hand."""

    center: Floats
    added: Floats


@dataclass(frozen=True, eq=False)
class DialMaps:
    """Maps over the patches, (N, S, S) float32, positive towards hand. places : what each place adds. unlike : what it
    adds less what its like add. odd : the same at ink that no stroke like it has, see odd_strokes."""

    places: Map
    unlike: Map
    odd: Map


def contributed(explanation: Explanation) -> Places:
    """What each patch adds to the dial's ratio, with half of each pair it is in: all of it but the base."""
    return Places(explanation.center, explanation.by_place)


def against_like(explanation: Explanation, scale: Floats) -> Places:
    """Likewise, less the mean of its zone and scale: what differs from its like stands out, whatever the dial is.

    scale : (N,), of the patches explained."""
    found = contributed(explanation)
    _, like = np.unique(np.stack([explanation.zone, scale]), axis=1, return_inverse=True)
    like = like.ravel()
    mean = np.bincount(like, weights=found.added) / np.bincount(like)
    return replace(found, added=found.added - mean[like])


def laid_out(places: Places) -> Map:
    """(side, side), PLANE px per dial radius about the dial's middle: log10 that each place's share, spread about it,
    adds per area of a patch. Its sum by area is the sum of `added`."""
    side = round(2 * _HALF * PLANE)
    at = np.clip(np.round((places.center + _HALF) * PLANE - 0.5).astype(np.int64), 0, side - 1)
    total = np.zeros((side, side))
    np.add.at(total, (at[:, 1], at[:, 0]), places.added * (SPAN * PLANE) ** 2)
    return np.asarray(cv2.GaussianBlur(total, (0, 0), SMOOTH * PLANE, borderType=cv2.BORDER_REFLECT), np.float32)


def on_ink(places: Places, patches: PatchSet) -> Map:
    """(N, S, S) the shares laid out, at every pixel of the patches, times its ink."""
    plane = laid_out(places)
    middle = 0.5 * len(plane)
    # the plane as if it were a photograph of the dial, for the patches to be laid on
    geometry = DialGeometry((middle, middle), (PLANE, PLANE))
    grids = patches.grids(geometry).reshape(-1, SIDE, 2) - np.float32(0.5)
    rows = [cv2.remap(plane, g[..., 0].copy(), g[..., 1].copy(), cv2.INTER_LINEAR)
            for g in np.array_split(grids, len(patches))]  # fmt: skip
    ink = np.where(patches.density > INK[0], np.minimum(patches.density, INK[1]), 0.0)
    return np.asarray(np.concatenate(rows).reshape(patches.density.shape) * ink, np.float32)


def maps_of(explanation: Explanation, patches: PatchSet) -> DialMaps:
    """The maps of a dial. patches : as read; they lie on those of the first scale, which hold all others."""
    like = against_like(explanation, patches.joined.scales)
    odd = outside(patches) * like.added[: len(patches), None, None]
    return DialMaps(on_ink(contributed(explanation), patches), on_ink(like, patches), odd.astype(np.float32))
