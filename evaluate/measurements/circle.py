"""The circle nearest to points: geometric least squares, with a version that outliers do not pull.

The geometric fit minimises distances to the circle, not the algebraic error; see W. Gander, G. H. Golub, R. Strebel,
Least-squares fitting of circles and ellipses, BIT 34 (1994), 558-578.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from dialtell.synth.shared.errors import ParameterError

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class FittedCircle:
    """centre (x, y), radius, and (N,) residuals, positive outside the circle; units of the points."""

    centre: tuple[float, float]
    radius: float
    residuals: Floats


def fit_circle(points: Floats, *, robust: float | None = None) -> FittedCircle:
    """The circle nearest to (N, 2) points, N >= 3.

    robust : distance beyond which a point counts ever less (soft L1); None for plain least squares.
    """
    some = np.asarray(points, dtype=np.float64)
    if some.ndim != 2 or some.shape[1] != 2 or len(some) < 3:
        raise ParameterError(f"points have shape {some.shape}; give (N, 2) with N of 3 or more")
    middle = some.mean(axis=0)
    moved = some - middle
    # algebraic fit to start from: x^2 + y^2 = 2 a x + 2 b y + c
    design = np.column_stack([2 * moved, np.ones(len(moved))])
    a, b, c = np.linalg.lstsq(design, (moved**2).sum(axis=1), rcond=None)[0]
    start = np.array([a, b, np.sqrt(max(c + a * a + b * b, 1e-12))])

    def distance(circle: Floats) -> Floats:
        return np.asarray(np.hypot(moved[:, 0] - circle[0], moved[:, 1] - circle[1]) - circle[2])

    solved = least_squares(
        distance, start, loss="linear" if robust is None else "soft_l1", f_scale=robust or 1.0, xtol=1e-12, ftol=1e-12
    )
    x, y, radius = solved.x
    return FittedCircle((float(x + middle[0]), float(y + middle[1])), float(radius), distance(solved.x))
