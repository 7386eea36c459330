"""A calibration moved by a few labelled dials of another camera: its two numbers, held near what they were.

The most probable slope and offset given the dials, where beforehand ln of the slope's change has an SD of SLOPE_SD and
the offset's change one of OFFSET_SD: with no dials nothing moves, with many the fit is Platt's. The two widths were
chosen beforehand, not fitted (judgement).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from dialtell.model.net.calibration import Calibration
from dialtell.synth.shared.errors import ParameterError

SLOPE_SD = 0.5  # of ln slope
OFFSET_SD = 1.5  # nats

Floats = NDArray[np.float64]


def shifted_line(line: Calibration, logit: Floats, truth: Floats) -> Calibration:
    """`line` moved by dials of raw `logit` and `truth` 1 (painted) or 0, painted and printed counting alike.

    The caps stay as they are; they rest on other dials and do not vouch for this camera.
    """
    hand = np.asarray(truth) == 1
    if len(logit) != len(hand):
        raise ParameterError(f"{len(logit)} logits and {len(hand)} truths; give one of each per dial")
    if not len(hand):
        return line
    sides = [int(hand.sum()), int((~hand).sum())]
    weight = np.where(hand, *(len(hand) / (2 * max(side, 1)) for side in sides))

    def cost(p: Floats) -> float:
        z = np.exp(p[0]) * line.slope * logit + line.offset + p[1]
        fit = float(np.sum(weight * (np.logaddexp(0, z) - hand * z)))
        return fit + 0.5 * float((p[0] / SLOPE_SD) ** 2 + (p[1] / OFFSET_SD) ** 2)

    change = minimize(cost, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-9}).x
    slope = float(np.clip(np.exp(change[0]) * line.slope, 0.02, 20.0))
    return replace(line, slope=slope, offset=float(line.offset + change[1]))
