"""Where 12 o'clock stands: the reader's word on the dial unrolled round its middle, set on a division of the track."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dialtell.model.reader.file import Reader
from dialtell.model.reader.net import TURNS
from dialtell.model.reading.divisions import Divisions
from dialtell.model.reading.looks import Look

_ABOUT = 4  # samples to either side that count as the same direction
_SNAP = math.radians(2.5)  # furthest division that is taken for 12 itself
TOLD = 0.5  # certainty from which 12 o'clock counts as found


@dataclass(frozen=True)
class Twelve:
    """radians : clockwise from image up once the outline is a circle. certainty : 0..1 that it is right to 3 degrees; 1
    where it was given."""

    radians: float
    certainty: float

    @property
    def told(self) -> bool:
        """Whether it may be relied on."""
        return self.certainty >= TOLD


def find_twelve(look: Look, reader: Reader) -> Twelve:
    """Where 12 o'clock stands. look : a square one."""
    assert look.turn is not None, "a square look says where 12 stands"
    best = int(look.turn.argmax())
    near = np.arange(best - _ABOUT, best + _ABOUT + 1) % TURNS
    share = float(np.clip(look.turn[near].sum(), 1e-6, 1 - 1e-6))
    middle = best + float((look.turn[near] * np.arange(-_ABOUT, _ABOUT + 1)).sum()) / share
    constant, weight = reader.certainty.twelve
    logit = constant + weight * math.log(share / (1 - share))
    angle = middle * (2 * math.pi / TURNS)
    return Twelve(math.atan2(math.sin(angle), math.cos(angle)), 1 / (1 + math.exp(-logit)))


def on_division(twelve: Twelve, divisions: Divisions | None) -> Twelve:
    """Set on the division it stands beside, if it is near enough to be meant."""
    if divisions is None:
        return twelve
    nearest = divisions.nearest(twelve.radians)
    return Twelve(nearest, twelve.certainty) if abs(nearest - twelve.radians) < _SNAP else twelve
