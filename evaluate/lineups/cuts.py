"""A stroke cut out of a dial: where it lies, which way is up, and the light of a window about it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]
Image = NDArray[np.float32]
Labels = NDArray[np.int32]


@dataclass(frozen=True)
class Cut:
    """x, y : sheet px of its middle. turn : radians clockwise, how far its own up is turned from the sheet's up.
    size : (across, down) sheet px of its ink in its own frame. name : where it stands, in a collector's words.
    owner : number of the piece of ink it is, for `Field.own`; 0 where the window is cut by place alone.
    """

    x: float
    y: float
    turn: float
    size: tuple[float, float]
    name: str
    owner: int = 0

    def grid(self, shape: tuple[int, int], step: float, fit: Floats | None = None) -> Floats:
        """(rows, columns, 2) sheet px of a window `step` sheet px a pixel.

        fit : (4,) px right and down (of the window), radians clockwise and ln of size by which it follows the stroke.
        """
        right, down, turned, grown = (0.0, 0.0, 0.0, 0.0) if fit is None else fit
        rows, columns = shape
        size = step * math.exp(grown)
        i = (np.arange(rows) - 0.5 * (rows - 1))[:, None] * size
        j = (np.arange(columns) - 0.5 * (columns - 1))[None, :] * size
        c, s = math.cos(self.turn + turned), math.sin(self.turn + turned)
        cx, sx = math.cos(self.turn), math.sin(self.turn)
        x = self.x + step * (cx * right - sx * down) + c * j - s * i
        y = self.y + step * (sx * right + cx * down) + s * j + c * i
        return np.stack([x, y], axis=-1)


@dataclass(frozen=True, eq=False)
class Field:
    """The sheet strokes are cut from. own : (H, W) int32, the piece of ink nearest to each place, 0 without any."""

    sheet: StrokeSheet
    own: Labels

    @cached_property
    def bare(self) -> tuple[Floats, Floats]:
        """Places on bare enamel: (N,) sheet px to the nearest ink or cover, and (N, 2) sheet px."""
        sheet = self.sheet
        taken = (sheet.light < 1.0 - max(0.12, 4.0 * sheet.grain)) | sheet.hidden
        away = cv2.distanceTransform((~taken).astype(np.uint8), cv2.DIST_L2, 3)[::3, ::3]
        rows, columns = np.nonzero(away > 4)
        points: Floats = np.stack([columns, rows], axis=1).astype(np.float64) * 3.0 + 0.5
        on = np.hypot(*sheet.to_dial(points).T) < 0.97
        return away[rows, columns][on].astype(np.float64), points[on]

    def light(self, grid: Floats) -> Image:
        """The photograph's light in a window, 1 on bare enamel; read once, cubic."""
        return np.asarray(self.sheet.sample(grid), dtype=np.float32)

    def valid(self, grid: Floats, owner: int, zone: Zone) -> NDArray[np.bool_]:
        """Which pixels of a window are not hidden and lie nearest to the piece `owner`; for 0, where no ink of another
        zone than `zone` is nearest."""
        column = np.floor(grid[..., 0]).astype(np.int64)
        row = np.floor(grid[..., 1]).astype(np.int64)
        height, width = self.own.shape
        inside = (row >= 0) & (row < height) & (column >= 0) & (column < width)
        row, column = np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)
        free = inside & ~self.sheet.hidden[row, column]
        if owner == 0:
            label = self.sheet.label[row, column]
            return np.asarray(free & ((label < 0) | (label == ZONES.index(zone))))
        return np.asarray(free & (self.own[row, column] == owner))


def nearest_piece(pieces: Labels) -> Labels:
    """(H, W) of each place the number of the piece of ink nearest to it. pieces : numbers, 0 where there is none."""
    if not pieces.any():
        return pieces
    _, region = cv2.distanceTransformWithLabels(
        (pieces == 0).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    ink = pieces > 0
    number = np.zeros(int(region.max()) + 1, np.int32)
    number[region[ink]] = pieces[ink]
    return number[region]
