"""Steps on a GPU compiled: some 900 launches from Python would set their pace otherwise."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from shutil import which
from typing import Any, TypeVar, cast

import torch
from torch import nn

from dialtell.model.net import StrokeNet

Function = TypeVar("Function", bound=Callable[..., Any])


def can_compile(device: torch.device) -> bool:
    """Whether steps on this device are compiled: on CUDA, and where a compiler is there."""
    return device.type == "cuda" and find_spec("triton") is not None and which("cc") is not None


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
