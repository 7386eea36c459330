"""The net's ratio and that of the measurements taken together: the measurements may take support away, never add any.

Both read the same strokes of the same photograph, so their ratios are not independent and must not be multiplied where
they agree: then the net's stands as it is. Where they point to opposite sides the reader has a reason to doubt either,
so the logarithms are added, as far as 0: what the measurements can undo is held by the bounds that their own validation
set, and they make no call of their own. Hence, with n the net's log10 LR and m that of the measurements,

    combined = n                                where m has n's sign, is 0, or was not given
    combined = sign(n) * max(0, |n| - |m|)      otherwise

which rises with n and with m, has no jump, is never larger in size than n, and never on the other side. (Taking the
smaller of the two where they agree would jump from n to 0 where m passes 0, and would let measurements that tell
nothing silence the net.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from dialtell.evaluate.measurements.second_opinion import Opinion
from dialtell.evaluate.words.support import LEAST_SUPPORT, rounded, signed
from dialtell.model.net.calibration import UNDETERMINED, call_for, probability, threshold
from dialtell.model.net.verdict import Verdict

_SIDE = {True: "hand painting", False: "printing"}


class Agreement(StrEnum):
    """How net and measurements stand to one another."""

    AGREE = "agree"
    DISAGREE = "disagree"
    MEASUREMENTS_SILENT = "measurements settle nothing"
    NET_SILENT = "net settles nothing"
    NO_OPINION = "too little measured"
    NOT_WEIGHED = "not weighed"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True)
class Combined:
    """net, measured, log10_lr : log10 likelihood ratios, positive for hand; None where there is none. net_capped,
    measured_capped, capped : whether each was larger than validation can vouch for. used : measurements the second
    rests on. net_call : of the net alone, as `dialtell score` gives it. call : of both. held : the photograph carries
    no call or zones contradict one another, so that none is made whatever the ratios.
    """

    net: float | None
    net_capped: bool
    net_call: str
    measured: float | None
    measured_capped: bool
    used: int
    log10_lr: float | None
    call: str
    held: bool
    agreement: Agreement

    @property
    def capped(self) -> bool:
        """Whether the ratio stands at the net's cap."""
        return self.net_capped and self.log10_lr == self.net

    @property
    def withdrawn(self) -> bool:
        """Whether the net's call was taken back because the measurements do not bear it out."""
        return self.call != self.net_call

    @property
    def probability_hand(self) -> float | None:
        """At prior odds 1:1."""
        return None if self.log10_lr is None else probability(self.log10_lr)

    @property
    def sentence(self) -> str:
        """How the two stand to one another and what follows, in words and numbers."""
        if self.agreement is Agreement.NOT_JUDGED:
            return "The net judged nothing, so there is nothing to set the measurements beside."
        if self.agreement is Agreement.NOT_WEIGHED and self.measured is None:
            return "There is no second opinion, and no call is made in any case."
        if self.measured is None:
            count = f"{self.used} measurement{'' if self.used == 1 else 's'}" if self.used else "no measurement"
            return f"There is no second opinion: {count} could be set against drawn dials. The net stands alone."
        assert self.net is not None and self.log10_lr is not None
        if self.agreement is Agreement.NOT_WEIGHED:
            return (
                "Parts of the dial contradict one another, so net and measurements are not weighed against each other "
                "for the dial as a whole. Look at each zone below."
            )
        said = f"The {self.used} measurements that could be set against drawn dials"
        if self.agreement is Agreement.AGREE:
            return (
                f"{said} point the same way as the net. They rest on the same strokes, so they bear the net out and "
                "add nothing to its number."
            )
        if self.agreement is Agreement.DISAGREE:
            return (
                f"Net and measurements disagree: the net points to {_SIDE[self.net > 0]} ({signed(self.net)}), the "
                f"{self.used} measurements to {_SIDE[self.measured > 0]} ({signed(self.measured)}). The support drops "
                f"to {signed(self.log10_lr)}{self._what_follows}"
            )
        if self.agreement is Agreement.NET_SILENT:
            return f"{said} point to {_SIDE[self.measured > 0]} ({signed(self.measured)}), but alone they make no call."
        drop = "" if self.log10_lr == self.net else (
            f", and what little they say points the other way: the support drops to {signed(self.log10_lr)}"
            f"{self._what_follows[:-1]}"
        )  # fmt: skip
        return f"{said} settle nothing by themselves{drop}."

    @property
    def _what_follows(self) -> str:
        if self.net_call == UNDETERMINED:
            return ", and there was no call before."
        if self.withdrawn:
            return f", short of the {threshold():.2f} either way that a call needs, so the net’s call is withdrawn."
        return f", which still passes the {threshold():.2f} that a call needs."

    def record(self) -> dict[str, Any]:
        """For a JSON document."""
        return {
            "net_log10_lr": rounded(self.net),
            "net_call": self.net_call,
            "second_opinion_log10_lr": rounded(self.measured),
            "second_opinion_capped": self.measured_capped,
            "measurements_used": self.used,
            "agreement": self.agreement.value,
            "log10_lr": rounded(self.log10_lr),
            "probability_hand": rounded(self.probability_hand, 6),
            "call": self.call,
            "sentence": self.sentence,
        }


def combine(verdict: Verdict, opinion: Opinion) -> Combined:
    """Both together. No call is made that the net did not make; where the net's call is withheld or its zones
    contradict one another, that stands."""
    whole = verdict.whole
    measured = None if whole.withheld else opinion.log10_lr  # where strokes are not resolved there is none to measure
    held = whole.withheld or verdict.mixed
    both = whole.log10_lr if held else together(whole.log10_lr, measured)
    call = UNDETERMINED if verdict.call == UNDETERMINED else call_for(both)
    return Combined(
        net=whole.log10_lr,
        net_capped=whole.capped,
        net_call=verdict.call,
        measured=measured,
        measured_capped=opinion.capped and measured is not None,
        used=len(opinion.used),
        log10_lr=both,
        call=call,
        held=held,
        agreement=Agreement.NOT_WEIGHED if held else agreement(whole.log10_lr, measured),
    )


def together(net: float | None, measured: float | None) -> float | None:
    """The combined log10 LR of the rule above; None without the net's."""
    if net is None or measured is None or net * measured >= 0:
        return net
    return math.copysign(max(0.0, abs(net) - abs(measured)), net) + 0.0  # no minus before a zero


def agreement(net: float | None, measured: float | None) -> Agreement:
    """How two log10 LR stand to one another."""
    if net is None:
        return Agreement.NOT_JUDGED
    if measured is None:
        return Agreement.NO_OPINION
    if abs(measured) < LEAST_SUPPORT:
        return Agreement.MEASUREMENTS_SILENT
    if abs(net) < LEAST_SUPPORT:
        return Agreement.NET_SILENT
    return Agreement.AGREE if net * measured > 0 else Agreement.DISAGREE
