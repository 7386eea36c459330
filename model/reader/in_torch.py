"""The reader asked by torch: on a GPU, and wherever the lighter runtime is not."""

from __future__ import annotations

import numpy as np
import torch
from numpy.typing import NDArray

from dialtell.model.reader.glance import Glance
from dialtell.model.reader.net import ReaderNet, Sight
from dialtell.model.weights.modules import folded


class LooksInTorch:
    """See Looks. device : where the net runs."""

    def __init__(self, net: ReaderNet, device: str) -> None:
        self.device = torch.device(device)
        self.net = folded(net).to(self.device).to(memory_format=torch.channels_last)

    def __call__(self, picture: NDArray[np.uint8], turn: bool) -> Glance:
        """See Looks."""
        # laid out as it is, channels last, which is the faster way here too
        given = torch.from_numpy(picture).to(self.device).float()[None].permute(0, 3, 1, 2)
        with torch.inference_mode():
            sight: Sight = self.net(given, turn)
        return Glance(*(part[0].cpu().numpy() for part in sight if part is not None))
