"""What a net says of one dial, as plain numbers, whichever runtime it was asked by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.patches import PatchSet

if TYPE_CHECKING:
    from dialtell.model.net.net import StrokeNet

Floats = NDArray[np.float64]
Map = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Parts:
    """What each place and each pair of like strokes adds to a logit, nats, the sums being exact to rounding.

    dial = dial_base + place_dial.sum() + pair_dial.sum(), and likewise zone[z] with `place_zone` and `pair_zone` of the
    patches of that zone. place_* : (N,). pair_* : (N, K), of patch n with patch pair_with[n, k] of its zone and scale,
    0 where pair_with is -1. zone_base : (Z,).
    """

    place_dial: Map
    place_zone: Map
    pair_dial: Map
    pair_zone: Map
    pair_with: NDArray[np.int64]
    dial_base: float
    zone_base: Map

    @property
    def added(self) -> float:
        """What all places and pairs add to the dial's logit."""
        return float(self.place_dial.sum(dtype=np.float64) + self.pair_dial.sum(dtype=np.float64))


@dataclass(frozen=True, eq=False)
class Said:
    """Logits at prior 1:1; positive speaks for the hand.

    zone : (Z,). photographic : positive for photographic against transfer print. parts : what the logits are the sums
    of, None of baselines that are no such sums, and where the patches are no longer there. ways : what the voice that
    looks and the one that compares each add to the dial's logit, whose mean all parts add; None where one voice speaks.
    """

    dial: float
    zone: Map
    photographic: float
    parts: Parts | None = None
    ways: tuple[float, float] | None = None


class Asked(Protocol):
    """A net that can be asked about a dial, by whichever runtime."""

    @property
    def net(self) -> StrokeNet:
        """It in torch, on the device where torch runs it; training goes on with it."""

    def said(self, patches: PatchSet) -> Said:
        """What it says of a dial's patches of every scale, nothing learnt."""

    def plain_numbers(self, density: NDArray[Any]) -> Map:
        """(P, NUMBERS) of (P, S, S) D: what tells whether a dial is like those drawn, see traits."""
