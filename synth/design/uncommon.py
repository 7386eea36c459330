"""Designs that real dials have beside the common ones, each a named kind with a weight, made of a common design.

They are drawn from a stream of their own, seeded by the design itself, so that all else stays as drawn without them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from dialtell.synth.design import uncommon_clocks, uncommon_rings, uncommon_words
from dialtell.synth.design.design import DialDesign, Variety
from dialtell.synth.design.fitting import settled

STREAM = 84
SECOND = 0.4  # share of uncommon dials that have a second uncommon thing, of the light ones
TRIES = 6

Made = Callable[[DialDesign, np.random.Generator, Variety], DialDesign | None]


class Uncommon(NamedTuple):
    """weight : of drawing it. light : may come as a second. make : the design with it, None where it does not suit."""

    weight: float
    light: bool
    make: Made


# in the order designs are drawn from: a new one at the end
KINDS: dict[str, Uncommon] = {
    "minute figures": Uncommon(0.13, False, uncommon_rings.minute_figures),
    "coloured fives": Uncommon(0.08, True, uncommon_rings.coloured_fives),
    "six": Uncommon(0.15, True, uncommon_rings.six),
    "teardrop": Uncommon(0.08, True, uncommon_rings.teardrop),
    "second hours": Uncommon(0.09, False, uncommon_rings.second_hours),
    "ten hours": Uncommon(0.03, False, uncommon_rings.ten_hours),
    "calendar": Uncommon(0.06, False, uncommon_rings.calendar),
    "cartouches": Uncommon(0.08, False, uncommon_clocks.cartouches),
    "centre": Uncommon(0.07, False, uncommon_clocks.centre),
    "winding holes": Uncommon(0.12, True, uncommon_clocks.winding_holes),
    "sunk centre": Uncommon(0.06, True, uncommon_clocks.sunk_centre),
    "bars": Uncommon(0.07, False, uncommon_clocks.bars),
    "lettering": Uncommon(0.1, True, uncommon_words.lettering),
    "regulator": Uncommon(0.03, False, uncommon_clocks.regulator),
    "centre seconds": Uncommon(0.03, False, uncommon_rings.centre_seconds),
    "spiral": Uncommon(0.02, False, uncommon_rings.spiral),
    "seconds at nine": Uncommon(0.04, True, uncommon_rings.seconds_at_nine),
    "four": Uncommon(0.03, True, uncommon_rings.four),
}
FALLBACK = "lettering"  # suits every design


def with_uncommon(design: DialDesign, variety: Variety) -> DialDesign:
    """The design, or with the share `variety.uncommon` one with something of KINDS; the same for the same design."""
    drawn = np.array([design.radius_mm, design.density]).view(np.uint32)
    rng = np.random.default_rng([STREAM, *(int(word) for word in drawn)])
    if variety.uncommon <= 0.0:
        return design
    design = settled(design)
    if rng.random() >= variety.uncommon:
        return design
    names = list(KINDS)
    odds = np.array([KINDS[name].weight for name in names])
    made = None
    for _ in range(TRIES):
        name = names[int(rng.choice(len(names), p=odds / odds.sum()))]
        made = KINDS[name].make(design, rng, variety)
        if made is not None:
            break
    if made is None:
        name, made = FALLBACK, KINDS[FALLBACK].make(design, rng, variety) or design
    made = replace(made, uncommon=(name,))
    if rng.random() < SECOND:
        light = [other for other in names if KINDS[other].light and other != name]
        odds = np.array([KINDS[other].weight for other in light])
        name = light[int(rng.choice(len(light), p=odds / odds.sum()))]
        more = KINDS[name].make(made, rng, variety)
        made = made if more is None else replace(more, uncommon=(*made.uncommon, name))
    return settled(made)
