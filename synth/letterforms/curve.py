"""Smooth curves through few points: what a draughtsman needs to set down a letter's centre line.

The spline is John Hobby's ("Smooth, easy to compute interpolating splines", Discrete & Computational
Geometry 1, 1986; tension and curl 1), the one of METAFONT: it turns four points and their tangents into a
near-circle. The formulas here are written from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from dialtell.synth.strokes.stroke import Floats

STEP = 0.015  # glyph units between samples of a curve, well under the 0.03 that letterforms promise


def hobby(points: Sequence[complex], directions: Sequence[float | None]) -> list[Floats]:
    """Cubic pieces through the points.

    points : n + 1 points as x + iy, neighbours distinct.
    directions : tangent at each point in radians anticlockwise from +x, or None to have it chosen.
    Returns n arrays of (4, 2) Bezier control points.
    """
    pieces: list[Floats] = []
    start = 0
    for end in range(1, len(points)):
        if end == len(points) - 1 or directions[end] is not None:
            part = slice(start, end + 1)
            pieces += _span(list(points[part]), directions[start], directions[end])
            start = end
    return pieces


def sample(piece: Floats, step: float = STEP) -> Floats:
    """Points along one cubic, (N, 2), ends included, about `step` apart or nearer and never fewer than 5."""
    length = float(np.sum(np.hypot(*np.diff(piece, axis=0).T)))
    t = np.linspace(0.0, 1.0, max(5, math.ceil(length / step) + 1))[:, None]
    s = 1.0 - t
    blend = s**3 * piece[0] + 3 * s**2 * t * piece[1] + 3 * s * t**2 * piece[2] + t**3 * piece[3]
    return np.asarray(blend, dtype=np.float64)


def headings(path: Floats) -> Floats:
    """Tangent angle at each point of a path (N, 2), radians anticlockwise from +x; (N,)."""
    slope = np.gradient(path, axis=0)
    return np.asarray(np.arctan2(slope[:, 1], slope[:, 0]), dtype=np.float64)


def _span(z: list[complex], first: float | None, last: float | None) -> list[Floats]:
    """Hobby's pieces between two points whose tangents are given or left free (curl 1)."""
    n = len(z) - 1
    chord = [z[k + 1] - z[k] for k in range(n)]
    length = [abs(c) for c in chord]
    bearing = [math.atan2(c.imag, c.real) for c in chord]
    turn = [0.0] + [_wrap(bearing[k] - bearing[k - 1]) for k in range(1, n)] + [0.0]
    system, right = np.zeros((n + 1, n + 1)), np.zeros(n + 1)
    if first is None:
        system[0, :2], right[0] = 1.0, -turn[1]
    else:
        system[0, 0], right[0] = 1.0, _wrap(first - bearing[0])
    for k in range(1, n):
        before, after = 1.0 / length[k - 1], 1.0 / length[k]
        system[k, k - 1 : k + 2] = before, 2.0 * (before + after), after
        right[k] = -2.0 * before * turn[k] - after * turn[k + 1]
    if last is None:
        system[n, n - 1 :], right[n] = 1.0, 0.0
    else:
        system[n, n], right[n] = 1.0, _wrap(last - bearing[n - 1])
    if first is None and last is None and n == 1:
        theta = [0.0, 0.0]
    else:
        theta = [float(angle) for angle in np.linalg.solve(system, right)]
    pieces = []
    for k in range(n):
        out, into = theta[k], -turn[k + 1] - theta[k + 1]
        a = z[k] + chord[k] * complex(math.cos(out), math.sin(out)) * _reach(out, into)
        b = z[k + 1] - chord[k] * complex(math.cos(into), -math.sin(into)) * _reach(into, out)
        pieces.append(np.array([[p.real, p.imag] for p in (z[k], a, b, z[k + 1])]))
    return pieces


def _reach(out: float, into: float) -> float:
    """Length of the control arm as a share of the chord (Hobby's velocity function)."""
    so, si, co, ci = math.sin(out), math.sin(into), math.cos(out), math.cos(into)
    top = 2.0 + math.sqrt(2.0) * (so - si / 16.0) * (si - so / 16.0) * (co - ci)
    root = math.sqrt(5.0)
    return top / (3.0 * (1.0 + 0.5 * (root - 1.0) * co + 0.5 * (3.0 - root) * ci))


def _wrap(angle: float) -> float:
    return math.remainder(angle, 2.0 * math.pi)
