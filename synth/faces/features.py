"""What enamel dials have besides strokes: openings with works in them, gilt centres, plaques under the figures, sunk
centres, winding holes, pins, flowers and scenes, windows of the moon, rings of dates.

An opening or other thing takes the place of the paint it lies on; painted ornament counts as paint.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.faces.face_parts import (
    NUMBER,
    Face,
    Floats,
    Image,
    Shape,
    Tone,
    around,
    band,
    bar,
    blend,
    circle,
    disc,
    filled,
    lattice,
    moved,
    noise,
    oval,
    soft,
)
from dialtell.synth.faces.lettering import figures_around, set_words
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Seen

Spread = NDArray[np.floating[Any]]

BRASS: tuple[Tone, ...] = (
    (0.62, 0.43, 0.15), (0.5, 0.34, 0.12), (0.72, 0.54, 0.24), (0.42, 0.3, 0.13), (0.6, 0.5, 0.3),
)  # fmt: skip
STEEL: Tone = (0.35, 0.35, 0.36)
PIT: tuple[Tone, ...] = ((0.01, 0.009, 0.008), (0.05, 0.03, 0.015), (0.16, 0.1, 0.04))
PETALS: tuple[Tone, ...] = (
    (0.6, 0.1, 0.14), (0.7, 0.3, 0.32), (0.12, 0.16, 0.5), (0.65, 0.42, 0.05), (0.4, 0.12, 0.4), (0.75, 0.7, 0.68),
)  # fmt: skip
LEAVES: tuple[Tone, ...] = ((0.06, 0.2, 0.05), (0.15, 0.28, 0.1), (0.05, 0.12, 0.08), (0.2, 0.22, 0.1))
GILT: Tone = (0.6, 0.42, 0.14)
PAINTED_BLUE: Tone = (0.02, 0.04, 0.22)

# outline of an anchor, of its opening's radius
ANCHOR = (
    (-0.6, 0.1), (-0.45, -0.35), (0.0, -0.55), (0.45, -0.35), (0.6, 0.1), (0.3, -0.2), (0.0, -0.32), (-0.3, -0.2),
)  # fmt: skip

OPENINGS = ("none", "round", "sector", "crescent")
CENTRES = ("none", "gilt", "brass", "white")
GROUNDS = ("none", "gilt", "white", "black")
ORNAMENTS = ("none", "wreath", "sprays", "scene", "vignette")


@dataclass(frozen=True)
class FeaturesSpec:
    """Lengths in dial radii, 0 where there is none. Everything is left out by default.

    opening, (x, y, radius) : of the works. centre, centre_reach : of a two-piece dial. plaques : ground between the
    plaques of the hours. sunk : radius of the centre's step; bit : the seconds bit is sunk too. winding : (x, y) of the
    holes and bush : radius of their bushes. pins : (turn, radius) rad. boss : radius of one at the centre.
    ornament, at : and the middle radius of it. blocks : 0 none, 1 a tint in a ring behind the hours, 2 one behind each.
    moon : (y, radius). dates : radius of a ring of figures 1 to 31. outlines : of gold about the figures.
    light : rad clockwise from up, where the light comes from. tone : 0..1 of what brass. seed : of all detail.
    """

    opening: str = "none"
    opening_at: tuple[float, float, float] = (0.0, 0.0, 0.2)
    centre: str = "none"
    centre_reach: float = 0.4
    plaques: str = "none"
    sunk: float = 0.0
    bit: bool = False
    winding: tuple[tuple[float, float], ...] = ()
    bush: float = 0.06
    pins: tuple[tuple[float, float], ...] = ()
    boss: float = 0.0
    ornament: str = "none"
    ornament_at: float = 0.45
    blocks: int = 0
    moon: tuple[float, float] = (0.0, 0.0)
    dates: float = 0.0
    outlines: bool = False
    light: float = 0.0
    tone: float = field(default=0.0)
    seed: int = 0

    def __post_init__(self) -> None:
        given = (("opening", OPENINGS), ("centre", CENTRES), ("plaques", GROUNDS), ("ornament", ORNAMENTS))
        for name, known in given:
            if getattr(self, name) not in known:
                raise ParameterError(f"{name} is {getattr(self, name)!r}; give one of {', '.join(known)}")


NOTHING = FeaturesSpec()


def sample_features(*, rng: np.random.Generator) -> FeaturesSpec:
    """Draw them; about every other dial has none."""
    if rng.random() < 0.5:
        return NOTHING
    while True:
        spec = _some(rng)
        if any(getattr(spec, f.name) != f.default for f in fields(spec)[:17] if f.name not in _ALWAYS):
            return spec


_ALWAYS = ("opening_at", "centre_reach", "bush", "ornament_at")  # drawn whether they are used or not


def _some(rng: np.random.Generator) -> FeaturesSpec:
    odds = rng.random(12)
    low = float(rng.uniform(0.1, 0.3))
    opening_at = ((0.0, 0.0), (0.0, -low), (0.0, low))[int(rng.choice(3, p=[0.4, 0.4, 0.2]))]
    across, down = float(rng.uniform(0.24, 0.48)), float(rng.uniform(-0.05, 0.36))
    pair = ((-across, down), (across, down))
    windings = (pair, ((0.0, max(down, 0.2)),), (*pair, (0.0, 0.42)), pair[1:])
    count = int(rng.choice(np.array([1, 2, 3, 4])))
    pins = tuple((float(rng.uniform(0, 2 * np.pi)), float(rng.uniform(0.9, 0.965))) for _ in range(count))
    if rng.random() < 0.5:
        pins = tuple((np.pi / 4 + k * np.pi / 2, 0.94) for k in range(4))
    return FeaturesSpec(
        opening=str(rng.choice(np.array(OPENINGS[1:]))) if odds[0] < 0.16 else "none",
        opening_at=(*opening_at, float(rng.uniform(0.16, 0.34))),
        centre=str(rng.choice(np.array(CENTRES[1:]))) if odds[1] < 0.15 else "none",
        centre_reach=float(rng.uniform(0.3, 0.5)),
        plaques=str(rng.choice(np.array(GROUNDS[1:]), p=[0.7, 0.15, 0.15])) if odds[2] < 0.12 else "none",
        sunk=float(rng.uniform(0.3, 0.56)) if odds[3] < 0.25 else 0.0,
        bit=bool(odds[3] < 0.2),
        winding=windings[int(rng.choice(4, p=[0.6, 0.15, 0.15, 0.1]))] if odds[4] < 0.35 else (),
        bush=float(rng.choice(np.array([0.0, 1.0]), p=[0.25, 0.75]) * rng.uniform(0.045, 0.08)),
        pins=pins if odds[5] < 0.2 else (),
        boss=float(rng.uniform(0.04, 0.11)) if odds[6] < 0.3 else 0.0,
        ornament=str(rng.choice(np.array(ORNAMENTS[1:]))) if odds[7] < 0.25 else "none",
        ornament_at=float(rng.uniform(0.28, 0.5)),
        blocks=int(rng.integers(1, 3)) if odds[8] < 0.08 else 0,
        moon=(float(rng.uniform(-0.42, -0.32)), float(rng.uniform(0.16, 0.24))) if odds[9] < 0.05 else (0.0, 0.0),
        dates=float(rng.uniform(0.36, 0.56)) if odds[10] < 0.07 else 0.0,
        outlines=bool(odds[11] < 0.08),
        light=float(rng.uniform(0, 2 * np.pi)), tone=float(rng.random()), seed=int(rng.integers(2**31)),
    )  # fmt: skip


def add_features(spec: FeaturesSpec, face: Face) -> Face:
    """The face with all of them; the face given is not changed."""
    rng = np.random.default_rng(spec.seed)
    if spec.blocks:
        face = _blocks(spec, face, rng)
    if spec.outlines:
        face = _outlines(face)
    if spec.plaques != "none":
        face = _plaques(spec, face, rng)
    if spec.sunk:
        face = _sunk(spec, face, rng)
    if spec.centre != "none":
        face = _centre(spec, face, rng)
    if spec.dates:
        words = figures_around([str(k) for k in range(1, 32)], 0.05, spec.dates, radial="radial")
        face = _painted(face, set_words(words, "plain", face.scale, 0.8), INKY[int(rng.integers(3))])
    if spec.ornament != "none":
        face = _ornament(spec, face, rng)
    if spec.moon[1]:
        face = _moon(spec, face, rng)
    if spec.opening != "none":
        face = _opening(spec, face, rng)
    for x, y in spec.winding:
        face = _hole(spec, face, x, y, 0.55 * spec.bush if spec.bush else 0.04, spec.bush)
    for turn, radius in spec.pins:
        face = _pin(face, radius * float(np.sin(turn)), -radius * float(np.cos(turn)), rng)
    if spec.boss:
        face = _hole(spec, face, 0.0, 0.0, 0.3 * spec.boss, spec.boss)
    return face


INKY: tuple[Tone, ...] = ((0.02, 0.02, 0.02), (0.45, 0.03, 0.03), (0.03, 0.05, 0.25))


def _laid(face: Face, cover: Image, tone: Image | Tone, what: Seen) -> Face:
    """Something opaque that is no paint laid on the face."""
    cover = cover * disc(face.scale)
    seen = np.where((cover > 0.5) & (face.seen > 0), np.uint8(NUMBER[what]), face.seen)
    return Face(blend(face.colour, tone, cover), np.asarray(seen, np.uint8), np.asarray(face.ink * (1 - cover)))


def _painted(face: Face, cover: Image, tone: Image | Tone) -> Face:
    """Ornament painted on the face."""
    cover = cover * disc(face.scale)
    number = np.uint8(NUMBER[Seen.OTHER])
    seen = np.where((cover > 0.2) & (face.seen > 0) & (face.seen < NUMBER[Seen.HOLE]), number, face.seen)
    return Face(blend(face.colour, tone, cover), np.asarray(seen, np.uint8), np.maximum(face.ink, cover))


def _brass(spec: FeaturesSpec, scale: int, rng: np.random.Generator, rough: float = 0.06) -> Image:
    """(F, F, 3) of brass or gilt with light from one side."""
    x, y, _, turn = lattice(scale)
    fall = 0.85 + 0.3 * (x * np.float32(np.sin(spec.light)) - y * np.float32(np.cos(spec.light)))
    fall = fall + 0.15 * np.cos(2 * (turn - np.float32(spec.light))) + rough * noise(rng, 2 * scale, 0.02 * scale)
    tone = BRASS[min(int(spec.tone * len(BRASS)), len(BRASS) - 1)]
    return np.asarray(np.clip(fall, 0.2, 2.0)[..., None] * np.asarray(tone, np.float32), np.float32)


def _hours(face: Face) -> tuple[float, float]:
    """Inner and outer radius of the hour figures; where there are none, the usual."""
    there = face.seen == NUMBER[Seen.NUMERALS]
    if not there.any():
        return 0.58, 0.82
    low, high = np.quantile(lattice(face.scale)[2][there], [0.02, 0.98])
    return float(low), float(high)


def _blocks(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    """The enamel tinted behind the figures, all round or in one field an hour."""
    low, high = _hours(face)
    tint = np.asarray(PETALS[int(rng.integers(6))], np.float32) ** np.float32(rng.uniform(0.15, 0.6))
    if spec.blocks == 1:
        cover = band(low - 0.03, min(high + 0.03, 0.97), face.scale)
    else:
        wide = 2 * np.pi / 12 * 0.5 * (low + high) * float(rng.uniform(0.7, 0.95))
        turns = np.arange(12) * np.pi / 6
        cover = filled([[bar(low - 0.02, min(high + 0.03, 0.97), wide, t, 0.75)] for t in turns], face.scale)
    return face._replace(colour=np.asarray(face.colour * (1 - cover[..., None] * (1 - tint)), np.float32))


def _outlines(face: Face) -> Face:
    """A gold line about every hour figure."""
    core = np.where(face.seen == NUMBER[Seen.NUMERALS], face.ink, np.float32(0.0))
    line = np.clip(2.2 * soft(core, 0.011 * face.scale) - 0.3, 0.0, 1.0) * (1.0 - core)
    number = np.uint8(NUMBER[Seen.NUMERALS])
    seen = np.where((line > 0.3) & (face.seen > 0) & (face.seen < number), number, face.seen)
    line = np.asarray(line, np.float32)
    return Face(blend(face.colour, GILT, line), np.asarray(seen, np.uint8), np.maximum(face.ink, line))


def _plaques(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    """A ring of gilt, white or black with an enamel plaque for every figure."""
    low, high = _hours(face)
    middle, half = 0.5 * (low + high), 0.5 * (high - low) + 0.025
    wide = min(2 * np.pi / 12 * middle * 0.47, 1.15 * half)
    shield = rng.random() < 0.4
    rings = []
    for turn in np.arange(12) * np.pi / 6:
        shape = oval(0.0, 0.0, wide, half)
        if shield:  # straight above, pointed below
            shape = np.array([[-1, -0.9], [0, -1], [1, -0.9], [0.95, 0.3], [0, 1], [-0.95, 0.3]]) * (wide, half)
        rings.append([around(shape, float(turn), middle)])
    plaque = filled(rings, face.scale)
    reach = band(low - 0.07, min(high + 0.07, 1.0), face.scale) * (1.0 - plaque)
    x, y, _, turn_at = lattice(face.scale)
    ground: Image = _brass(spec, face.scale, rng, 0.12)
    if spec.plaques == "white":
        ground = np.asarray(np.full_like(ground, 0.8), np.float32)
    elif spec.plaques == "black":
        ground = np.asarray(np.full_like(ground, 0.015), np.float32)
    chased = 1.0 + 0.4 * np.cos(48 * turn_at) * np.cos(2 * np.pi * np.hypot(x, y) / 0.06)
    if spec.plaques == "gilt":
        ground = np.asarray(ground * chased[..., None], np.float32)
    # plaques stand proud: a lit and a shaded rim
    edge = np.clip(4.0 * plaque * (1.0 - soft(plaque, 0.015 * face.scale)), 0.0, 1.0)
    lit = 1.0 - 0.35 * edge * (0.5 + 0.5 * np.cos(turn_at - np.float32(spec.light + np.pi)))
    shaded = face._replace(colour=np.asarray(face.colour * lit[..., None], np.float32))
    return _laid(shaded, np.asarray(reach, np.float32), ground, Seen.STEP)


def _step(spec: FeaturesSpec, face: Face, x: float, y: float, radius: float, rng: np.random.Generator) -> Face:
    """The edge of a sunk disc: its wall dark towards the light, lit on the other side, and its shadow."""
    across, down, _, _ = lattice(face.scale)
    away = np.hypot(across - x, down - y)
    towards = ((across - x) * np.sin(spec.light) - (down - y) * np.cos(spec.light)) / np.maximum(away, 1e-3)
    wide = float(rng.uniform(0.008, 0.02))
    wall = np.exp(-(((away - radius) / wide) ** 2))
    shadow = np.clip(towards, 0.0, 1.0) * np.exp(-np.clip(radius - away, 0.0, 1.0) / 0.03) * (away < radius)
    deep = float(rng.uniform(0.25, 0.75))
    factor = 1.0 - deep * wall * (0.25 + 0.6 * towards) - 0.3 * deep * shadow
    seen = np.where((wall > 0.35) & (face.seen > 0) & (face.seen < NUMBER[Seen.HOLE]), NUMBER[Seen.STEP], face.seen)
    colour = np.clip(face.colour * factor[..., None], 0.0, 1.2)
    return Face(np.asarray(colour, np.float32), np.asarray(seen, np.uint8), face.ink)


def _sunk(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    low = _hours(face)[0]
    face = _step(spec, face, 0.0, 0.0, min(spec.sunk, low - 0.03) if low > 0.3 else spec.sunk, rng)
    where = np.argwhere(face.seen == NUMBER[Seen.SECONDS_BIT])
    if spec.bit and len(where) > 40:
        y, x = (0.5 * (where.min(axis=0) + where.max(axis=0) + 1)) / face.scale - 1.0
        reach = 0.5 * float(np.ptp(where, axis=0).max()) / face.scale
        face = _step(spec, face, float(x), float(y), reach + 0.02, rng)
    return face


def _centre(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    """A centre of its own: engraved gilt, plain brass or a white plate, within a brass ring."""
    low = _hours(face)[0]
    reach = min(spec.centre_reach, low - 0.05) if low > 0.25 else spec.centre_reach
    _, _, radius, turn = lattice(face.scale)
    plate = _brass(spec, face.scale, rng, 0.06 * float(rng.random()))
    if spec.centre == "gilt":  # leaves of an engraver, in rows
        petals, rows = int(rng.integers(6, 17)), float(rng.uniform(0.07, 0.16))
        bent = radius / rows + 0.4 * np.cos(petals * turn) + 0.15 * np.cos(3 * petals * turn)
        cut = np.clip(np.sin(2 * np.pi * bent) * 1.6 - 0.6, 0.0, 1.0)
        plate = np.asarray(plate * (1.0 - 0.55 * cut)[..., None], np.float32)
    if spec.centre == "white":
        face = _laid(face, np.float32(0.0) + band(0.0, reach, face.scale), (0.72, 0.71, 0.67), Seen.ENAMEL)
    else:
        face = _laid(face, band(0.0, reach, face.scale), np.asarray(plate, np.float32), Seen.STEP)
    wide = float(rng.uniform(0.015, 0.05))
    swell = np.clip(1.0 - ((radius - reach) / wide) ** 2, 0.0, 1.0)
    facing = np.cos(turn - np.float32(spec.light)) * np.sign(radius - reach)
    ring = _brass(spec, face.scale, rng, 0.0) * (0.5 + 0.6 * swell + 0.35 * facing)[..., None]
    return _laid(face, band(reach - wide, reach + wide, face.scale), np.asarray(ring, np.float32), Seen.STEP)


def _flower(x: float, y: float, size: float, turn: float, petals: int) -> list[Shape]:
    leaf = oval(0.0, -0.6 * size, 0.36 * size, 0.45 * size, 10)
    return [[moved(around(leaf, turn + 2 * np.pi * k / petals), x, y)] for k in range(petals)]


def _ornament(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    if spec.ornament in ("scene", "vignette"):
        return _scene(spec, face, rng)
    low = _hours(face)[0]
    at = min(spec.ornament_at, low - 0.1) if low > 0.3 else spec.ornament_at
    turns = np.linspace(0, 2 * np.pi, int(rng.integers(14, 40)), endpoint=False)
    if spec.ornament == "sprays":  # bunches apart, or outside between the hours
        groups = int(rng.integers(3, 7))
        turns = (np.arange(groups)[:, None] * 2 * np.pi / groups + np.linspace(-0.3, 0.3, 5)).ravel()
    waves = int(rng.integers(3, 9))
    stem, leaves = [], []
    blooms: dict[int, list[Shape]] = {}
    colours = rng.permutation(len(PETALS))[: int(rng.integers(1, 4))]
    for turn in turns:
        radius = at + 0.03 * np.sin(waves * turn)
        x, y = float(radius * np.sin(turn)), float(-radius * np.cos(turn))
        size = float(rng.uniform(0.02, 0.055))
        if rng.random() < 0.55:
            bloom = _flower(x, y, size, float(turn), int(rng.integers(4, 7)))
            blooms.setdefault(int(rng.choice(colours)), []).extend(bloom)
        for lean in rng.uniform(0, 2 * np.pi, int(rng.integers(1, 4))):
            leaf = oval(0.0, -size, 0.22 * size, 0.55 * size, 10)
            leaves.append([moved(around(leaf, float(lean)), x, y)])
    if spec.ornament == "wreath":
        t = np.linspace(0, 2 * np.pi, 181)
        ways = [at + 0.03 * np.sin(waves * t) + half for half in (0.004, -0.004)]
        stem = [[np.stack([way * np.sin(t), -way * np.cos(t)], axis=1) for way in ways]]
    green = LEAVES[int(rng.integers(len(LEAVES)))] if rng.random() < 0.75 else GILT
    shade = (0.8 + 0.25 * noise(rng, 2 * face.scale, 0.02 * face.scale))[..., None]
    face = _painted(face, filled(stem + leaves, face.scale), np.asarray(shade * np.asarray(green), np.float32))
    for number, shapes in blooms.items():
        tone = np.asarray(shade * np.asarray(PETALS[number]), np.float32)
        face = _painted(face, filled(shapes, face.scale), tone)
    return face


def _scene(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    """A small landscape: sky, hills far and near, a house and trees; round, or an oval above the centre."""
    low = _hours(face)[0]
    scale = face.scale
    x, y, _, _ = lattice(scale)
    size, top = (max(low - 0.06, 0.2), 0.0) if spec.ornament == "scene" else (0.2, -0.36)
    wide = size * (1.0 if spec.ornament == "scene" else 1.5)
    away = np.hypot((x) / wide, (y - top) / size)
    cover = np.clip((1.0 - away) * size * scale * float(rng.uniform(0.06, 1.0)) + 0.5, 0.0, 1.0)
    up = (top - y) / size
    sky = np.array([0.3, 0.45, 0.6], np.float32) if rng.random() < 0.7 else np.array([0.7, 0.45, 0.3], np.float32)
    share = np.clip(0.5 + 0.6 * up, 0.0, 1.0)[..., None]
    picture = (1 - share) * np.array([0.7, 0.62, 0.5], np.float32) + share * sky
    for level, tone in ((0.15, (0.22, 0.3, 0.34)), (-0.1, (0.12, 0.22, 0.1)), (-0.45, (0.08, 0.14, 0.04))):
        line = np.cumsum(rng.normal(0, 0.06, 12))
        edge = np.interp(np.linspace(0, 11, 2 * scale), np.arange(12), line - line.mean()) + level
        picture = np.where((up < edge[None, :])[..., None], np.asarray(tone, np.float32), picture)
    shapes: list[Shape] = []
    for _ in range(int(rng.integers(3, 9))):
        px, py = float(rng.uniform(-0.7, 0.7) * wide), top + float(rng.uniform(-0.1, 0.5) * size)
        shapes.append([oval(px, py, 0.1 * size, float(rng.uniform(0.1, 0.25)) * size, 14)])
    picture = blend(np.asarray(picture, np.float32), LEAVES[int(rng.integers(4))], filled(shapes, scale))
    hx, hy, unit = float(rng.uniform(-0.4, 0.4) * wide), top + 0.2 * size, 0.18 * size
    wall = moved(np.array([[-1, 0], [1, 0], [1, 1.2], [-1, 1.2]]) * unit, hx, hy)
    roof = moved(np.array([[-1.3, 0], [0, -0.9], [1.3, 0]]) * unit, hx, hy)
    picture = blend(picture, (0.6, 0.52, 0.42), filled([[wall]], scale))
    picture = blend(picture, (0.35, 0.1, 0.06), filled([[roof]], scale))
    tint = rng.uniform(0.6, 1.25, 3)
    if rng.random() < 0.35:  # in one colour, as on blue and brown wares
        tint = np.asarray(((0.25, 0.45, 1.3), (1.1, 0.75, 0.5), (0.8, 0.8, 0.8))[int(rng.integers(3))])
        picture = picture.mean(axis=2, keepdims=True)
    picture = picture * ((1.0 + 0.1 * noise(rng, 2 * scale, 0.03 * scale))[..., None] * tint)
    return _painted(face, np.asarray(cover, np.float32), np.asarray(picture, np.float32))


def _moon(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    """A window with two humps, a moon passing behind them on a blue sky."""
    y, size = spec.moon
    t = np.linspace(-np.pi / 2, np.pi / 2, 25)
    upper = np.stack([size * np.sin(t), y - size * np.cos(t)], axis=1)
    hump = np.stack([0.5 * size * np.sin(t), y - 0.42 * size * np.cos(t)], axis=1)[::-1]
    humps = [moved(hump, side * 0.5 * size, 0.0) for side in (1, -1)]
    window: Floats = np.concatenate([upper, *humps])
    turn = float(rng.uniform(-1.2, 1.2))
    mx, my = 0.55 * size * np.sin(turn), y - 0.6 * size * np.cos(turn)
    sky = np.broadcast_to(np.asarray(PAINTED_BLUE, np.float32), face.colour.shape)
    stars = [[oval(float(a), y - abs(float(b)), 0.012, 0.012, 8)] for a, b in rng.uniform(-size, size, (12, 2))]
    sky = blend(sky, (0.7, 0.6, 0.3), filled(stars, face.scale))
    sky = blend(sky, (0.75, 0.6, 0.25), circle(float(mx), float(my), 0.3 * size, face.scale))
    frame = filled([[moved(moved(window, 0.0, -y) * 1.1, 0.0, y + 0.008)]], face.scale)
    face = _laid(face, frame, BRASS[2], Seen.STEP)
    return _laid(face, filled([[window]], face.scale), sky, Seen.HOLE)


def _wheel(x: float, y: float, size: float, teeth: int, spokes: int, turn: float) -> list[Shape]:
    count = 4 * teeth
    t = turn + np.arange(count) * 2 * np.pi / count
    reach = size * np.where(np.arange(count) % 4 < 2, 1.0, 0.88)
    rim = np.stack([x + reach * np.sin(t), y - reach * np.cos(t)], axis=1)
    shapes: list[Shape] = [[rim, oval(x, y, 0.74 * size, 0.74 * size)], [oval(x, y, 0.2 * size, 0.2 * size)]]
    shapes += [[moved(bar(0.0, 0.8 * size, 0.09 * size, turn + 2 * np.pi * k / spokes), x, y)] for k in range(spokes)]
    return shapes


def _opening(spec: FeaturesSpec, face: Face, rng: np.random.Generator) -> Face:
    """A hole in the dial through which an escape wheel, its anchor, bridges and screws are seen."""
    x, y, size = spec.opening_at
    low = _hours(face)[0]
    size = min(size, max(low - float(np.hypot(x, y)) - 0.03, 0.12))
    ring: Floats = oval(x, y, size, size, 48)
    if spec.opening == "sector":
        t = np.linspace(-1.1, 1.1, 25)
        outer = np.stack([size * np.sin(t), -size * np.cos(t)], axis=1)
        ring = moved(np.concatenate([outer, 0.3 * outer[::-1]]), x, y)
    elif spec.opening == "crescent":
        ring = np.concatenate([ring[12:37], oval(x, y - 0.35 * size, 0.94 * size, 0.7 * size, 48)[12:37][::-1]])
    hole = filled([[ring]], face.scale)
    works = np.broadcast_to(np.asarray(PIT[int(rng.integers(3))], np.float32), face.colour.shape)
    brass = _brass(spec, face.scale, rng)
    for _ in range(int(rng.integers(1, 4))):
        wx, wy = x + float(rng.normal(0, 0.35) * size), y + float(rng.normal(0, 0.35) * size)
        teeth, spokes = int(rng.integers(15, 50)), int(rng.integers(3, 7))
        wheel = _wheel(wx, wy, size * float(rng.uniform(0.35, 0.8)), teeth, spokes, float(rng.uniform(0, 6)))
        cover = filled(wheel, face.scale)
        works = works * (1.0 - 0.5 * soft(cover, 0.02 * face.scale))[..., None]
        works = blend(np.asarray(works, np.float32), brass, cover)
    lean = float(rng.uniform(-0.4, 0.4)) + (np.pi if rng.random() < 0.3 else 0.0)
    arch = around(np.array(ANCHOR) * size, lean)
    works = blend(works, STEEL, filled([[moved(arch, x, y)]], face.scale))
    bridge = around(np.array([[-0.12, -1.1], [0.12, -1.1], [0.2, 1.1], [-0.2, 1.1]]) * size, float(rng.uniform(0, 3)))
    if rng.random() < 0.5:
        works = blend(
            works, np.asarray(0.8 * brass, np.float32), filled([[moved(bridge, x, y + 0.3 * size)]], face.scale)
        )
    for _ in range(int(rng.integers(0, 4))):
        sx, sy = x + float(rng.uniform(-0.7, 0.7) * size), y + float(rng.uniform(-0.7, 0.7) * size)
        tone = (0.35, 0.01, 0.03) if rng.random() < 0.4 else (0.02, 0.04, 0.2) if rng.random() < 0.5 else STEEL
        works = blend(works, tone, circle(sx, sy, float(rng.uniform(0.015, 0.03)), face.scale))
    light = (float(np.sin(spec.light)), -float(np.cos(spec.light)))
    wall = filled([[ring - 0.05 * size * np.asarray(light)]], face.scale)
    works = works * (0.35 + 0.65 * soft(wall, 0.01 * face.scale))[..., None]
    if rng.random() < 0.6:  # a rim about it
        middle = ring.mean(axis=0)
        rim = filled([[(ring - middle) * (1.0 + float(rng.uniform(0.05, 0.16))) + middle]], face.scale)
        face = _laid(face, rim, _brass(spec, face.scale, rng, 0.0), Seen.STEP)
    return _laid(face, hole, np.asarray(works, np.float32), Seen.HOLE)


def _near(face: Face, x: float, y: float, reach: float) -> tuple[tuple[slice, slice], Image, Image]:
    """The part of the square within `reach` of a place, and how far right of and below it its pixels are."""
    low = [max(int((at + 1.0 - reach) * face.scale) - 2, 0) for at in (y, x)]
    high = [max(int((at + 1.0 + reach) * face.scale) + 3, 0) for at in (y, x)]
    part = (slice(low[0], high[0]), slice(low[1], high[1]))
    across, down, _, _ = lattice(face.scale)
    return part, np.asarray(across[part] - np.float32(x)), np.asarray(down[part] - np.float32(y))


def _stack(face: Face, part: tuple[slice, slice], layers: list[tuple[Spread, Image | Tone]]) -> Face:
    """Layers (cover, tone) of one part of the square, one over the other, all named a hole."""
    colour, seen, ink = face.colour.copy(), face.seen.copy(), face.ink.copy()
    for cover, tone in layers:
        cover = np.asarray(np.clip(cover * face.scale + 0.5, 0.0, 1.0) * disc(face.scale)[part], np.float32)
        colour[part] = blend(colour[part], tone, cover)
        seen[part][(cover > 0.5) & (seen[part] > 0)] = NUMBER[Seen.HOLE]
        ink[part] *= 1.0 - cover
    return Face(colour, seen, ink)


def _hole(spec: FeaturesSpec, face: Face, x: float, y: float, hole: float, bush: float) -> Face:
    """A hole with what is dark in it, in a brass bush or a bare edge; named whole as a hole."""
    part, across, down = _near(face, x, y, max(hole, bush))
    away = np.hypot(across, down)
    facing = (across * np.sin(spec.light) - down * np.cos(spec.light)) / np.maximum(away, 1e-3)
    layers: list[tuple[Spread, Image | Tone]] = []
    if bush:
        tone = np.asarray(BRASS[min(int(spec.tone * len(BRASS)), len(BRASS) - 1)], np.float32)
        dome = 0.75 + 0.5 * facing * np.clip((away - 0.5 * (hole + bush)) / (0.5 * (bush - hole)), -1.0, 1.0)
        layers.append((bush - away, np.asarray(dome[..., None] * tone, np.float32)))
    dark = np.asarray((0.03 - 0.02 * facing)[..., None] * np.ones(3), np.float32)
    square = (0.55 * hole - np.abs(across) - np.abs(down)) * np.float32(0.7)  # the square the key goes on
    return _stack(face, part, [*layers, (hole - away, dark), (square, (0.16, 0.15, 0.14))])


def _pin(face: Face, x: float, y: float, rng: np.random.Generator) -> Face:
    """The head of a pin or a slotted screw, or its empty hole."""
    size, turn = float(rng.uniform(0.014, 0.03)), float(rng.uniform(0, np.pi))
    tone: Tone = ((0.02, 0.02, 0.02), STEEL, BRASS[0])[int(rng.integers(3))]
    part, across, down = _near(face, x, y, size)
    away = size - np.hypot(across, down)
    slot = np.minimum(away, 0.15 * size - np.abs(across * np.cos(turn) + down * np.sin(turn)))
    return _stack(face, part, [(away, tone), (np.asarray(slot, np.float32), (0.02, 0.02, 0.02))])
