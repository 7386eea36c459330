"""Uncommon designs that ask something of the dial itself: plaques, centres, winding holes, steps; bars; regulators."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dialtell.synth.design.design import Chapter, DialDesign, SubDial, Variety, small_track
from dialtell.synth.design.fitting import (
    CLOCK_MM,
    as_clock,
    inside_track,
    lines_within,
    room_inside,
    with_ink,
    without_subdials,
)
from dialtell.synth.design.frames import Frames
from dialtell.synth.design.makers import invent_maker, invent_town
from dialtell.synth.design.rings_of_figures import FigureRing, half_depth, numbers
from dialtell.synth.design.uncommon_rings import arabic
from dialtell.synth.design.uncommon_words import line_of
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.groundwork import CENTRES, GROUNDS, PLAIN, PLAQUES, Groundwork
from dialtell.synth.shared.terms import Zone


def seeded(ground: Groundwork, rng: np.random.Generator) -> Groundwork:
    """With a seed and a metal of its own, unless it has them."""
    if ground.seed:
        return ground
    return replace(ground, tone=float(rng.random()), seed=int(rng.integers(1, 2**31)))


def half_width(chapter: Chapter) -> float:
    """Half the width of the widest hour figure, dial radii."""
    form = letterform(chapter.letterform)
    names = ("VIII", "XII") if chapter.bent else ("10", "12")
    return 0.5 * chapter.narrow * chapter.height * max(form.measure(name) for name in names)


def cartouches(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """An enamel plaque or a painted frame for every hour figure."""
    if design.chapter is None or design.chapter.hours != 12 or design.track is None or design.track.blocked:
        return None
    if rng.random() < 0.7:
        design = as_clock(design, rng)
    design = without_subdials(design)
    chapter, track = design.chapter, design.track
    assert chapter is not None and track is not None
    shape = str(rng.choice(np.array(PLAQUES[1:])))
    ratio = 1.0 if shape == "round" else float(rng.uniform(1.0, 1.35))
    share = 0.46 * 2 * np.pi / 12  # of its radius that a plaque is wide to each side
    at = (inside_track(design) - 0.045) / (1.0 + ratio * share)
    wide = share * at
    high = ratio * wide
    # the largest figure whose corners the plaque holds; a shield has less room below
    height = 0.9 / float(np.hypot(half_width(chapter) / chapter.height / wide, 0.5 / high))
    height *= 0.85 if shape == "shield" else 1.0
    chapter = replace(chapter, height=height, outer=at + 0.5 * height, cut="left out")
    blue = rng.random() < 0.4
    design, ink = with_ink(design, "blue") if blue else (design, 0)
    design = replace(design, chapter=replace(chapter, ink=ink), centre_ring=0.0)
    if at - high < 0.34:
        return None
    room = at - high - 0.05
    design = replace(design, signature=design.signature[:1] if room > 0.5 else ())
    if rng.random() < 0.4:
        design, gold = with_ink(design, str(rng.choice(np.array(["gold", "blue", "red"]))))
        frames = Frames(
            shape, at, wide, high, 0.12 * (design.radius_mm / 22) ** 0.8,
            bool(rng.random() < 0.4), gold if rng.random() < 0.7 else 0,
        )  # fmt: skip
        return replace(design, frames=frames)
    ground = replace(
        design.ground, plaques=shape, plaque_at=at, plaque_wide=wide, plaque_high=high, plaque_count=12,
        plaque_ground=str(rng.choice(np.array(GROUNDS), p=[0.35, 0.35, 0.2, 0.1])),
    )  # fmt: skip
    return replace(design, ground=seeded(ground, rng))


def centre(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """A centre cut out to show the works, or of chased, engine-turned or brushed metal: no strokes there.

    Or of enamel like the rest, in a ring of brass; it keeps the signature.
    """
    if design.chapter is None or design.rings or design.ground.centre_reach:
        return None
    if rng.random() < 0.75:
        design = as_clock(design, rng)
    design = replace(without_subdials(design), centre_ring=0.0)
    room = room_inside(design)
    if room < 0.32:
        return None
    kind = str(rng.choice(np.array(CENTRES), p=[0.36, 0.26, 0.2, 0.09, 0.09]))
    reach = min(float(rng.uniform(0.32, 0.56)), room - 0.07)
    y = 0.0
    if kind == "open" and rng.random() < 0.6:  # the opening of a visible escapement, above the hands
        reach = min(float(rng.uniform(0.15, 0.22)), 0.5 * (room - 0.16))
        y = -(reach + 0.1)
    lines, collar = design.signature, float(rng.choice([0.0, 0.02, 0.035]))
    if kind == "enamel":  # a disc of its own in a ring of brass
        collar = float(rng.uniform(0.018, 0.045))
    lines = lines_within(lines, reach - 0.03) if kind == "enamel" and reach > 0.36 else ()
    ground = replace(design.ground, centre=kind, centre_reach=reach, centre_y=y, collar=collar)
    design = replace(design, ground=seeded(ground, rng), signature=lines)
    with_holes = winding_holes(design, rng, variety) if rng.random() < 0.6 else None
    return with_holes or design


def winding_holes(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """Holes for the key: two on a clock, at 3 and 9 or 4 and 8, or with 6; one between 2 and 4 on an early watch."""
    if design.ground.holes or len(design.subdials) > 1 or design.spiral is not None:
        return None
    clock = design.radius_mm > CLOCK_MM
    if not clock and not design.subdials and rng.random() < 0.5:
        design, clock = as_clock(design, rng), True
    room = room_inside(design)
    for ring in design.rings:
        if ring.x == 0 and ring.y == 0 and ring.at < room:
            room = min(room, ring.at - half_depth(ring))
    size = float(rng.uniform(0.035, 0.055)) if clock else float(rng.uniform(0.045, 0.065))
    inner = 0.15
    ground = design.ground
    if ground.centre_reach and ground.centre_y == 0.0:
        inner = ground.centre_reach + ground.collar + 1.5 * size  # on the enamel about it
    farthest = room - 1.4 * size - 0.025
    if ground.centre != "open" and ground.centre_reach - 1.5 * size > 0.22:
        inner, farthest = 0.22, ground.centre_reach - 1.5 * size
    if farthest < max(inner, 0.22):
        return None
    reach = float(rng.uniform(max(inner, 0.22), farthest))
    turn = float(rng.choice(np.array([90.0, 105.0, 118.0]))) + float(rng.uniform(-4, 4))
    if not clock:
        turn = float(rng.uniform(62.0, 118.0))
    angle = np.radians(turn)
    x, y = reach * float(np.sin(angle)), -reach * float(np.cos(angle))
    for dial in design.subdials:
        if np.hypot(x - dial.x, y - dial.y) < dial.radius + 1.4 * size:
            return None
    lines = tuple(line for line in design.signature if abs(line.y - 0.4 * line.height - y) > 1.5 * size + line.height)
    holes = ((x, y, size), (-x, y, size)) if clock else ((x, y, size),)
    if clock and not design.subdials and rng.random() < 0.25:  # a third for the chimes, or one alone, at 6
        holes = (*holes, (0.0, reach, size)) if rng.random() < 0.5 else ((0.0, reach, size),)
        lines = tuple(line for line in lines if line.y < 0.0)
    ground = replace(ground, holes=holes, grommets=bool(rng.random() < 0.75))
    return replace(design, ground=seeded(ground, rng), signature=lines)


def sunk_centre(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """The middle of the dial lower than the hours, and the seconds bit lower still, where there is one."""
    if design.chapter is None or design.ground.centre_reach or design.ground.step:
        return None
    room = room_inside(design)
    for ring in design.rings:
        if ring.x == 0 and ring.y == 0 and ring.at < room:
            return None
    if room < 0.3:
        return None
    step = room - float(rng.uniform(0.012, 0.04))
    return replace(design, ground=seeded(replace(design.ground, step=step), rng), centre_ring=0.0)


def bars(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """A station's clock: bold bars for the hours and slighter ones for the minutes, with bold figures or none."""
    if design.track is None or design.rings or "tick" not in variety.marks:
        return None
    design = replace(as_clock(design, rng), centre_ring=0.0, ground=PLAIN)
    radius = design.radius_mm
    figured = rng.random() < 0.4
    outer = float(rng.uniform(0.92, 0.975))
    depth = float(rng.uniform(0.06, 0.1)) if figured else float(rng.uniform(0.17, 0.26))
    hour = float(rng.uniform(0.026, 0.04) if figured else rng.uniform(0.04, 0.062))
    assert design.track is not None
    track = replace(
        design.track, inner=outer - depth, outer=outer, rings=(False, False), divisions=60, every=5, mark="tick",
        tick_mm=radius * hour * float(rng.uniform(0.3, 0.5)), heavy_mm=radius * hour, blocked=False, taper=0.0,
        short=float(rng.uniform(0.6, 1.0) if figured else rng.uniform(0.3, 0.45)), halves="nothing",
        figures_every=0, from_outside=True, ink=0, hour_bars=not figured,
    )  # fmt: skip
    chapter = None
    if figured:
        plain = "arabic-plain" if "arabic-plain" in variety.arabic else arabic(rng, variety)
        form = letterform(plain)
        height = float(rng.uniform(0.16, 0.22))
        heavy = float(rng.uniform(1.0, 1.5))
        chapter = Chapter(
            letterform=plain, hours=12, height=height, outer=outer - depth - 0.03 - 0.2 * height, radial=False,
            turned=False, thick=heavy * form.thick, thin=heavy * form.thin, ink=0, bent=False,
        )  # fmt: skip
    below = float(rng.uniform(0.28, 0.42)) if rng.random() < 0.5 else 0.0  # where there are hands of equal length
    lines = tuple(replace(line, arc=0.0, y=below or line.y) for line in design.signature[:1])
    lines = lines if rng.random() < 0.5 else ()
    return replace(
        design, inks=("black",), track=track, chapter=chapter,
        signature=tuple(replace(line, ink=0) for line in lines),
    )  # fmt: skip


