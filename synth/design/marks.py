"""The five-minute marks of a track: one function and one line of MARKS each. The plain heavy tick is the layout's own.

A mark is a stroke about (0, 0), y outward, mm: depth is that of the track, heavy the width of its heavier marks.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.stroke import Floats

Outline = tuple[Floats, Floats, Kind]  # path (N, 2) mm, width (N,) mm, what it is


def disc(size: float, points: int) -> Outline:
    """A filled disc of radius `size`, drawn as one stroke."""
    t = np.linspace(-1, 1, points)
    return np.stack([np.zeros_like(t), size * t], axis=1), 2 * size * np.sqrt(1 - t**2), Kind.DOT


def dot(depth: float, heavy: float) -> Outline:
    """A dot that fills the track at most."""
    return disc(0.5 * min(depth, 1.6 * heavy), 15)


def lozenge(depth: float, heavy: float) -> Outline:
    """A diamond, longer than wide."""
    t = np.linspace(-1, 1, 9)
    half = min(0.5 * depth, 1.4 * heavy)
    return np.stack([np.zeros_like(t), half * t], axis=1), 1.5 * heavy * (1 - np.abs(t)), Kind.MARK


def wedge(depth: float, heavy: float) -> Outline:
    """A wedge as deep as the track, its point to the centre."""
    t = np.linspace(-1, 1, 9)
    return np.stack([np.zeros_like(t), 0.5 * depth * t], axis=1), 1.6 * heavy * (1 + t) / 2, Kind.MARK


def star(depth: float, heavy: float) -> Outline:
    """A star, as its upright and its waist."""
    t = np.linspace(-1, 1, 17)
    half = min(0.5 * depth, 1.3 * heavy)
    width = 1.3 * heavy * (np.exp(-((t / 0.12) ** 2)) + 0.28 * (1 - np.abs(t)))
    return np.stack([np.zeros_like(t), half * t], axis=1), width, Kind.MARK


# in the order designs are drawn from: a new one at the end
MARKS: dict[str, Callable[[float, float], Outline]] = {"dot": dot, "lozenge": lozenge, "wedge": wedge, "star": star}
