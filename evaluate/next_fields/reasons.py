"""Why a place should be photographed next, as a collector would say it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.next_fields.spots import Spots
from dialtell.evaluate.words.plain import capital
from dialtell.evaluate.words.support import LEAST_SUPPORT, listed
from dialtell.model.net.verdict import LEAST_ZONE_PATCHES, Verdict
from dialtell.synth.shared.terms import ZONES, Zone

NAMES = {
    Zone.SIGNATURE: "signature", Zone.NUMERALS: "figures", Zone.MINUTE_TRACK: "minute track",
    Zone.SECONDS_BIT: "seconds dial", Zone.OTHER: "other strokes",
}  # fmt: skip
# what an examiner looks at in each zone (shared craft)
TELLING = {
    Zone.SIGNATURE: "Hairlines and ends of fine letters tell a brush from a plate.",
    Zone.NUMERALS: "A brush pales in the thin strokes and serifs of figures, a plate does not.",
    Zone.MINUTE_TRACK: "Ticks that ought to be alike stand side by side here.",
    Zone.SECONDS_BIT: "The finest ticks and figures of the dial, which ought to be alike, are here.",
    Zone.OTHER: "Thin strokes that ought to be alike stand side by side here.",
}
NAMED = 0.2  # share of what a frame adds, from which a zone in it is named
MUCH = 0.35  # share of a frame's places from which it is said that they are covered, or seen from near already
NEARER = 1.1  # times as finely as the whole view, from which a frame is said to be shown from near already
MIDDLE = 0.2  # dial radii from the middle that have no hour


@dataclass(frozen=True, eq=False)
class Within:
    """What a frame would newly show. places : (N,) of the spots in it. added : (Z,) by zone."""

    spots: Spots
    places: NDArray[np.bool_]
    added: NDArray[np.float64]

    @property
    def zones(self) -> list[Zone]:
        """Those it adds most of, in the examiner's order."""
        least = NAMED * self.added.sum()
        return [zone for zone, added in zip(ZONES, self.added, strict=True) if added > least]


def reason_words(
    within: Within, verdict: Verdict, diameter_mm: float | None, said: set[str] | None = None, width: float = 0.0,
    whole: float = math.inf,
) -> str:  # fmt: skip
    """Where the frame lies and why, in one or two short sentences.

    said : what was said of the frames before, and is not said again; this one's is added. width : of the frame, dial
    radii, and whole : px per dial radius that the whole view resolves: where it is to be said what a close-up shows.
    """
    zones, spots, own = within.zones, within.spots, within.places
    first = capital(f"{listed([NAMES[zone] for zone in zones])}{_hour(spots.center[own])}")
    if spots.covered[own].mean() > MUCH:
        return f"{first}. Much of it is covered, as by a hand, a shadow or a gleam: take it with that away if you can."
    unread = [zone for zone in zones if verdict.zones[zone].patches < LEAST_ZONE_PATCHES]
    if unread:
        return f"{first}. Too few strokes of the {listed([NAMES[zone] for zone in unread])} could be read so far."
    nearer = _nearer(within, width, whole)
    first += ", likewise" if said is not None and nearer in said else nearer
    if said is not None and nearer:
        said.add(nearer)
    why = _contradiction(zones, verdict) or _coarse(within, diameter_mm)
    if said is not None and why in said:
        return f"{first}."
    if said is not None:
        said.add(why)
    return f"{first}. {why}"


def _nearer(within: Within, width: float, whole: float) -> str:
    """That a close-up shows much of the frame already, and how finely, "" where none does."""
    levels = within.spots.level[within.places & ~within.spots.covered]
    finer = levels[levels >= NEARER * whole]
    if not len(levels) or len(finer) < MUCH * len(levels):
        return ""
    level = float(np.median(finer))
    return f", nearer or sharper than the close-up shows it (some {round(width * level, -1):.0f} pixels across)"


def _coarse(within: Within, diameter_mm: float | None) -> str:
    """What is to be seen of the zone that the frame adds most of, and how coarsely it is shown now."""
    spots, zone = within.spots, ZONES[int(within.added.argmax())]
    shown = within.places & ~spots.covered
    level = float(np.median(spots.level[shown])) if shown.any() else 0.0
    now = (
        f" So far they are shown at {2.0 * level / diameter_mm:.0f} pixels per millimetre."
        if diameter_mm and level
        else ""
    )
    return f"{TELLING[zone]}{now}"


def _contradiction(zones: list[Zone], verdict: Verdict) -> str:
    """What the zones of a frame say against others, "" where none does."""
    leaning = {
        zone: one.log10_lr
        for zone, one in verdict.zones.items()
        if one.log10_lr is not None and not one.withheld and abs(one.log10_lr) > LEAST_SUPPORT
    }
    hand, plate = ([zone for zone, ratio in leaning.items() if sign * ratio > 0] for sign in (1, -1))
    if not (hand and plate and leaning.keys() & set(zones)):
        return ""
    return f"So far {_leans(hand)} to paint and {_leans(plate)} to print; closer, one of them may give way."


def _leans(zones: list[Zone]) -> str:
    verb = "lean" if len(zones) > 1 or zones[0] is Zone.NUMERALS else "leans"
    return f"{listed([f'the {NAMES[zone]}' for zone in zones])} {verb}"


def _hour(points: NDArray[np.float64]) -> str:
    x, y = points.mean(axis=0)
    if math.hypot(x, y) < MIDDLE:
        return " about the middle"
    hour = round(math.degrees(math.atan2(x, -y)) / 30.0) % 12 or 12
    return f" about {hour} o'clock"
