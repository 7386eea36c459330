"""Setting glyphs on the dial: straight lines, arcs, and figures standing on a circle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from dialtell.synth.letterforms.glyph import Glyph
from dialtell.synth.shared.terms import Zone
from dialtell.synth.strokes.stroke import Floats, Item, Stroke


@dataclass(frozen=True)
class Setting:
    """How glyphs are set. height: mm of a capital or figure; thick, thin: mm; zone, ink, word as in Item.

    narrow : width of a bent figure, share of the letterform's own; its strokes are as broad as thick and thin say.
    """

    letterform: str
    height: float
    thick: float
    thin: float
    zone: Zone
    ink: int
    word: int
    narrow: float = 1.0


def upright(glyph: Glyph, setting: Setting, foot: tuple[float, float], up: float) -> Item:
    """A glyph whose baseline's middle is at `foot` (mm) and whose up points `up` radians clockwise from 12."""
    right = np.array([np.cos(up), np.sin(up)])
    upward = np.array([np.sin(up), -np.cos(up)])
    origin = np.array(foot)

    def place(path: Floats) -> Floats:
        local = (path - np.array([0.5 * glyph.advance, 0.0])) * setting.height
        return np.asarray(origin + local[:, :1] * right + local[:, 1:] * upward)

    return _item(glyph, setting, foot, up, place)


def bent(
    glyph: Glyph, setting: Setting, center: tuple[float, float], radius: float, angle: float, converge: float
) -> Item:
    """A figure standing on the circle of `radius` mm about `center`, feet towards the centre, bars along the circle.

    converge : 0 stems parallel .. 1 stems all point at the centre.
    """
    middle = radius + 0.5 * setting.height

    def place(path: Floats) -> Floats:
        x = (path[:, 0] - 0.5 * glyph.advance) * setting.height * setting.narrow
        y = path[:, 1] * setting.height
        at_radius = radius + y
        # arc length x is laid off at the middle of the figure (parallel stems) or at each height (converging)
        turn = x / (converge * middle + (1 - converge) * at_radius)
        a = angle + turn
        return np.stack([center[0] + at_radius * np.sin(a), center[1] - at_radius * np.cos(a)], axis=1)

    foot = (center[0] + radius * float(np.sin(angle)), center[1] - radius * float(np.cos(angle)))
    return _item(_subdivided(glyph), setting, foot, angle, place)


def _subdivided(glyph: Glyph) -> Glyph:
    """Straight strokes with enough points to bend along a circle."""
    strokes = []
    for stroke in glyph.strokes:
        if len(stroke.path) < 8:
            at = np.linspace(0, len(stroke.path) - 1, 9)
            grid = np.arange(len(stroke.path))
            path = np.stack([np.interp(at, grid, stroke.path[:, axis]) for axis in (0, 1)], axis=1)
            weight = np.interp(at, grid, stroke.weight)
            taper = None if stroke.taper is None else np.interp(at, grid, stroke.taper)
            stroke = replace(stroke, path=path, weight=weight, taper=taper)
        strokes.append(stroke)
    return replace(glyph, strokes=tuple(strokes))


def _item(
    glyph: Glyph, setting: Setting, foot: tuple[float, float], up: float, place: Callable[[Floats], Floats]
) -> Item:
    strokes = []
    for stroke in glyph.strokes:
        width = stroke.width_mm(setting.thick, setting.thin)
        strokes.append(
            Stroke(
                path=place(stroke.path),
                width=width,
                nominal=float(width.max()),
                kind=stroke.kind,
                form=f"{setting.letterform}/{glyph.name}/{stroke.name}",
            )
        )
    return Item(
        strokes=tuple(strokes),
        zone=setting.zone,
        anchor=(float(foot[0]), float(foot[1])),
        up=up,
        height=setting.height,
        group=f"{setting.letterform}/{glyph.name}",
        ink=setting.ink,
        word=setting.word,
    )
