"""How well the reader sees: figures on drawn pictures it was not trained on, look by look."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import torch
from torch import nn

from dialtell.model.reader.net import TURNS
from dialtell.synth.shared.terms import SEEN
from dialtell.train.reader.loss import places
from dialtell.train.reader.pictures import Pictures

# overlap : mean over classes of intersection over union; outline : of pictures with a dial, share of those whose area
# of inside overlaps the true one by 0.96; twelve : share within 3 degrees; made : share whose make is told
FIGURES = ("overlap", "outline", "twelve", "made")


def judged(net: nn.Module, pictures: Sequence[Pictures], device: torch.device) -> dict[str, float]:
    """Each of FIGURES, NaN where nothing was there to judge."""
    net.eval()
    met, joined = np.zeros(len(SEEN)), np.zeros(len(SEEN))
    outline: list[bool] = []
    twelve: list[bool] = []
    made: list[bool] = []
    for some in _batches(pictures, 32):
        picture = torch.from_numpy(some.picture).to(device).permute(0, 3, 1, 2).float()
        truth = torch.from_numpy(some.truth).to(device)
        with torch.no_grad():
            sight = net(picture.contiguous(memory_format=torch.channels_last), True)
        named, seen = sight.seen.argmax(1), torch.from_numpy(some.seen).to(device)
        for index in range(len(SEEN)):
            one, other = named == index, seen == index
            met[index] += int((one & other).sum())
            joined[index] += int((one | other).sum())
        inside, true = sight.inside > 0, places(truth).norm(dim=1) < 1.0
        share = (inside & true).sum((1, 2)) / (inside | true).sum((1, 2)).clamp(min=1)
        dial = truth[:, 0] > 0
        outline += (share[dial] > 0.96).tolist()
        made += (sight.make.argmax(1) == truth[:, 8].long()).tolist()
        asked = dial & (truth[:, 9] == 1)
        told = sight.turn.argmax(1) * (2 * math.pi / TURNS)
        away = torch.atan2(torch.sin(told - truth[:, 7]), torch.cos(told - truth[:, 7])).abs()
        twelve += (away[asked] < math.radians(3.0)).tolist()
    overlap = (met[joined > 0] / joined[joined > 0]).tolist()
    return {name: float(np.mean(values)) if values else math.nan
            for name, values in zip(FIGURES, (overlap, outline, twelve, made), strict=True)}  # fmt: skip


def _batches(pictures: Sequence[Pictures], size: int) -> list[Pictures]:
    whole = Pictures._make(np.concatenate([getattr(one, name) for one in pictures]) for name in Pictures._fields)
    return [Pictures._make(part[k : k + size] for part in whole) for k in range(0, len(whole.truth), size)]
