"""What a dial's call is the sum of, zone by zone, as page and still state it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dialtell.evaluate.words.support import signed


@dataclass(frozen=True)
class Shares:
    """Log10 units, positive towards hand. base : where every dial starts that is photographed as sharply, whatever its
    strokes. zones : what the places of each add, by its name. All of them together are the dial's ratio before its cap.
    ways : what looking at the strokes one by one adds, and comparing them with their like; None where nobody tells.
    """

    base: float
    zones: Mapping[str, float]
    ways: tuple[float, float] | None = None

    @property
    def total(self) -> float:
        """The dial's log10 ratio before its cap."""
        return self.base + sum(self.zones.values())

    def sentence(self, *, capped: bool) -> str:
        """How the places make the call. capped : the call states less than they add up to."""
        added, whole = signed(sum(self.zones.values())), signed(self.total)
        end = (
            f"{whole}; the call states no more than validation can vouch for"
            if capped
            else f"the call's {whole} (rounded)"
        )
        return (
            f"The places add up: {added} in all, and {signed(self.base)} where every dial starts whatever its strokes, "
            f"make {end}."
        )
