"""What is on a dial: a frozen design drawn at random, the same whatever process lays it down.

Lengths are in dial radii unless named mm. Proportions follow common practice of the trade (see DEVELOPERS.md).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dialtell.synth.design.frames import Frames, Spiral
from dialtell.synth.design.makers import invent_maker, invent_town
from dialtell.synth.design.marks import MARKS
from dialtell.synth.design.rings_of_figures import FigureRing
from dialtell.synth.letterforms.families import FAMILIES
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.groundwork import PLAIN, Groundwork
from dialtell.synth.shared.sizes import dial_diameter_mm

# relative density of an ink in red, green and blue light
INKS: dict[str, tuple[float, float, float]] = {
    "black": (1.0, 1.0, 1.0),
    "brown-black": (0.88, 0.97, 1.0),
    "red": (0.18, 0.95, 0.90),
    "blue": (1.0, 0.75, 0.35),
    "gold": (0.35, 0.55, 1.0),
}


@dataclass(frozen=True)
class Chapter:
    """The hour figures. height, outer: radii. thick, thin: widths of strokes in figure heights."""

    letterform: str
    hours: int  # 12 or 24; 10 on a dial of decimal time
    height: float  # 0.13..0.28
    outer: float  # outer ends of the figures, 0.60..0.86
    radial: bool  # feet towards the centre; else upright
    turned: bool  # radial, but the lower half turned to read upright
    thick: float
    thin: float
    ink: int
    bent: bool  # bars and feet follow the circle
    four: str = "IIII"  # or "IV"
    narrow: float = 1.0  # share of the letterform's own width that figures bent to the circle have, 0.4..1
    cut: str = "left out"  # a figure a sub-dial covers; "trimmed": its neighbours cut too; itself "cut"; "inside" it


@dataclass(frozen=True)
class Track:
    """A ring of divisions. Radii in dial radii, widths in mm."""

    inner: float
    outer: float
    rings: tuple[bool, bool]  # inner and outer ring drawn
    ring_mm: float
    divisions: int
    tick_mm: float
    heavy_mm: float
    every: int  # a heavier mark at every `every`-th division
    mark: str  # "tick" or one of MARKS
    short: float  # share of the track's width a minor tick spans
    blocked: bool  # railway track: alternate divisions filled half
    taper: float  # ln of a tick's outer over its inner width, -0.7..0.7; 0 parallel
    halves: str  # what stands between the divisions: nothing, dot, short
    figures_every: int  # 0 none, else a figure at every n-th division
    figures_letterform: str
    figures_height: float
    figures_at: float  # radius of the middle of the figures
    figures_start: int  # the figure at the top (60, 24, 10 ...)
    ink: int
    from_outside: bool = False  # shorter ticks stand on the outer side whatever rings are drawn
    hour_bars: bool = False  # the heavier marks stand for the hour figures: they are numerals


@dataclass(frozen=True)
class SubDial:
    """A dial on the dial: the seconds bit, or a counter as on timers."""

    x: float
    y: float
    radius: float
    track: Track


@dataclass(frozen=True)
class Line:
    """One line of the signature. height: capital height in radii; baseline at `y`, or on an arc of radius `arc`."""

    text: str
    letterform: str
    height: float
    y: float
    arc: float  # 0 straight; else radius of the arc about the dial centre
    thick: float
    thin: float
    tracking: float
    ink: int
    x: float = 0.0  # of the middle of a straight line; an arc below the centre has a negative `arc`


@dataclass(frozen=True)
class DialDesign:
    """Everything the process is asked to lay down."""

    radius_mm: float
    inks: tuple[str, ...]
    density: float  # D of a full coat, 1..2.4
    chapter: Chapter | None
    track: Track | None
    subdials: tuple[SubDial, ...]
    signature: tuple[Line, ...]
    centre_ring: float  # radius of a ring inside the chapter, 0 none
    seconds_bit: bool  # the first sub-dial is a seconds bit
    further_tracks: tuple[Track, ...] = ()  # about the dial's centre, beside `track`
    rings: tuple[FigureRing, ...] = ()
    frames: Frames | None = None
    spiral: Spiral | None = None
    edge: tuple[Line, ...] = ()  # small lettering and numbers at the rim
    ground: Groundwork = PLAIN
    uncommon: tuple[str, ...] = ()  # what of uncommon.KINDS it has


HALVES = ("nothing", "dot", "short")
RINGS = ((True, True), (True, False), (False, True), (False, False))  # inside and outside a track
ROMAN = ("roman-heavy", "roman-full", "roman-slender")
ARABIC = ("arabic-modern", "arabic-round", "arabic-plain")
LETTERING = ("serif-capitals", "block-capitals", "round-script", "italic-lower")


@dataclass(frozen=True)
class Variety:
    """Which letterforms and layouts a design may draw from, held-out sets leave some out of training; and shares."""

    roman: tuple[str, ...] = ROMAN
    arabic: tuple[str, ...] = ARABIC
    lettering: tuple[str, ...] = LETTERING
    marks: tuple[str, ...] = ("tick", *MARKS)
    layouts: tuple[str, ...] = ("standard", "no seconds", "24-hour", "timer", "clock")
    uncommon: float = 0.45  # share of dials with something of uncommon.KINDS
    families: tuple[str, ...] = tuple(FAMILIES)  # of fonts
    fonts: float = 0.5  # share of parts (hours, figures of tracks, lines of the signature) whose letterform is a font's

    def without(self, layout: str) -> Variety:
        """The same with one layout left out."""
        return replace(self, layouts=tuple(name for name in self.layouts if name != layout))


def sample_design(*, rng: np.random.Generator, variety: Variety | None = None) -> DialDesign:
    """Draw a dial as a workshop of about 1840 to 1910 might have made it, or one of the uncommon designs."""
    from dialtell.synth.design.uncommon import with_uncommon  # late: uncommon designs are made of this file's parts

    variety = variety or Variety()
    return with_uncommon(_common_design(rng, variety), variety)


def _common_design(rng: np.random.Generator, variety: Variety) -> DialDesign:
    weights = {"standard": 0.62, "no seconds": 0.14, "24-hour": 0.07, "timer": 0.09, "clock": 0.08}
    odds = np.array([weights[name] for name in variety.layouts])
    layout = str(rng.choice(np.array(variety.layouts), p=odds / odds.sum()))
    radius = _radius(rng) if layout != "clock" else float(rng.uniform(45, 130))
    scale = (radius / 22.0) ** 0.8
    inks = ["black" if rng.random() < 0.85 else "brown-black"]
    if rng.random() < 0.15:
        inks.append(str(rng.choice(np.array(["red", "blue", "gold"]))))
    track = _main_track(rng, layout, variety, scale, second_ink=len(inks) - 1)
    subdials = _subdials(rng, layout, variety, scale, track)
    chapter = None if layout == "timer" and rng.random() < 0.7 else _chapter(rng, layout, variety, track)
    signature = _signature(rng, layout, variety, chapter, len(inks))
    ring = 0.0
    if chapter is not None and rng.random() < 0.12 and not subdials:
        ring = chapter.outer - chapter.height - float(rng.uniform(0.02, 0.05))
    return DialDesign(
        radius_mm=radius,
        inks=tuple(inks),
        density=float(np.clip(rng.normal(1.8, 0.25), 1.0, 2.4)),  # real ones are nearly black; faded ones few
        chapter=chapter,
        track=track,
        subdials=subdials,
        signature=signature,
        centre_ring=ring,
        seconds_bit=bool(subdials) and layout != "timer",
    )


def _radius(rng: np.random.Generator) -> float:
    size = int(rng.choice(np.array([18, 16, 14, 12, 10, 8, 6, 0]), p=[0.34, 0.24, 0.1, 0.12, 0.05, 0.05, 0.06, 0.04]))
    plate = dial_diameter_mm(size=size)
    assert plate is not None
    return 0.5 * plate * float(rng.normal(0.995, 0.006))


def _line(rng: np.random.Generator, thin: float, broad: float) -> float:
    """Width of a track's lines, mm on a watch, log-uniform: hairlines of the earlier dials, bold lines of later ones.

    Measured on real dials within their resolution: 0.1 to 0.16 painted, 0.15 to 0.3 printed, of an 18 size dial.
    """
    return float(np.exp(rng.uniform(np.log(thin), np.log(broad))))


def _weights(rng: np.random.Generator, name: str) -> tuple[float, float]:
    """Thick and thin stroke widths in figure heights, about the letterform's usual ones."""
    form = letterform(name)
    thick = form.thick * float(np.exp(rng.normal(0.2, 0.18)).clip(0.8, 1.6))
    thin = form.thin * float(np.exp(rng.normal(0.3, 0.35)).clip(0.7, 2.6))
    return thick, min(thin, 0.95 * thick)


