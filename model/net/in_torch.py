"""The net asked by torch: on a GPU, and wherever the lighter runtime is not."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from dialtell.model.net.device import in_single_precision
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.output import NetOutput, Reasons
from dialtell.model.net.said import Map, Parts, Said
from dialtell.model.net.traits import numbers_of
from dialtell.model.reading.patches import PatchSet
from dialtell.model.weights.modules import folded


class InTorch:
    """A net, and the asking of it. net : on the device where it is to run."""

    def __init__(self, net: StrokeNet) -> None:
        self.net = net

    @cached_property
    def quick(self) -> StrokeNet:
        """The net as scoring asks it: the same numbers to rounding, sooner."""
        return folded(self.net)

    def said(self, patches: PatchSet) -> Said:
        """See Asked."""
        return said(asked(self.quick, patches))

    def plain_numbers(self, density: NDArray[Any]) -> Map:
        """See Asked."""
        with torch.inference_mode():
            return np.asarray(numbers_of(torch.from_numpy(np.ascontiguousarray(density, dtype=np.float32))).numpy())


def on_device(net: StrokeNet, device: str) -> StrokeNet:
    """The net there, in all bits of float32. device : cpu, cuda or mps."""
    place = torch.device(device)
    in_single_precision(place)
    return net.to(place)


def tensors(patches: PatchSet) -> tuple[Tensor, Tensor, Tensor]:
    """The net's input for one dial: (1, N, S, S) D, (1, N) zone index, (1,) log2 resolution, or (1, N) of patches of
    several photographs."""
    return (
        torch.from_numpy(np.ascontiguousarray(patches.density, dtype=np.float32))[None],
        torch.from_numpy(patches.zone)[None],
        torch.from_numpy(np.atleast_1d(patches.resolution if patches.each is None else patches.each[None])).float(),
    )


def asked(net: nn.Module, patches: PatchSet) -> NetOutput:
    """What a net says of a dial's patches of every scale, nothing learnt; on the CPU, wherever the net runs."""
    net.eval()
    seen = patches.joined
    device = next((numbers.device for numbers in net.parameters()), None)  # a stand-in may have none
    given = (*tensors(seen), torch.from_numpy(seen.scales.astype(np.float32))[None])
    with torch.inference_mode():
        output: NetOutput = net(*(each.to(device) for each in given))
    return output.each(Tensor.cpu)


def said(output: NetOutput, row: int = 0) -> Said:
    """One dial of what a net said, on the CPU."""
    voices = [_parts(voice.reasons, row) for voice in output.voices if voice.reasons is not None]
    return Said(
        dial=float(output.dial[row]),
        zone=output.zone[row].numpy(),
        photographic=float(output.photographic[row]),
        parts=None if output.reasons is None else _parts(output.reasons, row),
        ways=(voices[0].added, voices[1].added) if len(voices) == 2 else None,
    )


def _parts(reasons: Reasons, row: int) -> Parts:
    arrays = {name: value[row].numpy() for name, value in vars(reasons).items()}
    return Parts(**{**arrays, "dial_base": float(arrays["dial_base"])})
