"""Whether the strokes of a dial look like any the net was taught on; where they do not, its ratio stands for nothing.

A dial is compared as a whole, by mean and spread over its patches of a few plain numbers of their densities: its
traits. One patch by itself tells little, and the net's own codes tell less: taught on strokes it has learnt to
overlook all else (codes of strokes cut in squares and shuffled lie amid those of strokes).
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn.functional import avg_pool2d

from dialtell.model.reading.patches import HIGH, LOW
from dialtell.synth.shared.terms import ZONES

Floats = NDArray[np.float64]

COUNTED = 56  # patches a zone counts for at most, so that a long track does not drown the rest
NUMBERS = 14  # plain numbers of a patch
TRAITS = 2 * NUMBERS  # of a dial
FEW = 40  # patches: mean and spread of n lie farther off by sqrt(1 + FEW / n) (measured on drawn dials)
_IN_CACHE = 16  # patches worked on at once on a CPU
_BLURRED = 0.01  # added to spreads before their logarithm
_STEP = 0.004  # a step of 8 bits, added to slopes before their logarithm
_EVEN, _STRAIGHT = 0.006, 0.002  # slope and twist, of the whole range of densities a px, below which there is none


def traits_of(patches: Tensor, zone: Tensor, resolution: Tensor, scale: Tensor | None = None) -> Tensor:
    """(B, TRAITS + 2) of a dial's patches of scale 0, which every dial has: mean and ln SD of their plain numbers, how
    many patches that rests on, and the resolution as given.

    patches : (B, N, S, S) D. zone : (B, N) index into ZONES, -1 for no patch. resolution : (B,) log2, of PatchSet, or
    (B, N) of each patch, of which the mean is given.
    scale : (B, N) log2, None for 0. What is given of a dial without any patch means nothing.
    """
    real = zone >= 0 if scale is None else (zone >= 0) & (scale == 0)
    member = (zone[..., None] == torch.arange(len(ZONES), device=zone.device)) & real[..., None]
    weight = (member / member.sum(1, keepdim=True).clamp(min=COUNTED)).sum(2)
    number = weight.sum(1, keepdim=True) * COUNTED
    weight = weight[..., None] / weight.sum(1).clamp(min=1e-9)[:, None, None]
    values = torch.zeros((*zone.shape, NUMBERS), device=patches.device)
    few = _IN_CACHE if patches.device.type == "cpu" else 2**20
    values[real] = torch.cat([plain_numbers(some) for some in torch.split(patches[real], few)])
    mean = (weight * values).sum(1)
    spread = (weight * (values - mean[:, None]).square()).sum(1).sqrt()
    told = resolution.float()
    told = told[:, None] if told.dim() == 1 else (weight[..., 0] * told).sum(1, keepdim=True)
    return torch.cat([mean, (spread + _BLURRED).log(), number, told], dim=1)


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


@dataclass(frozen=True, eq=False)
class Familiar:
    """What the traits of drawn dials look like, and how far from that a dial may lie.

    middle : (TRAITS,) their mean. whiten : (TRAITS, TRAITS) that brings what differs from it to SD 1 in all directions.
    limits : (log2 resolution up to which it applies, distance beyond which a dial is like none), ascending, the last
    for all above: few dials are drawn as sharp as the sharpest, and those differ more.
    """

    middle: Floats
    whiten: Floats
    limits: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if self.middle.shape != (TRAITS,) or self.whiten.shape != (TRAITS, TRAITS):
            raise ValueError(f"not {TRAITS} familiar traits")
        if not (np.isfinite(self.middle).all() and np.isfinite(self.whiten).all()):
            raise ValueError("familiar traits that are not finite")
        ends = [end for end, _ in self.limits]
        if (
            not ends
            or not np.isfinite(ends).all()
            or ends != sorted(ends)
            or not all(0.0 < limit < np.inf for _, limit in self.limits)
        ):
            raise ValueError("limits that are none, in no order or not above 0")

    def distance(self, traits: Floats) -> Floats:
        """(B,) how far dials lie from the drawn ones, about 1 for most. traits : (B, TRAITS + 2), see traits_of."""
        away = np.square((traits[:, :TRAITS] - self.middle) @ self.whiten.T).mean(1)
        return np.asarray(np.sqrt(away / (1.0 + FEW / np.maximum(traits[:, TRAITS], 1.0))))

    def knows(self, traits: Floats) -> NDArray[np.bool_]:
        """(B,) which dials are like the drawn ones. traits : (B, TRAITS + 2)."""
        ends, limits = np.array(self.limits).T
        at = np.searchsorted(ends[:-1], traits[:, -1])
        return np.asarray(self.distance(traits) <= limits[at])

    def record(self) -> dict[str, Any]:
        """For the JSON beside the weights; arrays as base64 of little-endian float32."""
        return {"limits": self.limits, "middle": _packed(self.middle), "whiten": _packed(self.whiten)}


def familiar_from(record: Mapping[str, Any]) -> Familiar:
    """The inverse of `Familiar.record`. Raises KeyError, TypeError or ValueError where it is none."""
    middle, whiten = (_unpacked(record[name]) for name in ("middle", "whiten"))
    limits = tuple((float(end), float(limit)) for end, limit in record["limits"])
    return Familiar(middle, whiten.reshape(-1, TRAITS), limits)


def _packed(array: Floats) -> str:
    return base64.b64encode(np.ascontiguousarray(array, dtype="<f4").tobytes()).decode("ascii")


def _unpacked(text: str) -> Floats:
    return np.frombuffer(base64.b64decode(text, validate=True), dtype="<f4").astype(np.float64)
