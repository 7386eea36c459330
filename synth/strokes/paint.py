"""Paint on the enamel: strokes as slices with a density each, and how they become covered share and density.

One rasteriser serves every process. Two sums are drawn in one pass: the covered share A of each pixel and the
share times optical density. Where strokes of one coat overlap the sum of A passes 1; a second coat adds density
(hand) or does not (print: one film).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.strokes.raster import accumulate, accumulate_runs
from dialtell.synth.strokes.stroke import Floats

LIGHT_STEP = 0.002  # of reflectance, about half a grey level of 255
COVERED = 1e-6  # share of a pixel below which it counts as bare


class Cue(IntFlag):
    """What a slice of a stroke shows; label masks are drawn from these."""

    NONE = 0
    FADING = 1  # fainter than the full coat by 0.15 D or more
    OVERSHOOT = 2  # past the guide line
    GAP = 4  # next to a junction left open
    POOL = 8  # paint pooled at an end
    RETOUCH = 16  # a second coat over a finished stroke
    GRAIN = 32  # granular edge
    GUIDE = 64  # layout line left


@dataclass(frozen=True, eq=False)
class Paint:
    """Slices of strokes, flat over all strokes.

    left, right : (P, 2) mm, the two edges of the stroke at each sample.
    density : (P,) D of the paint at each sample. cue : (P,) Cue flags. ink, zone, stroke : (P,) integers.
    follows : (P,) true where a slice joins this sample to the one before it.
    """

    left: Floats
    right: Floats
    density: Floats
    cue: NDArray[np.int64]
    ink: NDArray[np.int64]
    zone: NDArray[np.int64]
    stroke: NDArray[np.int64]
    follows: NDArray[np.bool_]

    def select(self, keep: NDArray[np.bool_]) -> Paint:
        """Only whole strokes for which `keep` (P,) holds at every sample."""
        return Paint(*(getattr(self, name)[keep] for name in _FIELDS))


_FIELDS = ("left", "right", "density", "cue", "ink", "zone", "stroke", "follows")


def join(parts: list[Paint]) -> Paint:
    """Several paints as one; the order is the order laid."""
    if not parts:
        empty2, empty1 = np.empty((0, 2)), np.empty(0)
        none = np.empty(0, dtype=np.int64)
        return Paint(empty2, empty2, empty1, none, none, none, none, np.empty(0, dtype=np.bool_))
    return Paint(*(np.concatenate([getattr(part, name) for part in parts]) for name in _FIELDS))


def flatten(
    path: Floats,
    half: Floats,
    normal: Floats,
    density: Floats,
    cue: NDArray[np.int64],
    *,
    ink: NDArray[np.int64],
    zone: NDArray[np.int64],
    stroke: NDArray[np.int64],
    half_right: Floats | None = None,
) -> Paint:
    """Paint of S strokes of M samples.

    path, normal : (S, M, 2). half, half_right : (S, M) mm from the centre line to each edge.
    density, cue : (S, M). ink, zone, stroke : (S,).
    """
    count, samples = half.shape
    left = path + normal * half[..., None]
    right = path - normal * (half if half_right is None else half_right)[..., None]
    follows = np.ones((count, samples), dtype=np.bool_)
    follows[:, 0] = False
    return Paint(
        left.reshape(-1, 2),
        right.reshape(-1, 2),
        density.reshape(-1),
        cue.reshape(-1).astype(np.int64),
        np.repeat(ink, samples),
        np.repeat(zone, samples),
        np.repeat(stroke, samples),
        follows.reshape(-1),
    )


def project(homography: Floats, points: Floats) -> Floats:
    """(N, 2) mm -> (N, 2) px under a 3x3 homography."""
    mapped = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def slice_edges(
    paint: Paint, homography: Floats, values: Floats, shape: tuple[int, int] | None = None
) -> tuple[Floats, Floats]:
    """Edges that draw every slice with its value.

    values : (P, K) value of the slice that ends at each sample, in K layers (ignored where no slice ends).
    shape : (H, W) of the frame; strokes wholly beside it are left out. None keeps all.
    Returns (E, 4) px edges and (E, K) weights. The border two slices share is one edge with the difference of
    their values, and is left out where they agree.
    """
    left, right, follows = project(homography, paint.left), project(homography, paint.right), paint.follows
    if shape is not None:
        seen = _in_frame(left, right, follows, shape)
        if not seen.all():
            left, right, follows, values = left[seen], right[seen], follows[seen], values[seen]
    end = np.flatnonzero(follows)
    begin = end - 1
    # a slice whose sides have crossed (or a mirrored view) has negative area: turn it round
    a, b = right[end] - left[begin], right[begin] - left[end]
    sense = np.where(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] >= 0, 1.0, -1.0)
    weight = np.zeros_like(values)
    weight[end] = values[end] * sense[:, None]
    step = weight.copy()
    step[:-1] -= weight[1:] * follows[1:, None]
    cross = np.flatnonzero((step != 0).any(axis=1))
    outer_left = np.hstack([left[begin], left[end]])
    outer_right = np.hstack([right[end], right[begin]])
    across = np.hstack([left[cross], right[cross]])
    return (
        np.concatenate([outer_left, outer_right, across]),
        np.concatenate([weight[end], weight[end], step[cross]]),
    )


def _in_frame(left: Floats, right: Floats, follows: NDArray[np.bool_], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """(P,) true for the samples of strokes whose bounding box meets the frame."""
    first = np.flatnonzero(~follows)
    meets = np.ones(len(first), dtype=np.bool_)
    for axis, side in ((0, shape[1]), (1, shape[0])):
        low, high = np.minimum(left[:, axis], right[:, axis]), np.maximum(left[:, axis], right[:, axis])
        meets &= (np.minimum.reduceat(low, first) < side) & (np.maximum.reduceat(high, first) > 0)
    return np.repeat(meets, np.diff(np.append(first, len(follows))))


def slice_density(density: Floats) -> Floats:
    """Density (P,) D of the slice that ends at each sample, from the density at the samples.

    Rounded to whole LIGHT_STEPs of reflectance, so that neighbours mostly agree and need no edge between them:
    that halves the work, and is out by a quarter of a percent of density at D = 1 at most.
    """
    between = density.copy()
    between[1:] = 0.5 * (density[1:] + density[:-1])
    reflected = np.maximum(np.round(np.power(10.0, -between) / LIGHT_STEP), 1.0) * LIGHT_STEP
    return np.asarray(-np.log10(reflected))


def lay(
    paint: Paint, homography: Floats, shape: tuple[int, int], *, coat: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Covered share A (H, W) 0..1 and density D (H, W) of the covered part, float32.

    coat : what a second coat adds to density, as a share of the first (0 for a printed film).
    """
    if not paint.follows.any():
        return np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)
    density = slice_density(paint.density)
    edges, weights = slice_edges(paint, homography, np.stack([np.ones_like(density), density], axis=1), shape)
    runs = accumulate_runs(edges, weights, shape)
    # the arithmetic below runs over covered pixels alone, in single precision
    covered = runs.values[0] > COVERED
    total, weighted = runs.values[0][covered].astype(np.float32), runs.values[1][covered].astype(np.float32)
    mean = np.clip(weighted / total, 0.0, 3.0)
    if coat > 0.0:
        # a second coat darkens a thin first one most: what is black already cannot get much blacker
        mean *= 1.0 + np.float32(coat) * np.exp(-mean) * (np.maximum(total, 1.0) - 1.0)
    share, dense = np.zeros((2, *covered.shape), dtype=np.float32)
    share[covered] = np.minimum(total, 1.0)
    dense[covered] = mean
    return runs.spread(share), runs.spread(dense)


def mask(paint: Paint, homography: Floats, shape: tuple[int, int], cue: Cue | None = None) -> NDArray[np.float32]:
    """Share of each pixel covered by strokes (of one cue): (H, W) 0..1, float32."""
    if not paint.follows.any():
        return np.zeros(shape, dtype=np.float32)
    shown = np.ones(len(paint.cue)) if cue is None else ((paint.cue & int(cue)) != 0).astype(np.float64)
    edges, weights = slice_edges(paint, homography, shown[:, None], shape)
    return np.clip(accumulate(edges, weights[:, 0], shape), 0.0, 1.0)
