"""Outlines of font glyphs as clean polygons: curves flattened, overlaps united, corners kept.

Frame: glyph units (height of a capital or figure = 1), x to the right from the glyph's left side, y up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from contourpy import contour_generator
from fontTools.pens.basePen import BasePen

from dialtell.synth.strokes.raster import accumulate
from dialtell.synth.strokes.stroke import Floats

PX = 320  # pixels of a capital's height at which overlapping contours are united; a hairline has 6 or more
CURVE_STEPS = 10  # straight pieces of one curve
MARGIN = 3  # pixels of white about a glyph


class _Flattener(BasePen):  # type: ignore[misc]  # fontTools has no types
    """Collects closed contours of straight pieces, in font units."""

    def __init__(self, glyphs: Mapping[str, Any]) -> None:
        super().__init__(glyphs)
        self.contours: list[list[tuple[float, float]]] = []
        self._t = np.linspace(0.0, 1.0, CURVE_STEPS + 1)[1:, None]

    def _moveTo(self, pt: tuple[float, float]) -> None:
        self.contours.append([pt])

    def _lineTo(self, pt: tuple[float, float]) -> None:
        self.contours[-1].append(pt)

    def _curveToOne(self, pt1: tuple[float, float], pt2: tuple[float, float], pt3: tuple[float, float]) -> None:
        t = self._t
        a, b, c, d = (np.array(p, dtype=np.float64) for p in (self.contours[-1][-1], pt1, pt2, pt3))
        points = (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * d
        self.contours[-1] += [(float(x), float(y)) for x, y in points]

    def _qCurveToOne(self, pt1: tuple[float, float], pt2: tuple[float, float]) -> None:
        t = self._t
        a, b, c = (np.array(p, dtype=np.float64) for p in (self.contours[-1][-1], pt1, pt2))
        points = (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c
        self.contours[-1] += [(float(x), float(y)) for x, y in points]


def flattened(glyphs: Mapping[str, Any], name: str) -> list[Floats]:
    """Contours of one glyph of a fontTools glyph set as they are in the font, each (N, 2) font units."""
    pen = _Flattener(glyphs)
    glyphs[name].draw(pen)
    return [np.array(contour, dtype=np.float64) for contour in pen.contours if len(contour) > 2]


@dataclass(frozen=True, eq=False)
class Outline:
    """The outline of one glyph.

    contours : closed polylines (N, 2), the last point not repeated; holes are contours of their own.
    cover : (H, W) 0..1 share of each pixel covered. origin : (x, y) of the middle of pixel (0, 0). Row 0 is lowest.
    """

    contours: tuple[Floats, ...]
    cover: Floats
    origin: tuple[float, float]

    def inside(self, points: Floats) -> Floats:
        """(N,) covered share at points (N, 2); 0 beside the picture."""
        column = np.round((points[:, 0] - self.origin[0]) * PX).astype(np.int64)
        row = np.round((points[:, 1] - self.origin[1]) * PX).astype(np.int64)
        height, width = self.cover.shape
        seen = (row >= 0) & (row < height) & (column >= 0) & (column < width)
        return np.where(seen, self.cover[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)], 0.0)


def united(contours: list[Floats]) -> Outline:
    """Contours (glyph units) as the shape a font engine fills by the non-zero rule: overlaps are one area.

    Exact area of every pixel, then the line of one half: straight edges lie where they were, corners lose 1/640.
    """
    points = np.concatenate(contours)
    low = points.min(axis=0) - MARGIN / PX
    size = np.ceil((points.max(axis=0) - low) * PX).astype(int) + MARGIN
    edges = np.concatenate([np.hstack([part, np.roll(part, -1, axis=0)]) for part in contours])
    edges = (edges - np.tile(low, 2)) * PX
    cover = accumulate(edges, np.ones(len(edges)), (int(size[1]), int(size[0]))).astype(np.float64)
    cover = np.clip(np.abs(cover), 0.0, 1.0)
    lines = contour_generator(z=cover).lines(0.5)
    origin = low + 0.5 / PX
    closed = [np.asarray(line, dtype=np.float64)[:-1] / PX + origin for line in lines if len(line) > 8]
    return Outline(tuple(closed), cover, (float(origin[0]), float(origin[1])))
