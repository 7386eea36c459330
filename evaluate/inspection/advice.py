"""What is missing in a photograph for a surer call, how to get it, and how far it is from resolving thin strokes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.score.recognised import Doubt, doubt_of
from dialtell.evaluate.words.first_words import several
from dialtell.evaluate.words.stated import DISAGREE, WITHHELD
from dialtell.evaluate.words.support import NOT_JUDGED, listed
from dialtell.model.net.calibration import UNDETERMINED

if TYPE_CHECKING:
    from dialtell.model.net.resolution import Resolution

PIXELS = (
    "Best 1300 pixels across the dial and more, 1000 at the least. What is called enough further up is only the least "
    "at which a call is made at all."
)
CLOSER = "Fill the frame with the dial. Come closer with a macro lens or setting instead of enlarging afterwards."
SQUARE = "Hold the camera square to the dial, so that it comes out round, and rest it on something steady."
FOCUS = "Focus on the figures and take several; keep the sharpest."
LIGHT = "Use soft, even daylight and no flash. Turn the watch until no window or lamp mirrors in it."
HANDS = (
    "If the watch is set by the crown, move the hour and minute hands off the signature and the seconds dial; leave "
    "lever-set and key-set watches as they are."
)
ORIGINAL = "Send the file as the camera wrote it: no screenshot, no filter, no copy shrunk by a message service."
CLOSED = "Leave the crystal closed."
ADVICES = (PIXELS, CLOSER, SQUARE, FOCUS, LIGHT, HANDS, ORIGINAL, CLOSED)
MORE = "Photograph the parts that settle nothing from close by, and give them together with this one and --one-dial."
MORE_STILL = MORE.replace("this one", "these")  # where there are several photographs
WHOLE = "Photograph the whole dial too, and give both together with --one-dial."


@dataclass(frozen=True)
class Advice:
    """missing : what is missing, in a sentence. how : to get it, a sentence each."""

    missing: str
    how: tuple[str, ...]


EDGE_GIVEN = "Or say where the dial ends: --outline."
TWELVE_GIVEN = "Say where 12 o'clock stands, in degrees clockwise from up; --twelve takes it."
_DOUBTS = {
    Doubt.EDGE: Advice("The dial's edge, seen all round.", (SQUARE, LIGHT, EDGE_GIVEN)),
    Doubt.TWELVE: Advice("Which way is up.", (TWELVE_GIVEN,)),
    Doubt.BOTH: Advice("The dial's edge and which way is up, both for certain.", (TWELVE_GIVEN, EDGE_GIVEN, SQUARE)),
    Doubt.MAKE: Advice("A dial of fired enamel, as far as can be seen.", ("Examine the dial itself.", LIGHT)),
}

_CLEAR, _WISHED = 1.3, 1000.0  # times what is needed, and px across the dial, that a photograph is to be brought to
_EXPECTED = ("signature", "numerals", "minute track", "seconds bit")


def advice_of(record: Mapping[str, Any], resolution: Resolution | None) -> Advice:
    """What is missing for a surer call. record : of schema dialtell.score/1. resolution : None without a dial."""
    if resolution is None:
        return Advice(
            "A dial that can be made out.", (CLOSER, SQUARE, "Where it is there, say so: --outline or --twelve.")
        )
    doubt = doubt_of(record)
    if doubt is not None and record["support"] in (WITHHELD, NOT_JUDGED):  # as the reason says
        return _both(_DOUBTS[doubt], _unreadable(resolution))
    coarse = _unreadable(resolution)
    if coarse is not None:
        return coarse
    open_, more = _open_zones(record), MORE_STILL if several(record) else MORE
    if record["support"] == DISAGREE:
        return Advice("A closer look at each part, for they contradict each other.", (more, FOCUS))
    if record["withheld"]:
        return Advice("A photograph in which the strokes can be recognised.", (FOCUS, LIGHT, ORIGINAL))
    if record["call"] == UNDETERMINED and record.get("close_up"):
        return Advice("The rest of the dial: this photograph shows a part of it.", (WHOLE, FOCUS, LIGHT))
    if record["call"] == UNDETERMINED:
        named = f", first {listed(open_)}" if open_ else ""
        return Advice(f"Strokes seen from nearer{named}.", (more, FOCUS, LIGHT))
    if open_:
        return Advice(f"For this call nothing. To be surer: {listed(open_)} from nearer.", (more,))
    return Advice("For this call nothing.", ("To be surer, examine the dial itself under magnification.",))


def _detail(resolution: Resolution) -> str:
    if resolution.true <= 0:
        return "Sharp edges: what this photograph resolves cannot even be told."
    return f"Sharp detail: {resolution.words(max(_CLEAR * resolution.needed, _WISHED))} and more."


def _unreadable(resolution: Resolution) -> Advice | None:
    """What is missing where the photograph does not carry thin strokes, None where it does."""
    if resolution.screened:
        return Advice("A photograph of the dial itself, not of a printed picture.", (CLOSER, FOCUS))
    return None if resolution.enough else Advice(_detail(resolution), (CLOSER, FOCUS, ORIGINAL))


def _both(first: Advice, second: Advice | None) -> Advice:
    """Two things that are missing at once: to bring one of them alone would change nothing."""
    if second is None:
        return first
    missing = f"{first.missing} And {second.missing[:1].lower()}{second.missing[1:]}"
    return Advice(missing, tuple(dict.fromkeys(first.how + second.how)))


def _open_zones(record: Mapping[str, Any]) -> Sequence[str]:
    """Parts of the dial that are there to be photographed and settle nothing by themselves."""
    return [
        f"the {zone['zone']}"
        for zone in record["zones"]
        if zone["zone"] in _EXPECTED and zone["polygon_px"] and zone["call"] == UNDETERMINED
    ]


_USED = 0.8  # share of the stored px that are resolved, above which the two are not told apart in words


def reached_words(resolution: Resolution, close_up: Mapping[str, Any] | None = None) -> str:
    """Resolution reached against that needed, in px across the dial and, where its size is known, px per mm.

    close_up : of the record of a close-up, None of a whole dial.
    """
    mm = resolution.diameter_mm
    stored = _pixels(resolution.stored, mm)
    first = f"Here the dial is {stored}" if close_up is None else (
        f"At the scale of this close-up the whole dial would be {stored}"
    )  # fmt: skip
    if resolution.true <= 0:
        first += "; how much of that is real detail cannot be told. "
    else:
        if resolution.true < _USED * resolution.stored:
            first += f", but carries no more detail than at {_pixels(resolution.true, mm)}"
        first += ": enough. " if resolution.enough else ": too few. "
    if mm is None:
        first += f"{resolution.needed:.0f} pixels across the dial are needed; its size in millimetres is not known."
    else:
        first += (
            f"{resolution.needed / mm:.1f} pixels per millimetre are needed, which is this dial at "
            f"{resolution.needed:.0f} pixels across."
        )
    if close_up is not None and close_up["scale_spread"] > 0:
        first += f" The scale is known only to within {close_up['scale_spread']:.0%}."
    return first


def _pixels(across: float, mm: float | None) -> str:
    per_mm = "" if mm is None else f", or {across / mm:.1f} pixels per millimetre"
    return f"{across:.0f} pixels across{per_mm}"
