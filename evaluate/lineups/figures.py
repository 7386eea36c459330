"""The hour figures one by one, each with its own share of the call."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.model.net.explanation import Explanation
from dialtell.model.reading.geometry import patch_grid, sample
from dialtell.model.reading.photo import Photo, display
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import ZONES, Zone

Bytes = NDArray[np.uint8]

SIDE = 132  # px of a picture
HOURS = 12
LEAST_INK = 0.012  # share of the picture that is ink
BLACK = 0.35  # of full density, from which a place is ink


@dataclass(frozen=True, eq=False)
class Figure:
    """hour : 1..12. picture : (SIDE, SIDE, 3) sRGB, as it can be read. share : log10 that its places add to the
    dial's ratio, positive for the hand; None where no net that adds up has judged. patches : how many places those are.
    """

    hour: int
    picture: Bytes
    share: float | None
    patches: int


def hour_figures(
    reading: Reading, photo: Photo, explanation: Explanation | None, *, upright: bool = False
) -> list[Figure]:
    """Every hour figure in view, 1 to 12; none without a chapter. upright : they stand upright on the dial, and are
    shown so; else outwards is up."""
    zones = reading.zones
    if not zones.named or Zone.NUMERALS not in zones.found:
        return []
    inner, outer = zones.numerals
    middle = 0.5 * (inner + outer)
    view = max(1.15 * (outer - inner), 0.9 * 2 * math.pi / HOURS * middle, 0.14)
    number = ZONES.index(Zone.NUMERALS)
    found = []
    for hour in range(1, HOURS + 1):
        turn = 2 * math.pi * hour / HOURS
        centre = (middle * math.sin(turn), -middle * math.cos(turn))
        right = (1.0, 0.0) if upright else (math.cos(turn), math.sin(turn))
        grid = patch_grid(reading.geometry, centre, right, (SIDE, SIDE), SIDE / view)
        height, width = reading.density.shape
        if (grid < 0).any() or (grid[..., 0] > width).any() or (grid[..., 1] > height).any():
            continue
        dial = reading.geometry.to_dial(grid[::4, ::4].reshape(-1, 2))
        own = zones.at(dial) == number
        dark = sample(reading.density, grid[::4, ::4]).ravel() > BLACK * reading.patches.full
        if (own & dark).mean() < LEAST_INK:
            continue
        share, patches = _share(explanation, hour, number)
        found.append(Figure(hour, display(sample(photo.pixels, grid)), share, patches))
    return found


def _share(explanation: Explanation | None, hour: int, zone: int) -> tuple[float | None, int]:
    """What the figures' places nearest to an hour add together: each place belongs to one hour, so that the shares of
    all hours add up to the zone's."""
    if explanation is None:
        return None, 0
    x, y = explanation.center[:, 0], explanation.center[:, 1]
    nearest = np.round(np.arctan2(x, -y) / (2 * math.pi / HOURS)).astype(int) % HOURS
    own = (explanation.zone == zone) & (nearest == hour % HOURS)
    return float(explanation.by_place[own].sum()), int(own.sum())
