"""How the measurements bear on the call: in words. They are evidence beside it and change no number of it.

Both read the same strokes of the same photograph, so their ratios are not independent and are not multiplied. Where
they point to opposite sides the reader has a reason to doubt either, and the page says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from dialtell.evaluate.measurements.second_opinion import Opinion
from dialtell.evaluate.words.support import LEAST_SUPPORT, ratio_words, rounded
from dialtell.model.net.calibration import UNDETERMINED
from dialtell.model.net.verdict import Verdict

_SIDE = {True: "hand painting", False: "printing"}


class Agreement(StrEnum):
    """How the measurements stand to the call's ratio."""

    AGREE = "agree"
    DISAGREE = "disagree"
    MEASUREMENTS_SILENT = "measurements settle nothing"
    CALL_SILENT = "only the measurements lean"
    NO_OPINION = "too little measured"
    NOT_WEIGHED = "not weighed"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True)
class Bearing:
    """The measurements beside the call.

    stated : log10 LR of the dial, positive for hand, None where there is none. measured : that of the measurements,
    None without one. capped : whether the latter was larger than validation can vouch for. used : measurements it rests
    on. call : of the dial.
    """

    stated: float | None
    measured: float | None
    capped: bool
    used: int
    call: str
    agreement: Agreement

    @property
    def against(self) -> bool:
        """Whether the measurements lean the other way."""
        return self.agreement is Agreement.DISAGREE

    @property
    def sentence(self) -> str:
        """How the two stand to one another, in words and numbers."""
        said = f"the {self.used} measurements that could be set against drawn dials"
        match self.agreement:
            case Agreement.NOT_JUDGED:
                return "Nothing was judged, so there is nothing to set the measurements beside."
            case Agreement.NOT_WEIGHED if self.measured is None:
                return "No call is made, so there is none to hold the measurements against."
            case Agreement.NOT_WEIGHED:
                return (
                    "Parts of the dial contradict one another, so the measurements are not held against the dial as a "
                    "whole. Look at each zone below."
                )
            case Agreement.NO_OPINION:
                count = f"{self.used} measurement{'' if self.used == 1 else 's'}" if self.used else "no measurement"
                return f"The measurements say nothing of the call: {count} could be set against drawn dials."
        assert self.stated is not None and self.measured is not None
        lean = f"{_SIDE[self.measured > 0]} ({ratio_words(self.measured)} to 1)"
        match self.agreement:
            case Agreement.AGREE:
                return (
                    f"{said[0].upper()}{said[1:]} point the same way. They rest on the same strokes, so they bear the "
                    "call out and add nothing to its number."
                )
            case Agreement.DISAGREE if self.call == UNDETERMINED:
                return f"The measurements lean the other way: {said} point to {lean}."
            case Agreement.DISAGREE:
                return (
                    f"The measurements lean the other way: {said} point to {lean}. The call stands as it is; look at "
                    "the strokes below before you rely on it."
                )
            case Agreement.CALL_SILENT:
                return f"{said[0].upper()}{said[1:]} point to {lean}, but alone they make no call."
        return f"{said[0].upper()}{said[1:]} settle nothing by themselves."

    def record(self) -> dict[str, Any]:
        """For a JSON document."""
        return {
            "log10_lr": rounded(self.measured),
            "capped": self.capped,
            "measurements_used": self.used,
            "agreement": self.agreement.value,
            "sentence": self.sentence,
        }


def bearing(verdict: Verdict, opinion: Opinion) -> Bearing:
    """How an opinion made of the measurements bears on a verdict."""
    whole = verdict.whole
    measured = None if whole.withheld else opinion.log10_lr  # where strokes are not resolved there is none to measure
    return Bearing(
        stated=whole.log10_lr,
        measured=measured,
        capped=opinion.capped and measured is not None,
        used=len(opinion.used),
        call=verdict.call,
        agreement=Agreement.NOT_WEIGHED if verdict.withheld else agreement(whole.log10_lr, measured),
    )


def agreement(stated: float | None, measured: float | None) -> Agreement:
    """How two log10 LR stand to one another."""
    if stated is None:
        return Agreement.NOT_JUDGED
    if measured is None:
        return Agreement.NO_OPINION
    if abs(measured) < LEAST_SUPPORT:
        return Agreement.MEASUREMENTS_SILENT
    if abs(stated) < LEAST_SUPPORT:
        return Agreement.CALL_SILENT
    return Agreement.AGREE if stated * measured > 0 else Agreement.DISAGREE
