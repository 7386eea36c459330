"""Whether the strokes of a dial look like any the net was taught on; where they do not, its ratio stands for nothing.

A dial is compared as a whole, by the mean and the spread of its patches' codes: its traits. One patch by itself tells
little: shuffled pixels, noise and blank enamel all give codes nearer to the middle of all codes than most strokes do,
but their mean, and how little they differ among themselves, are no dial's.
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

from dialtell.synth.shared.terms import ZONES

Floats = NDArray[np.float64]

COUNTED = 56  # patches a zone counts for at most, as in the bags of training, where no zone has more
_BLURRED = 0.01  # added to spreads before their logarithm


def traits_of(codes: Tensor, zone: Tensor, scale: Tensor | None = None) -> Tensor:
    """(B, 2 * code) mean and ln SD of the codes of a dial's patches of scale 0, which every dial has.

    codes : (B, N, code). zone : (B, N) index into ZONES, -1 for no patch. scale : (B, N) log2, None for 0. What is
    given of a dial without any patch means nothing.
    """
    real = zone >= 0 if scale is None else (zone >= 0) & (scale == 0)
    member = (zone[..., None] == torch.arange(len(ZONES), device=zone.device)) & real[..., None]
    count = member.sum(1, keepdim=True)
    weight = (member / count.clamp(min=COUNTED)).sum(2)
    weight = weight / weight.sum(1, keepdim=True).clamp(min=1e-9)
    values = codes.float()
    mean = (weight[..., None] * values).sum(1)
    spread = (weight[..., None] * (values - mean[:, None]).square()).sum(1).sqrt()
    return torch.cat([mean, (spread + _BLURRED).log()], dim=1)


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
        """(B,) how far dials lie from the drawn ones, about 1 for most of those. traits : (B, T)."""
        away = (traits - self.middle) / self.size
        along = away @ self.axes.T
        others = (np.square(away).sum(1) - np.square(along).sum(1)).clip(min=0.0)
        squared = np.square(along / self.spread).sum(1) + others / self.rest**2
        return np.asarray(np.sqrt(squared / len(self.middle)))

    def knows(self, traits: Floats) -> NDArray[np.bool_]:
        """(B,) which dials are like the drawn ones. traits : (B, T)."""
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
