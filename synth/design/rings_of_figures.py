"""Figures set round a circle: 1 to 60, 5 to 60 in red, 13 to 24, the days of a month or a week."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dialtell.synth.design.placement import Setting, upright
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.terms import Zone
from dialtell.synth.strokes.stroke import Item

LEAST_THIN_MM = 0.04  # thinnest stroke of a small figure: they thin out less than their size


@dataclass(frozen=True)
class FigureRing:
    """Lengths in dial radii. labels : the first at `start`, the rest clockwise over `sweep` radians; an empty one is
    left out.

    x, y : its centre. at : radius of the middles. radial, turned : as of the hour figures. weight : factor on the
    letterform's usual widths. every : each `every`-th label (the `every`-th first) is set in `stressed_ink` and
    `stressed` times as high; 0 for none.
    """

    zone: Zone
    labels: tuple[str, ...]
    letterform: str
    height: float
    at: float
    ink: int
    x: float = 0.0
    y: float = 0.0
    start: float = 0.0
    sweep: float = 2 * np.pi
    radial: bool = False
    turned: bool = False
    weight: float = 1.0
    every: int = 0
    stressed: float = 1.0
    stressed_ink: int = 0
    word: int = 200  # of the first label, in its zone


def numbers(first: int, last: int, step: int = 1) -> tuple[str, ...]:
    """The labels `first`, `first + step` .. `last`."""
    return tuple(str(value) for value in range(first, last + 1, step))


def half_depth(ring: FigureRing) -> float:
    """How far the figures reach in and out from `at`, dial radii: half their height, or half the widest upright."""
    high = ring.height * (ring.stressed if ring.every else 1.0)
    form = letterform(ring.letterform)
    return 0.5 * high * (1.0 if ring.radial else max(1.0, max(form.measure(label) for label in ring.labels)))


def ring_of_figures(ring: FigureRing, radius: float) -> list[Item]:
    """The ring's items; `radius` mm of the dial."""
    form = letterform(ring.letterform)
    items: list[Item] = []
    for index, label in enumerate(ring.labels):
        if not label:
            continue
        angle = ring.start + ring.sweep * index / len(ring.labels)
        stress = ring.every > 0 and (index + 1) % ring.every == 0
        height = ring.height * radius * (ring.stressed if stress else 1.0)
        thick = form.thick * ring.weight * height
        thin = min(max(form.thin * ring.weight * height, LEAST_THIN_MM), 0.95 * max(thick, LEAST_THIN_MM))
        ink = ring.stressed_ink if stress else ring.ink
        setting = Setting(ring.letterform, height, thick, thin, ring.zone, ink, ring.word + index)
        over = ring.radial and ring.turned and 0.5 * np.pi < angle % (2 * np.pi) < 1.5 * np.pi
        at = ring.at * radius * (-1.0 if over else 1.0)
        up = angle + (np.pi if over else 0.0)
        items += figure(label, setting, (ring.x * radius, ring.y * radius), at, up, radial=ring.radial)
    return items


def figure(
    text: str, setting: Setting, center: tuple[float, float], middle: float, angle: float, *, radial: bool
) -> list[Item]:
    """A figure of one or more digits with its middle on a circle; upright, or feet to the centre."""
    form = letterform(setting.letterform)
    placed = form.line(text)
    total = placed[-1][1] + placed[-1][0].advance
    up = angle if radial else 0.0
    x0 = center[0] + middle * np.sin(angle)
    y0 = center[1] - middle * np.cos(angle)
    items = []
    for glyph, x in placed:
        off = (x + 0.5 * glyph.advance - 0.5 * total) * setting.height
        fx = x0 + off * np.cos(up) - 0.5 * setting.height * np.sin(up)
        fy = y0 + off * np.sin(up) + 0.5 * setting.height * np.cos(up)
        items.append(upright(glyph, setting, (float(fx), float(fy)), up))
    return items