def _main_track(rng: np.random.Generator, layout: str, variety: Variety, scale: float, *, second_ink: int) -> Track:
    outer = float(rng.uniform(0.86, 0.955))
    depth = float(rng.uniform(0.022, 0.055))
    rings = RINGS[int(rng.choice(4, p=[0.42, 0.22, 0.08, 0.28]))]
    figured = rng.random() < (0.9 if layout == "timer" else 0.3)
    letterform = str(rng.choice(np.array(variety.arabic)))
    height = float(rng.uniform(0.035, 0.06)) * (1.5 if layout == "timer" else 1.0)
    tick = _line(rng, 0.08, 0.4) * scale
    outside = figured and rng.random() < 0.6 and outer + 0.02 + 1.2 * height < 0.985
    at = outer + 0.02 + 0.5 * height if outside else outer - depth - 0.02 - 0.5 * height
    return Track(
        inner=outer - depth,
        outer=outer,
        rings=rings,
        ring_mm=_line(rng, 0.06, 0.3) * scale,
        divisions=60 if layout != "24-hour" or rng.random() < 0.4 else 120,
        tick_mm=tick,
        heavy_mm=max(float(rng.uniform(0.16, 0.7)) * scale, 1.1 * tick),
        every=5 if layout != "timer" or rng.random() < 0.6 else 10,
        mark=_mark(rng, variety),
        short=float(rng.choice(np.array([1.0, 1.0, 0.6, 0.45]))),
        blocked=bool(rng.random() < 0.06),
        taper=float(rng.uniform(-0.7, 0.7)) if rng.random() < 0.2 else 0.0,
        halves=str(rng.choice(np.array(HALVES), p=[0.55, 0.15, 0.3] if layout == "timer" else [0.9, 0.04, 0.06])),
        figures_every=(5 if layout != "timer" else int(rng.choice(np.array([5, 10])))) if figured else 0,
        figures_letterform=letterform,
        figures_height=height,
        figures_at=at,
        figures_start=60,
        ink=second_ink if second_ink and rng.random() < 0.15 else 0,
    )


