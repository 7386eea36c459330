"""Drawing what stands about a dial: smoothed lines and shapes in code values, and the noise laid over them.

OpenCV draws smooth edges in 8 bits only, so things are drawn in sRGB code values with their cover as fourth channel
and turned into light afterwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import Colour, colour_of
from dialtell.synth.settings.plate import EXTENT, lattice
from dialtell.synth.shared.srgb import codes

Image = NDArray[np.float32]
Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]

SHIFT = 4  # bits of a pixel's fraction in OpenCV's fixed-point places
TABLE = 720  # entries of a field that depends on the turn or on the radius alone
_code = np.arange(256) / 255.0
LIGHT = np.where(_code <= 0.04045, _code / 12.92, ((_code + 0.055) / 1.055) ** 2.4).astype(np.float32)
# figures as strokes in a box 0..1 by 0..1, y down
_FIGURES: dict[str, str] = {
    "0": "30 70 92 97 79 39 07 02 30",
    "1": "13 50 59",
    "2": "03 20 70 93 94 09 99",
    "3": "02 30 70 93 54 96 79 29 07",
    "4": "79 70 06 96",
    "5": "90 10 14 64 96 79 29 07",
    "6": "80 40 13 06 08 39 69 97 95 63 33 06",
    "7": "00 90 39",
    "8": "54 13 20 80 93 54 07 19 79 97 54",
    "9": "93 36 15 03 11 30 70 92 95 79 29",
}


def light(picture: Codes) -> Image:
    """Linear light 0..1, float32, of a picture of code values with any number of channels."""
    return np.asarray(cv2.LUT(picture, LIGHT), dtype=np.float32)


def ink(colour: Colour | Sequence[float] | Floats) -> tuple[int, int, int]:
    """Code values of a linear colour, cut off at 0 and 1."""
    red, green, blue = (int(value) for value in codes(np.clip(np.asarray(colour, np.float64), 0.0, 1.0)))
    return red, green, blue


def drawn_colour(rng: np.random.Generator, low: float = 0.01, high: float = 0.9, *, grey: float = 0.4) -> Colour:
    """A linear colour of lightness `low`..`high`, all ratios alike; `grey` is the share with next to no hue."""
    level = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    strength = 0.03 if rng.random() < grey else 0.2 if rng.random() < 0.7 else 0.6
    tint = np.exp(strength * rng.standard_normal(3))
    tint /= tint @ np.array([0.21, 0.72, 0.07])
    return colour_of(np.clip(level * tint, 0.002, 1.0))


def near(rng: np.random.Generator, colour: Colour, spread: float) -> Colour:
    """A colour near another one: a common change of lightness and a smaller one of hue."""
    factor = np.exp(spread * (rng.standard_normal() + 0.4 * rng.standard_normal(3)))
    return colour_of(np.clip(np.array(colour) * factor, 0.001, 1.0))


def fractal(
    rng: np.random.Generator, shape: tuple[int, int], rough: float, channels: int = 1, coarse: int = 3
) -> Image:
    """Noise of all sizes, mean 0 and about 1 at its strongest size; (H, W[, C]) float32.

    rough : 0.2..1, amplitude of each octave over that of the next larger one (0.5 is 1/f). coarse : 2..64, bumps
    along the longer side at the largest size. The finest octave has bumps of 2 px.
    """
    longer = max(shape)
    steps = max(int(np.ceil(np.log2(max(longer / coarse, 1.0)))) - 1, 0)
    field = np.zeros((1, 1, channels), np.float32)
    strength = 1.0
    for step in range(steps + 1):
        part = min(coarse * 2.0**step / longer, 1.0)
        size = (max(round(shape[0] * part), 2), max(round(shape[1] * part), 2))
        fresh = rng.standard_normal((*size, channels), dtype=np.float32) * np.float32(strength)
        field = fresh + cv2.resize(field, size[::-1], interpolation=cv2.INTER_LINEAR).reshape(fresh.shape)
        strength *= rough
    whole = cv2.resize(field, shape[::-1], interpolation=cv2.INTER_CUBIC if steps == 0 else cv2.INTER_LINEAR)
    return np.asarray(whole, np.float32).reshape(*shape, channels)[..., 0 if channels == 1 else slice(None)]


def blob(rng: np.random.Generator, corners: int, uneven: float) -> Floats:
    """(corners, 2) closed outline about (0, 0), radius about 1, uneven by that share."""
    turn = (np.arange(corners) + uneven * rng.uniform(-0.4, 0.4, corners)) * (2 * np.pi / corners)
    reach = 1.0 + uneven * rng.uniform(-1.0, 1.0, corners)
    return np.asarray(np.stack([np.sin(turn), -np.cos(turn)], 1) * reach[:, None])


def smoothed(outline: Floats, times: int = 3) -> Floats:
    """A closed outline with its corners cut off `times` times, each time with twice the points."""
    for _ in range(times):
        onward = np.roll(outline, -1, axis=0)
        outline = np.stack([0.75 * outline + 0.25 * onward, 0.25 * outline + 0.75 * onward], 1).reshape(-1, 2)
    return outline


def alphabet(rng: np.random.Generator, count: int = 14) -> list[Floats]:
    """Signs of no script: strokes of 2 to 4 points in a box 0..1 by 0..1, one or two strokes a sign, joined."""
    signs = []
    for _ in range(count):
        path = np.clip(np.cumsum(rng.normal(0.0, 0.55, (int(rng.integers(3, 6)), 2)), axis=0) % 1.4, 0.0, 1.0)
        stem = float(rng.choice([0.0, 0.5, 1.0]))
        signs.append(np.concatenate([[[stem, 0.0], [stem, 1.0]], path]) if rng.random() < 0.6 else path)
    return signs


def figure(text: str) -> Floats:
    """(N, 2) stroke of one figure 0..9 in a box 0..1 by 0..1."""
    return np.array([[int(pair[0]), int(pair[1])] for pair in _FIGURES[text].split()]) / 9.0


def set_signs(signs: Sequence[Floats], at: Floats, size: float, turn: Floats) -> list[Floats]:
    """Strokes of `signs` with their middles `at` (N, 2), `size` high, each turned by `turn` (N,) radians clockwise."""
    c, s = np.cos(turn) * size, np.sin(turn) * size
    strokes = []
    for sign, place, cosine, sine in zip(signs, at, c, s, strict=True):
        x, y = 0.7 * (sign[:, 0] - 0.5), sign[:, 1] - 0.5
        strokes.append(np.stack([place[0] + cosine * x - sine * y, place[1] + sine * x + cosine * y], 1))
    return strokes


def fixed(points: Floats) -> NDArray[np.int32]:
    """Pixel places as OpenCV's fixed-point ones."""
    return np.asarray(np.round(np.asarray(points) * 2**SHIFT), np.int32)


