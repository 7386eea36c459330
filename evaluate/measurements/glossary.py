"""The measurements in the examiner's words: in which look each is made, what its number is, what it is made on.

The order of looks is that of the trade (common practice): strokes that ought to be the same, thin lines, ends and the
guide line, then edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from dialtell.evaluate.measurements import dots, edges, ends, likeness, rings, ticks, tone, width


class Look(StrEnum):
    """What an examiner looks for, in the order it is done."""

    VARIATION = "Strokes that ought to be the same"
    FADING = "Thin lines and the black"
    ENDS = "Ends and the guide line"
    EDGES = "Edges and single strokes"


PLAIN, PERCENT, TIMES = "plain", "percent", "times"


@dataclass(frozen=True)
class Term:
    """A measurement explained.

    look : under which it belongs. what : its number, in a clause. counted : what it rests on, singular and plural.
    needs : what such a thing must be to count. shown : PLAIN as it is with its unit, PERCENT of a ratio, TIMES of a
    natural logarithm. hand : side on which hand work is expected to lie, 1 high, -1 low, 0 not known (common practice).
    """

    look: Look
    what: str
    counted: tuple[str, str]
    needs: str
    shown: str = PLAIN
    hand: int = 1


STROKES, TICKS, RINGS, ENDS, DOTS = (
    ("stroke", "strokes"), ("tick", "ticks"), ("ring", "rings"), ("end", "ends"), ("dot", "dots")
)  # fmt: skip
_STRAIGHT = "straight strokes long enough to look along"
_BROAD = f"straight strokes at least {edges.BROAD_BLURS:g} times as broad as the blur, bare enamel on both sides"
_TICKS = "ticks that stand free of figures, hands and one another"
_RING = "rings that can be followed round most of the turn"
_DOTS = "round dots that stand free"
_CIRCLE = "ends of figures that lie near one circle, no hand over them"

GLOSSARY: dict[str, Term] = {
    likeness.UNLIKE.name: Term(
        Look.VARIATION, "what is left of a stroke when like strokes are laid over one another", STROKES,
        "straight strokes of one length and width, wholly in view", PERCENT,
    ),
    width.BETWEEN.name: Term(
        Look.VARIATION, "scatter of width among strokes of one kind", STROKES,
        "straight strokes, at least four of one width", PERCENT,
    ),
    tone.BETWEEN.name: Term(
        Look.VARIATION, "scatter of density among strokes of one width", STROKES,
        "strokes of one width that are not read as full black", PERCENT,
    ),
    ticks.PLACE.name: Term(Look.VARIATION, "scatter of the ticks about even division", TICKS, _TICKS),
    ticks.SLANT.name: Term(Look.VARIATION, "scatter of the ticks about pointing to the centre", TICKS, _TICKS),
    ticks.LENGTH.name: Term(
        Look.VARIATION, "scatter of the ticks’ lengths", TICKS, "ticks that touch no ring", PERCENT
    ),
    ticks.WEIGHT.name: Term(
        Look.VARIATION, "scatter of the ticks’ weights, width times darkness", TICKS, _TICKS, PERCENT
    ),
    ticks.LEAN.name: Term(
        Look.VARIATION, "scatter of how much heavier the ticks’ outer ends are", TICKS, _TICKS, PERCENT
    ),
    dots.SIZE.name: Term(Look.VARIATION, "scatter of the dots’ sizes", DOTS, _DOTS, PERCENT),
    dots.SHAPE.name: Term(Look.VARIATION, "scatter of the dots’ shapes, length over breadth", DOTS, _DOTS, PERCENT),
    tone.THIN_TO_THICK.name: Term(
        Look.FADING, "density of thin strokes over that of broad ones; 100 % is as black",
        ("thin stroke", "thin strokes"),
        f"strokes less than {tone.THIN:.0%} as wide as the dial’s broad ones, and three broad ones", PERCENT, -1,
    ),
    tone.SLOPE.name: Term(
        Look.FADING, "how density grows with width: 0 not at all, 1 in step with it", STROKES,
        f"strokes not read as full black, the broad ones at least {tone.WIDTH_RANGE:g} times as wide as the thin ones",
    ),
    tone.ALONG.name: Term(
        Look.FADING, "rise and fall of density along one stroke", STROKES,
        "strokes long enough to look along and not read as full black", PERCENT,
    ),
    rings.TONE.name: Term(Look.FADING, "rise and fall of density round a ring", RINGS, _RING, PERCENT),
    rings.LOADS.name: Term(Look.FADING, "darkest ring over faintest, in density", RINGS, _RING, TIMES),
    ends.OUTER.name: Term(
        Look.ENDS, "scatter of the figures’ outer ends about their circle", ENDS, _CIRCLE
    ),
    ends.INNER.name: Term(
        Look.ENDS, "scatter of the figures’ inner ends about their circle", ENDS, _CIRCLE
    ),
    ends.ROUND.name: Term(
        Look.ENDS, "how far an end stands out in its middle, in stroke widths; square 0 %, half round 12 %", STROKES,
        f"straight strokes at least {ends.BROAD_BLURS:g} times as broad as the blur, with a free end", PERCENT,
    ),
    rings.GUIDE.name: Term(
        Look.ENDS, "density of the strongest faint circle between the figures; 0.01 D takes 2 % of the light",
        ("circle", "circles"),
        "bare enamel between the figures all round",
    ),
    edges.RAGGED.name: Term(Look.EDGES, "scatter of an edge about a straight line", STROKES, _BROAD, hand=0),
    edges.GRAIN.name: Term(
        Look.EDGES, "the part of an edge’s scatter that is finer than a brush wanders", STROKES, _BROAD, hand=0
    ),
    edges.BLUR.name: Term(
        Look.EDGES, "softness of the broad strokes’ edges over that of the sharpest edges seen", STROKES, _BROAD, hand=0
    ),
    edges.SIDES.name: Term(
        Look.EDGES, "whether both sides of a stroke bend together: 1 together, 0 each for itself, −1 opposite", STROKES,
        _BROAD, hand=0,
    ),
    edges.MOTTLE.name: Term(
        Look.EDGES, "unevenness of the black inside broad strokes; 0.01 D is 2 % of the light", STROKES, _BROAD, hand=0
    ),
    width.ALONG.name: Term(Look.EDGES, "swelling and narrowing along one stroke", STROKES, _STRAIGHT, PERCENT),
    width.LEAN.name: Term(Look.EDGES, "how much wider a stroke is at one end", STROKES, _STRAIGHT, PERCENT),
    rings.WIDTH.name: Term(Look.EDGES, "rise and fall of width round a ring", RINGS, _RING, PERCENT),
    rings.WANDER.name: Term(Look.EDGES, "how far a ring leaves its circle", RINGS, _RING, hand=0),
}  # fmt: skip
_ORDER = {name: number for number, name in enumerate(GLOSSARY)}
_LOOKS = list(Look)


def place(name: str) -> tuple[int, int]:
    """Where a measurement stands in the examiner's order."""
    return _LOOKS.index(GLOSSARY[name].look), _ORDER[name]
