"""From a design to items: every figure, letter, tick, ring, dot and ornament where the design puts it, unjittered."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from dialtell.synth.design.design import Chapter, DialDesign, Line, SubDial, Track
from dialtell.synth.design.marks import MARKS, disc
from dialtell.synth.design.placement import Setting, bent, upright
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.stroke import Item, Stroke

ROMAN_HOURS = ("I", "II", "III", "IIII", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")


def lay_out(design: DialDesign) -> list[Item]:
    """All items of the dial, in the order a workshop lays them: rings and tracks, figures, sub-dials, lettering.

    Those of the last designs are kept and shared: their arrays are not to be written to.
    """
    return list(_laid_out(design))


@lru_cache(maxsize=4)
def _laid_out(design: DialDesign) -> tuple[Item, ...]:
    radius = design.radius_mm
    items: list[Item] = []
    if design.track is not None:
        items += track_items(design.track, (0.0, 0.0), radius, Zone.MINUTE_TRACK)
    if design.centre_ring > 0:
        items.append(
            ring_item((0.0, 0.0), design.centre_ring * radius, 0.08 * (radius / 22), Zone.OTHER, "centre ring")
        )
    if design.chapter is not None:
        items += chapter_items(design.chapter, radius, design.subdials)
    for index, dial in enumerate(design.subdials):
        zone = Zone.SECONDS_BIT if index == 0 else Zone.OTHER
        items += track_items(dial.track, (dial.x * radius, dial.y * radius), dial.radius * radius, zone)
    for index, line in enumerate(design.signature):
        items += line_items(line, radius, index)
    return tuple(items)


def guide_circles(design: DialDesign) -> list[Item]:
    """Layout lines a painter drew first: circles at the feet and heads of the hour figures."""
    if design.chapter is None:
        return []
    chapter, radius = design.chapter, design.radius_mm
    return [
        ring_item((0.0, 0.0), at * radius, 0.03 * radius / 22, Zone.NUMERALS, "guide")
        for at in (chapter.outer, chapter.outer - chapter.height)
    ]


def ring_item(center: tuple[float, float], radius: float, width: float, zone: Zone, name: str, ink: int = 0) -> Item:
    """A circle as one closed stroke."""
    angle = np.linspace(0.0, 2 * np.pi, 721)
    path = np.stack([center[0] + radius * np.sin(angle), center[1] - radius * np.cos(angle)], axis=1)
    stroke = Stroke(path, np.full(len(angle), width), width, Kind.RING, f"ring/{name}")
    return Item((stroke,), zone, center, 0.0, radius, f"ring/{name}", ink)


def track_items(track: Track, center: tuple[float, float], radius: float, zone: Zone) -> list[Item]:
    """Rings, divisions, heavier marks and figures of a track about `center`; `radius` mm of the dial or sub-dial."""
    items = []
    inner, outer = track.inner * radius, track.outer * radius
    for drawn, at, name in zip(track.rings, (inner, outer), ("inner", "outer"), strict=True):
        if drawn:
            items.append(ring_item(center, at, track.ring_mm, zone, name, track.ink))
    for index in range(track.divisions):
        angle = 2 * np.pi * index / track.divisions
        heavy = index % (track.every * track.divisions // 60 or track.every) == 0
        items.append(_division(track, center, inner, outer, angle, heavy, index, zone))
    if track.halves != "nothing":
        items += [_half_mark(track, center, inner, outer, index, zone) for index in range(track.divisions)]
    if track.figures_every:
        items += _track_figures(track, center, radius, zone)
    return items


def _half_mark(track: Track, center: tuple[float, float], inner: float, outer: float, index: int, zone: Zone) -> Item:
    """A dot or short tick halfway between two divisions, standing on the inner side of the track."""
    angle = 2 * np.pi * (index + 0.5) / track.divisions
    depth = outer - inner
    right, outward = np.array([np.cos(angle), np.sin(angle)]), np.array([np.sin(angle), -np.cos(angle)])
    if track.halves == "dot":
        path, width, kind = disc(min(0.14 * depth, 1.2 * track.tick_mm), 9)
        at = inner + 0.5 * depth
    else:
        length = 0.24 * depth
        path, width, kind = np.array([[0.0, -0.5 * length], [0.0, 0.5 * length]]), np.full(2, track.tick_mm), Kind.TICK
        width = width * np.exp(track.taper * np.array([-0.5, 0.5]))
        at = inner + 0.5 * length
    point = np.array(center) + at * outward
    placed = point + path[:, :1] * right + path[:, 1:] * outward
    stroke = Stroke(placed, width, float(width.max()), kind, f"track/half {track.halves}")
    where, tall = (float(point[0]), float(point[1])), float(np.ptp(path[:, 1]))
    return Item((stroke,), zone, where, angle, tall, f"track/half {track.halves}", track.ink)


def _division(
    track: Track, center: tuple[float, float], inner: float, outer: float, angle: float, heavy: bool, index: int,
    zone: Zone,
) -> Item:  # fmt: skip
    depth = outer - inner
    middle = 0.5 * (inner + outer)
    point = (center[0] + middle * float(np.sin(angle)), center[1] - middle * float(np.cos(angle)))
    name = track.mark if heavy else "minor"
    if heavy and track.mark != "tick":
        path, width, kind = MARKS[track.mark](depth, track.heavy_mm)
    else:
        length = depth if heavy else depth * track.short
        y0 = -0.5 * depth + (0.0 if track.rings[0] or not track.rings[1] else depth - length)
        path = np.array([[0.0, y0], [0.0, y0 + length]])
        width = (track.heavy_mm if heavy else track.tick_mm) * np.exp(track.taper * np.array([-0.5, 0.5]))
        kind = Kind.TICK
        if track.blocked and index % 2 == 0 and not heavy:
            width = np.full(2, 0.45 * 2 * np.pi * middle / track.divisions)
    right = np.array([np.cos(angle), np.sin(angle)])
    outward = np.array([np.sin(angle), -np.cos(angle)])
    placed = np.array(point) + path[:, :1] * right + path[:, 1:] * outward
    stroke = Stroke(placed, width, float(width.max()), kind, f"track/{name}")
    return Item((stroke,), zone, point, angle, depth, f"track/{name}", track.ink)


def _track_figures(track: Track, center: tuple[float, float], radius: float, zone: Zone) -> list[Item]:
    form = letterform(track.figures_letterform)
    height = track.figures_height * radius
    # a sub-dial's figures thin out less than its size
    thick, thin = form.thick * height, max(form.thin * height, 0.04)
    at = track.figures_at * radius
    items = []
    count = track.figures_start // track.figures_every
    for index in range(count):
        value = index * track.figures_every or track.figures_start
        angle = 2 * np.pi * index / count
        setting = Setting(track.figures_letterform, height, thick, thin, zone, track.ink, 100 + index)
        items += _figure(str(value), setting, center, at, angle, radial=False)
    return items


def _figure(
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


def chapter_items(chapter: Chapter, radius: float, subdials: tuple[SubDial, ...]) -> list[Item]:
    """The hour figures; those a sub-dial would cut are left out."""
    form = letterform(chapter.letterform)
    height = chapter.height * radius
    inner = (chapter.outer - chapter.height) * radius
    items: list[Item] = []
    for hour in range(1, chapter.hours + 1):
        angle = 2 * np.pi * hour / chapter.hours
        middle = chapter.outer - 0.5 * chapter.height
        if any(_covers(dial, middle, angle, 0.5 * chapter.height) for dial in subdials):
            continue
        setting = Setting(
            chapter.letterform, height, chapter.thick * height, chapter.thin * height, Zone.NUMERALS,
            chapter.ink, hour,
        )  # fmt: skip
        if chapter.bent:
            name = ROMAN_HOURS[(hour - 1) % 12]
            items.append(bent(form.glyphs[name], setting, (0.0, 0.0), inner, angle, converge=0.5))
            continue
        turned = chapter.turned and 0.5 * np.pi < angle % (2 * np.pi) < 1.5 * np.pi
        up_angle = angle + (np.pi if turned else 0.0)
        if chapter.radial:
            at = radius * middle * (-1 if turned else 1)
            items += _figure(str(hour), setting, (0.0, 0.0), at, up_angle, radial=True)
        else:
            items += _figure(str(hour), setting, (0.0, 0.0), radius * middle, angle, radial=False)
    return items


def _covers(dial: SubDial, middle: float, angle: float, half: float) -> bool:
    x, y = middle * np.sin(angle), -middle * np.cos(angle)
    return bool(np.hypot(x - dial.x, y - dial.y) < dial.radius + 0.55 * half)


def line_items(line: Line, radius: float, index: int) -> list[Item]:
    """One line of the signature, centred on the upright through the dial centre."""
    form = letterform(line.letterform)
    height = line.height * radius
    placed = form.line(line.text, tracking=line.tracking)
    total = placed[-1][1] + placed[-1][0].advance
    setting = Setting(line.letterform, height, line.thick * height, line.thin * height, Zone.SIGNATURE, line.ink, index)
    items = []
    for glyph, x in placed:
        off = (x + 0.5 * glyph.advance - 0.5 * total) * height
        if line.arc > 0:
            at = line.arc * radius
            angle = off / at
            items.append(upright(glyph, setting, (at * float(np.sin(angle)), -at * float(np.cos(angle))), angle))
        else:
            items.append(upright(glyph, setting, (off, line.y * radius), 0.0))
    return items
