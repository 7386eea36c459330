"""What moved a dial's call: integrated gradients of its logit, painted onto the photograph and onto close views."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from dialtell.evaluate.saliency import integrated_gradients, paint_map
from dialtell.evaluate.verdict import tensors
from dialtell.model.geometry import DialGeometry
from dialtell.model.patches import PatchSet
from dialtell.model.store import Weights

Map = NDArray[np.float32]

STEPS = (16, 32)  # nodes tried in turn until the error is small
SMALL_ERROR = 0.05  # share of the logit's change
_LONGEST_MAP = 640  # px of the map's dial; painting grows with its area, and it is smoothed on the page anyway


@dataclass(frozen=True, eq=False)
class Attribution:
    """Integrated gradients of the dial's logit over its patches, from bare enamel.

    values : (N, S, S) float32, positive towards hand. logit : of the dial. baseline : logit of the same patches
    without ink. error : |sum of values - (logit - baseline)|, the completeness error. steps : nodes taken.
    """

    values: Map
    logit: float
    baseline: float
    error: float
    steps: int

    @property
    def relative_error(self) -> float:
        return self.error / max(abs(self.logit - self.baseline), 1e-6)

    def words(self) -> str:
        """What the map sums to, and how nearly."""
        return (
            f"Integrated gradients from bare enamel, {self.steps} steps: the map accounts for the logit's change of "
            f"{self.logit - self.baseline:+.2f} to within {self.error:.2g}."
        )


def attribute(patches: PatchSet, weights: Weights) -> Attribution:
    """Attribute the dial's logit to the pixels of its patches (at least one)."""
    bag, zone, resolution = tensors(patches)
    net = weights.net.eval()

    def logit(points: torch.Tensor) -> torch.Tensor:
        dial: torch.Tensor = net(points[:, 0][None], zone, resolution).dial
        return dial

    bag = bag[0][:, None]
    frozen = [parameter for parameter in net.parameters() if parameter.requires_grad]
    for parameter in frozen:  # only the input's gradient is wanted
        parameter.requires_grad_(False)
    try:
        with torch.no_grad():
            whole, bare = float(logit(bag)[0]), float(logit(torch.zeros_like(bag))[0])
        for steps in STEPS:
            values, error = integrated_gradients(logit, bag, steps=steps)
            if error <= SMALL_ERROR * abs(whole - bare):
                break
    finally:
        for parameter in frozen:
            parameter.requires_grad_(True)
    return Attribution(values[:, 0].numpy().astype(np.float32), whole, bare, error, steps)


def photo_map(attribution: Attribution, patches: PatchSet, geometry: DialGeometry, shape: tuple[int, int]) -> Map:
    """The map over a photograph of (H, W): float32, 0 off the patches. geometry : of that photograph."""
    rows, columns = geometry.box(shape, 1.05)
    height, width = rows.stop - rows.start, columns.stop - columns.start
    painted = np.zeros(shape, np.float32)
    if not (height and width):
        return painted
    scale = min(1.0, _LONGEST_MAP / max(height, width))
    size = (max(round(height * scale), 1), max(round(width * scale), 1))
    places = (patches.grids(geometry) - (columns.start, rows.start)) * (size[1] / width, size[0] / height)
    small = paint_map(attribution.values, places, size)
    painted[rows, columns] = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    return painted


def view_map(attribution: Attribution, patches: PatchSet, view: DialGeometry, shape: tuple[int, int]) -> Map:
    """The map over a close view of (H, W), from the patches that reach into it. view : the dial in that picture."""
    places = patches.grids(view)
    high, low = places.max(axis=(1, 2)), places.min(axis=(1, 2))
    reach = (high > 0).all(axis=1) & (low < (shape[1], shape[0])).all(axis=1)
    return paint_map(attribution.values[reach], places[reach], shape)
