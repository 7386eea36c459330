"""A dial's stated ratio taken apart: what each place and each pair of like strokes adds to it, in log10 units.

Calibration is affine in the logit: its scale goes into every contribution, its offset into the base. Hence the parts
add up to the stated ratio before its cap. The base is where every dial of that resolution starts, whatever its strokes;
it is stated as a share of its own, for no place has earned it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.said import Parts, Said
from dialtell.model.reading.patches import PatchSet
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]

CLEARLY = 0.3  # log10 that each of two ways must add to be said to disagree: twice as probable (judgement)


@dataclass(frozen=True)
class ZoneShare:
    """A zone's own log10 ratio before its cap, `total`, and where it starts whatever its strokes, `base`; and what its
    places and pairs add to the dial's, `contribution`: always of the sign that total - base has."""

    total: float
    base: float
    contribution: float


@dataclass(frozen=True)
class Ways:
    """What strokes add to a dial's log10 ratio `look`ed at by themselves, and by `comparison` with their like."""

    look: float
    comparison: float

    @property
    def apart(self) -> bool:
        """Whether they speak against each other, both of them clearly."""
        return self.look * self.comparison < 0 and min(abs(self.look), abs(self.comparison)) >= CLEARLY


@dataclass(frozen=True, eq=False)
class Explanation:
    """Contributions, log10, positive for the hand: base + places.sum() + pairs.sum() is `total`, before its cap.

    zone : (N,) index into ZONES, center : (N, 2) dial radii and places : (N,) what each patch adds, of all scales.
    pair : (M, 2) places of the two patches and pairs : (M,) contribution of each pair, each of two patches once.
    zones : of each zone that has places; their contributions and the base add up to total too. ways : the same sum by
    how it was judged, None where the net has one voice only.
    """

    base: float
    zone: NDArray[np.int64]
    center: Floats
    places: Floats
    pair: NDArray[np.int64]
    pairs: Floats
    zones: Mapping[Zone, ZoneShare] = field(default_factory=dict)
    ways: Ways | None = None

    @property
    def total(self) -> float:
        """The log10 likelihood ratio of the dial before its cap."""
        return self.base + float(self.places.sum()) + float(self.pairs.sum())

    @property
    def by_place(self) -> Floats:
        """(N,) `places`, each with half of its pairs: what a map shows."""
        return self.places + 0.5 * sum(
            np.bincount(self.pair[:, side], weights=self.pairs, minlength=len(self.places)) for side in (0, 1)
        )

    def record(self) -> dict[str, Any]:
        """Ready for JSON; numbers are not rounded so far that their sum would be off by 1e-4."""

        def place(at: int) -> dict[str, Any]:
            x, y = (round(float(value), 4) for value in self.center[at])
            return {"zone": str(ZONES[self.zone[at]]), "x": x, "y": y}

        return {
            "total": round(self.total, 6),
            "base": round(self.base, 8),
            "ways": None if self.ways is None else {name: round(value, 6) for name, value in vars(self.ways).items()},
            "zones": [
                {"zone": zone.value} | {name: round(value, 6) for name, value in vars(share).items()}
                for zone, share in self.zones.items()
            ],
            "places": [place(at) | {"contribution": round(float(c), 8)} for at, c in enumerate(self.places)],
            "pairs": [
                {"places": [int(one), int(other)], "contribution": round(float(c), 8)}
                for (one, other), c in zip(self.pair, self.pairs, strict=True)
            ],
        }


def explain(said: Said, patches: PatchSet, dial: Calibration, zone: Calibration) -> Explanation | None:
    """patches : all that the net saw (PatchSet.joined). dial, zone : of their ratios. None where the net's logits are
    no sums."""
    if (parts := said.parts) is None:
        return None
    scale, offset = dial.affine(patches.resolution)
    beside = parts.pair_with
    one, k = np.nonzero(beside >= 0)
    both = np.sort(np.stack([one, beside[one, k]], axis=1), axis=1)
    pair, row = np.unique(both, axis=0, return_inverse=True)
    added = parts.pair_dial[one, k].astype(np.float64)
    return Explanation(
        base=scale * parts.dial_base + offset,
        zone=patches.zone,
        center=patches.center,
        places=scale * parts.place_dial.astype(np.float64),
        pair=pair.reshape(-1, 2),
        pairs=np.asarray(scale * np.bincount(row.ravel(), weights=added, minlength=len(pair)), dtype=np.float64),
        zones=_zones(parts, patches.zone, scale, zone.affine(patches.resolution)),
        ways=None if said.ways is None else Ways(*(0.5 * scale * way for way in said.ways)),
    )


def _zones(parts: Parts, zone: NDArray[np.int64], scale: float, own: tuple[float, float]) -> dict[Zone, ZoneShare]:
    """scale : of the dial's logit. own : scale and offset of a zone's."""
    ours, offset = own
    sums = {
        whole: np.bincount(zone, place + pair.sum(1), minlength=len(ZONES))
        for whole, place, pair in (
            ("zone", parts.place_zone, parts.pair_zone),
            ("dial", parts.place_dial, parts.pair_dial),
        )
    }
    shares = {}
    for index in np.unique(zone):
        base = ours * float(parts.zone_base[index]) + offset
        total, added = base + ours * float(sums["zone"][index]), scale * float(sums["dial"][index])
        shares[ZONES[index]] = ZoneShare(total, base, added)
    return shares
