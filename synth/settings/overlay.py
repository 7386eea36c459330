"""What people lay over a finished picture: watermarks, captions, frames, arrows, colour bars, rounded corners."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pictures
from PIL import ImageDraw, ImageFont

from dialtell.synth.photograph.texture import Colour
from dialtell.synth.settings.sketch import drawn_colour, ink
from dialtell.synth.shared.errors import ParameterError, require_range

Codes = NDArray[np.uint8]
Mask = NDArray[np.bool_]

KINDS = ("watermark", "caption", "frame", "collage", "arrow", "bar", "corners")
SIZES = (9, 11, 14, 18, 24, 32, 44, 60)  # px; a font is built once for each
VISIBLE = 4  # code values a pixel must change by to count
SYLLABLES = ("ba", "do", "fi", "gu", "ka", "lem", "mor", "nel", "pi", "qua", "rost", "su", "tav", "ul", "vi", "zen")
ENDINGS = (".aa", ".qm", ".xx", ".zz", ".example", ".test", ".invalid")  # none of which is anyone's


@dataclass(frozen=True)
class OverlaySpec:
    """What is laid over the picture.

    kinds : of KINDS, in the order in which they are laid; none for an untouched picture.
    colour : linear, of letters and lines. opacity : 0.05..1, of the watermark.
    size : 0.02..0.2 of the picture's shorter side, height of letters. angle_deg : -90..90, slope of the watermark.
    repeated : whether the watermark fills the picture. seed : of words and places.
    """

    kinds: tuple[str, ...]
    colour: Colour
    opacity: float
    size: float
    angle_deg: float
    repeated: bool
    seed: int

    def __post_init__(self) -> None:
        for kind in self.kinds:
            if kind not in KINDS:
                raise ParameterError(f"kinds has {kind!r}; give some of {', '.join(KINDS)}")
        for value in self.colour:
            require_range("colour", value, 0.0, 1.0)
        require_range("opacity", self.opacity, 0.05, 1.0)
        require_range("size", self.size, 0.02, 0.2)
        require_range("angle_deg", self.angle_deg, -90.0, 90.0, "degrees")


def sample_overlay(*, rng: np.random.Generator) -> OverlaySpec:
    """Draw what is laid over: nothing on 65 pictures in 100, two things on a few."""
    kinds: tuple[str, ...] = ()
    if rng.random() < 0.35:
        count = 2 if rng.random() < 0.2 else 1
        drawn = rng.choice(len(KINDS), count, replace=False, p=[0.4, 0.22, 0.1, 0.06, 0.08, 0.07, 0.07])
        kinds = tuple(KINDS[index] for index in drawn)
    tone = rng.random()
    white, black = (1.0, 1.0, 1.0), (0.0, 0.0, 0.0)
    return OverlaySpec(
        kinds=kinds,
        colour=white if tone < 0.45 else black if tone < 0.65 else drawn_colour(rng, 0.05, 0.8, grey=0.1),
        opacity=float(rng.uniform(0.12, 0.9)),
        size=float(np.exp(rng.uniform(np.log(0.025), np.log(0.15)))),
        angle_deg=float(rng.choice([0.0, rng.uniform(-50.0, 50.0)])),
        repeated=bool(rng.random() < 0.25),
        seed=int(rng.integers(2**31)),
    )


def paint_overlay(spec: OverlaySpec, picture: Codes) -> tuple[Codes, Mask]:
    """The picture (H, W, 3) uint8 sRGB with what is laid over it, and (H, W) where it visibly differs.

    The picture given is not changed.
    """
    rng = np.random.default_rng(spec.seed)
    laid = picture.copy()
    for kind in spec.kinds:
        _LAY[kind](spec, rng, laid)
    if not spec.kinds:
        return laid, np.zeros(picture.shape[:2], bool)
    return laid, np.asarray(cv2.absdiff(laid, picture).max(axis=2) >= VISIBLE)


@lru_cache(maxsize=len(SIZES))
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _word(rng: np.random.Generator, most: int = 4) -> str:
    return "".join(rng.choice(SYLLABLES, int(rng.integers(2, most + 1))))


def _words(rng: np.random.Generator) -> str:
    """An address, a name, a date or a number of no one's."""
    kind = int(rng.integers(6))
    if kind < 2:
        return f"{rng.choice(['www.', '', ''])}{_word(rng)}{rng.choice(['-', ''])}{_word(rng, 2)}{rng.choice(ENDINGS)}"
    if kind == 2:
        return f"© {_word(rng).title()} {_word(rng).title()}"
    if kind == 3:
        mark = str(rng.choice([".", "/", "-", " "]))
        return mark.join(str(value) for value in (rng.integers(1, 29), rng.integers(1, 13), rng.integers(1985, 2030)))
    if kind == 4:
        return f"{_word(rng, 2).upper()} {rng.integers(1, 10000)}"
    return f"{_word(rng).title()} {_word(rng, 3)}"


