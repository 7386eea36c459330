"""Figures and words of modern dials: the one fount Pillow brings, made bold, narrow, slanted, of thick and thin strokes
or with drops at its ends, and square figures drawn here."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Picture
from PIL import ImageDraw, ImageFont

from dialtell.synth.faces.face_parts import Image

STYLES = ("plain", "bold", "thin", "narrow", "wide", "slanted", "contrast", "drops", "square")
LARGE = 96  # px height of capitals the letters are drawn at
EDGE = 16  # px about them

# corners of square figures on a grid 2 wide, 4 high, y down
_SQUARE: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "0": (((0, 0), (2, 0), (2, 4), (0, 4), (0, 0)),),
    "1": (((0.4, 0.7), (1, 0), (1, 4)),),
    "2": (((0, 0), (2, 0), (2, 2), (0, 2), (0, 4), (2, 4)),),
    "3": (((0, 0), (2, 0), (2, 4), (0, 4)), ((0.5, 2), (2, 2))),
    "4": (((0, 0), (0, 2.4), (2, 2.4)), ((1.6, 1), (1.6, 4))),
    "5": (((2, 0), (0, 0), (0, 1.8), (2, 1.8), (2, 4), (0, 4)),),
    "6": (((2, 0), (0, 0), (0, 4), (2, 4), (2, 1.8), (0, 1.8)),),
    "7": (((0, 0), (2, 0), (0.8, 4)),),
    "8": (((0, 0), (2, 0), (2, 4), (0, 4), (0, 0)), ((0, 1.9), (2, 1.9))),
    "9": (((0, 4), (2, 4), (2, 0), (0, 0), (0, 2.2), (2, 2.2)),),
}
# where strokes of a figure end in a drop: share of its width and height
_DROPS: dict[str, tuple[tuple[float, float], ...]] = {
    "2": ((0.16, 0.24),),
    "3": ((0.16, 0.2), (0.14, 0.8)),
    "5": ((0.14, 0.8),),
    "6": ((0.84, 0.2),),
    "7": ((0.1, 0.14),),
    "9": ((0.16, 0.8),),
}


@lru_cache(maxsize=1)
def _fount() -> tuple[ImageFont.FreeTypeFont, float]:
    """The fount at the size where capitals are LARGE px high, and the px from its top to theirs."""
    probe = ImageFont.load_default(size=100)
    if not isinstance(probe, ImageFont.FreeTypeFont):
        raise RuntimeError("Pillow was built without FreeType; install the wheel from its index")
    top, bottom = probe.getbbox("H")[1], probe.getbbox("H")[3]
    fount = ImageFont.load_default(size=100 * LARGE / (bottom - top))
    assert isinstance(fount, ImageFont.FreeTypeFont)
    return fount, fount.getbbox("H")[1]


@lru_cache(maxsize=512)
def drawn(text: str, style: str) -> NDArray[np.uint8]:
    """(LARGE + 2 * EDGE, W) uint8 0..255: a word, its capitals LARGE px high, EDGE px of room about it."""
    if style == "square" and set(text) <= set(_SQUARE):
        return np.concatenate([_square(figure) for figure in text], axis=1)
    if style == "drops" and len(text) > 1 and text.isdigit():
        parts = [drawn(figure, style)[:, EDGE - 4 : -EDGE + 4] for figure in text]
        return np.pad(np.concatenate(parts, axis=1), ((0, 0), (EDGE - 4, EDGE - 4)))
    fount, top = _fount()
    stroke = {"bold": 5, "square": 3, "narrow": 2}.get(style, 0)
    box = fount.getbbox(text)
    sheet = Picture.new("L", (int(box[2] - box[0]) + 2 * EDGE, LARGE + 2 * EDGE))
    ImageDraw.Draw(sheet).text((EDGE - box[0], EDGE - top), text, font=fount, fill=255, stroke_width=stroke)
    mask = np.asarray(sheet)
    if style == "thin":
        mask = np.asarray(cv2.erode(mask, np.ones((3, 3), np.uint8)), np.uint8)
    if style in ("contrast", "drops"):
        mask = np.asarray(cv2.dilate(cv2.erode(mask, np.ones((4, 1), np.uint8)), np.ones((1, 10), np.uint8)), np.uint8)
    if style == "drops" and text in _DROPS:
        mask = mask.copy()
        wide = mask.shape[1] - 2 * EDGE
        for across, down in _DROPS[text]:
            cv2.circle(mask, (int(EDGE + across * wide), int(EDGE + down * LARGE)), 12, 255, -1, cv2.LINE_AA)
    if style in ("narrow", "wide"):
        wide = int(mask.shape[1] * (0.68 if style == "narrow" else 1.3))
        mask = np.asarray(cv2.resize(mask, (wide, mask.shape[0]), interpolation=cv2.INTER_AREA), np.uint8)
    if style == "slanted":
        lean = np.array([[1.0, -0.22, 0.22 * (LARGE + EDGE)], [0.0, 1.0, 0.0]])
        mask = np.asarray(cv2.warpAffine(mask, lean, (mask.shape[1] + 24, mask.shape[0])), np.uint8)
    return mask


def _square(figure: str) -> NDArray[np.uint8]:
    mask = np.zeros((LARGE + 2 * EDGE, (34 if figure == "1" else 54) + 2 * EDGE - 8), np.uint8)
    for line in _SQUARE[figure]:
        points = np.array(line) * (21.0, 20.5) + (EDGE, EDGE + 7)
        cv2.polylines(mask, [np.round(points * 16).astype(np.int32)], False, 255, 13, cv2.LINE_AA, 4)
    return mask


class Word(NamedTuple):
    """A word to be set. height: of capitals, dial radii; x, y: its middle; turn: rad, clockwise."""

    text: str
    height: float
    x: float
    y: float
    turn: float = 0.0


def set_words(words: list[Word], style: str, scale: int, stretch: float = 1.0) -> Image:
    """(F, F) float32 0..1: the words' cover. stretch : their width over that of the style."""
    side = 2 * scale
    sheet = np.zeros((side, side), np.uint8)
    for word in words:
        if not word.text:
            continue
        mask = drawn(word.text, style)
        size = word.height * scale / LARGE
        step = max(min(2.0 * size, 1.0), 0.06)  # shrunk by areas to twice the size first, so that nothing is missed
        mask = np.asarray(cv2.resize(mask, None, fx=step, fy=step, interpolation=cv2.INTER_AREA), np.uint8)
        left = size / step
        # the mask's px (centres at whole numbers) to those of a patch about the word
        high, wide = mask.shape
        reach = int(0.5 * left * np.hypot(high, wide * stretch)) + 2
        px, py = (word.x + 1.0) * scale - 0.5, (word.y + 1.0) * scale - 0.5
        x0, y0 = int(px) - reach, int(py) - reach
        cos, sin = np.cos(word.turn) * left, np.sin(word.turn) * left
        turned = np.array([[cos * stretch, -sin], [sin * stretch, cos]])
        off = np.array([px - x0, py - y0]) - turned @ np.array([0.5 * (wide - 1), 0.5 * (high - 1)])
        patch = cv2.warpAffine(mask, np.column_stack([turned, off]), (2 * reach + 1, 2 * reach + 1))
        a, b = max(y0, 0), min(y0 + 2 * reach + 1, side)
        c, d = max(x0, 0), min(x0 + 2 * reach + 1, side)
        if a < b and c < d:
            np.maximum(sheet[a:b, c:d], patch[a - y0 : b - y0, c - x0 : d - x0], out=sheet[a:b, c:d])
    return np.asarray(sheet.astype(np.float32) * np.float32(1 / 255))


def figures_around(
    texts: list[str], height: float, at: float, *, radial: str = "upright", x: float = 0.0, y: float = 0.0
) -> list[Word]:
    """Figures evenly round a circle, the last at the top. radial : "upright", "radial" (feet to the centre) or "turned"
    (likewise, the lower half upside down)."""
    words = []
    for index, text in enumerate(texts):
        turn = 2 * np.pi * (index + 1) / len(texts)
        lean = 0.0 if radial == "upright" else turn
        if radial == "turned" and np.cos(turn) < -0.01:
            lean += np.pi
        words.append(Word(text, height, x + at * float(np.sin(turn)), y - at * float(np.cos(turn)), lean))
    return words
