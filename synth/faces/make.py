"""The same design on a dial of another make: metal, paper, paint, or with raised figures."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.faces.face_parts import NUMBER, Face, Image, Tone, blend, disc, lattice, noise, soft
from dialtell.synth.faces.grounds import (
    METALS,
    PAINTS,
    PAPERS,
    crazed,
    crease_shade,
    fibres,
    finish_light,
    foxing,
    glossy,
    ragged,
)
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Make, Seen

FINISHES = ("straight", "circular", "sunburst", "engine", "frosted", "polished")
LIGHT_INKS: tuple[Tone, ...] = ((0.78, 0.77, 0.72), (0.75, 0.62, 0.3), (0.62, 0.68, 0.42), (0.6, 0.6, 0.62))
DARK_INKS: tuple[Tone, ...] = ((0.015, 0.014, 0.013), (0.03, 0.025, 0.02), (0.012, 0.03, 0.16), (0.2, 0.02, 0.02))
DARK = 0.2  # mean reflectance of a ground that wants light figures
NEAR_WHITE = 0.3  # share of paper and of painted dials that are as white as enamel
KEPT = (Seen.STEP, Seen.HOLE, Seen.HAND, Seen.OVERLAY)  # not part of ground or paint: they stay as they are


@dataclass(frozen=True)
class MakeSpec:
    """make : any but Make.NONE; ENAMEL changes nothing. numbers : 16 of 0..1, what each kind is varied by.
    seed : of noise."""

    make: Make
    numbers: tuple[float, ...]
    seed: int

    def __post_init__(self) -> None:
        if self.make is Make.NONE:
            raise ParameterError("make is 'no dial'; give one of the makes of dials")
        if len(self.numbers) != 16 or not all(0.0 <= number <= 1.0 for number in self.numbers):
            raise ParameterError(f"numbers is {self.numbers}; give 16 numbers of 0..1")


def sample_make(*, rng: np.random.Generator) -> MakeSpec:
    """Draw metal, paper, paint or raised figures, a quarter each."""
    made = (Make.METAL, Make.PAPER, Make.PAINTED, Make.RAISED)[int(rng.integers(4))]
    return MakeSpec(made, tuple(float(number) for number in rng.random(16)), int(rng.integers(2**31)))


def dress(spec: MakeSpec, face: Face, ground: Image) -> Face:
    """The design of a face on a dial of the spec's make.

    ground : (F, F, 3) float32 linear reflectance of the face without paint; its place in the picture is that of `face`.
    What is no paint (holes, rings, hands) stays as it is.
    """
    if spec.make is Make.ENAMEL:
        return face
    rng = np.random.default_rng(spec.seed)
    made = {Make.METAL: _metal, Make.PAPER: _paper, Make.PAINTED: _painted, Make.RAISED: _raised}[spec.make]
    dressed = made(spec, face, ground, rng)
    kept = np.isin(face.seen, [NUMBER[seen] for seen in KEPT]) | (face.seen == 0)
    colour = np.where(kept[..., None], face.colour, dressed.colour)
    return Face(np.asarray(np.clip(colour, 0.0, 2.0), np.float32), np.where(kept, face.seen, dressed.seen), dressed.ink)


def _paint_on(new: Image, face: Face, ground: Image, tone: Tone | None, strength: Image | float = 1.0) -> Image:
    """The design laid on another ground: in one tone, or in None by the ratio its own paint darkens the old ground."""
    if tone is None and float(ground[::8, ::8].mean()) < DARK:
        tone = DARK_INKS[0]  # light figures would not be seen
    if tone is None:
        ratio = np.clip((face.colour + 1e-3) / (ground + 1e-3), 0.0, 1.2)
        bare = face.ink <= 0.0
        ratio[bare] = 1.0
        return np.asarray(new * (1.0 + (ratio - 1.0) * np.asarray(strength, np.float32)[..., None]), np.float32)
    return blend(new, tone, np.asarray(face.ink * strength, np.float32))


def _choice(number: float, options: tuple[Tone, ...]) -> Tone:
    return options[min(int(number * len(options)), len(options) - 1)]


def _figures(spec: MakeSpec, new: Image, own: float) -> Tone | None:
    """Light figures for a dark ground, for others dark ones or with chance `own` those of the design."""
    if float(new[::8, ::8].mean()) < DARK:
        return _choice(spec.numbers[2], LIGHT_INKS)
    return None if spec.numbers[3] < own else _choice(spec.numbers[2], DARK_INKS)


def metal_ground(spec: MakeSpec, scale: int, rng: np.random.Generator) -> Image:
    """(F, F, 3) of a metal face: its tone under the light its finish throws back."""
    one, two, three, four = spec.numbers[4:8]
    tone = np.asarray(_choice(spec.numbers[0], METALS), np.float32) * (0.75 + 0.4 * one)
    finish = FINISHES[min(int(spec.numbers[1] * len(FINISHES)), len(FINISHES) - 1)]
    light = finish_light(finish, (two, three, four), scale, rng)
    if spec.numbers[8] < 0.35 and finish != "engine":  # another finish within a ring
        inner = FINISHES[int(spec.numbers[8] * 1000) % len(FINISHES)]
        edge = 0.3 + 0.4 * spec.numbers[9]
        within = np.clip((edge - lattice(scale)[2]) * scale + 0.5, 0.0, 1.0)
        light = light + (finish_light(inner, (three, two, four), scale, rng) - light) * within
    tarnish = 1.0 - 0.5 * spec.numbers[10] ** 2 * np.clip(noise(rng, 2 * scale, 0.35 * scale) * 0.5, 0.0, 1.0)
    # a highlight has less of the metal's own tint
    lit = (light * tarnish)[..., None] * tone
    return np.asarray(lit + 0.25 * np.clip(light - 1.1, 0.0, 1.0)[..., None] * float(tone.mean()), np.float32)


def _metal(spec: MakeSpec, face: Face, ground: Image, rng: np.random.Generator) -> Face:
    new = metal_ground(spec, face.scale, rng)
    colour = _paint_on(new, face, ground, _figures(spec, new, 0.3))
    if spec.numbers[11] < 0.4:  # engraved and filled with wax: edges catch the light
        colour = colour * (1.0 + 0.8 * _slope(face.ink, spec.numbers[12], 0.7)[..., None])
    return Face(np.asarray(colour, np.float32), face.seen, face.ink)


def _paper(spec: MakeSpec, face: Face, ground: Image, rng: np.random.Generator) -> Face:
    side, n = 2 * face.scale, spec.numbers
    tone = _choice(0.25 * n[0] if n[1] < NEAR_WHITE else 0.26 + 0.74 * n[0], PAPERS)
    mottled = 1.0 + 0.05 * noise(rng, side, 0.25 * face.scale) + (0.01 + 0.03 * n[4]) * noise(rng, side, 1.2)
    new = np.asarray(tone, np.float32) * np.asarray(mottled, np.float32)[..., None]
    new = new * (1.0 + (0.04 + 0.1 * n[5]) * fibres(side, rng)[..., None])
    faded = 1.0 - (0.65 * n[6] ** 1.5) * np.clip(0.6 + 0.4 * noise(rng, side, 0.4 * face.scale), 0.0, 1.0)
    colour = _paint_on(new, face, ground, (0.09, 0.07, 0.05) if n[3] < 0.3 else None, faded)
    seen = face.seen
    spots = foxing(side, rng, n[7])
    colour = colour * (1.0 - spots[..., None] * np.array([0.35, 0.55, 0.75], np.float32))
    seen = _damaged(seen, spots > 0.5)
    if n[8] < 0.4:
        colour = colour * (1.0 + crease_shade(side, rng, 1 + int(8 * n[8]))[..., None])
    rim = np.clip((lattice(face.scale)[2] + 0.05 * noise(rng, side, 0.15 * face.scale) - 0.75) / 0.25, 0.0, 1.0)
    colour = colour * (1.0 - (0.7 * n[9] ** 1.5 * rim)[..., None] * np.array([0.6, 0.8, 1.0], np.float32))
    if n[10] < 0.3:  # torn: what carries the paper shows
        gone = ragged(face.scale, rng, 0.02 + 0.3 * n[10])
        colour = blend(np.asarray(colour, np.float32), (0.1 + 0.25 * n[11], 0.08 + 0.15 * n[11], 0.06), gone)
        seen = _damaged(seen, gone > 0.5, over=True)
        return Face(colour, seen, np.asarray(face.ink * (1.0 - gone), np.float32))
    return Face(np.asarray(colour, np.float32), seen, face.ink)


def paint_ground(spec: MakeSpec, scale: int, rng: np.random.Generator) -> Image:
    """(F, F, 3) of a painted face, glossy or matt."""
    n = spec.numbers
    white = n[1] < NEAR_WHITE
    tone = np.asarray(_choice(0.2 * n[0] if white else 0.22 + 0.78 * n[0], PAINTS), np.float32)
    plain = 1.0 + 0.02 * noise(rng, 2 * scale, 0.5 * scale) + 0.015 * n[4] * noise(rng, 2 * scale, 1.0)
    new = tone * np.asarray(plain, np.float32)[..., None]
    if n[5] < 0.25:  # darker towards the edge
        new = new * (1.0 - (0.3 + 2.4 * n[5]) * np.clip(lattice(scale)[2] - 0.35, 0.0, 1.0) ** 1.5)[..., None]
    if n[6] < 0.5:
        new = new + glossy(scale, 0.25 * n[6], n[7])[..., None]
    return np.asarray(new, np.float32)


def _painted(spec: MakeSpec, face: Face, ground: Image, rng: np.random.Generator) -> Face:
    n = spec.numbers
    new = paint_ground(spec, face.scale, rng)
    colour, seen, ink = _paint_on(new, face, ground, _figures(spec, new, 0.6)), face.seen, face.ink
    if n[8] < 0.2:
        colour, seen, ink = _luminous(face, colour, seen, ink)
    if n[9] < 0.3:
        lines = crazed(face.scale, rng, 20 + int(900 * n[9]))
        colour = colour * (1.0 - (0.3 + n[10] * 0.5) * lines[..., None])
    if n[11] < 0.22:  # flaked off, most at the edge
        lumpy = noise(rng, 2 * face.scale, (0.05 + 0.1 * n[12]) * face.scale)
        lumpy = lumpy + 0.4 * noise(rng, 2 * face.scale, 0.02 * face.scale) + 2.2 * lattice(face.scale)[2] ** 3
        gone = np.asarray(np.clip((lumpy - 3.3 + 5 * n[11]) * 4.0, 0.0, 1.0), np.float32)
        under = _choice(n[13], ((0.35, 0.3, 0.22), (0.5, 0.42, 0.24), (0.12, 0.06, 0.03), (0.3, 0.3, 0.3)))
        lip = _slope(gone, n[12], 0.8)
        colour = blend(np.asarray(colour * (1.0 + 0.5 * lip[..., None]), np.float32), under, gone)
        seen, ink = _damaged(seen, gone > 0.5, over=True), np.asarray(ink * (1.0 - gone), np.float32)
    return Face(np.asarray(colour, np.float32), seen, ink)


def _luminous(face: Face, colour: Image, seen: NDArray[np.uint8], ink: Image) -> tuple[Image, NDArray[np.uint8], Image]:
    """Dots of luminous paint at the hours, outside the figures where there is room."""
    radius = _numeral_band(face)[1] + 0.04
    radius = radius if radius < 0.93 else 0.9
    turn = np.arange(12) * np.pi / 6
    dots = np.zeros(ink.shape, np.uint8)
    for x, y in np.stack([np.sin(turn), -np.cos(turn)], axis=1) * radius:
        place = (int((x + 1) * face.scale * 16), int((y + 1) * face.scale * 16))
        cv2.circle(dots, place, int(0.03 * face.scale * 16), 255, -1, cv2.LINE_AA, 4)
    cover = dots.astype(np.float32) / np.float32(255)
    seen = np.where((cover > 0.2) & (seen > 0), np.uint8(NUMBER[Seen.NUMERALS]), seen)
    return blend(colour, (0.55, 0.62, 0.4), cover), seen, np.maximum(ink, cover)


def _raised(spec: MakeSpec, face: Face, ground: Image, rng: np.random.Generator) -> Face:
    n = spec.numbers
    side, scale = 2 * face.scale, face.scale
    if n[4] < 0.3:
        new = ground
    elif n[4] < 0.65:
        new = metal_ground(_metal_of(spec), scale, rng)
    else:
        new = paint_ground(spec, scale, rng)
    colour = _paint_on(np.asarray(new, np.float32), face, ground, _figures(spec, new, 0.5))
    name = Seen.NUMERALS if (face.seen == NUMBER[Seen.NUMERALS]).any() else Seen.MINUTE_TRACK
    solid = np.where(face.seen == NUMBER[name], face.ink, np.float32(0.0))
    if n[5] < 0.6:  # applied figures are broader than painted ones
        wide = 3 if n[5] < 0.4 or scale < 140 else 5
        solid = np.asarray(cv2.dilate(solid, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))), np.float32)
    if n[6] < 0.3:
        solid = np.maximum(solid, _studs(face, 0.02 + 0.02 * n[7], n[6] < 0.15))
    ring = np.zeros((side, side), np.float32)
    if n[8] < 0.25:
        middle = _numeral_band(face)[0 if n[8] < 0.15 else 1] + 0.02
        ring = np.clip(0.5 + (0.012 + 0.02 * n[9] - np.abs(lattice(scale)[2] - min(middle, 0.96))) * scale, 0.0, 1.0)
    relief = np.maximum(solid, np.asarray(ring, np.float32))
    azimuth = 2 * np.pi * n[12]
    high = (0.006 + 0.02 * n[10]) * scale
    shift = np.array([[1.0, 0.0, -high * np.sin(azimuth)], [0.0, 1.0, high * np.cos(azimuth)]])
    shadow = soft(np.asarray(cv2.warpAffine(relief, shift, (side, side)), np.float32), 0.4 + 0.6 * high)
    colour = colour * (1.0 - (0.35 + 0.5 * n[11]) * shadow[..., None])
    tone = np.asarray(_choice(n[13], METALS), np.float32) * (0.7 + 0.5 * n[14])
    bevel = 0.75 + 2.2 * (0.4 + n[15]) * _slope(relief, n[12], 0.9 + 0.004 * scale)
    bevel = bevel + 0.15 * noise(rng, side, 0.1 * scale)
    metal = np.clip(bevel, 0.08, 1.9)[..., None] * tone + np.clip(bevel - 1.3, 0.0, 1.0)[..., None] * 0.5
    colour = blend(np.asarray(colour, np.float32), np.asarray(metal, np.float32), relief)
    seen = np.where((solid > 0.2) & (face.seen > 0), np.uint8(NUMBER[name]), face.seen)
    seen = np.where((ring > 0.5) & (solid < 0.2) & (face.seen > 0), np.uint8(NUMBER[Seen.STEP]), seen)
    ink = np.maximum(np.where(ring > 0.5, np.float32(0.0), face.ink), solid * disc(scale))
    return Face(np.asarray(colour, np.float32), np.asarray(seen, np.uint8), np.asarray(ink, np.float32))


def _metal_of(spec: MakeSpec) -> MakeSpec:
    """The same with other numbers first, so that the ground is not of the metal of the figures."""
    return MakeSpec(spec.make, spec.numbers[9:] + spec.numbers[:9], spec.seed)


def _studs(face: Face, size: float, quarters: bool) -> Image:
    """Cabochons outside or inside the figures, at every hour or at the quarters."""
    inner, outer = _numeral_band(face)
    radius = outer + 1.4 * size if outer + 2.5 * size < 1.0 else inner - 1.4 * size
    x, y, _, _ = lattice(face.scale)
    cover = np.zeros_like(face.ink)
    for turn in np.arange(0.0, 2 * np.pi, np.pi / (2 if quarters else 6)):
        away = np.hypot(x - np.float32(radius * np.sin(turn)), y + np.float32(radius * np.cos(turn)))
        np.maximum(cover, (size - away) * face.scale + 0.5, out=cover)
    return np.asarray(np.clip(cover, 0.0, 1.0), np.float32)


def _numeral_band(face: Face) -> tuple[float, float]:
    """Inner and outer radius of the hour figures; where there are none, the usual."""
    there = face.seen == NUMBER[Seen.NUMERALS]
    if not there.any():
        return 0.6, 0.85
    low, high = np.quantile(lattice(face.scale)[2][there], [0.02, 0.98])
    return float(low), float(high)


def _slope(cover: Image, turn: float, spread: float) -> Image:
    """(F, F) how far the edges of a mask, raised, face the light, about -1..1. turn : of the light, 0..1."""
    smooth = soft(cover, spread)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=0.25)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=0.25)
    angle = 2 * np.pi * turn
    return np.asarray(-2.0 * (across * np.float32(np.sin(angle)) - down * np.float32(np.cos(angle))), np.float32)


def _damaged(seen: NDArray[np.uint8], where: NDArray[np.bool_], *, over: bool = False) -> NDArray[np.uint8]:
    """Names with damage on bare ground, or over everything of the design."""
    number = np.uint8(NUMBER[Seen.DAMAGE])
    free = (seen > 0) & (seen < NUMBER[Seen.HOLE]) if over else (seen > 0) & (seen < number)
    return np.asarray(np.where(where & free, number, seen), np.uint8)
