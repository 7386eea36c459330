"""What moved a dial's call: integrated gradients of its logit, painted onto the photograph and onto close views."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from dialtell.evaluate.maps.integrated_gradients import integrated_gradients, paint_map
from dialtell.model.net.net import folded
from dialtell.model.net.verdict import tensors
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import PatchSet
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES, Zone

Map = NDArray[np.float32]

STEPS = (16, 32)  # nodes tried in turn until the error is small
SMALL_ERROR = 0.05  # share of the logit's change
_LONGEST_MAP = 640  # px of the map's dial; painting grows with its area, and it is smoothed on the page anyway


@dataclass(frozen=True, eq=False)
class Attribution:
    """Integrated gradients of the dial's logit, or of one zone's, over its patches, from bare enamel.

    values : (N, S, S) float32, positive towards hand. logit : of the dial or zone. baseline : logit of the same patches
    without ink. error : |sum of values - (logit - baseline)|, the completeness error. steps : nodes taken. places :
    what is painted in place of values where given, (N, S, S) of the same sign, and unlike : what differs from the rest
    of the dial, likewise: see place_map. adds_up : whether places are what each adds to the dial's ratio.
    """

    values: Map
    logit: float
    baseline: float
    error: float
    steps: int
    places: Map | None = None
    unlike: Map | None = None
    adds_up: bool = False

    @property
    def painted(self) -> Map:
        """The map that pages show."""
        return self.values if self.places is None else self.places

    @property
    def relative_error(self) -> float:
        """The error as a share of what the map should sum to."""
        return self.error / max(abs(self.logit - self.baseline), 1e-6)

    def words(self) -> str:
        """What the map is, what the gradients sum to, and how nearly."""
        gradients = (
            f"ntegrated gradients from bare enamel, {self.steps} steps: the map accounts for the logit's change of "
            f"{self.logit - self.baseline:+.2f} to within {self.error:.2g}."
        )
        if self.places is None:
            return f"I{gradients}"
        if self.adds_up:
            return f"The map shows what each place adds to the dial's ratio. Behind it, not shown: i{gradients}"
        return f"The map shows each place judged by itself. Behind it, not shown: i{gradients}"


def attribute(
    patches: PatchSet, weights: Weights, zone: Zone | None = None, *, nodes: tuple[int, ...] = STEPS
) -> Attribution:
    """Attribute the dial's logit, or a zone's, to the pixels of its patches (at least one).

    zone : one that has patches; the map is 0 on all others, which have no say in that zone's logit. nodes : steps
    tried in turn until the completeness error is small.
    """
    if zone is not None:
        own = np.flatnonzero(patches.zone == ZONES.index(zone))
        if not len(own):
            raise ParameterError(f"zone {zone.value!r} has no patches on this dial; give one that has")
        found = _attribute(_only(patches, own), weights, zone, nodes)
        values = np.zeros(patches.density.shape, np.float32)
        values[own] = found.values
        return replace(found, values=values)
    return _attribute(patches, weights, None, nodes)


def _only(patches: PatchSet, chosen: NDArray[np.int64]) -> PatchSet:
    return replace(
        patches,
        **{name: getattr(patches, name)[chosen] for name in ("density", "zone", "center", "right", "ink")},
    )


def _attribute(patches: PatchSet, weights: Weights, part: Zone | None, nodes: tuple[int, ...]) -> Attribution:
    bag, zone, resolution = tensors(patches)
    net = folded(weights.net)

    def logit(points: torch.Tensor) -> torch.Tensor:
        out = net(points[:, 0][None], zone, resolution)
        found: torch.Tensor = out.dial if part is None else out.zone[:, ZONES.index(part)]
        return found

    bag = bag[0][:, None]
    with torch.no_grad():
        whole, bare = float(logit(bag)[0]), float(logit(torch.zeros_like(bag))[0])
    for steps in nodes:
        values, error = integrated_gradients(logit, bag, steps=steps, change=whole - bare)
        if error <= SMALL_ERROR * abs(whole - bare):
            break
    return Attribution(values[:, 0].numpy().astype(np.float32), whole, bare, error, steps)


def photo_map(values: Map, patches: PatchSet, geometry: DialGeometry, shape: tuple[int, int]) -> Map:
    """A map (N, S, S) over a photograph of (H, W): float32, 0 off the patches. geometry : of that photograph."""
    rows, columns = geometry.box(shape, 1.05)
    height, width = rows.stop - rows.start, columns.stop - columns.start
    painted = np.zeros(shape, np.float32)
    if not (height and width):
        return painted
    scale = min(1.0, _LONGEST_MAP / max(height, width))
    size = (max(round(height * scale), 1), max(round(width * scale), 1))
    places = (patches.grids(geometry) - (columns.start, rows.start)) * (size[1] / width, size[0] / height)
    small = paint_map(values, places, size)
    painted[rows, columns] = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    return painted


def view_map(attribution: Attribution, patches: PatchSet, view: DialGeometry, shape: tuple[int, int]) -> Map:
    """The map over a close view of (H, W), from the patches that reach into it. view : the dial in that picture."""
    places = patches.grids(view)
    high, low = places.max(axis=(1, 2)), places.min(axis=(1, 2))
    reach = (high > 0).all(axis=1) & (low < (shape[1], shape[0])).all(axis=1)
    return paint_map(attribution.painted[reach], places[reach], shape)
