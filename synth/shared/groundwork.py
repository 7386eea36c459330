"""What a design asks of the dial itself besides strokes: steps, centres, plaques, winding holes, an aperture.

The design decides on them (strokes keep clear of them), the object's body paints them; neither knows the process.
Lengths are in dial radii, x to the right, y down from the dial's centre; 0 where there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import ParameterError, require_range

CENTRES = ("enamel", "open", "gilt", "turned", "brushed")
PLAQUES = ("none", "oval", "round", "shield")
GROUNDS = ("enamel", "gilt", "brass", "dark")


@dataclass(frozen=True)
class Groundwork:
    """Lengths in dial radii; everything is left out by default.

    step : 0 or 0.2..0.9, radius of a sunk centre.
    centre, centre_reach, centre_y : what fills a disc of that radius (0 or 0.15..0.7) so far below the centre: works
        seen through an opening, chased gilt, engine-turned or brushed metal, or enamel.
    collar : 0..0.06, width of the metal ring about it.
    plaques : shape of the `plaque_count` raised enamel plaques at `plaque_at`, each `plaque_wide` by `plaque_high`
        (half widths); between them lies `plaque_ground`.
    holes : (x, y, radius) of winding holes. grommets : whether metal eyelets line them.
    arbors, moon : (x, y, radius) of further arbors, and of the moon's aperture.
    tone : 0..1, which of the metal's colours. seed : of all detail.
    """

    step: float = 0.0
    centre: str = "enamel"
    centre_reach: float = 0.0
    centre_y: float = 0.0
    collar: float = 0.0
    plaques: str = "none"
    plaque_at: float = 0.7
    plaque_wide: float = 0.08
    plaque_high: float = 0.11
    plaque_count: int = 12
    plaque_ground: str = "enamel"
    holes: tuple[tuple[float, float, float], ...] = ()
    grommets: bool = True
    arbors: tuple[tuple[float, float, float], ...] = ()
    moon: tuple[float, float, float] = (0.0, 0.0, 0.0)
    tone: float = 0.0
    seed: int = 0

    def __post_init__(self) -> None:
        for name, known in (("centre", CENTRES), ("plaques", PLAQUES), ("plaque_ground", GROUNDS)):
            if getattr(self, name) not in known:
                raise ParameterError(f"{name} is {getattr(self, name)!r}; give one of {', '.join(known)}")
        require_range("step", self.step, 0.0, 0.95)
        require_range("centre_reach", self.centre_reach, 0.0, 0.8)
        require_range("collar", self.collar, 0.0, 0.1)
        require_range("plaque_count", self.plaque_count, 1, 24)
        require_range("tone", self.tone, 0.0, 1.0)


PLAIN = Groundwork()


def outline_of(shape: str, points: int) -> NDArray[np.float64]:
    """Closed outline (points, 2) of a plaque or frame, x across and y outward, half widths 1.

    A "shield" has square shoulders and points towards the centre; the others are round.
    """
    if shape == "shield":
        half = [(0.0, 1.0), (0.95, 0.92), (1.0, 0.1), (0.8, -0.45), (0.0, -1.0)]
        corners = np.array([*half, *((-x, y) for x, y in half[-2::-1])])
        along = np.linspace(0.0, len(corners) - 1.0, points)
        return np.stack([np.interp(along, np.arange(len(corners)), corners[:, axis]) for axis in (0, 1)], axis=1)
    turn = np.linspace(0.0, 2 * np.pi, points)
    return np.stack([np.sin(turn), np.cos(turn)], axis=1)
