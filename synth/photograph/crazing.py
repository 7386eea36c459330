"""Crazing: the net of fine cracks an enamel gets that has shrunk otherwise than the copper under it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Voronoi

from dialtell.synth.photograph.patch import cover_patch, direction
from dialtell.synth.photograph.view import to_px
from dialtell.synth.shared.errors import require_range

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

BENT = 0.08  # of its length that a crack's middle lies off the straight (judgement)
PIECES = 4  # in which a crack is drawn


@dataclass(frozen=True)
class Crazing:
    """Lengths in mm, of a dial of dial_radius_mm 2..500.

    cell_mm : 0.1..200, mean distance of neighbouring cells. line_mm : 0.001..2, width of a crack; depth : 0..0.8,
    light lost in it. area : 0..1, share of the dial crazed.
    """

    dial_radius_mm: float
    cell_mm: float
    line_mm: float
    depth: float
    area: float

    def __post_init__(self) -> None:
        require_range("dial_radius_mm", self.dial_radius_mm, 2.0, 500.0, "mm")
        require_range("cell_mm", self.cell_mm, 0.1, 200.0, "mm")
        require_range("line_mm", self.line_mm, 0.001, 2.0, "mm")
        require_range("depth", self.depth, 0.0, 0.8)
        require_range("area", self.area, 0.0, 1.0)


def sample_crazing(*, rng: np.random.Generator, dial_radius_mm: float) -> Crazing:
    """Coarse to fine cells, faint to stained dark, on a part of the dial or all of it."""
    return Crazing(
        dial_radius_mm=dial_radius_mm,
        cell_mm=dial_radius_mm * float(np.exp(rng.uniform(np.log(0.06), np.log(0.25)))),
        line_mm=dial_radius_mm / 22.0 * float(np.exp(rng.uniform(np.log(0.02), np.log(0.07)))),
        depth=0.15 + 0.6 * float(rng.uniform()),
        area=float(rng.uniform(0.2, 1.0)),
    )


def craze(crazing: Crazing, matrix: Floats, loss: Image, *, seed: int) -> None:
    """The net added to the loss of light, (H, W); in place. seed : of its places."""
    rng = np.random.default_rng(seed)
    radius = crazing.dial_radius_mm
    count = max(int((2.2 * radius / crazing.cell_mm) ** 2), 8)
    net = Voronoi(rng.uniform(-1.1 * radius, 1.1 * radius, (count, 2)))
    ends = np.array([ridge for ridge in net.ridge_vertices if min(ridge) >= 0])
    start, end = net.vertices[ends[:, 0]], net.vertices[ends[:, 1]]
    middle = 0.5 * (start + end)
    # the tension that cracks it rises towards one side of the dial
    toward = middle @ direction(rng.uniform(0.0, 2 * np.pi)) + 0.25 * radius * rng.standard_normal(len(middle))
    level = np.quantile(toward, 1.0 - crazing.area)
    kept = (toward >= level) & (np.maximum(np.hypot(*start.T), np.hypot(*end.T)) < radius)
    if not kept.any():
        return
    along = (end - start)[kept]
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    off = BENT * rng.standard_normal((len(along), 1, 1))
    t = np.linspace(0.0, 1.0, PIECES + 1)[:, None]
    path = start[kept][:, None] + t * along[:, None] + 4 * t * (1 - t) * off * across[:, None]
    side = 0.5 * crazing.line_mm * across / np.maximum(np.hypot(*across.T), 1e-9)[:, None]
    left, right = to_px(matrix, path - side[:, None]), to_px(matrix, path + side[:, None])
    quads = np.stack([left[:, :-1], left[:, 1:], right[:, 1:], right[:, :-1]], axis=2).reshape(-1, 4, 2)
    strength = np.repeat(crazing.depth * rng.uniform(0.5, 1.0, len(along)), PIECES)
    height, width = loss.shape
    seen = (quads.max(axis=1) > 0).all(axis=1) & (quads.min(axis=1) < np.array([width, height])).all(axis=1)
    patch = cover_patch(quads[seen], (height, width), strength[seen])
    if patch is not None:
        loss[patch.rows, patch.columns] += patch.cover