def write_lines(
    picture: Codes, rng: np.random.Generator, box: tuple[float, float, float, float], size: float, colour: Colour
) -> None:
    """Lines of signs in words, as of print, in the box (left, top, right, bottom) px; `size` px high."""
    tall, wide = max(round(1.7 * size), 3), max(round(0.85 * size), 2)
    left, top = max(round(box[0]), 0), max(round(box[1]), 0)
    part = picture[top : min(round(box[3]), picture.shape[0]), left : min(round(box[2]), picture.shape[1])]
    rows, columns = part.shape[0] // tall, part.shape[1] // wide
    if rows < 1 or columns < 2:
        return
    # type as a printer has it: every sign cast once, a blank for the space between words
    signs = alphabet(rng)
    cast = np.zeros((len(signs) + 1, tall, wide), np.uint8)
    for block, sign in zip(cast, signs, strict=False):
        stroke = fixed(sign * (0.7 * wide, 0.95 * size) + (0.1 * wide, 0.3 * size))
        cv2.polylines(block, [stroke], False, 255, max(round(size / 8), 1), cv2.LINE_AA, SHIFT)
    line = np.where(rng.random((rows, columns)) > 0.17, rng.integers(0, len(signs), (rows, columns)), len(signs))
    length = np.where(rng.random(rows) < 0.15, rng.uniform(0.2, 0.9, rows), 1.0)  # a paragraph's last line is shorter
    line[np.arange(columns) >= length[:, None] * columns] = len(signs)
    share = cast[line].transpose(0, 2, 1, 3).reshape(rows * tall, columns * wide, 1).astype(np.float32) / 255.0
    written = part[: rows * tall, : columns * wide]
    written[:] = written + share * (np.array(ink(colour), np.float32) - written)


