"""The steadiest painters: strokes as regular as a print's, laid with ruling pens and templates, and paint as it comes.

How steadily a line is drawn and how evenly its paint lies are drawn apart, each for the hand that lays out, the one
that paints figures and the one that letters. What is left to see in a master's figure is the coat: density with width,
load from stroke to stroke, pooled ends, soft corners, second coats. Shares and factors are judgement: 30 drawn twins
with a quarter of the ordinary deviations were told apart about as well as real dials are.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum

import numpy as np

from dialtell.synth.strokes.hand_style import RANGES, HandStyle, Workshop, sample_hand_style

# what a template fixes: the shape of a stroke, where it stands, where it ends
LINE = ("wobble", "tremor_um", "hook")
BREADTH = ("width_scatter", "swell")
STANDING = ("place", "height_scatter", "angle_deg", "tick_place", "slant_deg")
ENDS = ("end_scatter", "junction_gap", "overshoot")
PRESSED = ("press", "press_scatter")
TURNED = ("ring_wave", "ring_step_mm")
# what the paint does, whoever draws the line
COATED = (
    "thin_fade", "fade_width", "runout", "runout_mm", "load_scatter", "flow", "pool", "coat", "retouch", "round_end",
    "taper", "ring_width", "ring_density", "ring_load", "ring_overlap_deg",
)  # fmt: skip
BLACK = 0.12  # share of hands whose coat is black even in thin strokes
TOGETHER = 0.3  # of the steadiness of paint that comes with the line's; the rest is its own


class Way(StrEnum):
    """How a master's strokes are laid."""

    FREE = "free"
    RULED = "ruled"  # outlines ruled or drawn with a pen and filled in
    TEMPLATE = "template"  # through or round a template: all alike in shape, place and angle


Factors = dict[str, tuple[float, float]]  # factor on a good hand's deviation, drawn log-uniformly between the two


def _of(**groups: tuple[float, float]) -> Factors:
    names = {
        "line": LINE, "breadth": BREADTH, "standing": STANDING, "ends": ENDS, "pressed": PRESSED, "turned": TURNED
    }  # fmt: skip
    return {name: groups[group] for group in groups for name in names[group]}


FIGURES: dict[Way, Factors] = {
    Way.FREE: _of(line=(0.2, 0.6), breadth=(0.25, 0.7), standing=(0.2, 0.6), ends=(0.2, 0.6), pressed=(0.3, 0.8)),
    Way.RULED: _of(line=(0.1, 0.3), breadth=(0.15, 0.4), standing=(0.2, 0.5), ends=(0.15, 0.4), pressed=(0.1, 0.4)),
    Way.TEMPLATE: _of(line=(0.1, 0.25), breadth=(0.1, 0.3), standing=(0.1, 0.2), ends=(0.1, 0.3), pressed=(0.1, 0.3)),
}
# ticks stay free strokes for most, as uneven in weight as anyone's (real ones lie amid drawn ones); a ruling pen and a
# dividing plate set their place and lean, not their load
TICKS: dict[Way, Factors] = {
    Way.FREE: _of(
        line=(0.5, 0.9), breadth=(1.0, 1.8), standing=(0.6, 1.1), ends=(0.7, 1.3), pressed=(0.8, 1.4), turned=(0.1, 0.5)
    ),
    Way.RULED: _of(
        line=(0.15, 0.35), breadth=(0.8, 1.6), standing=(0.15, 0.4), ends=(0.5, 1.1), pressed=(0.6, 1.2),
        turned=(0.1, 0.4),
    ),
}  # fmt: skip
FIGURE_WAYS = {Way.FREE: 0.45, Way.RULED: 0.3, Way.TEMPLATE: 0.25}
LETTER_WAYS = {Way.FREE: 0.75, Way.RULED: 0.25}
TICK_WAYS = {Way.FREE: 0.75, Way.RULED: 0.25}


def sample_masters(*, rng: np.random.Generator, seed: int, jitter: float = 1.0) -> Workshop:
    """Three hands that each draw at a tenth to a half of a good hand's deviations, ticks less steadily.

    seed : of every stroke's own deviations. jitter : factor on all deviations, as of an ordinary workshop's.
    """
    layout, figures, lettering = (
        _master(ways, factors, rng).scaled(jitter)
        for ways, factors in ((TICK_WAYS, TICKS), (FIGURE_WAYS, FIGURES), (LETTER_WAYS, FIGURES))
    )
    return Workshop(layout=layout, figures=figures, lettering=lettering, seed=seed)


def _master(ways: dict[Way, float], factors: dict[Way, Factors], rng: np.random.Generator) -> HandStyle:
    steadiness = float(rng.uniform(0.75, 1.0))
    line = sample_hand_style(rng=rng, steadiness=steadiness)
    paint = sample_hand_style(rng=rng, steadiness=TOGETHER * steadiness + (1 - TOGETHER) * float(rng.uniform(0.1, 1.0)))
    way = list(ways)[int(rng.choice(len(ways), p=list(ways.values())))]
    by_hand = way is Way.FREE
    changed = {name: getattr(paint, name) for name in COATED}
    for name, (low, high) in factors[way].items():
        factor = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        changed[name] = float(np.clip(getattr(line, name) * factor, *RANGES[name]))
    if rng.random() < BLACK:
        changed["thin_fade"] = float(rng.uniform(0.0, 0.12))
    if not by_hand:  # an outline that was ruled is closed at its ends
        changed["taper"] *= 0.2
    return replace(line, **changed)
