"""Uncommon designs that are rings of figures and divisions: 1 to 60, coloured fives, 13 to 24, dates, spirals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dialtell.synth.design.design import DialDesign, SubDial, Variety, small_track
from dialtell.synth.design.fitting import (
    drawn_in,
    inside_track,
    is_free,
    lines_within,
    room_inside,
    with_ink,
    within,
    without_subdials,
)
from dialtell.synth.design.frames import Spiral
from dialtell.synth.design.rings_of_figures import FigureRing, half_depth, numbers
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.groundwork import Groundwork
from dialtell.synth.shared.terms import Zone

RIM = 0.975  # radius at which the outermost figures end
DAYS = ("LUN", "MAR", "MER", "GIO", "VEN", "SAB", "DOM")  # of a week, as calendars had them
ROMAN_FIVES = ("LX", "V", "X", "XV", "XX", "XXV", "XXX", "XXXV", "XL", "XLV", "L", "LV")


def arabic(rng: np.random.Generator, variety: Variety) -> str:
    """A letterform for figures."""
    return str(rng.choice(np.array(variety.arabic)))


def _outside(design: DialDesign, ring: FigureRing, rng: np.random.Generator) -> DialDesign:
    """The ring of figures at the rim, the track without its own figures close inside it."""
    assert design.track is not None
    deep = half_depth(ring)
    rim = min([RIM, *(-line.arc - 1.9 * line.height for line in design.edge)])
    ring = replace(ring, at=rim - deep)
    bare = replace(design, track=replace(design.track, figures_every=0))
    moved = drawn_in(bare, rim - 2 * deep - float(rng.uniform(0.008, 0.02)))
    return replace(moved, rings=(*moved.rings, ring))


def _inside(design: DialDesign, ring: FigureRing) -> DialDesign:
    """The ring of figures close inside the track, which loses its own, hour figures and sub-dials inside that."""
    assert design.track is not None
    bare = replace(design, track=replace(design.track, figures_every=0))
    deep = half_depth(ring)
    ring = replace(ring, at=inside_track(bare) - 0.014 - deep)
    moved = within(bare, ring.at - deep - 0.015)
    return replace(moved, rings=(*moved.rings, ring))


def minute_figures(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """A track of the figures 1 to 60, the fives often larger and red."""
    if design.track is None or design.track.divisions != 60 or design.further_tracks:
        return None
    design, red = with_ink(design, "red" if rng.random() < 0.8 else "blue")
    coloured = rng.random() < 0.6
    ring = FigureRing(
        zone=Zone.MINUTE_TRACK,
        labels=numbers(1, 60),
        letterform=arabic(rng, variety),
        height=float(rng.uniform(0.034, 0.05)),
        at=0.0,
        ink=0,
        start=2 * np.pi / 60,
        radial=bool(rng.random() < 0.5),
        turned=bool(rng.random() < 0.5),
        weight=float(rng.uniform(0.9, 1.25)),
        every=5 if coloured or rng.random() < 0.5 else 0,
        stressed=float(rng.choice(np.array([1.0, 1.12, 1.25]))),
        stressed_ink=red if coloured else 0,
    )
    if rng.random() < 0.75:
        return _outside(design, ring, rng)
    return _inside(design, ring) if len(design.subdials) < 2 else None


def coloured_fives(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """Minutes in fives in red or blue, or as Roman figures in the dial's ink."""
    if design.track is None or design.track.divisions not in (60, 120) or not is_free(design):
        return None
    roman = rng.random() < 0.12 and "serif-capitals" in variety.lettering
    design, ink = with_ink(design, "red" if rng.random() < 0.75 else "blue")
    ring = FigureRing(
        zone=Zone.MINUTE_TRACK,
        labels=ROMAN_FIVES if roman else ("60", *numbers(5, 55, 5)),
        letterform="serif-capitals" if roman else arabic(rng, variety),
        height=float(rng.uniform(0.035, 0.06)),
        at=0.0,
        ink=0 if roman else ink,
        radial=bool(roman or rng.random() < 0.5),
        turned=bool(rng.random() < 0.5),
    )
    outside = len(design.subdials) > 1 or rng.random() < 0.7
    return _outside(design, ring, rng) if outside else _inside(design, ring)


