"""What a dial's logit loses when a window of one patch is wiped to bare enamel: occlusion, dense over the dial.

A patch's code does not depend on its neighbours: only the wiped patch is encoded again, and the bag judged with its one
new code. Patches of the first scale alone are looked at. Checked against the plain form in tests.
"""

from __future__ import annotations

import numpy as np
import torch
from numpy.typing import NDArray

from dialtell.model.net.in_torch import tensors
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.patches import SIDE, PatchSet
from dialtell.synth.shared.errors import require_range

AT_ONCE = 16  # wiped bags judged together


def occlusion_map(patches: PatchSet, weights: Weights, *, window: int = 32) -> NDArray[np.float32]:
    """(N, SIDE, SIDE) float32: the fall of the dial's logit with each window wiped; positive towards hand.

    window : px, divides SIDE; windows lie side by side. Costs (SIDE / window)^2 encodings of each patch.
    """
    require_range("window", window, 2, SIDE, "px")
    bag, zone, resolution = tensors(patches)
    net = weights.net.eval()
    across = SIDE // window
    fall = np.zeros((len(patches), SIDE, SIDE), np.float32)
    places = [(row * window, column * window) for row in range(across) for column in range(across)]
    with torch.inference_mode():
        codes = net.encode(bag[0])
        whole = float(net.judge(codes[None], zone, resolution).dial[0])
        jobs = [
            (index, top, left)
            for index in range(len(patches))
            for top, left in places
            if bool((bag[0, index, top : top + window, left : left + window].abs() > 0.02).any())
        ]
        for start in range(0, len(jobs), AT_ONCE):
            part = jobs[start : start + AT_ONCE]
            wiped = bag[0, [index for index, _, _ in part]].clone()
            for row, (_, top, left) in enumerate(part):
                wiped[row, top : top + window, left : left + window] = 0.0
            many = codes[None].repeat(len(part), 1, 1)
            many[torch.arange(len(part)), torch.tensor([index for index, _, _ in part])] = net.encode(wiped)
            logits = net.judge(many, zone.expand(len(part), -1), resolution.expand(len(part))).dial
            for (index, top, left), logit in zip(part, logits.tolist(), strict=True):
                fall[index, top : top + window, left : left + window] = whole - logit
    return fall
