"""Maps of what the net says place by place, in which one odd figure stands out.

Gradients of the whole dial's logit answer another question: that logit is the sum of a dial, hardly moves when one
figure of sixty is of the other kind, and its gradients follow strong edges. Here each place is judged by itself, from
the patches within REACH of it in its own zone, cut anew at four shifts, through the net's own pooling; or beside its
dial, by how its patches differ from the rest. Between places the logits are smoothed, and shown where there is ink.

Of an additive net the map is what each place adds to the call, which nothing has to be asked for: `contributed`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from dialtell.model.net.explanation import Explanation
from dialtell.model.net.net import StrokeNet, folded
from dialtell.model.net.verdict import tensors
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import HIGH, LOW, SIDE, SPAN, PatchSet, reduced
from dialtell.model.reading.steps import Reading

Map = NDArray[np.float32]

SHIFTS = ((0.0, 0.0), (0.25, 0.25), (-0.25, 0.25), (0.25, -0.25), (-0.25, -0.25))  # sides of a patch
REACH = 0.08  # dial radii
MOST = 24  # patches of a place, the nearest
SMOOTH = 0.035  # dial radii, SD of the kernel between places
INK = (0.1, 1.5)  # density from which ink counts, and beyond which more counts no more
AT_ONCE = 64  # places judged together
_PLANE = 160.0  # px per dial radius in which logits are smoothed
_HALF = 1.1  # dial radii


@dataclass(frozen=True, eq=False)
class Places:
    """Places of a dial, each judged.

    center : (N, 2) dial radii. logit : (N,) positive for hand. patches : (N,) how many patches each was judged from.
    """

    center: NDArray[np.float64]
    logit: NDArray[np.float64]
    patches: NDArray[np.int64]


class Judge:
    """The net asked about places of one reading (which has at least one patch); its patches are encoded once."""

    def __init__(self, reading: Reading, weights: Weights) -> None:
        self._own, self._net = reading.patches, folded(weights.net)
        self._center, self._zone, self._codes = _cuts(reading, self._net)

    def alone(self) -> Places:
        """The neighbourhood of every patch, judged as if it were all there is."""
        own, zone = self._own, self._zone
        away = np.linalg.norm(own.center[:, None] - self._center[None], axis=2)
        away[own.zone[:, None] != zone[None]] = np.inf
        near = np.argsort(away, axis=1, kind="stable")[:, :MOST]
        close = np.take_along_axis(away, near, axis=1) < REACH
        member = np.where(close, zone[near], -1)
        logit = []
        with torch.inference_mode():
            for start in range(0, len(own), AT_ONCE):
                some = slice(start, start + AT_ONCE)
                resolution = torch.full((len(near[some]),), float(own.resolution))
                codes = self._codes[torch.from_numpy(near[some])]
                logit.append(self._net.judge(codes, torch.from_numpy(member[some]), resolution).dial.numpy())
        return Places(own.center, np.concatenate(logit).astype(np.float64), close.sum(axis=1))

    def beside(self) -> Places:
        """Every patch, and four shifted cuts of it, judged beside all the others (see NetOutput.patch)."""
        with torch.inference_mode():
            resolution = torch.tensor([float(self._own.resolution)])
            out = self._net.judge(self._codes[None], torch.from_numpy(self._zone)[None], resolution)
        logit = out.patch[0].numpy().astype(np.float64)
        return Places(self._center, logit, np.full(len(logit), len(logit)))

    def unlike(self) -> Places:
        """Likewise, less the dial's own mean: what differs from its dial stands out, whatever the dial is."""
        found = self.beside()
        return replace(found, logit=found.logit - found.logit.mean())


def contributed(explanation: Explanation) -> Places:
    """What each patch adds to the dial's ratio, log10, with half of each pair it is in: all of it but the base."""
    added = explanation.by_place
    return Places(explanation.center, added, np.full(len(added), len(added)))


def against_zone(explanation: Explanation) -> Places:
    """Likewise, less the mean of its zone: what differs from its like stands out, whatever the dial is."""
    found, zone = contributed(explanation), explanation.zone
    mean = np.bincount(zone, weights=found.logit) / np.maximum(np.bincount(zone), 1)
    return replace(found, logit=found.logit - mean[zone])


def _cuts(reading: Reading, net: StrokeNet) -> tuple[NDArray[np.float64], NDArray[np.int64], torch.Tensor]:
    """Centre (M, 2) dial radii, zone (M,) and code (M, code) of the reading's patches and of four shifted cuts."""
    cut = [reading.patches, *(_shifted(reading, across, down) for across, down in SHIFTS[1:])]
    with torch.inference_mode():
        codes = torch.cat([net.encode(tensors(patches)[0][0]) for patches in cut])
    return np.concatenate([p.center for p in cut]), np.concatenate([p.zone for p in cut]), codes


def on_ink(places: Places, patches: PatchSet) -> Map:
    """Logits of places smoothed, at every pixel of the patches, times its ink."""
    side = round(2 * _HALF * _PLANE)
    at = np.clip(np.round((places.center + _HALF) * _PLANE - 0.5).astype(np.int64), 0, side - 1)
    total, count = np.zeros((side, side), np.float32), np.zeros((side, side), np.float32)
    np.add.at(total, (at[:, 1], at[:, 0]), places.logit.astype(np.float32))
    np.add.at(count, (at[:, 1], at[:, 0]), np.float32(1))
    summed, weight = (np.asarray(cv2.GaussianBlur(p, (0, 0), SMOOTH * _PLANE), np.float32) for p in (total, count))
    smooth = summed / (weight + np.float32(1e-5))
    # the plane as if it were a photograph of the dial, for the patches to be laid on
    plane = DialGeometry((0.5 * side, 0.5 * side), (_PLANE, _PLANE))
    grids = patches.grids(plane).reshape(-1, SIDE, 2) - np.float32(0.5)
    rows = [cv2.remap(smooth, g[..., 0].copy(), g[..., 1].copy(), cv2.INTER_LINEAR)
            for g in np.array_split(grids, len(patches))]  # fmt: skip
    logit = np.concatenate(rows).reshape(patches.density.shape)
    ink = np.where(patches.density > INK[0], np.minimum(patches.density, INK[1]), 0.0)
    return np.asarray(logit * ink, np.float32)


def _shifted(reading: Reading, across: float, down: float) -> PatchSet:
    """The reading's patches cut again, shifted by shares of their side."""
    own = reading.patches
    below = np.stack([-own.right[:, 1], own.right[:, 0]], axis=1)
    moved = replace(own, center=own.center + SPAN * (across * own.right + down * below))
    photo, place = reduced(reading.density, reading.geometry)
    grids = moved.grids(place) - np.float32(0.5)
    cut = [
        cv2.remap(photo, g[..., 0].copy(), g[..., 1].copy(), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        for g in grids
    ]
    density = np.clip(np.clip(np.asarray(cut, np.float32), LOW, HIGH) / own.full, LOW, HIGH)
    return replace(moved, density=density.astype(np.float32))
