"""Was the photograph understood: is it a dial of fired enamel, and where does it end? If not, no call is made."""

from __future__ import annotations

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


def unrecognised(reading: Reading) -> str | None:
    """What was not recognised and what to do, as a clause; None where a call may rest on the reading."""
    if reading.outline_certainty is not None and reading.outline_certainty < LEAST_CERTAIN:
        return (
            "the dial's edge was not made out for certain, so its strokes may have been looked for in the wrong "
            "places; draw it with --outline, or photograph the whole dial square on in even light"
        )
    if reading.twelve is not None and reading.twelve.certainty < LEAST_CERTAIN:
        return (
            "which way up the dial stands was not made out, so it was not understood as a dial; say where 12 o'clock "
            "stands with --twelve"
        )
    if together(reading) < LEAST_CERTAIN:
        return (
            "the dial's edge and which way up it stands were not both made out for certain, so it was not understood "
            "as a dial; draw its edge with --outline, or say where 12 o'clock stands with --twelve"
        )
    other = other_make(reading)
    if other is not None:
        return (
            f"this does not look like fired enamel but like {_MAKES[other]}, and the strokes of such dials were never "
            "learnt; examine the dial itself"
        )
    return None


def together(reading: Reading) -> float:
    """How likely edge and 12 o'clock are both right, 0..1, were they independent; what was not asked counts as 1."""
    edge = 1.0 if reading.outline_certainty is None else reading.outline_certainty
    return edge if reading.twelve is None else edge * reading.twelve.certainty


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
