"""A sheet of many dials to look at, each with its number, process and scale."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from dialtell.synth.sets.manifest import Line
from dialtell.synth.shared.errors import ParameterError

Photo = NDArray[np.uint8]

MOST = 48  # tiles of a sheet; of a larger set it shows every so many-th index
COLUMNS = 6
SIDE = 240  # px, longer side of a picture on the sheet
GAP, TEXT = 8, 15  # px
PAPER, INK = 248, 30


def caption(line: Line) -> str:
    """Index, process and scale of a manifest line."""
    return f"{line['index']}  {line['process']}  {line['geometry']['px_per_mm']:.1f} px/mm"


def shrunk(pixels: Photo, side: int) -> Photo:
    """The picture with its longer side at most `side` px; smaller ones as they are."""
    share = side / max(pixels.shape[:2])
    if share >= 1.0:
        return pixels
    size = (max(round(pixels.shape[1] * share), 1), max(round(pixels.shape[0] * share), 1))
    return cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).astype(np.uint8)


def contact_sheet(tiles: Sequence[tuple[Photo, str]], *, columns: int = COLUMNS, side: int = SIDE) -> Photo:
    """Pictures (H, W, 3) uint8 with a caption under each, in rows of `columns`; (H, W, 3) uint8."""
    if not tiles:
        raise ParameterError("tiles is empty; give at least one picture")
    cell = side + GAP
    rows = -(-len(tiles) // columns)
    columns = min(columns, len(tiles))
    sheet = np.full((rows * (cell + TEXT) + GAP, columns * cell + GAP, 3), PAPER, dtype=np.uint8)
    places = []
    for number, (pixels, text) in enumerate(tiles):
        row, column = divmod(number, columns)
        top, left = GAP + row * (cell + TEXT), GAP + column * cell
        small = shrunk(pixels, side)
        y, x = top + (side - small.shape[0]) // 2, left + (side - small.shape[1]) // 2
        sheet[y : y + small.shape[0], x : x + small.shape[1]] = small
        places.append((left + side / 2, top + side + 2, text))
    image = Image.fromarray(sheet)
    draw, font = ImageDraw.Draw(image), ImageFont.load_default(size=12)
    for x_middle, y_top, text in places:
        draw.text((x_middle, y_top), text, fill=(INK, INK, INK), font=font, anchor="ma")
    return np.asarray(image)


def sheet_of(lines: Sequence[Line], folder: Path, *, most: int = MOST) -> Photo:
    """The sheet of a drawn set: all pictures, or those of evenly spaced indices when they are more than `most`."""
    indices = sorted({line["index"] for line in lines})
    per_index = -(-len(lines) // len(indices))
    step = -(-len(indices) // max(most // per_index, 1))
    shown = set(indices[::step])
    return contact_sheet([(_load(folder / line["file"]), caption(line)) for line in lines if line["index"] in shown])


def _load(path: Path) -> Photo:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))