def _mark(rng: np.random.Generator, variety: Variety) -> str:
    """A five-minute mark, more often plain than not."""
    plain = rng.random() < 0.35
    name = str(rng.choice(np.array(variety.marks)))
    return "tick" if plain and "tick" in variety.marks else name


def _chapter(rng: np.random.Generator, layout: str, variety: Variety, track: Track) -> Chapter:
    roman = rng.random() < (0.95 if layout in ("24-hour", "clock") else 0.65)
    forms = variety.roman if roman else variety.arabic
    if layout == "24-hour":
        roman, forms = True, variety.roman
    inside = track.inner
    if track.figures_every and track.figures_at < track.inner:
        inside = track.figures_at - 0.5 * track.figures_height - 0.005
    hours = 24 if layout == "24-hour" else 12
    height = float(rng.uniform(0.17, 0.31) if roman else rng.uniform(0.15, 0.26)) * (0.75 if hours == 24 else 1)
    radial = roman or rng.random() < 0.25
    name = str(rng.choice(np.array(forms)))
    thick, thin = _weights(rng, name)
    return Chapter(
        letterform=name,
        hours=hours,
        height=height,
        outer=min(inside - float(rng.uniform(0.008, 0.035)), 0.88),
        radial=bool(radial),
        turned=bool(radial and not roman and rng.random() < 0.3),
        thick=thick,
        thin=thin,
        ink=0,
        bent=bool(roman),
    )


