"""What a letterform is: glyphs made of strokes in drawing order, and the lines of text set from them.

Glyph frame: unit is the height of a capital or figure; x to the right from the glyph's left side, y UP from
the baseline, so a capital spans y = 0 to 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module

import numpy as np

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.stroke import Floats


@dataclass(frozen=True, eq=False)
class GlyphStroke:
    """One stroke of a glyph.

    path : (N, 2) glyph units, N >= 2, in the order a painter draws it; curves have points 0.03 apart or less.
    weight : (N,) 0 is the thin width, 1 the thick one; a little above 1 where a curve swells past a stem.
    kind : STEM, THIN, BAR, CURVE, DOT or MARK.
    name : what it is within its glyph ("stem", "bar/top", "bowl").
    taper : (N,) factor 0..1 on the width, 0 where the stroke runs out to nothing; None is 1 throughout.
    """

    path: Floats
    weight: Floats
    kind: Kind
    name: str
    taper: Floats | None = None

    def width_mm(self, thick: float, thin: float) -> Floats:
        """Full width at each point, (N,), in the arguments' unit: (thin + weight (thick - thin)) taper."""
        width = np.maximum(thin + self.weight * (thick - thin), 0.0)
        return width if self.taper is None else width * self.taper


@dataclass(frozen=True, eq=False)
class Glyph:
    """A letter, or a whole Roman figure. advance : glyph units from its left side to the next glyph's."""

    name: str
    advance: float
    strokes: tuple[GlyphStroke, ...]


@dataclass(frozen=True, eq=False)
class Letterform:
    """One style of letters or figures.

    glyphs : by name; a name may have several characters ("VIII").
    thick, thin : usual widths as a share of the height; the skeletons suit these within about a third.
    space : advance of a blank, glyph units.
    """

    name: str
    glyphs: Mapping[str, Glyph]
    thick: float
    thin: float
    space: float = 0.35

    def line(self, text: str, *, tracking: float = 0.0) -> list[tuple[Glyph, float]]:
        """Glyphs of a line of text with the x of each one's left side, glyph units, starting at 0.

        The longest glyph name that fits is taken at each place, so "VIII" is one figure. Blanks only move on.
        tracking : glyph units added after every glyph and blank; keep it 0 for joined script.
        Raises ParameterError for a character the letterform lacks.
        """
        longest = max(len(name) for name in self.glyphs)
        placed: list[tuple[Glyph, float]] = []
        x, at = 0.0, 0
        while at < len(text):
            if text[at] == " ":
                x += self.space + tracking
                at += 1
                continue
            for size in range(longest, 0, -1):
                found = self.glyphs.get(text[at : at + size]) if at + size <= len(text) else None
                if found is not None:
                    placed.append((found, x))
                    x += found.advance + tracking
                    at += size
                    break
            else:
                raise ParameterError(
                    f"text {text!r} has {text[at]!r}, which letterform {self.name!r} lacks; "
                    f"use only {' '.join(sorted(self.glyphs))}"
                )
        return placed

    def measure(self, text: str, *, tracking: float = 0.0) -> float:
        """Advance of a whole line, glyph units, without the tracking after its last glyph."""
        placed = self.line(text, tracking=tracking)
        return placed[-1][1] + placed[-1][0].advance if placed else 0.0


# Each letterform is drawn when first asked for, by `make` of its module (found by name, as those modules
# import this one).
_HOMES: dict[str, str] = {
    "roman-heavy": "roman",
    "roman-full": "roman",
    "roman-slender": "roman",
    "arabic-modern": "arabic",
    "arabic-round": "arabic",
    "arabic-plain": "arabic",
    "arabic-teardrop": "arabic",
    "serif-capitals": "capitals",
    "block-capitals": "capitals",
    "round-script": "script",
    "italic-lower": "italic",
}
LETTERFORMS: tuple[str, ...] = tuple(_HOMES)


@cache
def letterform(name: str) -> Letterform:
    """The letterform of that name, drawn once and kept; ParameterError if there is none.

    name : one of LETTERFORMS, or of a font, "font:FAMILY:ROLE" (see letterforms.font).
    """
    if name.startswith("font:"):
        from_font: Letterform = import_module("dialtell.synth.letterforms.font").make(name)
        return from_font
    if name not in _HOMES:
        raise ParameterError(f"letterform is {name!r}; use one of {', '.join(LETTERFORMS)}")
    module = import_module(f"dialtell.synth.letterforms.{_HOMES[name]}")
    made: Letterform = module.make(name)
    return made