@lru_cache(maxsize=4)
def _entries(scale: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    _, _, radius, turn = lattice(scale)
    round_ = (np.mod(turn / (2 * np.pi), 1.0) * TABLE).astype(np.intp) % TABLE
    return round_, np.minimum(radius * (TABLE / (EXTENT * 1.4143)), TABLE - 1).astype(np.intp)


def by_turn(table: Image, scale: int) -> Image:
    """(S, S[, C]) field on the plate from its (TABLE[, C]) values clockwise from up."""
    return np.asarray(np.take(table.astype(np.float32), _entries(scale)[0], axis=0))


def by_radius(table: Image, scale: int) -> Image:
    """(S, S[, C]) field on the plate from its (TABLE[, C]) values from the centre to the corner."""
    return np.asarray(np.take(table.astype(np.float32), _entries(scale)[1], axis=0))


class Sketch:
    """A drawing on the plate's square: places and lengths in its own radius, angles in degrees clockwise from up.

    codes : (S, S, 4) uint8, colour and cover. scale : px per dial radius. All is turned by `turn_deg`, `radius` dial
    radii large and lies about `middle`, dial radii; `off` draws what is cut away.
    """

    def __init__(
        self,
        scale: int,
        ground: Colour,
        turn_deg: float = 0.0,
        radius: float = 1.0,
        middle: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        size = round(2 * EXTENT * scale)
        self.scale = scale * radius  # px of one unit of the drawing
        self._middle = (np.array(middle) + EXTENT) * scale - 0.5
        self.codes: Codes = np.empty((size, size, 4), np.uint8)
        self.codes[:] = (*ink(ground), 0)
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        self._rotation = np.array([[c, s], [-s, c]])

    def place(self, points: Floats) -> NDArray[np.int32]:
        """Fixed-point pixels of (..., 2) places."""
        return fixed(np.asarray(points, np.float64) @ self._rotation * self.scale + self._middle)

    def px(self, length: float) -> int:
        """A line's width in whole pixels, one at least."""
        return max(round(length * self.scale), 1)

    def disc(self, radius: float, colour: Colour, at: tuple[float, float] = (0.0, 0.0), *, off: bool = False) -> None:
        """A filled disc."""
        x, y = (int(value) for value in self.place(np.array(at)))
        # OpenCV's smoothed outline reaches half a pixel further
        reach = max(round((radius * self.scale - 0.5) * 2**SHIFT), 4)
        cv2.circle(self.codes, (x, y), reach, (*ink(colour), 0 if off else 255), -1, cv2.LINE_AA, SHIFT)

    def circle(self, radius: float, width: float, colour: Colour, at: tuple[float, float] = (0.0, 0.0)) -> None:
        """A line round a disc."""
        x, y = (int(value) for value in self.place(np.array(at)))
        reach = max(round(radius * self.scale * 2**SHIFT), 4)
        cv2.circle(self.codes, (x, y), reach, (*ink(colour), 255), self.px(width), cv2.LINE_AA, SHIFT)

    def shapes(self, outlines: Sequence[Floats], colour: Colour, *, off: bool = False) -> None:
        """Filled outlines that do not overlap one another."""
        if outlines:
            places = [self.place(outline) for outline in outlines]
            cv2.fillPoly(self.codes, places, (*ink(colour), 0 if off else 255), cv2.LINE_AA, SHIFT)

    def lines(self, paths: Sequence[Floats], width: float, colour: Colour, *, closed: bool = False) -> None:
        """Lines of one width."""
        if paths:
            places = [self.place(path) for path in paths]
            cv2.polylines(self.codes, places, closed, (*ink(colour), 255), self.px(width), cv2.LINE_AA, SHIFT)

    def around(
        self,
        outline: Floats,
        count: int,
        colour: Colour,
        *,
        start: float = 0.0,
        span: float = 360.0,
        off: bool = False,
    ) -> None:
        """`count` copies of an outline drawn pointing up, at equal turns over `span` degrees from `start`."""
        last = count if span >= 360.0 else max(count - 1, 1)
        turn = np.radians(start + span * np.arange(count) / last)
        c, s = np.cos(turn), np.sin(turn)
        turned = outline @ np.stack([np.stack([c, s], 1), np.stack([-s, c], 1)], 1)
        self.shapes(list(turned), colour, off=off)

    def ticks(
        self,
        count: int,
        inner: float,
        outer: float,
        width: float,
        colour: Colour,
        *,
        start: float = 0.0,
        span: float = 360.0,
    ) -> None:
        """Straight marks across a ring."""
        half = 0.5 * max(width, 0.8 / self.scale)
        bar = np.array([[-half, -inner], [-half, -outer], [half, -outer], [half, -inner]])
        self.around(bar, count, colour, start=start, span=span)

    def sector(self, inner: float, outer: float, first: float, last: float, colour: Colour) -> None:
        """A piece of a ring between two turns."""
        turn = np.radians(np.linspace(first, last, max(int((last - first) / 5), 2)))
        way = np.stack([np.sin(turn), -np.cos(turn)], 1)
        self.shapes([np.concatenate([way * outer, way[::-1] * inner])], colour)

    def writing(
        self,
        signs: Sequence[Floats],
        radius: float,
        size: float,
        colour: Colour,
        *,
        start: float = 0.0,
        span: float = 360.0,
        upright: bool = False,
        inward: bool = False,
    ) -> None:
        """Signs on a ring at equal turns over `span`, their feet to the centre unless upright or inward."""
        last = len(signs) if span >= 360.0 else max(len(signs) - 1, 1)
        turn = np.radians(start + span * np.arange(len(signs)) / last)
        at = np.stack([np.sin(turn), -np.cos(turn)], 1) * radius
        lean = np.zeros_like(turn) if upright else turn + np.pi if inward else turn
        self.lines(set_signs(signs, at, size, lean), size / 8, colour)

    def numbers(
        self,
        values: Sequence[int],
        radius: float,
        size: float,
        colour: Colour,
        *,
        start: float,
        span: float,
        upright: bool,
    ) -> None:
        """Whole numbers on a ring."""
        last = len(values) if span >= 360.0 else max(len(values) - 1, 1)
        for index, value in enumerate(values):
            turn = np.radians(start + span * index / last)
            self.number(value, (radius * np.sin(turn), -radius * np.cos(turn)), size, colour, 0.0 if upright else turn)

    def number(self, value: int, at: tuple[float, float], size: float, colour: Colour, turn: float = 0.0) -> None:
        """A whole number >= 0 with its middle `at`, turned by `turn` radians."""
        text = str(value)
        offset = (np.arange(len(text)) - 0.5 * (len(text) - 1)) * 0.85 * size
        places = np.array(at) + offset[:, None] * np.array([np.cos(turn), np.sin(turn)])
        self.lines(set_signs([figure(sign) for sign in text], places, size, np.full(len(text), turn)), size / 7, colour)
