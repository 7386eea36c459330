"""Thin strokes against thick ones: how black each is over how broad it is, and what blur alone would make of it.

A line as black as the dial's fullest black and w broad, blurred by an edge of SD s, is erf(w / (2 sqrt(2) s)) as black
in its middle as it was; its mass across stays what it was. So mass over full absorption is its width whatever the
blur, and blur alone puts every stroke on one curve. A stroke below it has a thinner coat. (Exact for straight lines.)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.strokes import CALM, STEP, TracedStroke
from dialtell.synth.shared.terms import ZONES

Floats = NDArray[np.float64]

BAND = (0.8, 1.3)  # of the blur as measured: what its measurement may be off by
MOST = 500  # strokes drawn


@dataclass(frozen=True, eq=False)
class ThinThick:
    """width : (N,) dial radii that full black of the same mass would be. black : (N,) absorption in the middle over
    full black's. zone : (N,) index into ZONES. at, low, high : (M,) widths, and the band that blur alone makes.
    left : how black the thinner and the broader half of the strokes are, over what blur alone would leave, the middle
    ones.
    """

    width: Floats
    black: Floats
    zone: NDArray[np.int64]
    at: Floats
    low: Floats
    high: Floats

    @property
    def left(self) -> tuple[float, float]:
        alone = np.interp(self.width, self.at, 0.5 * (self.low + self.high))
        thin = self.width <= np.median(self.width)
        share = self.black / np.maximum(alone, 0.05)
        return float(np.median(share[thin])), float(np.median(share[~thin]))


def thin_thick(sheet: StrokeSheet, strokes: Sequence[TracedStroke]) -> ThinThick | None:
    """None where fewer than eight strokes are traced."""
    some = [s for s in strokes if len(s.path) >= 6]
    if len(some) < 8:
        return None
    some = some[:: -(-len(some) // MOST)]
    full = 1.0 - sheet.black
    absorbed = np.array([float(np.median(s.core(1.0 - 10.0**-s.peak))) for s in some])
    mass = np.array([float(np.median(s.core(s.width * (1.0 - 10.0**-s.density)))) for s in some])
    width = mass / full / sheet.scale
    blur = math.hypot(sheet.blur, CALM * STEP) / sheet.scale
    broadest, broad = np.quantile(width, (0.98, 0.9))  # what is far broader than all else would crush the rest
    at = np.linspace(0.0, max(min(float(broadest), 2.0 * float(broad)), 6 * blur), 60)
    low, high = (erf(at / (2 * math.sqrt(2) * share * blur)) for share in (BAND[1], BAND[0]))
    zone = np.array([ZONES.index(s.zone) for s in some])
    return ThinThick(width, absorbed / full, zone, at, np.asarray(low), np.asarray(high))
