"""From a net's raw logit to a likelihood ratio that may be stated, and from that to a call.

The logit is stretched and shifted on dials the net was not trained on (Platt's logistic fit), and never reported
beyond what that many dials can support (the caps, after the idea of empirical upper and lower bounds, Science &
Justice 2016; computed in train). A call is made where a wrong one would cost less than none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from dialtell.synth.shared.errors import require_range
from dialtell.synth.shared.terms import Process

HAND, PRINTED, UNDETERMINED = "hand-painted", "printed", "undetermined"
# how a dial called printed was printed
TRANSFER, PHOTOGRAPHIC, CANNOT_TELL = Process.TRANSFER.value, Process.PHOTOGRAPHIC.value, "cannot tell"

# what a wrong call costs against leaving a dial undetermined: a wrong call misprices and misdates a dial, an
# undetermined one sends its owner to a magnifier (judgement; stated in the README)
WRONG_CALL_COST = 10.0


@dataclass(frozen=True)
class Calibration:
    """log10 LR = (slope * logit + offset) / ln 10, held within low..high.

    Positive speaks for the hand, in the calibration of the process of print for photographic against transfer.
    low, high : log10 caps, low <= 0 <= high. bounds : logit resolution bins' extra shrink, pairs of
    (log2 resolution up to which it applies, factor 0..1), ascending; above the last the factor is 1.
    """

    slope: float = 1.0
    offset: float = 0.0
    low: float = -2.0
    high: float = 2.0
    bounds: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        require_range("slope", self.slope, 0.0, 20.0)
        require_range("offset", self.offset, -1e4, 1e4)
        require_range("low", self.low, -20.0, 0.0)
        require_range("high", self.high, 0.0, 20.0)

    def log10_lr(self, logit: float, resolution: float = 0.0) -> tuple[float, bool]:
        """(log10 likelihood ratio, whether a cap was reached)."""
        scale, offset = self.affine(resolution)
        raw = scale * logit + offset
        held = min(max(raw, self.low), self.high)
        return held, held != raw

    def affine(self, resolution: float = 0.0) -> tuple[float, float]:
        """(scale, offset) of the log10 likelihood ratio before its caps: scale * logit + offset. A part of a logit that
        is a sum counts `scale` times, its base `scale` times and `offset` more."""
        factor = next((factor for limit, factor in self.bounds if resolution <= limit), 1.0) / math.log(10)
        return self.slope * factor, self.offset * factor


def probability(log10_lr: float) -> float:
    """Posterior probability of hand painting at prior odds 1:1."""
    odds = math.pow(10.0, log10_lr)
    return odds / (1.0 + odds)


def threshold(cost: float = WRONG_CALL_COST) -> float:
    """log10 LR from which a call costs less than none, at prior 1:1.

    With a wrong call costing `cost` times an undetermined one, calling costs cost * (1 - p) < 1 once
    p > 1 - 1 / cost.
    """
    require_range("cost", cost, 2.0, 1e6)
    return math.log10(cost - 1.0)


def call_for(log10_lr: float | None, cost: float = WRONG_CALL_COST) -> str:
    """hand-painted, printed or undetermined."""
    if log10_lr is None or abs(log10_lr) < threshold(cost):
        return UNDETERMINED
    return HAND if log10_lr > 0 else PRINTED


def call_number(call: str) -> int:
    """1 hand-painted, 0 printed, -1 undetermined: a call as figures count it."""
    return {HAND: 1, PRINTED: 0}.get(call, -1)


def print_call_for(log10_lr: float | None, cost: float = WRONG_CALL_COST) -> str:
    """photographic (positive), transfer (negative) or cannot tell; a wrong one costs what a wrong dial call does."""
    return {HAND: PHOTOGRAPHIC, PRINTED: TRANSFER, UNDETERMINED: CANNOT_TELL}[call_for(log10_lr, cost)]
