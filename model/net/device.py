"""Which device a net runs on."""

from __future__ import annotations

import torch

from dialtell.synth.shared.errors import ParameterError


def pick_device(name: str) -> tuple[torch.device, str]:
    """The device for `auto`, `cpu`, `cuda` or `mps`, and why."""
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


def in_single_precision(device: torch.device) -> None:
    """Have products on a GPU worked out in all bits of float32, so that calls are those of the CPU to rounding."""
    if device.type == "cuda":
        torch.backends.cudnn.allow_tf32 = torch.backends.cuda.matmul.allow_tf32 = False
