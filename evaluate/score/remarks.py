"""Warnings that go with a dial: what was assumed, and what in the photograph speaks against relying on the call."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from dialtell.evaluate.score.recognised import LEAST_CERTAIN, direction
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.verdict import Verdict
from dialtell.model.reading.known import MarkedPlace
from dialtell.model.reading.steps import Reading

LEAST_SEEN = 0.98  # share of the outline in the frame
MOST_TILT = 25.0  # degrees
# mm: pocket-watch dials from a small lady's watch to a large deck watch (judgement)
PLAUSIBLE_MM = (18.0, 75.0)


def place_remarks(places: Sequence[MarkedPlace]) -> list[str]:
    """What a person marked on a photograph, and what became of it."""
    said = []
    hidden = [place.what for place in places if place.zone is None]
    if hidden:
        counted = _counted(hidden)
        said.append(f"Marked by a person as not of the design, and left out: {counted}.")
    named = [str(place.zone) for place in places if place.zone is not None]
    if named:
        said.append(f"A person said which part these places belong to: {_counted(named)}.")
    return said


def _counted(names: Sequence[str]) -> str:
    return ", ".join(f"{name} ({count} places)" if count > 1 else name for name, count in Counter(names).items())


def remarks(reading: Reading, verdict: Verdict, resolution: Resolution) -> list[str]:
    """Warnings in words, the gravest first."""
    geometry, sharpness = reading.geometry, reading.sharpness
    found = []
    if verdict.mixed:
        found.append("Zones contradict each other: look at each of them, hand and print can stand on one dial.")
    if resolution.screened:  # of several photographs of a dial, all
        found.append(
            f"A dot screen of {sharpness.screen_px:.1f} px shows in the enamel: this is a picture of a printed "
            "picture, and its dots break up every stroke; photograph the dial itself."
        )
    if resolution.inflated:
        found.append(
            f"The file stores {resolution.stored:.0f} px across the dial but resolves about {resolution.true:.0f}: "
            "it was enlarged, out of focus, moved or strongly compressed; send the sharpest original."
        )
    if geometry.seen < LEAST_SEEN:
        found.append(f"{1 - geometry.seen:.0%} of the dial's outline lies outside the frame; its course is assumed.")
    tilt = math.degrees(geometry.tilt)
    if tilt > MOST_TILT:
        found.append(
            f"The dial is seen at {tilt:.0f} degrees from square, which narrows its strokes on one side; hold the "
            "camera square to it."
        )
    twelve = reading.twelve
    if twelve is not None and not twelve.told and twelve.certainty >= LEAST_CERTAIN:  # else the reason says so
        found.append(
            "Where 12 o'clock stands was not made out for certain; it is taken to be "
            f"{direction(geometry.twelve_deg)}. Give --twelve where it is not."
        )
    low, high = PLAUSIBLE_MM
    if resolution.diameter_mm is not None and not low <= resolution.diameter_mm <= high:
        found.append(
            f"A diameter of {resolution.diameter_mm:.1f} mm is unusual for a pocket-watch dial ({low:g} to {high:g} "
            "mm); the px/mm stated rest on it, check it."
        )
    return found
