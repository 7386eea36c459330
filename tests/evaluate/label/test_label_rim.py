"""The outline through rim points, against exact ellipses and another implementation of the fit."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.measure import EllipseModel

from dialtell.evaluate.label.rim import rim_ellipse
from dialtell.synth.shared.errors import ParameterError


def rim(count, x, y, a, b, degrees, start=0.3, span=2 * np.pi):
    turn, way = start + np.linspace(0, span, count, endpoint=False), np.radians(degrees)
    u, v = a * np.cos(turn), b * np.sin(turn)
    return np.stack([x + np.cos(way) * u - np.sin(way) * v, y + np.sin(way) * u + np.cos(way) * v], axis=1)


@pytest.mark.parametrize("count", [5, 6, 40])
@pytest.mark.parametrize("shape", [(2000.5, 1500.25, 900, 850, 20), (300, 200, 150, 100, -70), (150, 120, 100, 40, 89)])
def test_points_on_an_ellipse_give_it_back(count, shape):
    found = rim_ellipse(rim(count, *shape).tolist(), 4000, 3000)
    assert found[:4] == pytest.approx(shape[:4], abs=0.02)
    assert (found.degrees - shape[4] + 90) % 180 - 90 == pytest.approx(0, abs=0.1) and -90 <= found.degrees < 90
    assert found.a >= found.b


def test_unsteady_clicks_are_fitted_as_another_implementation_fits_them():
    rng = np.random.default_rng(3)
    for _ in range(20):
        points = rim(9, 500, 400, 300, 270, 30, start=rng.uniform(0, 6)) + rng.normal(0, 3, (9, 2))
        found = rim_ellipse(points.tolist(), 1000, 800)
        # scikit-image fits the same criterion (Halir and Flusser 1998)
        other = EllipseModel.from_estimate(points)
        wanted = (*other.center, max(other.axis_lengths), min(other.axis_lengths))
        assert found[:4] == pytest.approx(wanted, abs=0.05)
        assert found[:4] == pytest.approx((500, 400, 300, 270), abs=15)


def test_circle_is_written_in_five_numbers():
    text = rim_ellipse(rim(8, 150, 120, 100, 100, 0).tolist(), 300, 240).text
    assert text.split()[:4] == ["150.00", "120.00", "100.00", "100.00"] and len(text.split()) == 5


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([[1, 1]] * 4, "4 rim points; mark 5 to 200"),
        ([[1, 1]] * 201, "201 rim points"),
        ([[50, 50]] * 5, "no dial's rim"),
        ([[i, 2 * i] for i in range(5)], "no dial's rim"),
        (rim(8, 150, 100, 90, 20, 0).tolist(), "no dial's rim"),
        ([[1, 1], [5, 2], [float("nan"), 3], [7, 7], [2, 8]], "outside the photograph"),
        ([[1, 1], [5, 2], [301, 3], [7, 7], [2, 8]], "outside the photograph"),
        ([[1, 1], [5, 2], ["x", 3], [7, 7], [2, 8]], "no pairs of numbers"),
    ],
)
def test_points_on_no_rim_are_refused(points, said):
    with pytest.raises(ParameterError, match=said):
        rim_ellipse(points, 300, 240)
