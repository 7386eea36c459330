"""Which device a net runs on. torch is asked for only where a GPU may be meant."""

from __future__ import annotations

import sys
from importlib.util import find_spec
from typing import TYPE_CHECKING

from dialtell.synth.shared.errors import ParameterError

if TYPE_CHECKING:
    import torch


def kind_of_device(name: str) -> str:
    """cpu, cuda or mps, for `auto` or one of these."""
    if name == "cpu" or (name == "auto" and find_spec("torch") is None):
        return "cpu"
    return pick_device(name)[0].type


def pick_device(name: str) -> tuple[torch.device, str]:
    """The device for `auto`, `cpu`, `cuda` or `mps`, and why."""
    import torch

    if name == "auto":
        if torch.cuda.is_available():
            return torch.device("cuda"), "a CUDA device is there"
        if torch.backends.mps.is_available():
            return torch.device("mps"), "an Apple GPU is there"
        return torch.device("cpu"), "no GPU is there"
    if name not in ("cpu", "cuda", "mps"):
        raise ParameterError(f"device is {name!r}; give auto, cpu, cuda or mps")
    if name == "cuda" and not torch.cuda.is_available():
        raise ParameterError("device is 'cuda', but torch sees no CUDA device; give --device auto or cpu")
    if name == "mps" and not torch.backends.mps.is_available():
        raise ParameterError("device is 'mps', but torch sees no Apple GPU; give --device auto or cpu")
    return torch.device(name), "asked for"


def one_thread() -> None:
    """Keep torch to one thread, where it is in use; the lighter runtime has but one."""
    if "torch" in sys.modules:
        import torch

        torch.set_num_threads(1)


def in_single_precision(device: torch.device) -> None:
    """Have products on a GPU worked out in all bits of float32, so that calls are those of the CPU to rounding."""
    if device.type == "cuda":
        import torch

        torch.backends.cudnn.allow_tf32 = torch.backends.cuda.matmul.allow_tf32 = False
