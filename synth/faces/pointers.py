"""Hands of kinds the renderer of watch dials does not draw, with their shadows, laid on a face."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from dialtell.synth.faces.face_parts import (
    LABELLED,
    NUMBER,
    Face,
    Floats,
    Image,
    Shape,
    Tone,
    around,
    blend,
    filled,
    lattice,
    moved,
    oval,
    soft,
)
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Seen

METALS: dict[str, Tone] = {
    "black": (0.015, 0.015, 0.016), "blued": (0.015, 0.03, 0.16), "purple": (0.05, 0.02, 0.08),
    "gilt": (0.65, 0.45, 0.15), "brass": (0.5, 0.35, 0.13), "steel": (0.42, 0.42, 0.43), "white": (0.8, 0.8, 0.78),
    "red": (0.5, 0.025, 0.02), "grey": (0.15, 0.15, 0.15), "orange": (0.75, 0.2, 0.02),
}  # fmt: skip


@dataclass(frozen=True)
class Pointer:
    """One hand. kind : one of KINDS. turn : rad clockwise from up. length, tail : dial radii, the tail behind the axis.
    weight : 0.4..2.5, width against the usual. metal : one of METALS. lume : a white line along it."""

    kind: str
    turn: float
    length: float
    tail: float
    weight: float
    metal: str
    lume: bool

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ParameterError(f"kind is {self.kind!r}; give one of {', '.join(KINDS)}")
        if self.metal not in METALS:
            raise ParameterError(f"metal is {self.metal!r}; give one of {', '.join(METALS)}")


@dataclass(frozen=True)
class PointersSpec:
    """The hands of one axis, lowest first. x, y : the axis, dial radii. cap : radius of the disc that covers it.
    facet : 0..1, how much brighter the side to the light is. shift : (x, y) of the shadow, dial radii; blur : its
    standard deviation; depth : 0..1. light : rad clockwise from up, where it comes from."""

    hands: tuple[Pointer, ...]
    x: float
    y: float
    cap: float
    facet: float
    shift: tuple[float, float]
    blur: float
    depth: float
    light: float


def sample_pointers(*, rng: np.random.Generator) -> PointersSpec:
    """Draw an hour and a minute hand of one pattern, mostly; often seconds, seldom an alarm; at a time, or at none."""
    kind = str(rng.choice(np.array(list(PAIRS))))
    metal = str(rng.choice(np.array(list(METALS)), p=[0.3, 0.2, 0.03, 0.14, 0.1, 0.08, 0.06, 0.04, 0.03, 0.02]))
    weight = float(np.exp(rng.uniform(-0.6, 0.5)))
    minutes = float(rng.uniform(0, 720))
    minute, hour = minutes / 60 * 2 * np.pi, minutes / 720 * 2 * np.pi
    if rng.random() < 0.25:  # nobody set it
        hour = float(rng.uniform(0, 2 * np.pi))
    long = float(rng.uniform(0.62, 0.96))
    tail = float(rng.choice(np.array([0.0, 1.0])) * rng.uniform(0.08, 0.26))
    lume = bool(rng.random() < 0.5)
    short = long * float(rng.uniform(0.55, 0.75))
    hands = [
        Pointer(kind, hour, short * (0.4 if rng.random() < 0.03 else 1.0), tail, 1.15 * weight, metal, lume),
        Pointer(kind, minute, long * (0.45 if rng.random() < 0.03 else 1.0), tail, weight, metal, lume),
    ]
    if rng.random() < 0.05:
        hands.pop(int(rng.integers(2)))
    if rng.random() < 0.08:
        hands.insert(0, Pointer("whip", _turn(rng), long * float(rng.uniform(0.35, 0.6)), 0.1, 1.2, "brass", False))
    if rng.random() < 0.4:
        own = str(rng.choice(np.array(["red", metal, "black", "steel", "gilt"]), p=[0.35, 0.35, 0.1, 0.1, 0.1]))
        sweep = str(rng.choice(np.array(SWEEPS)))
        hands.append(Pointer(sweep, _turn(rng), float(rng.uniform(0.7, 0.97)), float(rng.uniform(0.15, 0.32)),
                             float(rng.uniform(0.6, 1.4)), own, False))  # fmt: skip
    light = _turn(rng)
    high = float(rng.uniform(0.005, 0.06))
    return PointersSpec(
        hands=tuple(hands), x=0.0, y=0.0, cap=float(rng.uniform(0.025, 0.08)), facet=float(rng.random() ** 2),
        shift=(-high * float(np.sin(light)), high * float(np.cos(light))), blur=float(rng.uniform(0.15, 0.7)) * high,
        depth=float(rng.uniform(0.0, 0.75)), light=light,
    )  # fmt: skip


def _turn(rng: np.random.Generator) -> float:
    return float(rng.uniform(0, 2 * np.pi))


def lay_pointers(spec: PointersSpec, face: Face) -> Face:
    """The face with the hands on it, each on the shadow it throws on all below; the face given is not changed.

    A pixel is a hand's where metal covers a fifth of it or the shadow takes a fifth of its light. Ink that a hand hides
    is no longer in `ink`; what is in its shadow is.
    """
    side = 2 * face.scale
    colour, seen, ink = face.colour, face.seen, face.ink
    move = np.array([[1.0, 0.0, spec.shift[0] * face.scale], [0.0, 1.0, spec.shift[1] * face.scale]])
    covers = [_cover(hand, spec, face.scale) for hand in spec.hands]
    if covers and spec.depth > 0.0:
        every = np.maximum.reduce(covers)
        shadow = np.asarray(cv2.warpAffine(every, move, (side, side)), np.float32)
        shadow = np.float32(spec.depth) * soft(shadow, spec.blur * face.scale)
        colour = np.asarray(colour * (1.0 - shadow)[..., None], np.float32)
        seen = np.where((shadow > LABELLED) & (seen > 0), np.uint8(NUMBER[Seen.HAND]), seen)
    for hand, cover in zip(spec.hands, covers, strict=True):
        colour = blend(colour, _metal(hand, spec, face.scale), cover)
        if hand.lume and hand.kind in ("baton", "arrow", "sword"):
            colour = blend(colour, (0.72, 0.74, 0.62), _placed([_lume(hand)], hand, spec, face.scale))
        seen = np.where((cover > LABELLED) & (seen > 0), np.uint8(NUMBER[Seen.HAND]), seen)
        ink = np.asarray(ink * (1.0 - cover), np.float32)
    return Face(colour, np.asarray(seen, np.uint8), ink)


def _cover(hand: Pointer, spec: PointersSpec, scale: int) -> Image:
    cap = spec.cap if hand.weight > 0.0 else 0.0
    return _placed([*KINDS[hand.kind](hand), [oval(0.0, 0.0, cap, cap)]], hand, spec, scale)


def _placed(shapes: list[Shape], hand: Pointer, spec: PointersSpec, scale: int) -> Image:
    return filled([[moved(around(ring, hand.turn), spec.x, spec.y) for ring in shape] for shape in shapes], scale)


def _metal(hand: Pointer, spec: PointersSpec, scale: int) -> Image | Tone:
    """The tone of a hand, the side to the light brighter where it is faceted."""
    tone = np.asarray(METALS[hand.metal], np.float32)
    if spec.facet < 0.05:
        return METALS[hand.metal]
    x, y, _, _ = lattice(scale)
    right = (x - spec.x) * np.float32(np.cos(hand.turn)) + (y - spec.y) * np.float32(np.sin(hand.turn))
    lit = np.float32(np.sin(spec.light - hand.turn))  # how far the light comes from the right of the hand
    side = np.clip(right * np.float32(scale), -1.0, 1.0) * lit
    gloss = np.clip(side, 0.0, 1.0)[..., None] * np.float32(0.12 * spec.facet)
    return np.asarray((1.0 + np.float32(0.6 * spec.facet) * side)[..., None] * tone + gloss, np.float32)


def _plate(out: list[float], wide: list[float]) -> Floats:
    """A ring mirrored about the hand's length: half widths at distances from the axis, both dial radii."""
    right = np.stack([wide, -np.asarray(out)], axis=1)
    return np.concatenate([right, (right * (-1.0, 1.0))[::-1]])