def _letters(text: str, height: float) -> Codes:
    """(h, w) uint8 cover of a line of text about `height` px high."""
    size = min(SIZES, key=lambda known: abs(known - height))
    left, top, right, bottom = (int(value) for value in _font(size).getbbox(text))
    sheet = Pictures.new("L", (right - left + 4, bottom - top + 4))
    ImageDraw.Draw(sheet).text((2 - left, 2 - top), text, fill=255, font=_font(size))
    return np.asarray(sheet, np.uint8)


def _blend(picture: Codes, cover: Codes, colour: Colour, opacity: float, top: int, left: int) -> None:
    """Lay one colour by a cover at a place of the picture; what lies outside is cut off."""
    rows, columns = picture.shape[:2]
    low, high = max(top, 0), min(top + cover.shape[0], rows)
    first, last = max(left, 0), min(left + cover.shape[1], columns)
    if low >= high or first >= last:
        return
    share = cover[low - top : high - top, first - left : last - left, None] * np.float32(opacity / 255.0)
    part = picture[low:high, first:last]
    part[:] = np.round(part + share * (np.array(ink(colour), np.float32) - part))


def _watermark(spec: OverlaySpec, rng: np.random.Generator, picture: Codes) -> None:
    """Text across the picture, once or all over."""
    rows, columns = picture.shape[:2]
    cover = _letters(_words(rng), spec.size * min(rows, columns))
    if spec.repeated:
        gap = int(rng.uniform(0.3, 3.0) * cover.shape[0]) + 4
        cover = np.pad(cover, ((0, gap), (0, int(rng.uniform(0.5, 2.0) * gap))))
        reach = int(np.hypot(rows, columns)) + 1
        times_ = (min(-(-reach // cover.shape[0]), 60), min(-(-reach // cover.shape[1]), 60))
        cover = np.tile(cover, times_)[:reach, :reach]
        middle = np.array([0.5 * columns, 0.5 * rows])
    else:
        middle = rng.uniform(0.25, 0.75, 2) * (columns, rows)
    matrix = cv2.getRotationMatrix2D((0.5 * cover.shape[1], 0.5 * cover.shape[0]), spec.angle_deg, 1.0)
    matrix[:, 2] += middle - (0.5 * cover.shape[1], 0.5 * cover.shape[0])
    turned = np.asarray(cv2.warpAffine(cover, matrix, (columns, rows), flags=cv2.INTER_LINEAR), np.uint8)
    if rng.random() < 0.25:  # an edge of shade, so that it is read on light ground too
        _blend(picture, np.roll(turned, (1, 1), (0, 1)), (0.0, 0.0, 0.0), 0.6 * spec.opacity, 0, 0)
    _blend(picture, turned, spec.colour, spec.opacity, 0, 0)


def _caption(spec: OverlaySpec, rng: np.random.Generator, picture: Codes) -> None:
    """A date, name or number in a corner or along the foot, on a bar of colour or without."""
    rows, columns = picture.shape[:2]
    cover = _letters(_words(rng), min(spec.size, 0.07) * min(rows, columns))
    margin = int(0.02 * columns) + 1
    left = margin if rng.random() < 0.5 else columns - cover.shape[1] - margin
    top = margin if rng.random() < 0.35 else rows - cover.shape[0] - margin
    if rng.random() < 0.3:
        bar = np.full(
            (cover.shape[0] + margin, columns if rng.random() < 0.5 else cover.shape[1] + margin), 255, np.uint8
        )
        side = 0 if bar.shape[1] == columns else left - margin // 2
        dark = (0.0, 0.0, 0.0) if sum(spec.colour) > 1.0 else (1.0, 1.0, 1.0)
        _blend(picture, bar, dark, float(rng.uniform(0.4, 1.0)), top - margin // 2, side)
    _blend(picture, cover, spec.colour, 1.0, top, left)


def _frame(spec: OverlaySpec, rng: np.random.Generator, picture: Codes) -> None:
    """A border all round, one or two lines wide."""
    for _ in range(int(rng.integers(1, 3))):
        wide = max(int(min(picture.shape[:2]) * rng.choice([0.01, 0.02, 0.04, 0.07])), 1)
        tone = ink(spec.colour if rng.random() < 0.5 else drawn_colour(rng, 0.01, 1.0))
        picture[:wide], picture[-wide:], picture[:, :wide], picture[:, -wide:] = tone, tone, tone, tone


def _collage(spec: OverlaySpec, rng: np.random.Generator, picture: Codes) -> None:
    """A bar beside another picture. That one shows what this one's outermost strip does: never a second dial."""
    view = picture[:, ::-1] if rng.random() < 0.5 else picture
    view = view if rng.random() < 0.6 else view.transpose(1, 0, 2)
    tall, long = view.shape[:2]
    wide, beyond = max(long // 60, 1), max(int(long * rng.uniform(0.05, 0.22)), 1)
    strip = np.ascontiguousarray(view[::-1, : max(beyond // 3, 1)])
    view[:, :beyond] = cv2.resize(strip, (beyond, tall), interpolation=cv2.INTER_LINEAR)
    view[:, beyond : beyond + wide] = ink(spec.colour)


def _arrow(spec: OverlaySpec, rng: np.random.Generator, picture: Codes) -> None:
    """An arrow or a ring about some place."""
    rows, columns = picture.shape[:2]
    tone = ink([(0.8, 0.0, 0.0), (0.9, 0.7, 0.0), (0.0, 0.5, 0.05), spec.colour][int(rng.integers(4))])
    wide = max(int(min(rows, columns) * rng.uniform(0.006, 0.025)), 1)
    x, y = (int(value) for value in rng.uniform(0.15, 0.85, 2) * (columns, rows))
    if rng.random() < 0.5:
        reach = rng.uniform(0.05, 0.3, 2) * min(rows, columns)
        cv2.ellipse(
            picture, (x, y), (int(reach[0]), int(reach[1])), rng.uniform(0, 180), 0, 360, tone, wide, cv2.LINE_AA
        )
    else:
        end = (int(x + rng.uniform(-0.4, 0.4) * columns), int(y + rng.uniform(-0.4, 0.4) * rows))
        cv2.arrowedLine(picture, (x, y), end, tone, wide, cv2.LINE_AA, 0, 0.25)


def _bar(spec: OverlaySpec, rng: np.random.Generator, picture: Codes) -> None:
    """A colour chart or a scale along one side."""
    view = picture if rng.random() < 0.5 else picture.transpose(1, 0, 2)
    if rng.random() < 0.5:
        view = view[::-1]
    tall, long = max(int(view.shape[0] * rng.uniform(0.03, 0.08)), 2), view.shape[1]
    first = int(rng.uniform(0.0, 0.3) * long)
    count = int(rng.integers(5, 20))
    edges = np.linspace(first, long - first, count + 1).astype(int)
    scale = rng.random() < 0.5
    for index in range(count):
        tone = ((0, 0, 0), (255, 255, 255))[index % 2] if scale else ink(drawn_colour(rng, 0.02, 0.9, grey=0.2))
        view[:tall, edges[index] : edges[index + 1]] = tone


def _corners(spec: OverlaySpec, rng: np.random.Generator, picture: Codes) -> None:
    """Corners rounded off, at most to an oval or a circle."""
    rows, columns = picture.shape[:2]
    reach = int(0.5 * min(rows, columns) * rng.choice([0.15, 0.3, 0.6, 1.0]))
    keep = np.zeros((rows, columns), np.uint8)
    cv2.rectangle(keep, (reach, 0), (columns - 1 - reach, rows - 1), 255, -1)
    cv2.rectangle(keep, (0, reach), (columns - 1, rows - 1 - reach), 255, -1)
    for x in (reach, columns - 1 - reach):
        for y in (reach, rows - 1 - reach):
            cv2.circle(keep, (x, y), reach, 255, -1, cv2.LINE_AA)
    _blend(picture, 255 - keep, (1.0, 1.0, 1.0) if rng.random() < 0.6 else spec.colour, 1.0, 0, 0)


_LAY = dict(zip(KINDS, (_watermark, _caption, _frame, _collage, _arrow, _bar, _corners), strict=True))
