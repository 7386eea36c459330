"""Pictures of line-ups: each stroke upright in a cell of its own, all at one magnification, one cell beside another.

The cells of a line-up are one picture, so that a page carries it once and lays it out as broad as its screen.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.lineups.cuts import Cut
from dialtell.evaluate.lineups.line_up import LineUp
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.model.reading.geometry import DialGeometry, sample
from dialtell.model.reading.photo import Photo, display

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]

MOST_CELLS = 60
TALLEST, WIDEST = 150, 190  # px of a cell
SMALLEST = 44  # px, of a cell's longer side
MOST_AREA = 420_000  # px of all cells together
SOFTENED = 0.45  # px of the photograph, SD
STRONG = 0.5  # light, a difference drawn at full strength
MORE_RGB, LESS_RGB = (
    (40, 34, 90),
    (226, 122, 20),
)  # more ink than the others, and less: dark and light, told without hue


@dataclass(frozen=True, eq=False)
class Sprite:
    """image : (height, count * width, 3) sRGB. width, height : px of a cell. count : cells."""

    image: Bytes
    width: int
    height: int
    count: int


def cell_size(group: LineUp) -> tuple[int, int]:
    """(height, width) px of a cell: the same magnification for all of a line-up."""
    rows, columns = group.mean.shape
    factor = min(TALLEST / rows, WIDEST / columns, 8.0)
    factor = max(factor, SMALLEST / max(rows, columns))
    count = min(len(group.cuts), MOST_CELLS)
    factor = min(factor, (MOST_AREA / (count * rows * columns)) ** 0.5)
    return max(round(rows * factor), 8), max(round(columns * factor), 8)


def strokes(group: LineUp, sheet: StrokeSheet, photo: Photo, geometry: DialGeometry, chosen: list[int]) -> Sprite:
    """The chosen strokes as the photograph shows them. geometry : of the dial in the photograph."""
    height, width = cell_size(group)
    grids = np.array([_grid(group, index, (height, width)) for index in chosen])
    points = geometry.to_photo(sheet.to_dial(grids))
    cells = [display(enlarged(photo.pixels, one)) for one in points]
    return Sprite(np.concatenate(cells, axis=1), width, height, len(chosen))


def enlarged(light: NDArray[np.float32], grid: Floats) -> NDArray[np.float32]:
    """`sample`, softened where the lattice is finer than the photograph: else each of its px would be a tooth along
    a slanting edge, and teeth are what a photographic print has."""
    found = sample(light, grid)
    step = float(np.hypot(*(grid[0, 1] - grid[0, 0])))
    return found if step >= 1.0 else softened(found, 1.0 / max(step, 1e-6))


def softened(picture: NDArray[np.float32], times: float) -> NDArray[np.float32]:
    """A picture enlarged so many times, softened by a share of a px of what it was enlarged from."""
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), max(SOFTENED * times, 0.3)), np.float32)


def _grid(group: LineUp, index: int, shape: tuple[int, int]) -> Floats:
    """(height, width, 2) sheet px of a cell as large as the window."""
    cut: Cut = group.cuts[index]
    factor = group.mean.shape[0] / shape[0]
    fit = group.fits[index] * (1 / factor, 1 / factor, 1.0, 1.0)
    return cut.grid(shape, group.step * factor, fit)


def mean_stroke(group: LineUp) -> Sprite:
    """The middle of all, without colour."""
    height, width = cell_size(group)
    light = cv2.resize(group.mean, (width, height), interpolation=cv2.INTER_CUBIC)
    grey = np.round(255 * np.clip(light, 0.0, 1.0) ** (1 / 2.2)).astype(np.uint8)
    return Sprite(np.repeat(grey[..., None], 3, axis=2), width, height, 1)


def differences(group: LineUp, chosen: list[int]) -> Sprite:
    """Where each of the chosen strokes has more ink than the middle of the others, dark, and where less, bright; what
    noise alone would make is left out."""
    height, width = cell_size(group)
    cells = []
    for index in chosen:
        off = cv2.resize(group.difference[index], (width, height), interpolation=cv2.INTER_LINEAR)
        over = np.clip((np.abs(off) - 2.0 * group.floor) / STRONG, 0.0, 1.0) ** 0.7
        colour = np.where(off[..., None] < 0, np.array(MORE_RGB), np.array(LESS_RGB))
        cells.append(np.round(255 + over[..., None] * (colour - 255.0)).astype(np.uint8))
    return Sprite(np.concatenate(cells, axis=1), width, height, len(chosen))