def _baton(hand: Pointer) -> list[Shape]:
    half = 0.03 * hand.weight
    return [[_plate([-hand.tail, hand.length], [half, half])]]


def _taper(hand: Pointer) -> list[Shape]:
    half = 0.034 * hand.weight
    return [[_plate([-hand.tail, hand.length], [1.15 * half, 0.5 * half])]]


def _sword(hand: Pointer) -> list[Shape]:
    half = 0.035 * hand.weight
    return [[_plate([-hand.tail, 0.0, 0.75 * hand.length, hand.length], [0.7 * half, 0.6 * half, half, 0.0])]]


def _lozenge(hand: Pointer) -> list[Shape]:
    half = 0.04 * hand.weight
    return [[_plate([-hand.tail, 0.0, 0.45 * hand.length, hand.length], [0.006, 0.012, half, 0.002])]]


def _arrow(hand: Pointer) -> list[Shape]:
    half, size = 0.012 * hand.weight, 0.055 * hand.weight
    neck = hand.length - 2.2 * size
    return [[_plate([-hand.tail, neck, neck, hand.length], [half, half, size, 0.0])]]


def _whip(hand: Pointer) -> list[Shape]:
    half = 0.011 * hand.weight
    return [[_plate([-hand.tail, 0.0, hand.length], [1.4 * half, half, 0.35 * half])]]


