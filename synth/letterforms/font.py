"""Letterforms out of fonts: "font:FAMILY:ROLE", each glyph's outline taken apart into a painter's strokes.

ROLE is what the letterform is for:
roman     the hours in I, V and X, set close, narrowed where the face is wide
figures   0 to 9, lining, each as high as the others
capitals  A to Z, & . -
text      capitals and small letters of the italic
script    the same of a script, joined as the font joins it

Both processes lay the same strokes, so nothing but the process tells its letters apart. The strokes cover the outline:
their area is measured against it, see tests/synth/test_font_letterforms.py. A glyph is taken apart when first asked
for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from io import BytesIO
from string import ascii_lowercase, ascii_uppercase, digits
from typing import Any

import numpy as np
from fontTools.ttLib import TTFont

from dialtell.synth.letterforms.families import FAMILIES, PREFIX, Family
from dialtell.synth.letterforms.glyph import Glyph, GlyphStroke, Letterform
from dialtell.synth.letterforms.medial import Strip, strips
from dialtell.synth.letterforms.outline import PX, flattened, united
from dialtell.synth.letterforms.roman import numeral
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.stroke import Floats

CHARACTERS = {
    "roman": "IVX",
    "figures": digits,
    "capitals": ascii_uppercase + "&.-",
    "text": ascii_uppercase + ascii_lowercase + "&.-",
    "script": ascii_uppercase + ascii_lowercase + "&.-",
}
# shows how thick and thin strokes are
BOWL = {
    "roman": "O",
    "figures": "0",
    "capitals": "O",
    "text": "o",
    "script": "o",
}  # shows how thick and thin strokes are
WIDEST = 1.6  # heights: a VIII that would be wider is narrowed to this, as dial makers' figures are
NARROWEST = 0.65  # share of a face's own width it is narrowed to at most
WHITE = 0.12  # heights between neighbouring stems of an hour at least
THIN = 0.055  # heights: straight strokes below are hairlines
OVERLAP = 4  # samples of a closed stroke's end that lie on its beginning
BENT = 0.985  # chord over length below which a stroke is a curve


@dataclass(frozen=True, eq=False)
class _Set(Letterform):
    """Knows how long a line is without taking glyphs apart. advances : glyph units, by character."""

    advances: dict[str, float] = field(default_factory=dict)

    def measure(self, text: str, *, tracking: float = 0.0) -> float:
        known = self.advances | {" ": self.space}
        if not text or any(character not in known for character in text):
            return super().measure(text, tracking=tracking)
        return sum(known[character] + tracking for character in text) - tracking


def make(name: str) -> Letterform:
    """The letterform "font:FAMILY:ROLE"; ParameterError for an unknown one, or if its package is not installed."""
    family, role = _parts(name)
    face = _face(family.name, role == "text")
    glyphs = _Glyphs(face, role)
    thick, thin = _thick_and_thin(face, BOWL[role], face.height(role), glyphs.narrowed)
    glyphs.scale = (thick, thin)
    space = face.advance(" ") or 0.3
    single = {} if role == "roman" else {c: face.advance(c) / face.height(role) for c in CHARACTERS[role]}
    return _Set(name, glyphs, thick, thin, space, single)


def _thick_and_thin(face: _Face, bowl: str, high: float, narrowed: float) -> tuple[float, float]:
    """Width of a round letter's side and of its head; where nothing is thin, half the thick one."""
    cover = united([part / high * (narrowed, 1.0) for part in face.outline(bowl)]).cover
    side = _first_run(cover[len(cover) // 2])
    head = _first_run(cover[:, cover.shape[1] // 2])
    thick = max(side, head)
    return thick, min(side, head, 0.5 * thick)


def _first_run(cover: Floats) -> float:
    """Heights of the first stroke across a line of pixels."""
    inside = np.flatnonzero(cover > 0)
    last = inside[np.append(np.diff(inside) > 1, True)][0]
    return float(cover[inside[0] : last + 1].sum()) / PX


def _parts(name: str) -> tuple[Family, str]:
    family, _, role = name.removeprefix(PREFIX).partition(":")
    if not name.startswith(PREFIX) or family not in FAMILIES or role not in FAMILIES[family].roles:
        raise ParameterError(
            f"letterform is {name!r}; use {PREFIX}FAMILY:ROLE, FAMILY one of {', '.join(FAMILIES)} and ROLE one it has "
            f"of {', '.join(CHARACTERS)}"
        )
    return FAMILIES[family], role


@cache
def _face(family: str, italic: bool) -> _Face:
    return _Face(FAMILIES[family], italic)


class _Face:
    """One font file at its place on the axes. Lengths in capital heights."""

    def __init__(self, family: Family, italic: bool) -> None:
        font = TTFont(BytesIO(family.file(italic).read_bytes()), lazy=True)
        self.family = family
        self.glyphs: Mapping[str, Any] = font.getGlyphSet(location=family.axes or None)
        self.names: dict[int, str] = font.getBestCmap()
        self.lining = _lining(font)
        self.capital = max(float(part[:, 1].max()) for part in flattened(self.glyphs, self.names[ord("I")]))

    @cached_property
    def figure(self) -> float:
        """Height of the figures."""
        tops = [max(float(part[:, 1].max()) for part in self.outline(digit)) for digit in "147"]
        return float(np.median(tops))

    def height(self, role: str) -> float:
        """What is height 1 in a role."""
        return self.figure if role == "figures" else 1.0

    def _name(self, character: str) -> str:
        name = self.names[ord(character)]
        return self.lining.get(name, name) if character in digits else name

    def advance(self, character: str) -> float:
        """From a character's left side to the next one's."""
        return float(self.glyphs[self._name(character)].width) / self.capital

    def outline(self, character: str) -> list[Floats]:
        """Contours as they are in the font."""
        return [part / self.capital for part in flattened(self.glyphs, self._name(character))]


def _lining(font: TTFont) -> dict[str, str]:
    """The font's own exchange of its usual figures for lining ones."""
    if "GSUB" not in font:
        return {}
    table = font["GSUB"].table
    lookups = {
        i for row in table.FeatureList.FeatureRecord if row.FeatureTag == "lnum" for i in row.Feature.LookupListIndex
    }
    result: dict[str, str] = {}
    for index in sorted(lookups):
        for sub in table.LookupList.Lookup[index].SubTable:
            sub = getattr(sub, "ExtSubTable", sub)
            result.update(getattr(sub, "mapping", {}))
    return result


class _Glyphs(Mapping[str, Glyph]):
    """The glyphs of a letterform, taken apart when asked for."""

    def __init__(self, face: _Face, role: str) -> None:
        self.face, self.role = face, role
        self.scale = (1.0, 0.0)
        self._made: dict[str, Glyph] = {}
        self._bare: dict[str, Glyph] = {}
        hours = dict.fromkeys([numeral(hour) for hour in range(1, 25)] + ["IV"])
        self._names = dict.fromkeys(hours if role == "roman" else CHARACTERS[role])
        self.narrowed = 1.0
        if role == "roman":
            natural = sum(float(np.ptp(np.concatenate(face.outline(letter))[:, 0])) for letter in "VIII")
            self.narrowed = float(np.clip(WIDEST / natural, NARROWEST, 1.0))

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)

    def __getitem__(self, name: str) -> Glyph:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._made:
            bare = self._composed(name) if self.role == "roman" else self.bare(name)
            thick, thin = self.scale
            strokes = (GlyphStroke(s.path, (s.weight - thin) / (thick - thin), s.kind, s.name) for s in bare.strokes)
            self._made[name] = Glyph(name, bare.advance, tuple(strokes))
        return self._made[name]

    def bare(self, character: str) -> Glyph:
        """A character whose strokes' weights are their widths, in heights."""
        if character not in self._bare:
            high = self.face.height(self.role)
            contours = [part / high * (self.narrowed, 1.0) for part in self.face.outline(character)]
            advance = self.face.advance(character) / high * self.narrowed
            self._bare[character] = Glyph(character, advance, _strokes(strips(united(contours))))
        return self._bare[character]

    def _composed(self, text: str) -> Glyph:
        """A figure of letters set so close that their serifs meet; those without have white between them."""
        stem = float(np.ptp(np.concatenate(self.face.outline("I"))[:, 0])) * self.narrowed
        gap = max(0.0, WHITE - max(stem - self.scale[0], 0.0))
        x = 0.01
        strokes: list[GlyphStroke] = []
        for letter in text:
            reach = np.concatenate(self.face.outline(letter))[:, 0] * self.narrowed
            shift = np.array([x - float(reach.min()), 0.0])
            strokes += [
                GlyphStroke(s.path + shift, s.weight, s.kind, f"{letter}/{s.name}") for s in self.bare(letter).strokes
            ]
            x += float(np.ptp(reach)) + gap
        return Glyph(text, x - gap + 0.01, tuple(strokes))


def _strokes(found: list[Strip]) -> tuple[GlyphStroke, ...]:
    """Strips as strokes, the broad ones first, each drawn downward or to the right; weight holds the width."""
    result: list[GlyphStroke] = []
    for strip in sorted(found, key=lambda strip: -float(np.median(strip.width))):
        path, width = strip.path, strip.width
        step = path[-1] - path[0]
        if not strip.closed and (step[1] > 0 if abs(step[1]) > abs(step[0]) else step[0] < 0):
            path, width = path[::-1], width[::-1]
        if strip.closed:  # closed a little past where it began, as a painter closes it
            path, width = np.vstack([path, path[1:OVERLAP]]), np.append(width, width[1:OVERLAP])
        kind = _kind(strip)
        number = sum(stroke.kind is kind for stroke in result)
        result.append(GlyphStroke(path, width, kind, f"{kind.value}{number}"))
    return tuple(result)


def _kind(strip: Strip) -> Kind:
    length = float(np.hypot(*np.diff(strip.path, axis=0).T).sum())
    step = np.abs(strip.path[-1] - strip.path[0])
    wide = float(np.median(strip.width))
    if strip.blob:
        return Kind.DOT
    if strip.closed or float(np.hypot(*step)) < BENT * length:
        return Kind.CURVE
    if step[0] > 3 * step[1]:
        return Kind.BAR
    return Kind.STEM if wide > THIN else Kind.THIN
