"""A second way to a dial whose edge hardly shows: its rings, divisions and figures all look alike turned half round.

A picture laid over itself turned by 180 degrees about the dial's centre agrees best with itself there, whatever the
tilt. About that centre the roundest of a few ellipse shapes is the one whose edges stand at one and the same radius.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from dialtell.model.reading.ellipse import Ellipse
from dialtell.model.reading.geometry import sample_points

Tone = NDArray[np.uint8]
Floats = NDArray[np.float64]

_TURN = 120  # directions
_SHAPES = ((1.0, 1), (0.93, 6), (0.86, 6))  # b / a, and how many directions of the long axis are tried
_CENTRES, _RINGS = 2, 2


def symmetric_discs(tone: Tone) -> list[Ellipse]:
    """Rough ellipses about the centres of half-turn symmetry, px of `tone`; to be moved onto the edges near them."""
    edges = _edges(tone)
    return [ring for centre in _centres(edges) for ring in _rings(edges, centre)]


def _edges(tone: Tone) -> NDArray[np.float32]:
    """Strength of edges against the light round them, 0..0.3."""
    light = cv2.GaussianBlur(tone.astype(np.float32), (0, 0), 1.2)
    x, y = cv2.Sobel(light, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(light, cv2.CV_32F, 0, 1, scale=0.125)
    around = cv2.blur(light, (31, 31))
    return np.asarray(np.minimum(cv2.magnitude(x, y) / np.maximum(around, 4.0), 0.3), dtype=np.float32)


def _centres(edges: NDArray[np.float32]) -> list[tuple[float, float]]:
    half = cv2.resize(edges, (edges.shape[1] // 2, edges.shape[0] // 2), interpolation=cv2.INTER_AREA)
    # what varies slowly agrees with itself anywhere in the middle of the frame: only the fine parts may speak
    fine = half - cv2.GaussianBlur(half, (0, 0), 4.0)
    agreement = fftconvolve(fine, fine)  # place 2 c holds the agreement of the picture turned about c
    agreement = cv2.GaussianBlur(agreement, (0, 0), 1.5)
    found: list[tuple[float, float]] = []
    reach = round(0.08 * min(half.shape))
    for _ in range(_CENTRES):
        row, column = np.unravel_index(int(agreement.argmax()), agreement.shape)
        found.append((float(column) + 1.0, float(row) + 1.0))  # half-size px: c = place / 2 + 0.5, doubled again
        agreement[max(row - reach, 0) : row + reach, max(column - reach, 0) : column + reach] = -np.inf
    return found


def _rings(edges: NDArray[np.float32], centre: tuple[float, float]) -> list[Ellipse]:
    """Ellipses about a centre along which most directions show an edge, over all shapes, the clearest first."""
    turn = np.arange(_TURN) * (2 * math.pi / _TURN)
    short = min(edges.shape)
    radii = np.arange(0.15 * short, 0.75 * short, 1.0)
    unit = Ellipse((0.0, 0.0), (1.0, 1.0), 0.0)
    scored: list[tuple[float, Ellipse]] = []
    for roundness, count in _SHAPES:
        for step in range(count):
            wide = 1 / math.sqrt(roundness)
            unit = Ellipse((0.0, 0.0), (wide, roundness * wide), math.pi * step / count)
            places = np.asarray(centre) + radii[None, :, None] * unit.points(turn)[:, None, :]
            x, y = places[..., 0], places[..., 1]
            seen = (x > 2) & (y > 2) & (x < edges.shape[1] - 2) & (y < edges.shape[0] - 2)
            rays = cv2.GaussianBlur(sample_points(edges, places), (5, 1), 1.0)
            shown = seen.sum(axis=0)
            strong = ((rays > 0.02) & seen).sum(axis=0) / np.maximum(shown, 1)
            level = strong - cv2.blur(strong[None], (25, 1))[0]
            level[shown < 0.4 * _TURN] = -1.0
            for _ in range(_RINGS):
                peak = int(level.argmax())
                radius = float(radii[peak])
                axes = unit.axes[0] * radius, unit.axes[1] * radius
                scored.append((float(level[peak]), Ellipse(centre, axes, unit.angle)))
                level[max(peak - 6, 0) : peak + 7] = -1.0
    scored.sort(key=lambda pair: -pair[0])
    return [disc for _, disc in scored[:_RINGS]]
