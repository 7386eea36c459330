"""Nets in torch: filled with the numbers of a file, taken down to such, and made quick to ask."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

import torch
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_eval

from dialtell.model.weights.numbers import Numbers, form, sound

N = TypeVar("N", bound=nn.Module)


def numbers_of(net: nn.Module) -> Numbers:
    """What a file of it holds."""
    return {name: tensor.detach().cpu().contiguous().clone().numpy() for name, tensor in net.state_dict().items()}


def fill(net: nn.Module, numbers: Numbers, path: Path) -> None:
    """Put the numbers of a file into a net and make it ready to judge. Raises WeightsError where they do not fit."""
    sound(numbers, forms(net), path)
    net.load_state_dict({name: torch.from_numpy(each.copy()) for name, each in numbers.items()})
    net.eval()


def filled(make: Callable[[], N], numbers: Numbers, path: Path) -> N:
    """A net made and filled likewise; the caller's random numbers are left alone."""
    with torch.random.fork_rng(devices=[]):
        net = make()
    fill(net, numbers, path)
    return net


def forms(net: nn.Module) -> dict[str, str]:
    """Kind and shape of each of its numbers, by name."""
    return {name: form(own) for name, own in numbers_of(net).items()}


def norms(net: nn.Module) -> dict[str, str]:
    """The convolutions that a norm follows at once, and these norms, by name."""
    found = {}
    for prefix, module in net.named_modules():
        parts = list(module.named_children())
        if isinstance(module, nn.Sequential):
            beside = list(pairwise(parts))
        else:
            named = dict(parts)
            beside = [(("conv", named["conv"]), ("norm", named["norm"]))] if {"conv", "norm"} <= set(named) else []
        for (one, first), (other, second) in beside:
            if isinstance(first, nn.Conv2d) and isinstance(second, nn.BatchNorm2d):
                found[".".join(filter(None, (prefix, one)))] = ".".join(filter(None, (prefix, other)))
    return found


def folded(net: N) -> N:
    """A copy to be read only, its norms folded into the convolutions before them: the same numbers to rounding, about a
    sixth sooner, and no gradients of its own."""
    copy = deepcopy(net).eval().requires_grad_(False)
    for convolution, norm in norms(net).items():
        one, other = copy.get_submodule(convolution), copy.get_submodule(norm)
        assert isinstance(one, nn.Conv2d) and isinstance(other, nn.BatchNorm2d)
        for name, put in ((convolution, fuse_conv_bn_eval(one, other)), (norm, nn.Identity())):
            above, _, own = name.rpartition(".")
            setattr(copy.get_submodule(above), own, put)
    return copy.requires_grad_(False)