def _skeleton(hand: Pointer) -> list[Shape]:
    """An open frame, its tip solid."""
    half, length = 0.034 * hand.weight, hand.length
    frame = _plate([0.0, 0.12 * length, 0.7 * length, length], [0.3 * half, half, half, 0.0])
    inside = _plate([0.15 * length, 0.68 * length], [0.55 * half, 0.55 * half])
    return [[frame, inside], [_plate([-hand.tail, 0.0], [0.4 * half, 0.4 * half])]]


def _serpentine(hand: Pointer) -> list[Shape]:
    """A wavy hand, as on old one-handed and French clocks, with a pointed leaf at its end."""
    t = np.linspace(0.0, 1.0, 41)
    bend = 0.06 * hand.length * np.sin(2 * np.pi * t * 1.5) * np.sin(np.pi * np.clip(t * 1.25, 0, 1))
    half = hand.weight * (0.014 + 0.016 * np.sin(3 * np.pi * t) ** 2) * (1.15 - t)
    left, right = (np.stack([bend + s * half, -t * hand.length], axis=1) for s in (1, -1))
    tail = _plate([-hand.tail, 0.0], [0.02 * hand.weight, 0.012])
    return [[np.concatenate([left, right[::-1]])], [tail]]


def _pierced(hand: Pointer) -> list[Shape]:
    """Scrolls and rings with holes along a tapering stem, as of the time of the kings Louis."""
    size, length = 0.04 * hand.weight, hand.length
    shapes: list[Shape] = [[_plate([-hand.tail, 0.3 * length, length], [0.015 * hand.weight, 0.01, 0.004])]]
    for at, big in ((0.22, 1.0), (0.42, 1.5), (0.6, 1.1), (0.74, 0.7)):
        y, wide = -at * length, big * size
        for side in (-1, 1):
            x = 0.62 * wide * side
            shapes.append([oval(x, y, 0.62 * wide, 0.08 * length, 20), oval(x, y, 0.34 * wide, 0.05 * length, 16)])
        shapes.append([_plate([at * length + 0.06 * length, at * length + 0.13 * length], [0.3 * wide, 0.0])])
    shapes.append([oval(0.0, -0.08 * length, big * size, big * size) for big in (1.3, 0.8)])
    return shapes