def regulator(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """Minutes from the centre, seconds on a dial above and hours on one below, maker and town on either side."""
    track = design.track
    if track is None or track.divisions != 60 or design.rings:
        return None
    scale = (design.radius_mm / 22.0) ** 0.8
    ring = FigureRing(
        Zone.MINUTE_TRACK, ("60", *numbers(5, 55, 5)), arabic(rng, variety), float(rng.uniform(0.055, 0.08)), 0.0, 0,
        radial=True, turned=bool(rng.random() < 0.4),
    )  # fmt: skip
    outer = 0.975 - 2 * half_depth(ring) - 0.015
    depth = float(rng.uniform(0.03, 0.05))
    track = replace(track, outer=outer, inner=outer - depth, figures_every=0, blocked=False)
    wide = [min(float(rng.uniform(0.28, 0.37)), 0.5 * (track.inner - 0.13)) for _ in range(2)]
    places = [float(rng.uniform(0.09 + size, track.inner - 0.03 - size)) for size in wide]
    seconds = small_track(rng, variety, scale, divisions=60, figures_every=int(rng.choice([10, 15])), start=60)
    hours = 24 if rng.random() < 0.3 else 12
    hour_track = small_track(rng, variety, scale, divisions=hours, figures_every=1, start=hours)
    if hours == 24:
        hour_track = replace(hour_track, figures_height=0.13, figures_at=hour_track.inner - 0.11)
    subdials = (
        SubDial(0.0, -places[0], wide[0], seconds),
        SubDial(0.0, places[1], wide[1], replace(hour_track, every=5)),
    )
    lines = tuple(
        line_of(text, 0.055, y=0.02, variety=variety, rng=rng, room=0.52, x=x)
        for text, x in ((invent_maker(rng=rng), -0.42), (invent_town(rng=rng), 0.42))
    )
    ground = seeded(Groundwork(arbors=((0.0, places[1], 0.016),)), rng)
    return replace(
        design, track=track, chapter=None, subdials=subdials, signature=lines if rng.random() < 0.8 else (),
        rings=(replace(ring, at=0.975 - half_depth(ring)),), centre_ring=0.0, seconds_bit=True, ground=ground,
    )  # fmt: skip
