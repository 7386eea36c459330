"""Dials of designs that workshops of fired enamel did not make: station, school and wall clocks, tracks of figures,
regulators, ten-hour dials, sticks for figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dialtell.synth.design.makers import invent_maker, invent_name, invent_town
from dialtell.synth.faces.face_parts import (
    NUMBER,
    Face,
    Floats,
    Image,
    Index,
    Shape,
    Tone,
    around,
    bar,
    blend,
    disc,
    filled,
    moved,
    oval,
)
from dialtell.synth.faces.lettering import STYLES, Word, figures_around, set_words
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Make, Seen, Zone

KINDS = ("station", "wall", "sticks", "figure track", "regulator", "ten hours", "counters", "plain")
MARKS = ("none", "bar", "dot", "stick", "wedge", "double")
TRACKS = ("none", "ticks", "ladder", "blocks", "dots")
WORDS = ("QUARTZ", "automatic", "ELECTRIC", "SHOCKPROOF", "17 JEWELS", "MASTER", "RADIO", "8 DAYS")
INK: tuple[Tone, ...] = ((0.015, 0.015, 0.015), (0.03, 0.03, 0.035), (0.06, 0.045, 0.04), (0.01, 0.03, 0.14))
BRIGHT: tuple[Tone, ...] = (
    (0.5, 0.02, 0.02), (0.02, 0.05, 0.3), (0.35, 0.02, 0.03), (0.02, 0.2, 0.08),
    (0.6, 0.2, 0.02),
)  # fmt: skip
DARK_GROUNDS: tuple[Tone, ...] = ((0.012, 0.012, 0.013), (0.01, 0.02, 0.08), (0.02, 0.06, 0.035), (0.1, 0.012, 0.015))


@dataclass(frozen=True)
class ModernSpec:
    """What is on it. Lengths in dial radii; tones are linear reflectance.

    kind : one of KINDS. figures : style, one of lettering.STYLES. shown : hours with a figure. stretch : 0.7..1.3, of
    figures. radial : as in lettering.figures_around. height, at : of the hour figures, and the radius of their middle.
    marks : at the hours, one of MARKS; mark : their inner and outer end and width. track : one of TRACKS.
    track_ends : its inner and outer end. count : divisions. ring : (height, radius) of a second ring of figures, or 0;
    ring_to : its last figure, which stands at the top; ring_step : one figure in so many.
    lines : (word, height, y) of the signature. symbol : points of an invented sign, 0 none. window : (x, y) of the
    date, (0, 0) none. subs : (x, y, radius, last figure) of dials on the dial. tones : ground, ink, second ink.
    second : which of numerals, track, ring, signature take the second ink.
    """

    kind: str
    make: Make
    figures: str
    shown: tuple[int, ...]
    hours: int
    stretch: float
    radial: str
    height: float
    at: float
    marks: str
    mark: tuple[float, float, float]
    track: str
    track_ends: tuple[float, float]
    count: int
    heavy: float
    ring: tuple[float, float]
    ring_to: int
    ring_step: int
    lines: tuple[tuple[str, float, float], ...]
    symbol: int
    window: tuple[float, float]
    subs: tuple[tuple[float, float, float, int], ...]
    tones: tuple[Tone, Tone, Tone]
    second: tuple[bool, bool, bool, bool]
    seed: int

    def __post_init__(self) -> None:
        for name, given, known in (("kind", self.kind, KINDS), ("figures", self.figures, STYLES)):
            if given not in known:
                raise ParameterError(f"{name} is {given!r}; give one of {', '.join(known)}")


def sample_modern(*, rng: np.random.Generator, make: Make) -> ModernSpec:
    """Draw a dial; `make` settles what tones are likely."""
    kind = str(rng.choice(np.array(KINDS), p=[0.13, 0.25, 0.12, 0.14, 0.1, 0.06, 0.08, 0.12]))
    hours = 10 if kind == "ten hours" else 24 if kind == "plain" and rng.random() < 0.25 else 12
    figures = str(rng.choice(np.array(STYLES)))
    dark = make in (Make.PAINTED, Make.RAISED, Make.METAL) and rng.random() < 0.35
    tones = _tones(rng, dark, make)
    rim = float(rng.uniform(0.9, 0.98))
    track = str(rng.choice(np.array(TRACKS), p=[0.2, 0.35, 0.2, 0.1, 0.15]))
    marks = str(rng.choice(np.array(MARKS), p=[0.4, 0.2, 0.15, 0.1, 0.1, 0.05]))
    depth = float(rng.uniform(0.03, 0.09))
    ring = (0.0, 0.0)
    ring_to, ring_step = 60, 5
    shown: tuple[int, ...] = tuple(range(1, hours + 1))
    subs: tuple[tuple[float, float, float, int], ...] = ()
    if kind == "station":
        track, marks, shown = "ticks", "bar", ()
        depth = float(rng.uniform(0.08, 0.24))
    elif kind == "sticks":
        marks = str(rng.choice(np.array(MARKS[1:])))
        depth = float(rng.uniform(0.03, 0.07))
        shown = () if rng.random() < 0.5 else (12,) if rng.random() < 0.3 else (3, 6, 9, 12)
    elif kind == "wall" and rng.random() < 0.25:
        shown = (3, 6, 9, 12) if rng.random() < 0.6 else (2, 4, 6, 8, 10, 12)
    elif kind == "figure track":
        size = float(rng.uniform(0.05, 0.085))
        ring_step = 1 if rng.random() < 0.55 else 5
        ring = (size, rim - 0.6 * size)
    elif kind == "regulator":
        marks, shown, ring = "none", (), (float(rng.uniform(0.08, 0.13)), 0.0)
        place = float(rng.uniform(0.3, 0.42))
        size = float(rng.uniform(0.24, 0.3))
        subs = ((0.0, place, size, 12), (0.0, -place, size, 60))[: 2 if rng.random() < 0.7 else 1]
    track_ends = (rim - depth, rim)
    reach = min(track_ends[0], ring[1] - 0.6 * ring[0] if ring[1] else 1.0)
    if kind == "figure track":
        track_ends = (ring[1] - 0.75 * ring[0] - depth * 0.6, ring[1] - 0.75 * ring[0])
        reach = track_ends[0]
    if kind == "regulator":
        ring = (ring[0], reach - 0.75 * ring[0])
    mark_long = float(rng.uniform(0.06, 0.2))
    mark = (reach - 0.015 - mark_long, reach - 0.015, float(rng.uniform(0.015, 0.07)))
    if kind == "station":
        mark = (rim - float(rng.uniform(0.2, 0.36)), rim, float(rng.uniform(0.05, 0.1)))
    inside = mark[0] if marks != "none" and kind != "sticks" else reach
    height = float(rng.uniform(0.12, 0.26)) * (0.7 if hours == 24 else 1.0)
    if kind == "sticks" and shown:  # a figure stands where the stick would
        inside, height = reach, float(rng.uniform(0.1, 0.22))
    # no wider than the way from figure to figure
    height = min(height, 5.0 * inside / max(len(shown), 6) / (1.3 + 5.0 * 0.75 / max(len(shown), 6)))
    at = inside - float(rng.uniform(0.62, 0.85)) * height
    if not ring[1] and kind in ("wall", "plain") and rng.random() < 0.3 and shown and hours == 12:
        ring, ring_to, ring_step = (float(rng.uniform(0.05, 0.09)), 0.0), 24, 1
        ring = (ring[0], at - 0.62 * height - 0.75 * ring[0])
    if kind == "counters":
        places = [(0.42, 0.0), (-0.42, 0.0), (0.0, 0.42), (0.0, -0.4)]
        keep = rng.permutation(4)[: int(rng.integers(1, 4))]
        size = float(rng.uniform(0.19, 0.3))
        subs = tuple((*places[int(k)], size, int(rng.choice(np.array([12, 30, 60, 60])))) for k in keep)
    elif kind in ("wall", "plain", "figure track") and rng.random() < 0.2:
        subs = ((0.0, float(rng.uniform(0.36, 0.45)), float(rng.uniform(0.2, 0.3)), 60),)
    radial = str(rng.choice(np.array(["upright", "radial", "turned"]), p=[0.7, 0.18, 0.12]))
    odds = rng.random(7)
    window = ((0.62, 0.0), (0.0, 0.55), (0.0, -0.45), (-0.5, 0.0))[int(rng.integers(4))]
    return ModernSpec(
        kind=kind, make=make, figures=figures, shown=shown, hours=hours, stretch=float(rng.uniform(0.75, 1.2)),
        radial=radial, height=height, at=at, marks=marks, mark=mark, track=track, track_ends=track_ends,
        count=100 if hours == 10 else 60 if kind == "station" or rng.random() < 0.85 else 240,
        heavy=float(rng.uniform(0.01, 0.03)), ring=ring,
        ring_to=ring_to, ring_step=ring_step, lines=_lines(rng, at - 0.6 * height) if odds[0] < 0.75 else (),
        symbol=int(rng.integers(3, 9)) if odds[1] < 0.4 and at - 0.6 * height > 0.42 else 0,
        window=window if odds[2] < 0.15 else (0.0, 0.0),
        subs=subs, tones=tones,
        second=(bool(odds[3] < 0.12), bool(odds[4] < 0.1), bool(odds[5] < 0.55), bool(odds[6] < 0.15)),
        seed=int(rng.integers(2**31)),
    )  # fmt: skip


def _tones(rng: np.random.Generator, dark: bool, make: Make) -> tuple[Tone, Tone, Tone]:
    bright = BRIGHT[int(rng.integers(len(BRIGHT)))]
    if dark:
        light = float(rng.uniform(0.6, 0.9))
        ink = (light, light * float(rng.uniform(0.85, 1.0)), light * float(rng.uniform(0.6, 1.0)))
        return DARK_GROUNDS[int(rng.integers(len(DARK_GROUNDS)))], ink, (0.75, 0.2, 0.05)
    light, warm = float(rng.uniform(0.6, 0.88)), float(rng.uniform(0.0, 0.25 if make is not Make.ENAMEL else 0.12))
    ground = (light, light * (1 - 0.35 * warm), light * (1 - warm))
    return ground, INK[int(rng.integers(len(INK)))], bright


def _lines(rng: np.random.Generator, room: float) -> tuple[tuple[str, float, float], ...]:
    """Two or three lines within `room` of the centre, mostly."""
    size = float(rng.uniform(0.045, 0.1))
    room = max(room, 0.2)
    top = -min(float(rng.uniform(0.28, 0.42)), max(room - 0.6 * size, 0.12))
    first = invent_name(rng=rng) if rng.random() < 0.6 else invent_maker(rng=rng)
    if rng.random() < 0.4:
        first = first.upper()
    lines = [(first, min(size, 0.75 / len(first)), top)]
    if rng.random() < 0.5:
        second = str(rng.choice(np.array(WORDS))) if rng.random() < 0.6 else invent_town(rng=rng)
        below = top + 1.7 * size if rng.random() < 0.5 else min(float(rng.uniform(0.25, 0.42)), room - 0.05)
        lines.append((second, float(rng.uniform(0.035, 0.06)), below))
    if rng.random() < 0.25:
        lines.append((str(rng.choice(np.array(WORDS))), float(rng.uniform(0.03, 0.05)), min(0.5, room)))
    return tuple(lines)


def bare(spec: ModernSpec, scale: int) -> Image:
    """(F, F, 3) float32: the ground without anything on it."""
    light = np.broadcast_to(np.asarray(spec.tones[0], np.float32), (2 * scale, 2 * scale, 3))
    return np.ascontiguousarray(light)


def draw_modern(spec: ModernSpec, scale: int) -> Face:
    """The dial, `scale` px per radius; its ground is plain (see make.dress for others)."""
    colour = bare(spec, scale)
    inside = disc(scale)
    seen = np.where(inside > 0.5, np.uint8(NUMBER[Seen.ENAMEL]), np.uint8(0))
    total = np.zeros_like(inside)
    second = dict(zip(("numerals", "track", "ring", "signature"), spec.second, strict=True))
    for part, zone, cover in _parts(spec, scale):
        cover = cover * inside
        colour = blend(colour, spec.tones[2 if second.get(part) else 1], cover)
        seen = np.where(cover > 0.2, np.uint8(NUMBER[Seen(zone.value)]), seen)
        total = np.maximum(total, cover)
    if spec.window != (0.0, 0.0):
        colour, seen, total = _window(spec, scale, colour, seen, total)
    return Face(colour, np.asarray(seen, np.uint8), total)


def _parts(spec: ModernSpec, scale: int) -> list[tuple[str, Zone, Image]]:
    """(name, zone, cover) of all that is laid on, each once."""
    hours = [_mark(spec, 2 * np.pi * hour / spec.hours) for hour in range(1, spec.hours + 1) if _marked(spec, hour)]
    words = figures_around([str(hour) for hour in range(1, spec.hours + 1)], spec.height, spec.at, radial=spec.radial)
    keep = [word for word in words if int(word.text) in spec.shown and not _covered(spec, word)]
    numerals = set_words(keep, spec.figures, scale, spec.stretch)
    bars = [shape for group in hours for shape in group]
    if bars:
        numerals = np.maximum(numerals, filled(bars, scale))
    parts = [("numerals", Zone.NUMERALS, numerals)]
    if spec.ring[1]:
        crowded = spec.ring_to == 60 and spec.ring_step == 1
        values = range(13, 25) if spec.ring_to == 24 else range(spec.ring_step, 61, spec.ring_step)
        ring = figures_around([str(value) for value in values], *spec.ring, radial="radial" if crowded else "upright")
        narrow = 0.62 if crowded else 1.0
        zone = Zone.NUMERALS if spec.ring_to == 24 else Zone.MINUTE_TRACK
        parts.append(("ring", zone, set_words(ring, "plain", scale, narrow)))
    if spec.track != "none":
        parts.append(("track", Zone.MINUTE_TRACK, filled(_track(spec), scale)))
    lines = [Word(text, height, 0.0, y) for text, height, y in spec.lines if not _covered(spec, Word(text, 0.05, 0, y))]
    signature = set_words(lines, "bold" if spec.seed % 3 == 0 else "plain", scale, 0.9)
    if spec.symbol and spec.lines:
        signature = np.maximum(signature, filled([_symbol(spec)], scale))
    parts.append(("signature", Zone.SIGNATURE, signature))
    for number, sub in enumerate(spec.subs):
        zone = Zone.SECONDS_BIT if number == 0 and sub[3] == 60 else Zone.OTHER
        parts.append(("sub", zone, _sub(sub, spec.figures, scale)))
    return parts


def _marked(spec: ModernSpec, hour: int) -> bool:
    return spec.marks != "none" and not (spec.kind == "sticks" and hour in spec.shown)


def _covered(spec: ModernSpec, word: Word) -> bool:
    return any(np.hypot(word.x - x, word.y - y) < size + 0.35 * word.height for x, y, size, _ in spec.subs)


def _mark(spec: ModernSpec, turn: float) -> list[Shape]:
    inner, outer, wide = spec.mark
    quarter = 1.35 if spec.seed % 3 == 0 and abs(np.sin(2 * turn)) < 0.01 else 1.0
    if spec.marks == "dot":
        size = 0.5 * min(max(wide, 0.025), 0.05) * quarter
        return [[around(oval(0.0, 0.0, size, size), turn, outer - size)]]
    if spec.marks == "wedge":
        return [[bar(inner, outer, wide, turn, 0.1)]]
    if spec.marks == "stick":
        return [[bar(inner, outer, min(wide, 0.025) * quarter, turn)]]
    if spec.marks == "double" and abs(np.sin(2 * turn)) < 0.01:
        apart = around(np.array([[0.35 * wide + 0.01, 0.0]]), turn)
        return [[bar(inner, outer, 0.5 * wide, turn) + side * apart] for side in (-1.0, 1.0)]
    return [[bar(inner, outer, wide * quarter, turn)]]


def _track(spec: ModernSpec) -> list[Shape]:
    inner, outer = spec.track_ends
    shapes: list[Shape] = []
    heavy = max(1, spec.count // spec.hours) if spec.hours < 24 else 5
    for index in range(spec.count):
        turn = 2 * np.pi * index / spec.count
        at_hour = index % heavy == 0
        if spec.kind == "station" and at_hour:
            continue
        wide = spec.heavy * (1.0 if at_hour else 0.5) * (60 / spec.count) ** 0.5
        if spec.track == "dots":
            size = 0.6 * spec.heavy * (1.4 if at_hour else 1.0)
            shapes.append([around(oval(0.0, 0.0, size, size, 12), turn, 0.5 * (inner + outer))])
        elif spec.track == "blocks" and index % 2 == 0:
            shapes.append([bar(inner, outer, 2 * np.pi * outer / spec.count, turn)])
        elif spec.track != "blocks":
            wide = max(wide, spec.heavy) if spec.kind == "station" else wide
            shapes.append([bar(inner, outer, wide, turn)])
    if spec.track in ("ladder", "blocks"):
        shapes += [_circle(inner, 0.008), _circle(outer, 0.008)]
    return shapes


def _circle(radius: float, wide: float, x: float = 0.0, y: float = 0.0) -> Shape:
    return [oval(x, y, radius + 0.5 * s * wide, radius + 0.5 * s * wide, 96) for s in (1, -1)]


def _symbol(spec: ModernSpec) -> Shape:
    """A sign above the first line: a star, a shield of so many sides, or a ring about one."""
    y = spec.lines[0][2] - spec.lines[0][1] * 1.6
    reach = 0.06
    turn = np.arange(2 * spec.symbol) * np.pi / spec.symbol
    long = np.where(np.arange(2 * spec.symbol) % 2 == 0, reach, reach * (0.35 + 0.12 * (spec.seed % 5)))
    star: Floats = np.stack([long * np.sin(turn), y - long * np.cos(turn)], axis=1)
    return [oval(0.0, y, 0.08, 0.07), oval(0.0, y, 0.07, 0.06), star] if spec.seed % 2 else [star]


def _sub(sub: tuple[float, float, float, int], figures: str, scale: int) -> Image:
    x, y, size, last = sub
    count = 60 if last == 60 else 2 * last
    shapes = [[moved(bar(0.86 * size, 0.97 * size, 0.012, 2 * np.pi * k / count), x, y)] for k in range(count)]
    shapes.append(_circle(0.98 * size, 0.01, x, y))
    step = 1 if last == 12 else 10
    texts = [str(value) for value in range(step, last + 1, step)]
    high = min(0.3 * size, 0.075 if step == 10 else 0.06)
    words = figures_around(texts, high, 0.82 * size - 0.6 * high, x=x, y=y)
    return np.maximum(filled(shapes, scale), set_words(words, figures, scale, 0.85))


def _window(spec: ModernSpec, scale: int, colour: Image, seen: Index, total: Image) -> tuple[Image, Index, Image]:
    """The window of the date, its frame and the figure in it."""
    x, y = spec.window
    half = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    frame = filled([[moved(half * (0.095, 0.075), x, y)]], scale)
    plate = filled([[moved(half * (0.08, 0.06), x, y)]], scale)
    day = set_words([Word(str(spec.seed % 31 + 1), 0.075, x, y)], "plain", scale, 0.85)
    colour = blend(colour, spec.tones[1], frame)
    colour = blend(blend(colour, (0.75, 0.75, 0.72), plate), (0.02, 0.02, 0.02), day * plate)
    seen = np.where(frame > 0.5, np.uint8(NUMBER[Seen.HOLE]), seen)
    return colour, np.asarray(seen, np.uint8), total * (1.0 - frame)
