"""Pictures without a dial, drawn with Pillow: what a finder of round white things with strokes might be taken in by.

A picture is drawn from its kind and an rng: size, place, colours, tilt, blur, light and grain all vary. No picture
names or shows anything real.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Pixels = NDArray[np.uint8]
Colour = tuple[int, int, int]

WORDS = (
    "above river stone under light paper seven market garden window north table silver morning station letter"
    " harbour cotton engine valley winter copper number bridge"
).split()


@dataclass(frozen=True)
class Canvas:
    """What a kind draws on: a square picture with a round thing at (x, y) of radius r, px; rng for the rest."""

    image: Image.Image
    pen: ImageDraw.ImageDraw
    x: float
    y: float
    r: float
    rng: np.random.Generator

    def disc(self, share: float, fill: Colour | None, line: Colour | None = None, width: int = 1) -> None:
        """A circle of `share` radii about the middle."""
        reach = share * self.r
        box = (self.x - reach, self.y - reach, self.x + reach, self.y + reach)
        self.pen.ellipse(box, fill=fill, outline=line, width=width)

    def at(self, radius: float, turn: float) -> tuple[float, float]:
        """Px of a point `radius` radii out, `turn` radians clockwise from up."""
        return self.x + radius * self.r * math.sin(turn), self.y - radius * self.r * math.cos(turn)

    def ray(self, inner: float, outer: float, turn: float, fill: Colour, width: float) -> None:
        """A straight line outwards, its width in radii."""
        self.pen.line((*self.at(inner, turn), *self.at(outer, turn)), fill=fill, width=max(round(width * self.r), 1))

    def word(self, place: tuple[float, float], text: str, height: float, fill: Colour, turn: float = 0.0) -> None:
        """Text centred on a px place, its height in radii, turned clockwise by `turn` radians."""
        font = ImageFont.load_default(max(height * self.r, 6))
        left, top, right, bottom = font.getbbox(text)
        mask = Image.new("L", (int(right - left) + 4, int(bottom - top) + 4))
        ImageDraw.Draw(mask).text((2 - left, 2 - top), text, fill=255, font=font)
        mask = mask.rotate(-math.degrees(turn), expand=True, resample=Image.Resampling.BICUBIC)
        self.image.paste(fill, (int(place[0] - mask.width / 2), int(place[1] - mask.height / 2)), mask)

    def around(self, text: str, radius: float, height: float, fill: Colour, start: float = 0.0) -> None:
        """Text round the turn, its feet inwards."""
        turn = start
        for letter in text:
            self.word(self.at(radius, turn), letter, height, fill, turn)
            turn += 0.75 * height / radius

    def tone(self, low: int, high: int) -> Colour:
        """A near-grey of any lightness in the range."""
        grey = self.rng.uniform(low, high)
        red, green, blue = np.clip(grey * self.rng.uniform(0.9, 1.1, 3), 0, 255).astype(int)
        return int(red), int(green), int(blue)

    def colour(self) -> Colour:
        """A colour neither black nor white."""
        red, green, blue = self.rng.integers(20, 235, 3)
        return int(red), int(green), int(blue)

    def saying(self, words: int) -> str:
        """So many words at random."""
        return " ".join(str(word) for word in self.rng.choice(WORDS, words))


def _page(c: Canvas) -> None:
    c.image.paste(c.tone(225, 250), (0, 0, *c.image.size))
    size = c.rng.uniform(0.04, 0.12)
    for row in range(int(c.image.height / (1.5 * size * c.r))):
        line = c.saying(40)
        font = ImageFont.load_default(max(size * c.r, 8))
        c.pen.text((0.08 * c.image.width, row * 1.5 * size * c.r), line, fill=c.tone(10, 60), font=font)
    c.pen.rectangle((0.93 * c.image.width, 0, *c.image.size), fill=c.tone(225, 250))


def _plain_plate(c: Canvas) -> None:
    c.disc(1.0, c.tone(215, 250))
    c.disc(c.rng.uniform(0.6, 0.8), None, c.tone(190, 225), max(round(0.01 * c.r), 1))


def _patterned_plate(c: Canvas) -> None:
    c.disc(1.0, c.tone(225, 250))
    ink, petals = c.colour(), int(c.rng.integers(5, 20))
    for k in range(petals):
        turn = 2 * math.pi * k / petals
        c.ray(0.72, 0.9, turn, ink, 0.02)
        for side in (-0.08, 0.08):
            c.ray(0.8, 0.86, turn + side, ink, 0.03)
    for share in (0.95, 0.68):
        c.disc(share, None, ink, max(round(0.012 * c.r), 1))


def _coin(c: Canvas) -> None:
    metal = c.tone(130, 215)
    c.disc(1.0, metal)
    c.disc(0.96, None, c.tone(60, 110), max(round(0.02 * c.r), 1))
    c.around(c.saying(5).upper()[:34], 0.82, 0.13, c.tone(50, 110), c.rng.uniform(0, 6))
    c.word((c.x, c.y), str(c.rng.integers(1, 100)), 0.8, c.tone(50, 120))


def _spoked_wheel(c: Canvas) -> None:
    c.disc(1.0, c.tone(20, 50))
    c.disc(0.92, c.tone(150, 200))
    c.disc(0.88, c.tone(150, 245))
    spokes = int(c.rng.integers(16, 48))
    for k in range(spokes):
        c.ray(0.05, 0.88, 2 * math.pi * k / spokes, c.tone(20, 90), 0.008)
    c.disc(0.08, c.tone(40, 120))


def _car_wheel(c: Canvas) -> None:
    c.disc(1.0, c.tone(15, 45))
    c.disc(0.72, c.tone(140, 220))
    arms = int(c.rng.integers(4, 9))
    for k in range(arms):
        c.ray(0.3, 0.62, 2 * math.pi * k / arms, c.tone(10, 50), 0.16)
    for k in range(5):
        x, y = c.at(0.16, 2 * math.pi * k / 5)
        c.pen.ellipse((x - 0.03 * c.r, y - 0.03 * c.r, x + 0.03 * c.r, y + 0.03 * c.r), fill=c.tone(40, 90))


def _map(c: Canvas) -> None:
    c.image.paste(c.tone(210, 245), (0, 0, *c.image.size))
    side = c.image.width
    for _ in range(int(c.rng.integers(10, 40))):
        steps = np.cumsum(c.rng.normal(0, 0.05 * side, (30, 2)), axis=0) + c.rng.uniform(0, side, 2)
        c.pen.line([tuple(p) for p in steps.tolist()], fill=c.colour(), width=int(c.rng.integers(1, 8)))
    for _ in range(30):
        x, y = (float(v) for v in c.rng.uniform(0, side, 2))
        c.word((x, y), c.saying(1), 0.06, c.tone(10, 80), float(c.rng.normal(0, 0.3)))
    for ring in range(1, int(c.rng.integers(3, 12))):
        c.disc(0.09 * ring, None, c.tone(100, 160), 2)


def _target(c: Canvas) -> None:
    dark, light = c.colour(), c.tone(220, 250)
    rings = int(c.rng.integers(4, 12))
    for k in range(rings):
        c.disc(1 - k / rings, dark if k % 2 else light)


def _dartboard(c: Canvas) -> None:
    c.disc(1.0, c.tone(200, 245))
    for k in range(20):
        turn = 2 * math.pi * k / 20
        c.word(c.at(0.9, turn), str(c.rng.integers(1, 21)), 0.12, c.tone(10, 60), turn)
        c.ray(0.1, 0.8, turn + math.pi / 20, c.tone(10, 70), 0.012)
    for share in (0.8, 0.75, 0.5, 0.45, 0.1):
        c.disc(share, None, c.tone(10, 70), max(round(0.01 * c.r), 1))


def _button(c: Canvas) -> None:
    c.disc(1.0, c.tone(190, 250))
    c.disc(0.8, None, c.tone(150, 190), max(round(0.02 * c.r), 1))
    for k in range(int(c.rng.choice([2, 4]))):
        x, y = c.at(0.25, math.pi / 4 + math.pi / 2 * k)
        c.pen.ellipse((x - 0.1 * c.r, y - 0.1 * c.r, x + 0.1 * c.r, y + 0.1 * c.r), fill=c.tone(10, 40))


def _face(c: Canvas) -> None:
    skin = (int(c.rng.integers(150, 240)), int(c.rng.integers(120, 200)), int(c.rng.integers(90, 170)))
    c.pen.ellipse((c.x - 1.05 * c.r, c.y - 1.2 * c.r, c.x + 1.05 * c.r, c.y + 0.4 * c.r), fill=c.tone(20, 90))
    c.pen.ellipse((c.x - 0.8 * c.r, c.y - c.r, c.x + 0.8 * c.r, c.y + c.r), fill=skin)
    for side in (-0.32, 0.32):
        x = c.x + side * c.r
        c.pen.ellipse((x - 0.15 * c.r, c.y - 0.28 * c.r, x + 0.15 * c.r, c.y - 0.12 * c.r), fill=(240, 240, 240))
        c.pen.ellipse((x - 0.07 * c.r, c.y - 0.27 * c.r, x + 0.07 * c.r, c.y - 0.13 * c.r), fill=(40, 30, 20))
    box = (c.x - 0.35 * c.r, c.y + 0.2 * c.r, c.x + 0.35 * c.r, c.y + 0.6 * c.r)
    c.pen.arc(box, 20, 160, fill=(120, 40, 40), width=max(round(0.05 * c.r), 1))


def _sign(c: Canvas) -> None:
    c.disc(1.0, (int(c.rng.integers(150, 220)), 20, 20))
    c.disc(0.8, c.tone(225, 250))
    c.word((c.x, c.y), str(c.rng.integers(10, 130)), 0.8, c.tone(5, 40))


def _gear(c: Canvas) -> None:
    metal, teeth = c.tone(140, 235), int(c.rng.integers(12, 61))
    c.disc(0.9, metal)
    for k in range(teeth):
        c.ray(0.85, 1.0, 2 * math.pi * k / teeth, metal, 2.6 / teeth)
    for k in range(5):
        x, y = c.at(0.5, 2 * math.pi * k / 5)
        c.pen.ellipse((x - 0.16 * c.r, y - 0.16 * c.r, x + 0.16 * c.r, y + 0.16 * c.r), fill=c.tone(20, 60))
    c.disc(0.15, c.tone(20, 60))


def _badge(c: Canvas) -> None:
    c.disc(1.0, c.tone(225, 250))
    ink = c.tone(5, 60)
    for share in (0.95, 0.66):
        c.disc(share, None, ink, max(round(0.012 * c.r), 1))
    c.around(c.saying(9)[: int(c.rng.integers(24, 44))], 0.8, 0.14, ink, c.rng.uniform(0, 6))
    for row in (-1, 0, 1):
        c.word((c.x, c.y + 0.2 * row * c.r), c.saying(1), 0.14, ink)


def _written_disc(c: Canvas) -> None:
    c.disc(1.0, c.tone(225, 250))
    ink, size = c.tone(5, 60), c.rng.uniform(0.06, 0.12)
    for y in np.arange(-0.8, 0.81, 1.6 * size):
        text = c.saying(20)[: max(int(1.75 * math.sqrt(1 - y * y) / (0.5 * size)), 1)]
        c.word((c.x, c.y + y * c.r), text, size, ink)


def _daisy(c: Canvas) -> None:
    petals = int(c.rng.integers(9, 24))
    for k in range(petals):
        c.ray(0.2, 0.95, 2 * math.pi * k / petals, c.tone(225, 250), 4.5 / petals)
        c.ray(0.3, 0.9, 2 * math.pi * (k + 0.5) / petals, c.tone(120, 170), 0.01)
    c.disc(0.3, (int(c.rng.integers(200, 240)), int(c.rng.integers(150, 200)), 30))


def _chart(c: Canvas) -> None:
    box = (c.x - c.r, c.y - c.r, c.x + c.r, c.y + c.r)
    cuts = np.sort(c.rng.uniform(0, 360, int(c.rng.integers(3, 9))))
    for begin, end in zip(cuts, [*cuts[1:], cuts[0] + 360], strict=True):
        c.pen.pieslice(box, float(begin), float(end), fill=c.colour(), outline=(255, 255, 255), width=4)


def _doily(c: Canvas) -> None:
    c.disc(1.0, c.tone(230, 250))
    for ring in np.arange(0.2, 0.95, 0.12):
        count = int(ring * c.rng.integers(20, 50))
        for k in range(count):
            x, y = c.at(float(ring), 2 * math.pi * k / count)
            reach = 0.03 * c.r
            c.pen.ellipse((x - reach, y - reach, x + reach, y + reach), fill=c.tone(40, 110))


def _wall(c: Canvas) -> None:
    side = c.image.width
    step = c.rng.uniform(0.04, 0.12) * side
    for row in range(int(side / step) + 1):
        for column in range(int(side / (2 * step)) + 2):
            x, y = (column + 0.5 * (row % 2) - 0.5) * 2 * step, row * step
            c.pen.rectangle((x, y, x + 1.9 * step, y + 0.88 * step), fill=c.tone(90, 230))


KINDS: dict[str, Callable[[Canvas], None]] = {
    "page of text": _page, "plain plate": _plain_plate, "patterned plate": _patterned_plate, "coin": _coin,
    "spoked wheel": _spoked_wheel, "car wheel": _car_wheel, "map": _map, "target": _target,
    "dartboard": _dartboard, "button": _button, "face": _face, "road sign": _sign, "gear": _gear,
    "lettered badge": _badge, "written disc": _written_disc, "daisy": _daisy, "pie chart": _chart,
    "doily": _doily, "brick wall": _wall,
}  # fmt: skip


def draw_negative(kind: str, *, rng: np.random.Generator, side: int = 1500) -> Pixels:
    """(side, side, 3) uint8 sRGB picture of a kind of KINDS: drawn, tilted, lit unevenly, blurred and grained."""
    ground = tuple(int(v) for v in np.clip(rng.uniform(15, 170) * rng.uniform(0.8, 1.2, 3), 0, 255))
    image = Image.new("RGB", (side, side), ground)
    x, y = rng.uniform(0.45, 0.55, 2) * side
    canvas = Canvas(image, ImageDraw.Draw(image), float(x), float(y), float(rng.uniform(0.3, 0.46)) * side, rng)
    KINDS[kind](canvas)
    squeeze, turn = rng.uniform(0.85, 1.0), rng.uniform(0, math.pi)
    frame = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    matrix = frame @ np.diag([1.0, squeeze]) @ frame.T
    shift = np.array([side / 2, side / 2]) - matrix @ (side / 2, side / 2)
    codes: Pixels = np.asarray(
        cv2.warpAffine(
            np.asarray(image), np.column_stack([matrix, shift]), (side, side), borderMode=cv2.BORDER_REPLICATE
        ),
        dtype=np.uint8,
    )
    return _photographed(codes, rng)


def _photographed(codes: Pixels, rng: np.random.Generator) -> Pixels:
    side = len(codes)
    ramp = np.linspace(-0.5, 0.5, side, dtype=np.float32)
    fall = rng.uniform(-0.3, 0.3, 2)
    light = 1 + np.float32(fall[0]) * ramp[None, :] + np.float32(fall[1]) * ramp[:, None]
    blurred = cv2.GaussianBlur(codes, (0, 0), float(rng.uniform(0.4, 0.9)))
    grain = rng.normal(0.0, rng.uniform(0.5, 4.0), (side, side, 1)).astype(np.float32)
    return np.asarray(np.clip(blurred * light[:, :, None] + grain, 0, 255), dtype=np.uint8)
