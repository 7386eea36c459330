"""The granular edges of a photographic print as a label: a band about every edge of its strokes, and the stray grains.

The inside of a stroke looks like any other print's; what tells a photographic print are its edges.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.strokes.paint import Paint, mask
from dialtell.synth.strokes.skeleton import FEWEST
from dialtell.synth.strokes.stroke import Floats

CLOSED_MM = 1e-6  # a stroke whose ends lie nearer to each other is a ring


def edge_band(
    paint: Paint, homography: Floats, shape: tuple[int, int], *, grain_mm: float, least_mm: float = 0.0
) -> NDArray[np.float32]:
    """Share of each pixel within the band, (H, W) float32 0..1.

    grain_mm : size of the grain, the width of the band, which lies half inside and half outside the edge; least_mm :
        mm, the width it has at least (a pixel's, so that it shows).
    """
    if not paint.follows.any():
        return np.zeros(shape, dtype=np.float32)
    half = 0.5 * max(grain_mm, least_mm)
    outer = mask(_moved(paint, half), homography, shape)
    inner = mask(_moved(paint, -half), homography, shape)
    return np.asarray(np.clip(outer - inner, 0.0, 1.0), dtype=np.float32)


def _moved(paint: Paint, by: float) -> Paint:
    """The paint with every edge, ends included, `by` mm further out; inward, stray grains and thin strokes vanish.

    Stray grains are runs of fewer samples than any stroke has.
    """
    middle, across = 0.5 * (paint.left + paint.right), 0.5 * (paint.left - paint.right)
    half = np.hypot(across[:, 0], across[:, 1])
    unit = across / np.maximum(half, 1e-12)[:, None]
    first = np.flatnonzero(~paint.follows)
    samples = np.diff(np.append(first, len(half)))
    last = first + samples - 1
    ends_meet = np.hypot(*(middle[first] - middle[last]).T) < CLOSED_MM
    if by > 0:
        for end, beside in ((first, first + 1), (last, last - 1)):
            step = middle[end] - middle[np.clip(beside, first, last)]
            step = step * (by / np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-12))[:, None]
            middle[end] += np.where(ends_meet[:, None], 0.0, step)
        reach = np.where(half > 0, half + by, 0.0)
    else:
        # all runs lie end to end on one scale, a millimetre apart; what lies too near to an end is drawn back from it
        steps = np.hypot(*np.diff(middle, axis=0, prepend=middle[:1]).T)
        along = np.cumsum(np.where(paint.follows, steps, 1.0))
        cut = np.where(ends_meet, 0.0, np.minimum(-by, 0.5 * (along[last] - along[first])))
        kept = np.clip(along, np.repeat(along[first] + cut, samples), np.repeat(along[last] - cut, samples))
        middle = np.stack([np.interp(kept, along, middle[:, axis]) for axis in (0, 1)], axis=1)
        stray = np.repeat(samples < FEWEST, samples)
        reach = np.where(stray, 0.0, np.maximum(half + by, 0.0))
    return replace(paint, left=middle + unit * reach[:, None], right=middle - unit * reach[:, None])
