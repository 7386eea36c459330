"""Where 12 o'clock stands: the reader's word on the dial unrolled round its middle, set on a division of the track."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.model.reader.file import Reader
from dialtell.model.reading.divisions import Divisions
from dialtell.model.reading.looks import Look
from dialtell.synth.shared.look_sizes import TURNS

Floats = NDArray[np.float64]

_ABOUT = 4  # samples to either side that count as the same direction
_SNAP = math.radians(2.5)  # furthest division that is taken for 12 itself
TOLD = 0.9  # certainty from which 12 o'clock counts as found

# photographs are held upright, or lie on a side or on their head as a camera left them; what a dial alone leaves open
# is decided by that (judgement)
UPRIGHT, LYING, ANYHOW = 0.7, 0.08, 0.06  # share upright, of each other right angle, of any turn
_HELD = 8.0  # degrees, SD


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


def find_twelve(look: Look, reader: Reader, *, anyhow: bool = False) -> Twelve:
    """Where 12 o'clock stands. look : a square one. anyhow : a photograph is as likely turned one way as any."""
    assert look.turn is not None, "a square look says where 12 stands"
    chance = look.turn if anyhow else look.turn * usual_turns()
    chance = chance / chance.sum()
    best = int(chance.argmax())
    near = np.arange(best - _ABOUT, best + _ABOUT + 1) % TURNS
    middle = best + float((chance[near] * np.arange(-_ABOUT, _ABOUT + 1)).sum() / chance[near].sum())
    # how sure it is rests on the dial alone: what the usual way of holding decided stays open
    share = float(np.clip(look.turn[near].sum(), 1e-6, 1 - 1e-6))
    constant, weight = reader.certainty.twelve
    logit = constant + weight * math.log(share / (1 - share))
    angle = middle * (2 * math.pi / TURNS)
    return Twelve(math.atan2(math.sin(angle), math.cos(angle)), 1 / (1 + math.exp(-logit)))


def usual_turns() -> Floats:
    """(TURNS,) how likely a photograph is held so that 12 o'clock stands in each direction, clockwise from up."""
    at = np.arange(TURNS) * (360.0 / TURNS)
    found = np.full(TURNS, ANYHOW / TURNS)
    for middle, share in ((0.0, UPRIGHT), (90.0, LYING), (180.0, LYING), (270.0, LYING)):
        away = (at - middle + 180.0) % 360.0 - 180.0
        bump = np.exp(-0.5 * (away / _HELD) ** 2)
        found += share * bump / bump.sum()
    return found


def on_division(twelve: Twelve, divisions: Divisions | None) -> Twelve:
    """Set on the division it stands beside, if it is near enough to be meant."""
    if divisions is None:
        return twelve
    nearest = divisions.nearest(twelve.radians)
    return Twelve(nearest, twelve.certainty) if abs(nearest - twelve.radians) < _SNAP else twelve
