"""Was the photograph understood: is it a dial of fired enamel, and where does it end? If not, no call is made."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any

from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import Make

LEAST_CERTAIN = 0.5  # of the outline and of 12 o'clock, below which nothing that was read is to be relied on
OTHER_MAKE = 0.8  # probability that it is of another make, from which it is not called
_MAKES = {
    Make.METAL: "a metal dial",
    Make.PAPER: "a paper dial",
    Make.PAINTED: "painted metal or plastic",
    Make.RAISED: "a dial with raised figures",
    Make.NONE: "no dial",
}


class Doubt(Enum):
    """What of a photograph was not recognised."""

    EDGE = "where the dial ends"
    TWELVE = "which way is up"
    BOTH = "one of these two"
    MAKE = "that it is of fired enamel"


def unrecognised(reading: Reading) -> str | None:
    """What was not recognised and what to do, as a clause; None where a call may rest on the reading."""
    other = other_make(reading)
    match _doubt(
        reading.outline_certainty,
        None if reading.twelve is None else reading.twelve.certainty,
        None if other is None else reading.make[Make.ENAMEL],
    ):
        case Doubt.EDGE:
            return (
                "the dial's edge was not made out for certain, so its strokes may have been looked for in the wrong "
                "places; draw it with --outline, or photograph the whole dial square on in even light"
            )
        case Doubt.TWELVE:
            return (
                "which way up the dial stands was not made out, so it was not understood as a dial; say where 12 "
                "o'clock stands with --twelve"
            )
        case Doubt.BOTH:
            return (
                "the dial's edge and which way up it stands were not both made out for certain, so it was not "
                "understood as a dial; draw its edge with --outline, or say where 12 o'clock stands with --twelve"
            )
        case Doubt.MAKE if other is not None:
            return (
                f"this does not look like fired enamel but like {_MAKES[other]}, and the strokes of such dials were "
                "never learnt; examine the dial itself"
            )
    return None


def doubt_of(record: Mapping[str, Any]) -> Doubt | None:
    """The same of a record of schema dialtell.score/1."""
    known = record.get("recognised") or {}
    return _doubt(known.get("outline"), known.get("twelve"), known.get("fired_enamel"))


def _doubt(edge: float | None, twelve: float | None, enamel: float | None) -> Doubt | None:
    """The gravest; what was not asked is None and no doubt. Edge and 12 o'clock count as independent."""
    edge, twelve = 1.0 if edge is None else edge, 1.0 if twelve is None else twelve
    if edge < LEAST_CERTAIN:
        return Doubt.EDGE
    if twelve < LEAST_CERTAIN:
        return Doubt.TWELVE
    if edge * twelve < LEAST_CERTAIN:
        return Doubt.BOTH
    return Doubt.MAKE if enamel is not None and 1.0 - enamel >= OTHER_MAKE else None


def other_make(reading: Reading) -> Make | None:
    """The make a dial looks like where that is not fired enamel, None where it is or cannot be told."""
    if not reading.make:
        return None
    own = reading.make[Make.ENAMEL]
    likeliest = max((make for make in reading.make if make is not Make.ENAMEL), key=lambda make: reading.make[make])
    return likeliest if 1.0 - own >= OTHER_MAKE else None


def recognition(reading: Reading) -> dict[str, Any]:
    """How sure the reading is of what it rests on, each 0..1; None where that was not asked of the photograph."""
    return {
        "outline": None if reading.outline_certainty is None else round(reading.outline_certainty, 3),
        "twelve": None if reading.twelve is None else round(reading.twelve.certainty, 3),
        "fired_enamel": round(reading.make[Make.ENAMEL], 3) if reading.make else None,
    }


def direction(degrees: float) -> str:
    """A direction in a photograph in words: up, lower right and so on."""
    names = ("up", "upper right", "right", "lower right", "down", "lower left", "left", "upper left")
    return names[round(degrees / 45) % 8]
