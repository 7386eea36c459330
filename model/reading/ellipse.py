"""Ellipses through edge points of which many belong to something else: random draws, then a robust refit.

A least-squares fit to all points is off by pixels as soon as a few of them are wrong, so hypotheses are drawn from
five points each, the one with the most points within a gate wins, and only then is it fitted to those points.
The distance used is Sampson's, |Q(p)| / |grad Q(p)|, first-order exact near the curve. The draws come from a
generator of their own: the same points give the same ellipse.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Ellipse:
    """center (x, y), semi-axes (a, b) with a >= b > 0, angle of the major axis in radians from +x towards +y."""

    center: tuple[float, float]
    axes: tuple[float, float]
    angle: float

    @property
    def conic(self) -> Floats:
        """(6,) coefficients of A x^2 + B x y + C y^2 + D x + E y + F = 0."""
        (x, y), (a, b) = self.center, self.axes
        c, s = math.cos(self.angle), math.sin(self.angle)
        aa = (c / a) ** 2 + (s / b) ** 2
        bb = 2 * c * s * (1 / a**2 - 1 / b**2)
        cc = (s / a) ** 2 + (c / b) ** 2
        return np.array(
            [aa, bb, cc, -2 * aa * x - bb * y, -bb * x - 2 * cc * y, aa * x * x + bb * x * y + cc * y * y - 1]
        )

    @property
    def root(self) -> Floats:
        """(2, 2) the symmetric root that turns the unit circle into this ellipse, px per radius."""
        c, s = math.cos(self.angle), math.sin(self.angle)
        frame = np.array([[c, -s], [s, c]])
        return np.asarray(frame @ np.diag(self.axes) @ frame.T)

    def distances(self, points: Floats) -> Floats:
        """(N,) Sampson distances in px of (N, 2) points."""
        return np.asarray(_distances(self.conic[None], points)[0])

    def points(self, turn: NDArray[np.floating[Any]]) -> Floats:
        """(N, 2) points at the parameters `turn` (radians) of the symmetric-root map from the unit circle."""
        circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
        return np.asarray(circle @ self.root.T + np.asarray(self.center))


def fit_ellipse(
    points: Floats,
    gate: float,
    *,
    draws: int = 120,
    refits: int = 8,
    roundness: float = 0.6,
    span: tuple[float, float] = (0.0, math.inf),
) -> tuple[Ellipse, Flags] | None:
    """The ellipse that most points lie on, and which they are; None when none of the draws is acceptable.

    points : (N, 2) px, N >= 5.
    gate : px, points closer than this count as lying on it.
    draws : how many five-point hypotheses to try.
    refits : how many reweighted fits follow the best draw.
    roundness : smallest b / a accepted.
    span : smallest and largest sqrt(a b) accepted, px.
    """
    points = np.asarray(points, dtype=np.float64)
    if len(points) < 5:
        return None
    shift, scale = points.mean(axis=0), float(points.std()) or 1.0
    local = (points - shift) / scale
    rng = np.random.default_rng(0)
    # one point from each fifth of the sequence: contours come in order, so draws reach round the curve
    edges = np.linspace(0, len(local), 6).astype(int)
    start = rng.integers(0, len(local), draws)[:, None]
    picks = np.stack([rng.integers(low, high, draws) for low, high in itertools.pairwise(edges)], axis=1)
    conics = _through(local[(picks + start) % len(local)])
    low, high = span[0] / scale, span[1] / scale
    keep = [e for e in map(_from_conic, conics) if e is not None and _allowed(e, roundness, low, high)]
    if not keep:
        return None
    near = _distances(np.stack([e.conic for e in keep]), local) < gate / scale
    best = keep[int(np.argmax(near.sum(axis=1)))]
    final = _refit(best, local, gate / scale, refits)
    if final is None or not _allowed(final, roundness, low, high):
        return None
    (x, y), (a, b) = final.center, final.axes
    found = Ellipse((float(x * scale + shift[0]), float(y * scale + shift[1])), (a * scale, b * scale), final.angle)
    return found, found.distances(points) < gate


def _allowed(e: Ellipse, roundness: float, low: float, high: float) -> bool:
    a, b = e.axes
    return b >= roundness * a and low <= math.sqrt(a * b) <= high


def _terms(points: Floats) -> Floats:
    x, y = points[..., 0], points[..., 1]
    return np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=-1)


def _through(fives: Floats) -> Floats:
    """(K, 6) conics through (K, 5, 2) points."""
    terms = _terms(fives)
    _, vectors = np.linalg.eigh(np.swapaxes(terms, 1, 2) @ terms)
    return np.asarray(vectors[:, :, 0])


def _distances(conics: Floats, points: Floats) -> Floats:
    """(K, N) Sampson distances."""
    value = np.abs(conics @ _terms(points).T)
    x, y = points[:, 0], points[:, 1]
    gx = conics[:, 0:1] * (2 * x) + conics[:, 1:2] * y + conics[:, 3:4]
    gy = conics[:, 1:2] * x + conics[:, 2:3] * (2 * y) + conics[:, 4:5]
    return np.asarray(value / np.maximum(np.hypot(gx, gy), 1e-12))


def _refit(start: Ellipse, points: Floats, gate: float, refits: int) -> Ellipse | None:
    """Sampson-weighted algebraic fit with Tukey's biweight, from `start`; the gate narrows with the scatter."""
    current = start
    terms = _terms(points)
    reach = gate
    for _ in range(refits):
        distance = current.distances(points)
        inside = distance < reach
        if inside.sum() < 6:
            return current if current is not start else None
        tukey = np.where(inside, (1 - (distance / reach) ** 2) ** 2, 0.0)
        conic = current.conic
        gx = 2 * conic[0] * points[:, 0] + conic[1] * points[:, 1] + conic[3]
        gy = conic[1] * points[:, 0] + 2 * conic[2] * points[:, 1] + conic[4]
        weight = tukey / np.maximum(gx * gx + gy * gy, 1e-12)
        _, vectors = np.linalg.eigh((terms * weight[:, None]).T @ terms)
        fitted = _from_conic(vectors[:, 0])
        if fitted is None:
            return current if current is not start else None
        current = fitted
        # 1.4826 times the median absolute deviation estimates the SD; Tukey's usual reach is 4.685 SD
        scatter = 1.4826 * float(np.median(current.distances(points)[inside]))
        reach = min(gate, max(4.685 * scatter, 0.05 * gate))
    return current


def _from_conic(conic: Floats) -> Ellipse | None:
    """The real ellipse of a conic, or None."""
    a, b, c, d, e, f = (float(v) for v in conic)
    if a + c < 0:
        a, b, c, d, e, f = -a, -b, -c, -d, -e, -f
    determinant = 4 * a * c - b * b
    if not determinant > 1e-12:
        return None
    x, y = (b * e - 2 * c * d) / determinant, (b * d - 2 * a * e) / determinant
    level = -(f + 0.5 * (d * x + e * y))
    mean, half = 0.5 * (a + c), math.hypot(0.5 * (a - c), 0.5 * b)
    small = mean - half
    if not (level > 0 and small > 0):
        return None
    axes = (math.sqrt(level / small), math.sqrt(level / (mean + half)))
    # the major axis belongs to the smaller eigenvalue
    angle = 0.5 * math.atan2(-b, c - a) if half > 0 else 0.0
    return Ellipse((x, y), axes, angle)
