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
from numpy.typing import NDArray

from dialtell.synth.shared.terms import ZONES

Floats = NDArray[np.float64]

COUNTED = 56  # patches a zone counts for at most, so that a long track does not drown the rest
NUMBERS = 14  # plain numbers of a patch
TRAITS = 2 * NUMBERS  # of a dial
FEW = 40  # patches: mean and spread of n lie farther off by sqrt(1 + FEW / n) (measured on drawn dials)
BLURRED = 0.01  # added to spreads before their logarithm


def traits_of(values: NDArray[Any], zone: NDArray[Any], resolution: float | NDArray[Any]) -> Floats:
    """(TRAITS + 2,) of a dial's patches of scale 0, which every dial has: mean and ln SD of their plain numbers, how
    many patches that rests on, and the resolution.

    values : (N, NUMBERS) of each patch, see traits. zone : (N,) index into ZONES. resolution : log2, of PatchSet, or
    (N,) of each patch, of which the mean is given. What is given of a dial without any patch means nothing.
    """
    share = (1.0 / np.maximum(np.bincount(zone, minlength=len(ZONES)), COUNTED))[zone]  # of its zone
    number = COUNTED * share.sum()
    share /= max(share.sum(), 1e-9)
    mean = share @ values
    spread = np.sqrt(share @ np.square(values - mean))
    told = resolution if np.ndim(resolution) == 0 else share @ resolution
    return np.concatenate([mean, np.log(spread + BLURRED), [number, float(told)]])


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
