"""Plain numbers of patches, whose mean and spread are a dial's traits (see familiar). In torch, which training takes
them by; the lighter runtime has the same as a graph."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn.functional import avg_pool2d

from dialtell.model.reading.patches import HIGH, LOW

_IN_CACHE = 16  # patches worked on at once on a CPU
_STEP = 0.004  # a step of 8 bits, added to slopes before their logarithm
_EVEN, _STRAIGHT = 0.006, 0.002  # slope and twist, of the whole range of densities a px, below which there is none


def numbers_of(patches: Tensor) -> Tensor:
    """Likewise, of any number of patches."""
    few = _IN_CACHE if patches.device.type == "cpu" else 2**20
    return torch.cat([plain_numbers(some) for some in torch.split(patches, few)])


def plain_numbers(patches: Tensor) -> Tensor:
    """(P, NUMBERS) of (P, S, S) D: mean, SD, shares that are even and straight; then ln of slopes (mean, RMS), of bends
    (mean, RMS) and of twists, as they are and at half the size.

    A twist is what the slope along rows changes by from row to row: corners of blocks have it, straight edges hardly.
    """
    # of 8 bits, as the patches of training are kept
    density = ((patches.float() - LOW) * (255 / (HIGH - LOW))).round() / 255
    found = [_mean(density), (_mean(density.square()) - _mean(density).square()).clamp(min=0).sqrt()]
    for image in (density, avg_pool2d(density[:, None], 2)[:, 0]):
        across, down = image[:, :-1, 1:] - image[:, :-1, :-1], image[:, 1:, :-1] - image[:, :-1, :-1]
        squared = across.square() + down.square()
        slope = squared.sqrt()
        around = image[:, 1:-1, :-2] + image[:, 1:-1, 2:] + image[:, :-2, 1:-1] + image[:, 2:, 1:-1]
        bend = around - 4 * image[:, 1:-1, 1:-1]
        twist = (image[:, 1:, 1:] - image[:, 1:, :-1] - across).abs()
        if image is density:
            found += [_mean((slope < _EVEN).float()), _mean((twist < _STRAIGHT).float())]
        sizes = (_mean(slope), _mean(squared).sqrt(), _mean(bend.abs()), _mean(bend.square()).sqrt())
        found += [(size + _STEP).log() for size in sizes] + [(_mean(twist) + 0.25 * _STEP).log()]
    return torch.stack(found, dim=1)


def _mean(values: Tensor) -> Tensor:
    return values.mean((1, 2))
