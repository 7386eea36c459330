"""Figures that our renderer did not draw: handwritten digits and type, from data that other libraries carry.

Handwriting: scikit-learn's copy of 1797 digits of 8 x 8 px (E. Alpaydin, C. Kaynak, Optical Recognition of Handwritten
Digits, UCI Machine Learning Repository, 1998), each px the count 0..16 of black px in a 4 x 4 block of a bitmap of
32 x 32. That bitmap was size-normalised, and 8 x 8 hold no edge, no tremor and no load of ink: what is left of the hand
is the shape of a digit and that no two are alike. Type: whatever fonts are installed.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from dialtell.synth.shared.errors import ParameterError

Floats = NDArray[np.float32]
SIDE, BITMAP = 8, 32
BLOCK = 120  # digits in a row of the file, taken as one writer's (the file names none)
FONT_FOLDERS = (Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), Path.home() / ".fonts")
_SYMBOLS = ("cmex10", "cmsy10", "D050000L", "StandardSymbolsPS")  # other signs in the places of digits
_FINE = 4  # subsamples a side while a digit is enlarged


@dataclass(frozen=True, eq=False)
class Handwriting:
    """images : (N, 8, 8) share of black, 0..1. digits : (N,) 0..9. writer : (N,) stretch of the file, from 0."""

    images: Floats
    digits: NDArray[np.int64]
    writer: NDArray[np.int64]


@cache
def handwriting() -> Handwriting:
    """All handwritten digits. ParameterError where scikit-learn is not installed."""
    found = _library("sklearn.datasets", "scikit-learn").load_digits()
    images = (np.asarray(found.images, dtype=np.float32) / 16.0).clip(0.0, 1.0)
    digits = np.asarray(found.target, dtype=np.int64)
    return Handwriting(images, digits, np.minimum(np.arange(len(digits)) // BLOCK, len(digits) // BLOCK - 1))


@cache
def fonts() -> tuple[Path, ...]:
    """Installed fonts with ten digits of their own, matplotlib's first, each name once."""
    import matplotlib

    folders = (Path(matplotlib.get_data_path()) / "fonts" / "ttf", *FONT_FOLDERS)
    files: dict[str, Path] = {}
    for folder in folders:
        for path in sorted(path for suffix in ("ttf", "otf") for path in folder.rglob(f"*.{suffix}")):
            files.setdefault(path.name, path)
    return tuple(path for path in files.values() if _has_digits(path))


def family(path: Path) -> str:
    """Fonts of one design, by the beginning of the file's name: bold and slanted ones belong together."""
    name = path.stem.split("-")[0]
    for ending in ("BolIta", "Italic", "Bol"):
        name = name.removesuffix(ending)
    return name


def samples() -> dict[str, Path]:
    """Scans of text bundled with scikit-image: a page of print, and a page of handwriting on a lined ground."""
    folder = Path(_library("skimage", "scikit-image").__file__).parent / "data"
    return {name: folder / f"{name}.png" for name in ("page", "text") if (folder / f"{name}.png").is_file()}


def bitmap(font: Path, digit: int) -> NDArray[np.bool_]:
    """(32, 32) black px of a digit of type, fitted to the box by its longer side."""
    large = type_figure(font, str(digit), 8 * BITMAP)
    height, width = large.shape
    scale = BITMAP / max(height, width)
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    small = cv2.resize(large, size, interpolation=cv2.INTER_AREA)
    box = np.zeros((BITMAP, BITMAP), dtype=bool)
    top, left = (BITMAP - size[1]) // 2, (BITMAP - size[0]) // 2
    box[top : top + size[1], left : left + size[0]] = small > 0.5
    return box


def counted(black: NDArray[np.bool_]) -> Floats:
    """(8, 8) share of black in blocks of 4 x 4, as the handwritten digits were counted."""
    blocks = black.reshape(SIDE, BITMAP // SIDE, SIDE, BITMAP // SIDE)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def enlarged(small: Floats, height: int) -> Floats:
    """(height, w) coverage 0..1 of an 8 x 8 digit, cut to its ink: cubic, then a level of one half with an edge of
    about one px."""
    fine = _FINE * height
    padded = np.pad(small, 1)
    wide = cv2.resize(padded, (fine, fine), interpolation=cv2.INTER_CUBIC)
    ink = (wide > 0.5 * min(float(small.max()), 1.0)).astype(np.float32)
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    ink = ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    width = max(round(height * ink.shape[1] / ink.shape[0]), 1)
    return np.asarray(cv2.resize(ink, (width, height), interpolation=cv2.INTER_AREA))


def type_figure(font: Path, text: str, height: int) -> Floats:
    """(height, w) coverage 0..1 of type, cut to its ink."""
    face = _face(font, _FINE * height)
    left, top, right, bottom = face.getbbox(text)
    image = Image.new("L", (int(right - left) + 4, int(bottom - top) + 4), 0)
    ImageDraw.Draw(image).text((2 - left, 2 - top), text, font=face, fill=255)
    ink = np.asarray(image, dtype=np.float32) / 255.0
    rows, columns = np.flatnonzero((ink > 0.5).any(axis=1)), np.flatnonzero((ink > 0.5).any(axis=0))
    ink = ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    width = max(round(height * ink.shape[1] / ink.shape[0]), 1)
    return np.asarray(cv2.resize(ink, (width, height), interpolation=cv2.INTER_AREA)).clip(0.0, 1.0)


@cache
def _face(font: Path, size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(font), size)


def _has_digits(path: Path) -> bool:
    """Whether the ten digits are drawn, and differ from each other and from the mark for what a font lacks."""
    if path.stem in _SYMBOLS:
        return False
    try:
        face = ImageFont.truetype(str(path), 24)
        shapes = [bytes(face.getmask(mark)) for mark in "0123456789\uffff"]
    except (OSError, ValueError):
        return False
    return len(set(shapes)) == len(shapes) and all(any(shape) for shape in shapes[:-1])


def _library(module: str, name: str) -> Any:
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        raise ParameterError(
            f"{name} is not installed, and its bundled images are needed; pip install {name}"
        ) from error
