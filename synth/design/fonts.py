"""Letterforms of fonts in the place of skeletons: the same design, some of its parts set in an open font."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dialtell.synth.design.design import ARABIC, ROMAN, Chapter, DialDesign, Line, Track, Variety
from dialtell.synth.letterforms.families import font_names
from dialtell.synth.letterforms.glyph import letterform

FINEST_MM = 0.03  # the thinnest line a plate takes and a brush draws (judgement)
LETTERS_BOLDER = 1.15  # lettering of dials, in which no line is as fine as in type (judgement)
PAIR = 1.25  # heights: as wide as two figures of a track get before they are made smaller
# what a line of the signature set in a skeleton becomes
ROLES = {"serif-capitals": "capitals", "block-capitals": "capitals", "round-script": "script", "italic-lower": "text"}


def with_fonts(design: DialDesign, variety: Variety, *, rng: np.random.Generator) -> DialDesign:
    """The design with a font in the place of each part's letterform, for a share `variety.fonts` of the parts.

    What has no letterform of that kind among `variety.families` stays as it is. The draws do not depend on the share,
    so that more fonts only add to fewer.
    """
    chapter = design.chapter
    bolder = float(np.exp(rng.normal(0.22, 0.2)).clip(0.85, 1.8))  # dials' figures are bolder than text faces

    def drawn(role: str) -> str | None:
        wanted, which = rng.random(2)
        names = font_names(role, variety.families)
        return names[int(which * len(names))] if names and wanted < variety.fonts else None

    def track_of(track: Track) -> Track:
        name = drawn("figures")
        if name is None or track.figures_letterform not in ARABIC:
            return track
        # two figures of a wide face would run into the hours or the ring
        height = track.figures_height * min(1.0, PAIR / letterform(name).measure("40"))
        return replace(track, figures_letterform=name, figures_height=height)

    name = drawn("roman" if chapter and chapter.letterform in ROMAN else "figures")
    if chapter is not None and name is not None and chapter.letterform in (*ROMAN, *ARABIC):
        chapter = _hours(chapter, name, design.radius_mm, bolder)
    track = design.track and track_of(design.track)
    subdials = tuple(replace(dial, track=track_of(dial.track)) for dial in design.subdials)
    room = chapter.outer - chapter.height if chapter else 0.75
    signature = []
    for line in design.signature:
        name = drawn(ROLES[line.letterform]) if line.letterform in ROLES else None
        signature.append(line if name is None else _set(line, name, room, design.radius_mm))
    return replace(design, chapter=chapter, track=track, subdials=subdials, signature=tuple(signature))


def _weights(name: str, height_mm: float) -> tuple[float, float]:
    """The font's own thick and thin widths, heights, the thin one no finer than can be drawn."""
    form = letterform(name)
    return form.thick, max(form.thin, min(FINEST_MM / height_mm, 0.9 * form.thick))


def _hours(chapter: Chapter, name: str, radius_mm: float, bolder: float) -> Chapter:
    thick, thin = _weights(name, chapter.height * radius_mm)
    return replace(chapter, letterform=name, thick=bolder * thick, thin=bolder * thin)


def _set(line: Line, name: str, room: float, radius_mm: float) -> Line:
    """A line set in a font, made smaller where it would be too long for the room within the hours."""
    limit = 1.6 * float(np.sqrt(max(room**2 - (abs(line.y) + line.height) ** 2, 0.02)))
    wide = letterform(name).measure(line.text, tracking=line.tracking) * line.height
    height = line.height * min(1.0, limit / max(wide, 1e-9))
    thick, thin = _weights(name, height * radius_mm)
    return replace(line, letterform=name, height=height, thick=LETTERS_BOLDER * thick, thin=LETTERS_BOLDER * thin)
