"""A short notation for glyphs, so that an alphabet fits on a page and can be read as drawing instructions.

A glyph is "advance; stroke; stroke; ...", lengths in hundredths of the height. A stroke is a word and knots:

    stem, thin, bar   straight strokes of weight 1, 0, 0
    limb              slanted stem whose ends lie along the top and base line
    curve             smooth stroke whose weight follows its direction, as the pen's rule has it
    hair              smooth stroke of weight 0
    mark              straight filled shape; give its weights
    dot x,y d         round dot of diameter d
    post x, pole x    stem or thin stroke over the full height at x, with the pen's serifs at both ends
    serif x,y [h]     serif bar centred on x at height 0 or 100 (or any y), h long to each side

A word may carry a name ("stem/left"). A knot is "x,y" and then, in this order and each optional: a tangent
(u, d, l, r, or @degrees anticlockwise from the right), *weight, and ^ for a width that runs out to nothing
there or, at an end only, o for a round end. In a curve, a knot written "~x,y" is reached by a straight line.
Weights given at knots are blended between them; between two knots without any the pen's rule holds.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from dialtell.synth.letterforms.curve import STEP, headings, hobby, sample
from dialtell.synth.letterforms.glyph import Glyph, GlyphStroke
from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.stroke import Floats

_KNOT = re.compile(r"(~)?(-?[\d.]+),(-?[\d.]+)([udlr]|@-?[\d.]+)?(?:\*(-?[\d.]+))?(\^|o)?$")
_TANGENT = {"r": 0.0, "u": 90.0, "l": 180.0, "d": -90.0}
_KIND = {
    "stem": Kind.STEM,
    "thin": Kind.THIN,
    "bar": Kind.BAR,
    "curve": Kind.CURVE,
    "hair": Kind.CURVE,
    "mark": Kind.MARK,
}


@dataclass(frozen=True)
class Pen:
    """How a style turns skeletons into strokes.

    thick, thin : usual widths as a share of the height.
    rule : weight of a curve by its direction: "swell" thick where it runs along the axis, up or down; "quill"
        thick only on the way down.
    power : how quickly a curve thins away from the axis. axis : degrees anticlockwise that the axis leans.
    serif : half length of a serif, share of the height; 0 for none.
    bearing : white added at both sides of every glyph, share of the height.
    slant : shear applied last, x += slant * y; weights follow the unslanted letter.
    """

    thick: float
    thin: float
    rule: str = "swell"
    power: float = 1.6
    axis: float = 0.0
    serif: float = 0.0
    bearing: float = 0.0
    slant: float = 0.0

    def weights(self, path: Floats) -> Floats:
        """Weight along a curve (N, 2) from its direction alone."""
        along = np.sin(headings(path) - math.radians(self.axis))
        lift = np.abs(along) if self.rule == "swell" else np.maximum(-along, 0.0)
        return np.asarray(lift**self.power, dtype=np.float64)


@dataclass(frozen=True)
class _Knot:
    at: complex
    tangent: float | None
    weight: float | None
    ends: bool
    round: bool
    straight: bool


def draw(name: str, notation: str, pen: Pen) -> Glyph:
    """The glyph that a notation describes, slanted as the pen has it."""
    advance, *parts = (part.strip() for part in notation.split(";"))
    strokes = [stroke for part in parts if part for stroke in _strokes(part, pen)]
    return Glyph(name, float(advance) / 100.0 + 2.0 * pen.bearing, tuple(_placed(stroke, pen) for stroke in strokes))


def _placed(stroke: GlyphStroke, pen: Pen) -> GlyphStroke:
    """The stroke moved by the bearing and slanted."""
    across = pen.bearing + pen.slant * stroke.path[:, 1]
    path = stroke.path + np.column_stack([across, np.zeros(len(across))])
    return GlyphStroke(path, stroke.weight, stroke.kind, stroke.name, stroke.taper)


def half_turn(glyph: Glyph, name: str) -> Glyph:
    """The glyph turned upside down within its own advance and the height, as a 9 is a turned 6."""
    turned = tuple(
        GlyphStroke(np.array([glyph.advance, 1.0]) - s.path, s.weight, s.kind, s.name, s.taper) for s in glyph.strokes
    )
    return Glyph(name, glyph.advance, turned)


def line_stroke(
    start: tuple[float, float], end: tuple[float, float], weight: float, kind: Kind, name: str
) -> GlyphStroke:
    """A straight stroke of one weight, ends in glyph units."""
    return GlyphStroke(np.array([start, end], dtype=np.float64), np.full(2, weight), kind, name)


def limb(
    start: tuple[float, float], end: tuple[float, float], thick: float, name: str, shear: float = 0.0
) -> GlyphStroke:
    """A slanted stem (glyph units) that turns upright where it ends on the top or base line, cut along it.

    thick : its usual width, glyph units; the arcs at the ends are wide enough for it not to fold.
    shear : the slant that the glyph is yet to be given; the ends turn upright as seen after it.
    """
    a, b = (complex(x + shear * y, y) for x, y in (start, end))
    lean = abs(math.atan2(b.real - a.real, a.imag - b.imag))
    # an arc of 0.8 thicknesses (the fold is at 0.5) spends this much on either side of the corner it rounds
    arm = max(0.004, 0.8 * thick * math.tan(lean / 2.0))
    down = -math.pi / 2.0
    corners = [a - 1j * arm if start[1] == 1.0 else a, b + 1j * arm if end[1] == 0.0 else b]
    way = corners[1] - corners[0]
    tangent, unit = math.atan2(way.imag, way.real), way / abs(way)
    parts = []
    for tip, corner, sign in ((a, corners[0], 1.0), (b, corners[1], -1.0)):
        if tip == corner:
            parts.append(np.array([[tip.real, tip.imag]]))
            continue
        inner = corner + sign * arm * unit
        knots, tangents = ([tip, inner], [down, tangent]) if sign > 0.0 else ([inner, tip], [tangent, down])
        parts.append(sample(hobby(knots, tangents)[0], arm / 6.0))
    path = np.concatenate(parts)
    path[:, 0] -= shear * path[:, 1]
    return GlyphStroke(path, np.ones(len(path)), Kind.STEM, name)


def _strokes(part: str, pen: Pen) -> list[GlyphStroke]:
    word, *rest = part.split()
    base, _, label = word.partition("/")
    if base in ("post", "pole"):
        x = float(rest[0]) / 100.0
        kind, weight = (Kind.STEM, 1.0) if base == "post" else (Kind.THIN, 0.0)
        name = ("stem" if base == "post" else "thin") + (f"/{label}" if label else "")
        made = [line_stroke((x, 1.0), (x, 0.0), weight, kind, name)]
        if base == "post" and pen.slant:
            made = [limb((x, 1.0), (x, 0.0), pen.thick, name, pen.slant)]
        if pen.serif:
            made += [_serif(x, 1.0, pen.serif, pen), _serif(x, 0.0, pen.serif, pen)]
        return made
    if base == "serif":
        x, y = (float(v) / 100.0 for v in rest[0].split(","))
        own = rest[1] if len(rest) > 1 else ""
        return [_serif(x, y, float(own) / 100.0 if own else pen.serif, pen, own)]
    if base == "dot":
        x, y = (float(v) / 100.0 for v in rest[0].split(","))
        return [_dot(x, y, float(rest[1]) / 100.0, pen, f"{label or 'dot'}/{rest[1]}")]
    knots = [_knot(token) for token in rest]
    if base == "limb" or (base == "stem" and pen.slant):
        start, end = ((knot.at.real, knot.at.imag) for knot in knots)
        return [limb(start, end, pen.thick, f"stem/{label}" if label else "stem", pen.slant)]
    smooth = base in ("curve", "hair")
    name = label or ("stroke" if smooth else base)
    return [_through(knots, smooth, base, name, pen)]


def _serif(x: float, y: float, half: float, pen: Pen, label: str = "") -> GlyphStroke:
    inset = pen.thin / 2.0
    level = 1.0 - inset if y == 1.0 else inset if y == 0.0 else y
    name = ("bar/top" if y > 0.5 else "bar/foot") + (f"/{label}" if label else "")
    return line_stroke((x - half, level), (x + half, level), 0.0, Kind.BAR, name)


def _dot(x: float, y: float, diameter: float, pen: Pen, name: str) -> GlyphStroke:
    turn = np.linspace(0.0, math.pi, 17)
    path = np.column_stack([np.full(17, x), y + 0.5 * diameter * np.cos(turn)])
    weight = np.full(17, (diameter - pen.thin) / (pen.thick - pen.thin))
    return GlyphStroke(path, weight, Kind.DOT, name, np.abs(np.sin(turn)))


def _knot(token: str) -> _Knot:
    match = _KNOT.match(token)
    if match is None:
        raise ValueError(f"knot {token!r} cannot be read; write x,y then tangent, *weight, ^")
    straight, x, y, tangent, weight, ends = match.groups()
    angle = None
    if tangent:
        angle = math.radians(_TANGENT[tangent] if tangent in _TANGENT else float(tangent[1:]))
    return _Knot(
        complex(float(x), float(y)) / 100.0,
        angle,
        None if weight is None else float(weight),
        ends == "^",
        ends == "o",
        bool(straight),
    )


def _through(knots: list[_Knot], smooth: bool, base: str, name: str, pen: Pen) -> GlyphStroke:
    """One stroke through all knots."""
    spans = _spans(knots, smooth)
    path = np.concatenate([spans[0][:1]] + [span[1:] for span in spans])
    marks = np.concatenate([[0], np.cumsum([len(span) - 1 for span in spans])])
    rule = {"stem": np.ones(len(path)), "curve": pen.weights(path)}.get(base, np.zeros(len(path)))
    weight = rule.copy()
    taper = np.ones(len(path))
    for k in range(len(knots) - 1):
        a, b = knots[k], knots[k + 1]
        part = slice(marks[k], marks[k + 1] + 1)
        share = np.linspace(0.0, 1.0, marks[k + 1] - marks[k] + 1)
        if a.weight is not None or b.weight is not None:
            low = rule[marks[k]] if a.weight is None else a.weight
            high = rule[marks[k + 1]] if b.weight is None else b.weight
            ease = 0.5 - 0.5 * np.cos(math.pi * share) if smooth else share
            weight[part] = low + (high - low) * ease
        if a.ends or b.ends:
            taper[part] = np.interp(share, [0.0, 1.0], [float(not a.ends), float(not b.ends)])
    for end in (0, -1):
        if knots[end].round:
            path, weight, taper = _rounded(path, weight, taper, end, pen)
    return GlyphStroke(path, weight, _KIND[base], name, None if np.all(taper == 1.0) else taper)


def _rounded(path: Floats, weight: Floats, taper: Floats, end: int, pen: Pen) -> tuple[Floats, Floats, Floats]:
    """The stroke with a half-round first (0) or last (-1) end, resampled there."""
    if end == -1:
        back = _rounded(path[::-1], weight[::-1], taper[::-1], 0, pen)
        return back[0][::-1], back[1][::-1], back[2][::-1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    radius = min(0.5 * (pen.thin + float(weight[0]) * (pen.thick - pen.thin)), 0.4 * float(along[-1]))
    turn = np.linspace(0.0, math.pi / 2.0, 8)
    at = np.concatenate([radius * (1.0 - np.cos(turn)), along[along > 1.05 * radius]])
    new_path = np.column_stack([np.interp(at, along, path[:, k]) for k in (0, 1)])
    new_taper = np.interp(at, along, taper)
    new_taper[:8] *= np.sin(turn)
    return new_path, np.interp(at, along, weight), new_taper


def _spans(knots: list[_Knot], smooth: bool) -> list[Floats]:
    """The sampled path between each pair of neighbouring knots."""
    tangents = [knot.tangent for knot in knots]
    straight = [not smooth or knots[k + 1].straight for k in range(len(knots) - 1)]
    for k, is_line in enumerate(straight):
        if is_line and smooth:  # a curve leaves a straight part in its direction
            way = knots[k + 1].at - knots[k].at
            for end in (k, k + 1):
                if tangents[end] is None:
                    tangents[end] = math.atan2(way.imag, way.real)
    pieces = hobby([knot.at for knot in knots], tangents)
    spans: list[Floats] = []
    for k, is_line in enumerate(straight):
        if not is_line:
            spans.append(sample(pieces[k]))
            continue
        ends = np.array([[knots[j].at.real, knots[j].at.imag] for j in (k, k + 1)])
        count = max(2, math.ceil(float(np.hypot(*(ends[1] - ends[0]))) / STEP)) if smooth else 2
        spans.append(ends[0] + np.linspace(0.0, 1.0, count)[:, None] * (ends[1] - ends[0]))
    return spans
