"""Making room on a design: for figures inside its track, for lettering at its rim, for a dial of another size."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from dialtell.synth.design.design import Chapter, DialDesign, Line, Track
from dialtell.synth.design.rings_of_figures import half_depth
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.groundwork import PLAIN

HOURS = ("I", "II", "III", "IIII", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
FEET_GAP = 0.04  # least white between the feet of Roman figures, share of their distance
MOST_BENT = 1.5  # radians a line on an arc takes up at most where another lies below it
CLOCK_MM = 40.0  # radius from which a dial is a clock's


def room_inside(design: DialDesign) -> float:
    """Radius within which there is neither track nor hour figure."""
    if design.chapter is not None:
        return design.chapter.outer - figure_depth(design.chapter)
    return inside_track(design)


def settled(design: DialDesign) -> DialDesign:
    """Hour figures that neither touch each other nor the track, and are cut where a sub-dial lies; nothing is drawn.

    Upright figures of two digits reach further out at 10, 11 and 1 than at 12; wide Roman ones meet at their feet.
    """
    design = replace(design, subdials=tuple(replace(dial, track=_spaced(dial.track)) for dial in design.subdials))
    chapter = design.chapter
    if chapter is None:
        return design
    form = letterform(chapter.letterform)
    if chapter.bent:
        chapter = replace(chapter, height=min(chapter.height, tallest(chapter)))
        chapter = replace(chapter, outer=min(chapter.outer, inside_track(design) - 0.006))
    elif not chapter.radial:
        half = 0.5 * np.array([form.measure("10"), 1.0]) * chapter.height
        angle = np.radians(300.0 if chapter.hours == 12 else 324.0)
        middle = chapter.outer - 0.5 * chapter.height
        corner = np.abs(middle * np.array([np.sin(angle), -np.cos(angle)])) + half
        over = float(np.hypot(*corner)) - (inside_track(design) - 0.008)
        chapter = replace(chapter, outer=chapter.outer - max(over, 0.0))
    else:
        across = 0.5 * form.measure("10") * chapter.height
        over = float(np.hypot(chapter.outer, across)) - (inside_track(design) - 0.006)
        chapter = replace(chapter, outer=chapter.outer - max(over, 0.0))
    if chapter.cut == "left out":
        chapter = replace(chapter, cut="trimmed")
    settled_design = replace(design, chapter=chapter)
    return replace(settled_design, signature=lines_within(design.signature, room_inside(settled_design)))


def tallest(chapter: Chapter) -> float:
    """Height, dial radii, at which neighbouring Roman figures meet at their feet."""
    form = letterform(chapter.letterform)
    wide = max(0.5 * (form.measure(one) + form.measure(other)) for one, other in pairwise((*HOURS, HOURS[0])))
    # at the feet the stems have come half as much closer as the spokes have
    room = 2 * np.pi / chapter.hours * (1.0 - FEET_GAP)
    return float(room * chapter.outer / (chapter.narrow * wide + 0.75 * room))


def _spaced(track: Track) -> Track:
    """A small dial's track whose figures are small enough to stand side by side at its top."""
    if not track.figures_every:
        return track
    count = track.figures_start // track.figures_every
    wide = letterform(track.figures_letterform).measure("50")
    height = min(track.figures_height, 0.85 * 2 * np.pi / count * track.figures_at / wide)
    at = track.figures_at + 0.5 * (track.figures_height - height)
    return replace(track, figures_height=height, figures_at=at)


def clear_of_figures(design: DialDesign) -> float:
    """Radius within which a step about the centre cuts neither track nor figures; 0 where there is none."""
    room = room_inside(design)
    for ring in design.rings:
        if ring.x == 0.0 and ring.y == 0.0 and ring.at < room:
            room = min(room, ring.at - half_depth(ring))
    return max(room - 0.012, 0.0) if len(design.subdials) < 2 else 0.0


def is_free(design: DialDesign) -> bool:
    """Whether nothing stands inside the hours that would have to move with them."""
    about = any(ring.x == 0.0 and ring.y == 0.0 for ring in design.rings)
    return not about and design.frames is None and design.spiral is None and design.ground == PLAIN


