"""Whether the strokes of a dial look like any the net was taught on; where they do not, its ratio stands for nothing.

A dial is compared as a whole, by mean and spread over its patches: its traits. One patch by itself tells little:
shuffled pixels, noise and blank enamel all give codes nearer to the middle of all codes than most strokes do. Beside
the codes stand plain numbers of the densities, for a net that learnt strokes has learnt to overlook all else.
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

from dialtell.model.reading.patches import HIGH, LOW
from dialtell.synth.shared.terms import ZONES

Floats = NDArray[np.float64]

COUNTED = 56  # patches a zone counts for at most, as in the bags of training, where no zone has more
PLAIN = 7  # plain numbers of a patch
FEW = 40  # patches: mean and spread of n lie farther off by sqrt(1 + FEW / n) (measured on drawn dials)
_BLURRED = 0.01  # added to spreads before their logarithm
_STEP = 0.004  # added to what is steep or bent: a step of 8 bits
_EVEN = 0.006  # slope a px, of the whole range of densities, below which it is even


def traits_of(patches: Tensor, codes: Tensor, zone: Tensor, scale: Tensor | None = None) -> Tensor:
    """(B, 2 * (code + PLAIN) + 1) of a dial's patches of scale 0, which every dial has: mean and ln SD of their codes
    and plain numbers, and how many there are.

    patches : (B, N, S, S) D. codes : (B, N, code). zone : (B, N) index into ZONES, -1 for no patch. scale : (B, N) log2,
    None for 0. What is given of a dial without any patch means nothing.
    """
    real = zone >= 0 if scale is None else (zone >= 0) & (scale == 0)
    member = (zone[..., None] == torch.arange(len(ZONES), device=zone.device)) & real[..., None]
    count = member.sum(1, keepdim=True)
    weight = (member / count.clamp(min=COUNTED)).sum(2)
    number = weight.sum(1, keepdim=True) * COUNTED
    weight = weight / weight.sum(1, keepdim=True).clamp(min=1e-9)
    values = torch.cat([codes.float(), plain_numbers(patches)], dim=2)
    mean = (weight[..., None] * values).sum(1)
    spread = (weight[..., None] * (values - mean[:, None]).square()).sum(1).sqrt()
    return torch.cat([mean, (spread + _BLURRED).log(), number], dim=1)


def plain_numbers(patches: Tensor) -> Tensor:
    """(B, N, PLAIN) of (B, N, S, S) D: mean, SD, share that is even, and ln of how steep and how bent it is, as mean and
    RMS. Of 8 bits, as the patches of training are kept."""
    d = ((patches.float() - LOW) * (255 / (HIGH - LOW))).round() / 255
    across, down = d[..., :-1, 1:] - d[..., :-1, :-1], d[..., 1:, :-1] - d[..., :-1, :-1]
    steep = (across.square() + down.square()).sqrt()
    around = d[..., 1:-1, :-2] + d[..., 1:-1, 2:] + d[..., :-2, 1:-1] + d[..., 2:, 1:-1]
    bent = (around - 4 * d[..., 1:-1, 1:-1]).abs()
    sizes = [_mean(steep), _mean(steep.square()).sqrt(), _mean(bent), _mean(bent.square()).sqrt()]
    even = _mean((steep < _EVEN).float())
    found = [_mean(d), (_mean(d.square()) - _mean(d).square()).clamp(min=0).sqrt(), even]
    return torch.stack([*found, *((size + _STEP).log() for size in sizes)], dim=2)


def _mean(values: Tensor) -> Tensor:
    return values.mean((-2, -1))


@dataclass(frozen=True, eq=False)
class Familiar:
    """What the traits of drawn dials look like, and how far from that a dial may lie.

    middle, size : (T,) mean and SD of each trait. axes : (K, T) orthonormal, the directions in which dials differ most
    once each trait was divided by its SD, and spread : (K,) the SD along them. rest : SD along all others. limit :
    distance beyond which a dial is like none.
    """

    middle: Floats
    size: Floats
    axes: Floats
    spread: Floats
    rest: float
    limit: float

    def __post_init__(self) -> None:
        traits, directions = len(self.middle), len(self.spread)
        if self.size.shape != (traits,) or self.axes.shape != (directions, traits):
            raise ValueError("arrays of familiar traits that do not go together")
        whole = np.concatenate([self.middle, self.size, self.axes.ravel(), self.spread, [self.rest, self.limit]])
        widths = np.concatenate([self.size, self.spread, [self.rest, self.limit]])
        if not np.isfinite(whole).all() or widths.min() <= 0.0:
            raise ValueError("familiar traits that are not finite, or of no width")

    def distance(self, traits: Floats) -> Floats:
        """(B,) how far dials lie from the drawn ones, about 1 for most of those. traits : (B, T + 1) of traits_of."""
        away = (traits[:, :-1] - self.middle) / self.size
        along = away @ self.axes.T
        others = (np.square(away).sum(1) - np.square(along).sum(1)).clip(min=0.0)
        squared = np.square(along / self.spread).sum(1) + others / self.rest**2
        return np.asarray(np.sqrt(squared / len(self.middle) / (1.0 + FEW / np.maximum(traits[:, -1], 1.0))))

    def knows(self, traits: Floats) -> NDArray[np.bool_]:
        """(B,) which dials are like the drawn ones. traits : (B, T + 1)."""
        return np.asarray(self.distance(traits) <= self.limit)

    def record(self) -> dict[str, Any]:
        """For the JSON beside the weights; arrays as base64 of little-endian float32."""
        arrays = {name: _packed(getattr(self, name)) for name in ("middle", "size", "axes", "spread")}
        return {"traits": len(self.middle), "rest": self.rest, "limit": self.limit, **arrays}


def familiar_from(record: Mapping[str, Any]) -> Familiar:
    """The inverse of `Familiar.record`. Raises KeyError, TypeError or ValueError where it is none."""
    flat = {name: _unpacked(record[name]) for name in ("middle", "size", "axes", "spread")}
    traits = int(record["traits"])
    if not len(flat["middle"]) == traits > 0:
        raise ValueError("familiar traits of another number than stated")
    axes = flat.pop("axes").reshape(-1, traits)
    return Familiar(**flat, axes=axes, rest=float(record["rest"]), limit=float(record["limit"]))


def _packed(array: Floats) -> str:
    return base64.b64encode(np.ascontiguousarray(array, dtype="<f4").tobytes()).decode("ascii")


def _unpacked(text: str) -> Floats:
    return np.frombuffer(base64.b64decode(text, validate=True), dtype="<f4").astype(np.float64)