def six(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """The hour figure at the seconds bit cut by its edge, its neighbours too; or an Arabic one small inside the bit."""
    chapter = design.chapter
    if chapter is None or not design.seconds_bit or chapter.hours != 12:
        return None
    if any(ring.at < chapter.outer for ring in design.rings):  # small figures inside the hours
        return None
    bit, *others = design.subdials
    if chapter.bent or rng.random() < 0.35:
        # a bit as large as those that reach into the figures
        reach = chapter.outer - 0.15 * chapter.height
        away = float(np.hypot(bit.x, bit.y))
        wide = min(max(bit.radius, float(rng.uniform(0.24, 0.34))), reach - away)
        design = replace(design, subdials=(replace(bit, radius=wide), *others))
        return replace(design, chapter=replace(chapter, cut="cut"))
    covered = bit.y + bit.radius > chapter.outer - 0.75 * chapter.height  # else there is room for both
    middle = chapter.outer - 0.5 * chapter.height
    beside = np.hypot(0.5 * middle, np.sqrt(0.75) * middle - bit.y)  # from the hour next to it
    if bit.x != 0.0 or not covered or beside < bit.radius + 0.275 * chapter.height:  # as layout leaves hours out
        return None
    track = bit.track
    figures = FigureRing(
        zone=Zone.SECONDS_BIT,
        labels=tuple("" if value == 30 else str(value or 60) for value in range(0, 60, 10)),
        letterform=track.figures_letterform,
        height=0.75 * track.figures_height * bit.radius,
        at=(track.inner - 0.03 - 0.375 * track.figures_height) * bit.radius,
        ink=0, x=bit.x, y=bit.y, word=100,
    )  # fmt: skip
    bare = replace(bit, track=replace(track, figures_every=0))
    hour = replace(chapter, cut="inside")
    return replace(design, subdials=(bare, *others), chapter=hour, rings=(*design.rings, figures))


def four(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """IV for IIII."""
    if design.chapter is None or not design.chapter.bent:
        return None
    return replace(design, chapter=replace(design.chapter, four="IV"))


def teardrop(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """Curved Arabic hour figures that swell into drops, heavy or light."""
    chapter = design.chapter
    if chapter is None or chapter.hours == 24 or "arabic-round" not in variety.arabic or not is_free(design):
        return None
    form = letterform("arabic-teardrop")
    heavy = float(rng.uniform(0.75, 1.2))
    radial = bool(rng.random() < 0.2)
    changed = replace(
        chapter, letterform="arabic-teardrop", height=min(chapter.height, float(rng.uniform(0.16, 0.23))),
        radial=radial, turned=bool(radial and rng.random() < 0.4), bent=False, thick=form.thick * heavy,
        thin=form.thin * float(rng.uniform(0.9, 1.6)), cut="left out" if chapter.cut == "cut" else chapter.cut,
    )  # fmt: skip
    return within(replace(design, chapter=changed), changed.outer)


def second_hours(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """13 to 24 in small figures inside the hours, or outside the track, often red; they are numerals."""
    chapter = design.chapter
    if chapter is None or chapter.hours != 12 or len(design.subdials) > 1 or design.rings:
        return None
    design, red = with_ink(design, "red")
    ring = FigureRing(
        zone=Zone.NUMERALS,
        labels=numbers(13, 24),
        letterform=arabic(rng, variety),
        height=float(rng.uniform(0.055, 0.085)),
        at=0.0,
        ink=red if rng.random() < 0.65 else 0,
        start=2 * np.pi / 12,
        radial=bool(rng.random() < 0.35),
        turned=bool(rng.random() < 0.8),
    )
    if rng.random() < 0.35:
        return _outside(design, replace(ring, height=0.8 * ring.height), rng)
    deep = half_depth(ring)
    at = room_inside(design) - 0.012 - deep
    if at < 0.35:
        return None
    kept = tuple(label if _clear(design.subdials, at, 2 * np.pi * (k + 1) / 12, deep) else ""
                 for k, label in enumerate(ring.labels))  # fmt: skip
    return _lettered(replace(design, rings=(*design.rings, replace(ring, at=at, labels=kept))), at - deep)


def _lettered(design: DialDesign, room: float) -> DialDesign:
    """The design with its signature kept within `room`; without it where that is too little."""
    lines = lines_within(design.signature, room) if room > 0.3 else ()
    return replace(design, signature=lines)


def _clear(subdials: tuple[SubDial, ...], at: float, angle: float, half: float) -> bool:
    x, y = at * np.sin(angle), -at * np.cos(angle)
    return all(np.hypot(x - dial.x, y - dial.y) > dial.radius + half for dial in subdials)


def ten_hours(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """Decimal time: ten hours of a hundred minutes."""
    if design.chapter is None or design.track is None or design.chapter.hours != 12:
        return None
    design = without_subdials(design)
    # 6 sixtieths are a tenth: the heavier marks stand at the hours
    track = replace(design.track, divisions=100, every=6, figures_every=0, blocked=False, halves="nothing") \
        if design.track is not None else None  # fmt: skip
    chapter = replace(design.chapter, hours=10) if design.chapter is not None else None
    design = replace(design, track=track, chapter=chapter)
    if rng.random() < 0.6:
        ring = FigureRing(
            Zone.MINUTE_TRACK, ("100", *numbers(10, 90, 10)), arabic(rng, variety), float(rng.uniform(0.04, 0.055)),
            0.0, 0, radial=True, turned=bool(rng.random() < 0.5),
        )  # fmt: skip
        return _outside(design, ring, rng)
    return design


def calendar(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """The days of the month round the centre, or dials of date and weekday at 3 and 9, with or without a moon."""
    if design.chapter is None or design.chapter.hours != 12 or design.rings:
        return None
    room = room_inside(design)
    scale = (design.radius_mm / 22.0) ** 0.8
    if not design.seconds_bit or rng.random() < 0.4:
        design, ink = with_ink(without_subdials(design), str(rng.choice(np.array(["red", "blue"]))))
        ring = FigureRing(
            Zone.OTHER, numbers(1, 31), arabic(rng, variety), float(rng.uniform(0.042, 0.058)), 0.0,
            ink if rng.random() < 0.5 else 0, radial=bool(rng.random() < 0.75), turned=bool(rng.random() < 0.3),
        )  # fmt: skip
        ring = replace(ring, at=room - 0.02 - half_depth(ring), sweep=2 * np.pi)
        inner = ring.at - half_depth(ring) - 0.02
        if ring.at < 0.36:
            return None
        return replace(_lettered(replace(design, rings=(ring,)), inner), centre_ring=inner)
    wide = min(float(rng.uniform(0.17, 0.22)), 0.5 * (room - 0.1))
    x, y = room - wide - 0.015, float(rng.uniform(-0.04, 0.02))
    every = int(rng.choice(np.array([1, 2, 5])))
    date = small_track(rng, variety, scale, divisions=31, figures_every=0, start=31)
    high = (0.1 if every == 1 else 0.15 if every == 2 else 0.2) * wide
    labels = tuple(str(day) if day % every == 1 % every and day + every <= 32 else "" for day in range(1, 32))
    dates = FigureRing(
        Zone.OTHER, labels, arabic(rng, variety), high, (date.inner - 0.04) * wide - 0.7 * high, 0, x=-x, y=y,
        radial=every < 5, word=300,
    )  # fmt: skip
    week = small_track(rng, variety, scale, divisions=7, figures_every=0, start=7)
    form = str(rng.choice(np.array(variety.lettering)))
    names = DAYS if form.endswith("capitals") else tuple(day.title() for day in DAYS)
    days = FigureRing(
        Zone.OTHER, names, form, 0.17 * wide, (week.inner - 0.04) * wide - 0.1 * wide, 0, x=x, y=y, radial=True,
        word=400,
    )  # fmt: skip
    dials = (
        *design.subdials,
        SubDial(-x, y, wide, replace(date, every=10)),
        SubDial(x, y, wide, replace(week, every=1)),
    )
    arbors = tuple((dial.x, dial.y, 0.014) for dial in dials[1:])
    moon, lines = (0.0, 0.0, 0.0), design.signature
    if rng.random() < 0.4:
        size = min(float(rng.uniform(0.13, 0.18)), 0.5 * (room - 0.08))
        moon, lines = (0.0, -(room - size - 0.02), size), ()
    ground = Groundwork(arbors=arbors, moon=moon, tone=float(rng.random()), seed=int(rng.integers(2**31)))
    high_lines = tuple(line for line in lines if line.y < y - 0.6 * wide)
    return replace(design, subdials=dials, rings=(dates, days), ground=ground, signature=high_lines, centre_ring=0.0)


def centre_seconds(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """A long outer track of fifths or quarters of seconds about the minutes, as for a seconds hand from the centre."""
    track = design.track
    if track is None or track.divisions != 60 or design.rings or design.radius_mm > 40 or len(design.subdials) > 1:
        return None
    design = drawn_in(replace(without_subdials(design), track=replace(track, figures_every=0)), 0.865)
    depth = float(rng.uniform(0.04, 0.06))
    outer = float(rng.uniform(0.93, 0.96))
    parts = int(rng.choice(np.array([4, 5])))
    # the heavier marks are the seconds; minor ones the parts of a second
    long = replace(
        track, inner=outer - depth, outer=outer, rings=(True, False), divisions=60 * parts, every=1, mark="tick",
        tick_mm=0.7 * track.tick_mm, heavy_mm=0.9 * track.tick_mm, short=0.5, blocked=False, taper=0.0,
        halves="nothing", figures_every=0,
    )  # fmt: skip
    return replace(design, further_tracks=(long,))


def spiral(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """A scale that winds inward about the centre, red or blue, with figures along it."""
    if design.chapter is None or design.rings or design.radius_mm > 40:
        return None
    room = room_inside(design)
    if room < 0.42:
        return None
    design, ink = with_ink(without_subdials(design), "red" if rng.random() < 0.6 else "blue")
    turns = int(rng.integers(2, 4))
    step = min(float(rng.uniform(0.075, 0.1)), (room - 0.14) / (turns + 1))
    scale = Spiral(
        room - 0.45 * step, step, turns, int(rng.choice(np.array([30, 60]))), 0.055 * (design.radius_mm / 22), ink
    )
    form = arabic(rng, variety)
    figures = []
    for number in range(1, 12 * turns):
        at = scale.outer - step * (number / 12) + 0.68 * step
        if at + 0.3 * step < room:  # the first of them have the hour figures outside
            figures.append(
                FigureRing(Zone.OTHER, (str(5 * number),), form, 0.4 * step, at, ink, start=np.pi * number / 6,
                           radial=True, word=500 + number)
            )  # fmt: skip
    return replace(design, signature=(), centre_ring=0.0, spiral=scale, rings=tuple(figures))


def seconds_at_nine(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """The seconds bit at 9, as in a watch whose crown is at 3."""
    if not design.seconds_bit or len(design.subdials) != 1 or any(ring.y != 0 for ring in design.rings):
        return None
    (bit,) = design.subdials
    return replace(design, subdials=(replace(bit, x=-bit.y, y=0.0),))
