"""Watch hands lying over the dial: strokes of metal that must not be read as paint or print.

A hand is a long dark piece that reaches out from the hub along a straight line through the centre; no figure,
letter or track does. The counterpoise of a hand is found as a hand of its own.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import Image
from dialtell.model.reading.polar import MAP_SCALE, lattice, unwrap

FROM, LEAST = 0.10, 0.30  # dial radii: a hand leaves the hub at FROM and reaches at least LEAST
WIDE = 0.075  # dial radii, half of the broadest hand (spade or ring)
WHOLE = 0.85  # share of the way that must be ink
ANGLES = 1440


def find_hands(ink: Image) -> NDArray[np.bool_]:
    """Where hands cover the dial: (S, S) on the rectified map `ink` (0..1, MAP_SCALE px per dial radius)."""
    reach = 0.95
    polar = unwrap(ink, 0.0, 0.0, reach, ANGLES) > 0.5
    start, least = int(FROM * MAP_SCALE), int(LEAST * MAP_SCALE)
    filled = np.cumsum(polar[:, start:], axis=1)
    lengths = np.arange(1, filled.shape[1] + 1)
    whole = filled >= WHOLE * lengths
    furthest = np.where(whole.any(axis=1), whole.shape[1] - np.argmax(whole[:, ::-1], axis=1), 0) + start
    covered = np.zeros(ink.shape, dtype=np.bool_)
    x, y, radius, _ = lattice()
    dark = (ink > 0.5).astype(np.uint8)
    _, label = cv2.connectedComponents(dark)
    hub = np.unique(label[(radius < FROM + 0.05) & (dark > 0)])
    attached = np.isin(label, hub[hub > 0])
    for angle in _peaks(furthest, least):
        turn = (angle + 0.5) * 2 * np.pi / ANGLES
        along, aside = x * np.sin(turn) - y * np.cos(turn), x * np.cos(turn) + y * np.sin(turn)
        length = furthest[angle] / MAP_SCALE + 0.02
        covered |= attached & (along > 0) & (along < length) & (np.abs(aside) < WIDE)
    return np.asarray(cv2.dilate(covered.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0)


def _peaks(furthest: NDArray[np.int64], least: int) -> list[int]:
    """The middle angle of each run of directions in which ink reaches past `least`."""
    long = furthest >= least
    if long.all() or not long.any():
        return []
    shift = int(np.argmin(long))
    rolled = np.roll(long, -shift)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rolled.astype(int), [0]])))
    peaks = []
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        if end - begin <= ANGLES // 12:  # broader than 30 degrees is a shadow or a filled centre
            run = np.roll(furthest, -shift)[begin:end]
            best = np.flatnonzero(run == run.max())
            peaks.append(int((begin + best[len(best) // 2] + shift) % ANGLES))
    return peaks