def small_track(
    rng: np.random.Generator,
    variety: Variety,
    scale: float,
    *,
    divisions: int,
    figures_every: int,
    start: int,
) -> Track:
    outer = float(rng.uniform(0.84, 0.97))
    depth = float(rng.uniform(0.08, 0.15))
    height = float(rng.uniform(0.17, 0.26))
    rings = RINGS[int(rng.choice(4, p=[0.4, 0.25, 0.15, 0.2]))]
    return Track(
        inner=outer - depth,
        outer=outer,
        rings=rings,
        ring_mm=_line(rng, 0.05, 0.16) * scale,
        divisions=divisions,
        tick_mm=_line(rng, 0.06, 0.2) * scale,
        heavy_mm=float(rng.uniform(0.1, 0.28)) * scale,
        every=5,
        mark=str(rng.choice(np.array(["tick", "tick", "dot"]))),
        short=float(rng.choice(np.array([1.0, 0.6]))),
        blocked=False,
        taper=0.0,
        halves="nothing",
        figures_every=figures_every,
        figures_letterform=str(rng.choice(np.array(variety.arabic))),
        figures_height=height,
        figures_at=outer - depth - 0.03 - 0.5 * height,
        figures_start=start,
        ink=0,
    )


def _subdials(
    rng: np.random.Generator, layout: str, variety: Variety, scale: float, main: Track
) -> tuple[SubDial, ...]:
    if layout == "timer":
        up, down = float(rng.uniform(0.38, 0.48)), float(rng.uniform(0.45, 0.55))
        first = small_track(rng, variety, scale, divisions=60, figures_every=10, start=60)
        tens = int(rng.choice(np.array([10, 30, 20])))
        second = small_track(rng, variety, scale, divisions=tens, figures_every=max(tens // 10, 1), start=tens)
        inside = main.inner - 0.01  # a counter keeps clear of the main track and of the figures inside it
        if main.figures_every and main.figures_at < main.inner:
            inside = main.figures_at - 0.6 * main.figures_height
        lower = min(float(rng.uniform(0.22, 0.3)), inside - down)
        upper = min(float(rng.uniform(0.22, 0.32)), inside - up)
        return (SubDial(0.0, down, lower, first), SubDial(0.0, -up, upper, second))
    if layout in ("no seconds", "24-hour", "clock"):
        return ()
    every = int(rng.choice(np.array([10, 10, 10, 15, 5])))
    track = small_track(rng, variety, scale, divisions=60, figures_every=every, start=60)
    return (SubDial(0.0, float(rng.uniform(0.44, 0.55)), float(rng.uniform(0.17, 0.27)), track),)


def _signature(
    rng: np.random.Generator, layout: str, variety: Variety, chapter: Chapter | None, inks: int
) -> tuple[Line, ...]:
    count = int(rng.choice(4, p=[0.12, 0.3, 0.46, 0.12]))
    if layout == "timer":
        return ()  # its place is taken by a counter
    room = (chapter.outer - chapter.height) if chapter else 0.75
    lines: list[Line] = []
    top = min(float(rng.uniform(0.30, 0.46)), room - 0.13)  # clear of the feet of XII
    for index in range(count):
        form = str(rng.choice(np.array(variety.lettering)))
        thick, thin = _weights(rng, form)
        text = invent_maker(rng=rng) if index == 0 else invent_town(rng=rng)
        capital = form.endswith("capitals")
        if capital:
            text = text.upper()
        height = float(rng.uniform(0.045, 0.075)) * (1.35 if form == "round-script" else 1.0)
        height *= (1.0, 0.8, 0.7)[index]
        y = -(top - index * float(rng.uniform(0.10, 0.13)))
        width = 0.62 * height * len(text)
        limit = 1.5 * np.sqrt(max(room**2 - y**2, 0.02))
        height *= min(1.0, limit / width)
        arc = -y if index == 0 and capital and rng.random() < 0.35 else 0.0
        lines.append(
            Line(
                text=text,
                letterform=form,
                height=height,
                y=y,
                arc=arc,
                thick=thick,
                thin=thin,
                tracking=float(rng.uniform(0.0, 0.12)) if form != "round-script" else 0.0,
                ink=inks - 1 if rng.random() < 0.1 else 0,
            )
        )
    return tuple(lines)
