"""The dial laid flat for measuring: light against the enamel beside it, zones, what hides the strokes, the scale.

Strokes are looked for on a face-on copy, the sheet; what is measured on them is read from the photograph itself, so
that each value has been interpolated once. Blur acts on light, so widths are measured on light, not on density.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import DialGeometry, Image
from dialtell.model.reading.steps import Reading
from dialtell.model.reading.zones import EXTENT, MAP_SCALE, ZoneMap

Floats = NDArray[np.float64]

REACH = 1.0  # dial radii
MOST_PIXELS = 7_000_000  # of a sheet
FINE = 2.2  # sheet px per px the photograph resolves
LEAST_SCALE, MOST_SCALE = 60.0, 3200.0  # px per dial radius
_ROW = 128  # places that are read from the photograph together
_PLAIN_BLUR = 0.6  # photo px, where there are no edges to read it from


@dataclass(frozen=True, eq=False)
class StrokeSheet:
    """A dial ready to be measured.

    light : (H, W) float32 share of the enamel's light, face on and upright. hidden : (H, W) true where a watch hand
    covers the dial or the photograph ends. label : (H, W) index into ZONES, -1 outside.
    corner : (x, y) dial radii of the sheet's upper left corner. scale : sheet px per dial radius.
    photo : (h, w) float32 light of the photograph, which is what is measured. geometry : of the dial in it.
    blur : SD in sheet px of an edge. black : light of the dial's full black, share of the enamel's.
    grain : SD of light on bare enamel.
    """

    light: Image
    hidden: NDArray[np.bool_]
    label: NDArray[np.int8]
    corner: tuple[float, float]
    scale: float
    photo: Image
    geometry: DialGeometry
    zones: ZoneMap
    blur: float
    black: float
    grain: float

    def to_dial(self, points: Floats) -> Floats:
        """(..., 2) sheet px to dial radii."""
        return np.asarray(np.asarray(points, dtype=np.float64) / self.scale + np.asarray(self.corner))

    def to_photo(self, points: Floats) -> Floats:
        """(..., 2) sheet px to photo px."""
        return self.geometry.to_photo(self.to_dial(points))

    def from_dial(self, points: Floats) -> Floats:
        """(..., 2) dial radii to sheet px."""
        return np.asarray((np.asarray(points, dtype=np.float64) - np.asarray(self.corner)) * self.scale)

    def sample(self, points: Floats) -> Floats:
        """Photograph's light at (..., 2) sheet px, cubic; 1 outside the frame."""
        shape = points.shape[:-1]
        flat = self.to_photo(points.reshape(-1, 2)).astype(np.float32) - np.float32(0.5)
        # OpenCV works row by row: one long column of places would cost a row each
        across = min(_ROW, max(len(flat), 1))
        whole = -(-len(flat) // across) * across
        maps = np.zeros((2, whole), np.float32)
        maps[:, : len(flat)] = flat.T
        out = np.empty(whole, np.float32)
        step = _ROW * 16384  # at most 32766 rows at a time
        for start in range(0, whole, step):
            x, y = maps[:, start : start + step].reshape(2, -1, across)
            out[start : start + step] = cv2.remap(
                self.photo, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=1.0
            ).ravel()
        return out[: len(flat)].reshape(shape).astype(np.float64)

    def at(self, points: Floats) -> tuple[NDArray[np.int8], NDArray[np.bool_]]:
        """Zone index and whether hidden at (..., 2) sheet px."""
        column = np.clip(points[..., 0].astype(int), 0, self.light.shape[1] - 1)
        row = np.clip(points[..., 1].astype(int), 0, self.light.shape[0] - 1)
        return self.label[row, column], self.hidden[row, column]


def lay_flat(reading: Reading) -> StrokeSheet:
    """The sheet of a reading."""
    sharpness, geometry = reading.sharpness, reading.geometry
    ppr = geometry.pixels_per_radius
    resolved = sharpness.true_pixels_per_radius
    photo_blur = sharpness.edge_sigma_px if math.isfinite(sharpness.edge_sigma_px) else _PLAIN_BLUR
    low, high = _shown_box(reading.density.shape, geometry)
    area = float(np.prod(np.maximum(high - low, 1e-3)))
    wanted = min(ppr, FINE * resolved) if resolved > 0 else ppr
    scale = float(np.clip(min(wanted, math.sqrt(MOST_PIXELS / area)), LEAST_SCALE, MOST_SCALE))
    photo = np.power(np.float32(10.0), -reading.density).astype(np.float32)
    factor = 1.25 * scale / ppr
    if factor < 0.8:  # averaged first, so that nothing finer than the sheet's px aliases
        size = (max(round(photo.shape[1] * factor), 1), max(round(photo.shape[0] * factor), 1))
        geometry = geometry.scaled(size[0] / photo.shape[1])
        photo = np.asarray(cv2.resize(photo, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
        photo_blur = math.hypot(photo_blur * factor, 0.29 * (1 - factor))
    sheet = sheet_of(photo, geometry, reading.zones, low, high, scale, photo_blur * scale / geometry.pixels_per_radius)
    return sheet


def sheet_of(
    photo: Image, geometry: DialGeometry, zones: ZoneMap, low: Floats, high: Floats, scale: float, blur: float
) -> StrokeSheet:
    """The sheet of the box from `low` to `high` dial radii, `scale` px per radius.

    photo : light, 1 on bare enamel. blur : SD of an edge, px of the sheet.
    """
    width, height = (max(int(n), 8) for n in np.ceil((high - low) * scale))
    matrix = geometry.matrix / scale
    start = geometry.to_photo(low)
    # sheet index i has its centre at i + 0.5; OpenCV wants photo indices
    offset = start + matrix @ np.array([0.5, 0.5]) - 0.5
    light = cv2.warpAffine(
        photo, np.column_stack([matrix, offset]), (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_CONSTANT, borderValue=1.0,
    )  # fmt: skip
    x = low[0] + (np.arange(width) + 0.5) / scale
    y = low[1] + (np.arange(height) + 0.5) / scale
    column, row = _cells(zones, x), _cells(zones, y)
    label = zones.label[np.ix_(row, column)]
    hidden = (zones.hidden | zones.edges)[np.ix_(row, column)]
    if zones.named:
        label[(x * x)[None, :] + (y * y)[:, None] >= (REACH - 0.012) ** 2] = -1
    for way, size in enumerate(photo.shape[::-1]):  # off the frame, across and down
        across, down = matrix[way, 0] * np.arange(width) + start[way], matrix[way, 1] * np.arange(height)
        if across.min() + down.min() < 2 or across.max() + down.max() > size - 2:
            place = across[None, :] + down[:, None]
            hidden |= (place < 2) | (place > size - 2)
    flat: Image = np.asarray(light, dtype=np.float32)
    black, grain = _levels(flat[(label >= 0) & ~hidden])
    return StrokeSheet(
        flat, hidden, label, (float(low[0]), float(low[1])), scale, photo, geometry, zones, blur, black, grain
    )


def _cells(zones: ZoneMap, at: Floats) -> NDArray[np.int64]:
    cell = np.floor((at + EXTENT) * MAP_SCALE).astype(np.int64)
    return np.asarray(np.clip(cell, 0, len(zones.label) - 1))


def _shown_box(shape: tuple[int, ...], geometry: DialGeometry) -> tuple[Floats, Floats]:
    """Corners in dial radii of the box that holds what both the dial and the frame show."""
    frame = np.array([[0, 0], [shape[1], 0], [0, shape[0]], [shape[1], shape[0]]], dtype=np.float64)
    corners = geometry.to_dial(frame)
    low, high = np.maximum(corners.min(axis=0), -REACH), np.minimum(corners.max(axis=0), REACH)
    return low, np.maximum(high, low + 0.02)


def _levels(light: Image) -> tuple[float, float]:
    """Full black as light, and the SD of light on bare enamel."""
    if light.size < 100:
        return 0.1, 0.02
    some = light.ravel()[:: max(light.size // 200_000, 1)]
    dark = some[some < 0.7]
    black = float(np.quantile(dark, 0.1)) if dark.size > 20 else 0.3
    bare = some[(some > 0.85) & (some < 1.2)]
    return float(np.clip(black, 0.005, 0.6)), float(
        max(1.4826 * np.median(np.abs(bare - np.median(bare))), 1e-4)
    ) if bare.size else 0.02