def figure_depth(chapter: Chapter) -> float:
    """How deep the ring of the hour figures is, dial radii: upright ones of two digits are wider than high."""
    if chapter.radial or chapter.bent:
        return chapter.height
    return 0.5 * chapter.height * (1.0 + letterform(chapter.letterform).measure("12"))


def inside_track(design: DialDesign) -> float:
    """Radius within which there is no track nor figure of it."""
    track = design.track
    if track is None:
        return 0.95
    figured = track.figures_every and track.figures_at < track.inner
    return track.figures_at - 0.7 * track.figures_height if figured else track.inner


def within(design: DialDesign, reach: float) -> DialDesign:
    """Hour figures and sub-dials kept inside `reach`, and the lettering inside them."""
    chapter = design.chapter
    if chapter is not None and chapter.outer > reach:
        chapter = replace(chapter, outer=reach)
    subdials = []
    for dial in design.subdials:
        away = float(np.hypot(dial.x, dial.y))
        subdials.append(replace(dial, radius=min(dial.radius, max(reach - 0.01 - away, 0.12))))
    design = replace(design, chapter=chapter, subdials=tuple(subdials))
    return replace(design, signature=lines_within(design.signature, room_inside(design)))


def lines_within(lines: tuple[Line, ...], room: float) -> tuple[Line, ...]:
    """The signature lower and smaller where figures reach further in."""
    if not lines:
        return lines
    down = max(0.0, lines[0].height - lines[0].y - (room - 0.025))
    moved = []
    for line in lines:
        y = line.y + down
        wide = line.height * letterform(line.letterform).measure(line.text, tracking=line.tracking)
        limit = 1.8 * float(np.sqrt(max(room**2 - min(y - line.height, 0.0) ** 2, 0.01)))
        height = line.height * min(1.0, limit / wide)
        arc = max(line.arc - down, 0.12) if line.arc > 0 else line.arc
        if arc > 0 and len(lines) > 1 and wide * height / line.height > MOST_BENT * arc:
            arc = 0.0  # its ends would hang into the next line
        moved.append(replace(line, y=y, height=height, arc=arc))
    return tuple(moved)


def drawn_in(design: DialDesign, rim: float) -> DialDesign:
    """All of the track moved inward so that it and its figures end at `rim`, hour figures and sub-dials with it."""
    track = design.track
    if track is None:
        return design
    outside = track.figures_every and track.figures_at > track.outer
    reach = track.figures_at + 0.75 * track.figures_height if outside else track.outer
    off = max(0.0, reach - rim)
    if off == 0.0:
        return design
    moved = replace(track, inner=track.inner - off, outer=track.outer - off, figures_at=track.figures_at - off)
    moved_design = replace(design, track=moved)
    chapter = design.chapter
    reach = inside_track(moved_design) - 0.01
    if chapter is not None:
        reach = min(reach, chapter.outer - off)
    return within(moved_design, reach)


def of_radius(design: DialDesign, radius_mm: float) -> DialDesign:
    """The same on a dial of another size: lines grow less than the dial does."""
    scale = (radius_mm / design.radius_mm) ** 0.8

    def wider(track: Track) -> Track:
        return replace(
            track, ring_mm=scale * track.ring_mm, tick_mm=scale * track.tick_mm, heavy_mm=scale * track.heavy_mm
        )

    return replace(
        design,
        radius_mm=radius_mm,
        track=None if design.track is None else wider(design.track),
        subdials=tuple(replace(dial, track=wider(dial.track)) for dial in design.subdials),
    )


def without_subdials(design: DialDesign) -> DialDesign:
    """The same without sub-dials."""
    return replace(design, subdials=(), seconds_bit=False)


def as_clock(design: DialDesign, rng: np.random.Generator) -> DialDesign:
    """The design on a clock's dial, most of which have no sub-dial; one that is a clock's already keeps its size."""
    radius = float(rng.uniform(45.0, 130.0))
    design = without_subdials(design)
    return design if design.radius_mm > CLOCK_MM else of_radius(design, radius)


def with_ink(design: DialDesign, name: str) -> tuple[DialDesign, int]:
    """The design with that ink among its own, and its number."""
    if name in design.inks:
        return design, design.inks.index(name)
    return replace(design, inks=(*design.inks, name)), len(design.inks)
