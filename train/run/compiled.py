"""Steps on a GPU compiled: some 900 launches from Python would set their pace otherwise."""

from __future__ import annotations

import sysconfig
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from shutil import which
from typing import Any, TypeVar, cast

import torch
from torch import nn

from dialtell.model.net.net import StrokeNet

Function = TypeVar("Function", bound=Callable[..., Any])

OLDEST = (7, 0)  # compute capability, "Supported Hardware" in Triton's README


def can_compile(device: torch.device) -> bool:
    """Whether steps on this device are compiled: on CUDA, where Triton takes the card and can build what launches its
    kernels, which needs a C compiler and Python's headers."""
    if device.type != "cuda" or find_spec("triton") is None or which("cc") is None or not _headers():
        return False
    return torch.cuda.get_device_capability(device) >= OLDEST


def _headers() -> bool:
    """Whether Python.h is there; many systems pack it apart from Python."""
    schemes = {sysconfig.get_default_scheme(), "posix_prefix"}  # Debian's default is one for /usr/local
    return any(Path(sysconfig.get_paths(scheme)["include"], "Python.h").is_file() for scheme in schemes)


def compile_net(net: nn.Module, device: torch.device) -> None:
    """Have the steps' net compiled: norms, sums and copies in one pass take about half the time of theirs one by one.

    The averaged net, asked for batches of every size, is left alone, and so is the linear probe, which looks only at
    patches that exist.
    """
    if isinstance(net, StrokeNet) and can_compile(device):
        net.compile(dynamic=False)


def compiled(function: Function, device: torch.device) -> Function:
    """`function` of tensors as steps on this device call it, whose shapes stay the same."""
    if not can_compile(device):
        return function
    return cast(Function, torch.compile(function, dynamic=False))
