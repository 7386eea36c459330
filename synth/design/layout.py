"""From a design to items: every figure, letter, tick, ring, dot and ornament where the design puts it, unjittered."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from dialtell.synth.design.design import Chapter, DialDesign, Line, SubDial, Track
from dialtell.synth.design.frames import cut_out, frame_items, spiral_items
from dialtell.synth.design.marks import MARKS, disc
from dialtell.synth.design.placement import Setting, bent, upright
from dialtell.synth.design.rings_of_figures import figure, ring_of_figures
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.stroke import Item, Stroke

ROMAN_HOURS = ("I", "II", "III", "IIII", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
LEAST_LEFT = 0.6  # of a figure beside a sub-dial, else it is left out
CUT_GAP = 0.02  # dial radii between a cut figure and the sub-dial that cuts it
INSIDE_SHARE, INSIDE_AT = 0.5, 0.44  # height and middle of an hour figure inside a sub-dial, of that dial's radius
EDGE_WORD = 900  # of the first line at the rim, in the zone "other"


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
    for further in design.further_tracks:
        items += track_items(further, (0.0, 0.0), radius, Zone.MINUTE_TRACK)
    if design.centre_ring > 0:
        items.append(
            ring_item((0.0, 0.0), design.centre_ring * radius, 0.08 * (radius / 22), Zone.OTHER, "centre ring")
        )
    if design.chapter is not None:
        items += chapter_items(design.chapter, radius, design.subdials)
        if design.frames is not None:
            hours = [(hour, 2 * np.pi * hour / design.chapter.hours) for hour in range(1, design.chapter.hours + 1)]
            items += frame_items(design.frames, hours, radius)
    for ring in design.rings:
        items += ring_of_figures(ring, radius)
    if design.spiral is not None:
        items += spiral_items(design.spiral, radius)
    for index, dial in enumerate(design.subdials):
        zone = Zone.SECONDS_BIT if index == 0 else Zone.OTHER
        items += track_items(dial.track, (dial.x * radius, dial.y * radius), dial.radius * radius, zone)
    for index, line in enumerate(design.signature):
        items += line_items(line, radius, index)
    for index, line in enumerate(design.edge):
        items += line_items(line, radius, EDGE_WORD + index, Zone.OTHER)
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
        outside = track.from_outside or (track.rings[1] and not track.rings[0])
        y0 = -0.5 * depth + (depth - length if outside else 0.0)
        path = np.array([[0.0, y0], [0.0, y0 + length]])
        width = (track.heavy_mm if heavy else track.tick_mm) * np.exp(track.taper * np.array([-0.5, 0.5]))
        kind = Kind.TICK
        if track.blocked and index % 2 == 0 and not heavy:
            width = np.full(2, 0.45 * 2 * np.pi * middle / track.divisions)
    right = np.array([np.cos(angle), np.sin(angle)])
    outward = np.array([np.sin(angle), -np.cos(angle)])
    placed = np.array(point) + path[:, :1] * right + path[:, 1:] * outward
    stroke = Stroke(placed, width, float(width.max()), kind, f"track/{name}")
    hour = track.hour_bars and heavy
    word = index // track.every if hour else 0
    return Item((stroke,), Zone.NUMERALS if hour else zone, point, angle, depth, f"track/{name}", track.ink, word)


def _track_figures(track: Track, center: tuple[float, float], radius: float, zone: Zone) -> list[Item]:
    form = letterform(track.figures_letterform)
    height = track.figures_height * radius
    # a sub-dial's figures thin out less than its size
    thick, thin = form.thick * height, max(form.thin * height, 0.05)
    at = track.figures_at * radius
    items = []
    count = track.figures_start // track.figures_every
    for index in range(count):
        value = index * track.figures_every or track.figures_start
        angle = 2 * np.pi * index / count
        setting = Setting(track.figures_letterform, height, thick, thin, zone, track.ink, 100 + index)
        items += figure(str(value), setting, center, at, angle, radial=False)
    return items


def chapter_items(chapter: Chapter, radius: float, subdials: tuple[SubDial, ...]) -> list[Item]:
    """The hour figures; those a sub-dial would cut are left out, cut, or small inside it, as the chapter has it."""
    items: list[Item] = []
    for hour in range(1, chapter.hours + 1):
        angle = 2 * np.pi * hour / chapter.hours
        middle = chapter.outer - 0.5 * chapter.height
        covering = [dial for dial in subdials if _covers(dial, middle, angle, 0.5 * chapter.height)]
        if chapter.cut == "inside" and covering:
            items += _inside(chapter, hour, covering[0], radius)
        if chapter.cut != "cut" and covering:
            continue
        drawn = whole = _hour(chapter, hour, angle, radius)
        for dial in subdials if chapter.cut != "left out" else ():
            if not _covers(dial, middle, angle, 2.2 * chapter.height):  # out of its reach
                continue
            x, y, cut = dial.x * radius, dial.y * radius, (dial.radius + CUT_GAP) * radius
            drawn = [part for item in drawn for part in cut_out(item, x, y, cut)]
        if drawn is whole or chapter.cut == "cut" or _length(drawn) >= LEAST_LEFT * _length(whole):
            items += drawn
    return items


def _length(items: list[Item]) -> float:
    """Of all strokes, mm."""
    return sum(float(np.hypot(*np.diff(stroke.path, axis=0).T).sum()) for item in items for stroke in item.strokes)


def _hour(chapter: Chapter, hour: int, angle: float, radius: float) -> list[Item]:
    """One hour figure whole."""
    form = letterform(chapter.letterform)
    height, middle = chapter.height * radius, (chapter.outer - 0.5 * chapter.height) * radius
    setting = Setting(
        chapter.letterform, height, chapter.thick * height, chapter.thin * height, Zone.NUMERALS, chapter.ink, hour,
        chapter.narrow,
    )  # fmt: skip
    if chapter.bent:
        name = chapter.four if hour % 12 == 4 else ROMAN_HOURS[(hour - 1) % 12]
        inner = (chapter.outer - chapter.height) * radius
        return [bent(form.glyphs[name], setting, (0.0, 0.0), inner, angle, converge=0.5)]
    if not chapter.radial:
        return figure(str(hour), setting, (0.0, 0.0), middle, angle, radial=False)
    turned = chapter.turned and 0.5 * np.pi < angle % (2 * np.pi) < 1.5 * np.pi
    up = angle + (np.pi if turned else 0.0)
    return figure(str(hour), setting, (0.0, 0.0), -middle if turned else middle, up, radial=True)


def _inside(chapter: Chapter, hour: int, dial: SubDial, radius: float) -> list[Item]:
    """An hour figure set small between the middle of a sub-dial and its edge, upright."""
    height = min(chapter.height, INSIDE_SHARE * dial.radius) * radius
    setting = Setting(
        chapter.letterform, height, chapter.thick * height, chapter.thin * height, Zone.NUMERALS, chapter.ink, hour
    )
    center = (dial.x * radius, dial.y * radius)
    angle = 2 * np.pi * hour / chapter.hours
    return figure(str(hour), setting, center, INSIDE_AT * dial.radius * radius, angle, radial=False)


def _covers(dial: SubDial, middle: float, angle: float, half: float) -> bool:
    x, y = middle * np.sin(angle), -middle * np.cos(angle)
    return bool(np.hypot(x - dial.x, y - dial.y) < dial.radius + 0.55 * half)


def line_items(line: Line, radius: float, index: int, zone: Zone = Zone.SIGNATURE) -> list[Item]:
    """One line of lettering, centred on `line.x` or on the upright through the dial's centre."""
    form = letterform(line.letterform)
    height = line.height * radius
    placed = form.line(line.text, tracking=line.tracking)
    total = placed[-1][1] + placed[-1][0].advance
    setting = Setting(line.letterform, height, line.thick * height, line.thin * height, zone, line.ink, index)
    items = []
    for glyph, x in placed:
        off = (x + 0.5 * glyph.advance - 0.5 * total) * height
        if line.arc != 0:  # one below the centre has a negative radius: it reads from left to right all the same
            at = line.arc * radius
            angle = off / at
            items.append(upright(glyph, setting, (at * float(np.sin(angle)), -at * float(np.cos(angle))), angle))
        else:
            items.append(upright(glyph, setting, (line.x * radius + off, line.y * radius), 0.0))
    return items
