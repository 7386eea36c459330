"""Roman hour figures, each a whole glyph: thick stems, thin second limbs of V and X, thin bars that cap them.

"roman-heavy" has one continuous bar over neighbouring stems; "roman-full" likewise, with stems two to three times as
broad as the white between them; "roman-slender" caps each limb by itself. A 4 is IIII and a 9 IX, as on watch dials
(customary: D. E. Smith, History of Mathematics, vol. II).
"""

from __future__ import annotations

from dataclasses import dataclass

from dialtell.synth.letterforms.glyph import Glyph, GlyphStroke, Letterform
from dialtell.synth.letterforms.notation import limb, line_stroke
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind


@dataclass(frozen=True)
class RomanCut:
    """Proportions of one Roman style, in heights.

    gap : white between neighbouring stems. wide : V and X at the top, to the limbs' outer edges.
    serif : how far a bar stands out past the edge of a limb. joined : bars run on over neighbouring limbs.
    """

    thick: float
    thin: float
    gap: float
    wide: float
    serif: float
    joined: bool


CUTS = {
    "roman-heavy": RomanCut(thick=0.17, thin=0.03, gap=0.15, wide=0.60, serif=0.055, joined=True),
    "roman-full": RomanCut(thick=0.20, thin=0.022, gap=0.085, wide=0.64, serif=0.04, joined=True),
    "roman-slender": RomanCut(thick=0.10, thin=0.022, gap=0.16, wide=0.54, serif=0.052, joined=False),
}


@dataclass(frozen=True)
class _Foot:
    """Where a limb ends at the top or bottom line: its centre, half width, and the letter it belongs to.

    limb : name of its stroke. letter : place of the letter in the figure.
    """

    x: float
    half: float
    limb: str
    letter: int
    top: bool


def numeral(hour: int) -> str:
    """The figure for an hour 1 to 24 in the dial maker's form: 4 IIII, 9 IX, 14 XIIII, 24 XXIIII."""
    if not 1 <= hour <= 24:
        raise ParameterError(f"hour is {hour}; give a whole hour from 1 to 24")
    tens, ones = divmod(hour, 10)
    return "X" * tens + ("IX" if ones == 9 else "V" * (ones // 5) + "I" * (ones % 5))


def compose(text: str, cut: RomanCut) -> Glyph:
    """A figure of the letters I, V and X set close and capped with bars; ParameterError for another letter."""
    strokes: list[GlyphStroke] = []
    feet: list[_Foot] = []
    x = cut.serif + 0.02
    for index, letter in enumerate(text):
        if letter not in "IVX":
            raise ParameterError(f"Roman figure {text!r} has {letter!r}; use only I, V and X")
        wide, limbs, ends = _letter(letter, index, x, cut)
        strokes += limbs
        feet += ends
        x += wide + cut.gap
        if letter + text[index + 1 : index + 2] == "XX":  # an X leaves white of its own at its waist
            x -= 0.3 * cut.gap
    strokes += _bars(feet, cut)
    return Glyph(text, x - cut.gap + cut.serif + 0.02, tuple(strokes))


def make(name: str) -> Letterform:
    """The letterform of that name in CUTS: the hours 1 to 24 in the dial maker's form, and IV."""
    cut = CUTS[name]
    names = dict.fromkeys([numeral(hour) for hour in range(1, 25)] + ["IV"])
    return Letterform(name, {text: compose(text, cut) for text in names}, cut.thick, cut.thin)


def _letter(letter: str, index: int, x: float, cut: RomanCut) -> tuple[float, list[GlyphStroke], list[_Foot]]:
    """One letter from its left edge x on: its width, its limbs, and the feet to be capped."""
    half, hair = cut.thick / 2.0, cut.thin / 2.0
    # thin limbs stop inside the bars, so that the corners of a slanted end do not stand out of them
    high, low = 1.0 - hair, hair
    if letter == "I":
        stem = line_stroke((x + half, 1.0), (x + half, 0.0), 1.0, Kind.STEM, "I/stem")
        return cut.thick, [stem], [_Foot(x + half, half, "I/stem", index, top) for top in (True, False)]
    left, right = x + half, x + cut.wide - hair
    if letter == "V":
        point = x + 0.56 * cut.wide
        limbs = [
            limb((left, 1.0), (point, 0.0), cut.thick, "V/stem"),
            line_stroke((right, high), (point + 0.35 * half, low), 0.0, Kind.THIN, "V/thin"),
        ]
        feet = [_Foot(point, half, "V/stem", index, False)]
    else:
        limbs = [
            limb((left, 1.0), (x + cut.wide - half, 0.0), cut.thick, "X/stem"),
            line_stroke((right, high), (x + hair, low), 0.0, Kind.THIN, "X/thin"),
        ]
        feet = [
            _Foot(x + cut.wide - half, half, "X/stem", index, False),
            _Foot(x + hair, hair, "X/thin", index, False),
        ]
    feet += [
        _Foot(left, half, f"{letter}/stem", index, True),
        _Foot(right, hair, f"{letter}/thin", index, True),
    ]
    return cut.wide, limbs, feet


def _bars(feet: list[_Foot], cut: RomanCut) -> list[GlyphStroke]:
    """Bars over the feet, top line first; joined where neighbouring letters' limbs are near."""
    bars = []
    for top in (True, False):
        line = sorted((foot for foot in feet if foot.top is top), key=lambda foot: foot.x)
        runs: list[list[_Foot]] = []
        for foot in line:
            near = runs and foot.letter != runs[-1][-1].letter
            if near and cut.joined and foot.x - foot.half - runs[-1][-1].x - runs[-1][-1].half < 1.4 * cut.gap:
                runs[-1].append(foot)
            else:
                runs.append([foot])
        level = 1.0 - cut.thin / 2.0 if top else cut.thin / 2.0
        for run in runs:
            start, end = run[0], run[-1]
            # a thin limb needs a longer bar than its own width to look capped
            out = [cut.serif + (0.02 if foot.half < cut.thick / 2.0 else 0.0) for foot in (start, end)]
            ends = (start.x - start.half - out[0], level), (end.x + end.half + out[1], level)
            # bars over the same limbs ought to be alike, so they share a name
            name = f"bar/{'top' if top else 'foot'}/{'+'.join(foot.limb for foot in run)}"
            bars.append(line_stroke(*ends, 0.0, Kind.BAR, name))
    return bars