def _fleur(hand: Pointer) -> list[Shape]:
    """A stem with a ring and a head of three leaves with openings between."""
    size, length = 0.055 * hand.weight, hand.length
    at = 0.68 * length
    shapes: list[Shape] = [[_plate([-hand.tail, at, length], [0.016 * hand.weight, 0.012, 0.003])]]
    shapes.append([oval(0.0, -at, size, size), oval(0.0, -at, 0.55 * size, 0.55 * size)])
    for side in (-1, 1):
        leaf = around(oval(0.0, -1.3 * size, 0.38 * size, 0.8 * size, 16), side * 0.75)
        shapes.append([moved(leaf, 0.0, -at - 0.3 * size)])
    shapes.append([_plate([at + size, at + 2.2 * size, length], [0.2 * size, 0.55 * size, 0.0])])
    return shapes


def _lollipop(hand: Pointer) -> list[Shape]:
    """A thin sweep hand with a disc near its end."""
    size = 0.045 * hand.weight
    half = 0.008 * hand.weight
    head = [oval(0.0, -0.8 * hand.length, size, size)]
    tail = _plate([-hand.tail, -0.35 * hand.tail], [2.2 * half, 1.8 * half])
    return [[_plate([-hand.tail, hand.length], [half, half])], head, [tail]]


def _ringed(hand: Pointer) -> list[Shape]:
    """A thin sweep hand with a ring near its end and a crescent or disc as counterpoise."""
    size, half = 0.04 * hand.weight, 0.007 * hand.weight
    at = -0.78 * hand.length
    shapes: list[Shape] = [[oval(0.0, at, size, size), oval(0.0, at, 0.62 * size, 0.62 * size)]]
    shapes += [[_plate([-hand.tail, -at - size], [half, half])], [_plate([size - at, hand.length], [half, 0.5 * half])]]
    return [*shapes, [oval(0.0, hand.tail, 0.9 * size, 0.9 * size)]]


def _counterpoise(hand: Pointer) -> list[Shape]:
    """A thin sweep hand with a broad tail."""
    half = 0.008 * hand.weight
    tail = _plate([-hand.tail, -0.2 * hand.tail], [3.5 * half, 1.5 * half])
    return [[_plate([-hand.tail, hand.length], [half, 0.6 * half])], [tail]]


def _broken(hand: Pointer) -> list[Shape]:
    """The stump of a hand, its end torn."""
    half, tail, out = 0.022 * hand.weight, hand.tail, 0.45 * hand.length
    return [[np.array([[half, tail], [half, -out], [0.2 * half, -0.93 * out], [-half, -1.06 * out], [-half, tail]])]]


def _lume(hand: Pointer) -> Shape:
    half, length = 0.03 * hand.weight, hand.length
    if hand.kind == "arrow":
        size = 0.055 * hand.weight
        return [_plate([length - 2.0 * size, length - 0.5 * size], [0.6 * size, 0.0])]
    end = 0.93 if hand.kind == "baton" else 0.75
    return [_plate([0.3 * length, end * length], [0.45 * half, 0.45 * half])]


KINDS: dict[str, Callable[[Pointer], list[Shape]]] = {
    "baton": _baton, "taper": _taper, "sword": _sword, "lozenge": _lozenge, "arrow": _arrow, "whip": _whip,
    "skeleton": _skeleton, "serpentine": _serpentine, "pierced": _pierced, "fleur": _fleur, "lollipop": _lollipop,
    "ringed": _ringed, "counterpoise": _counterpoise, "broken": _broken,
}  # fmt: skip
PAIRS = tuple(kind for kind in KINDS if kind not in ("lollipop", "ringed", "counterpoise"))
SWEEPS = ("lollipop", "ringed", "counterpoise", "counterpoise", "whip")
