"""The one shared geometry of both processes: strokes, gathered into items (a figure, letter, tick, ring or dot).

Dial frame: millimetres, x to the right, y down, origin at the dial centre, 12 o'clock at negative y.
Angles are in radians, clockwise from 12 o'clock: x = r sin(a), y = -r cos(a).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.terms import Kind, Zone

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Stroke:
    """A centre line and the full width along it.

    path : (N, 2) mm, N >= 2, in the order drawn; for a ring the last point repeats the first.
    width : (N,) mm, full width >= 0 at each point (a dot is a short stroke with a round width profile, a wedge
        or lozenge one whose width runs to 0).
    nominal : mm, the heaviest width the design gives this stroke; paint load follows it.
    kind : what it is.
    form : identity shared by strokes that ought to be the same ("V/stem", "tick/minor").
    """

    path: Floats
    width: Floats
    nominal: float
    kind: Kind
    form: str


@dataclass(frozen=True, eq=False)
class Item:
    """One figure, letter, tick, ring, dot or ornament: what a hand sets down in one go and a plate repeats.

    anchor : (2,) mm, the middle of its baseline (letters, figures), its middle (ticks, dots) or the ring centre.
    up : radians clockwise from 12 o'clock, the direction of its own "up".
    height : mm along `up`.
    group : items of one group ought to look alike ("VII", "tick/minor", "a").
    ink : index into the design's inks.
    word : index of the line or figure it belongs to within its zone; items of one word scatter together too.
    """

    strokes: tuple[Stroke, ...]
    zone: Zone
    anchor: tuple[float, float]
    up: float
    height: float
    group: str
    ink: int = 0
    word: int = 0
