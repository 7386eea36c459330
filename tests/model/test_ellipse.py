"""The robust ellipse fit against scikit-image's RANSAC, and exact on exact points."""

import math
import warnings

import numpy as np
import pytest
from skimage.measure import EllipseModel, ransac

from dialtell.model.reading.ellipse import Ellipse, fit_ellipse


def edge_points(truth: Ellipse, outliers: float, rng: np.random.Generator, n: int = 400) -> np.ndarray:
    turn = np.sort(rng.uniform(0, 2 * np.pi, n))
    points = truth.points(turn) + rng.normal(0, 1.0, (n, 2))
    wrong = rng.random(n) < outliers
    radius = max(truth.axes)
    points[wrong] = np.asarray(truth.center) + rng.uniform(-1.4, 1.4, (int(wrong.sum()), 2)) * radius
    return points


@pytest.mark.parametrize("axes", [(500.0, 410.0), (300.0, 299.0), (120.0, 120.0)])
@pytest.mark.parametrize("angle", [0.0, 0.7, math.pi / 2, 2.5])
def test_exact_points_give_the_ellipse(axes: tuple[float, float], angle: float) -> None:
    truth = Ellipse((640.0, -75.0), axes, angle)
    found = fit_ellipse(truth.points(np.linspace(0, 6, 60)), 1.0)
    assert found is not None
    ellipse, inside = found
    assert inside.all()
    assert ellipse.center == pytest.approx(truth.center, abs=1e-4)
    assert ellipse.axes == pytest.approx(truth.axes, abs=1e-3)
    if axes[0] > axes[1] + 10:
        assert math.cos(2 * (ellipse.angle - angle)) == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize("outliers", [0.15, 0.30])
def test_as_accurate_as_skimage_ransac(outliers: float) -> None:
    ours, theirs = [], []
    for number in range(4):
        rng = np.random.default_rng(number)
        truth = Ellipse((520.0, 480.0), (400.0, 400.0 * rng.uniform(0.82, 1)), rng.uniform(0, np.pi))
        points = edge_points(truth, outliers, rng)
        found = fit_ellipse(points, 4.0)
        assert found is not None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model, _ = ransac(points, EllipseModel, 8, 4.0, max_trials=40, rng=number)
        x, y, a, b = model.center[0], model.center[1], *sorted(model.axis_lengths, reverse=True)
        ours.append([math.dist(found[0].center, truth.center), *np.abs(np.subtract(found[0].axes, truth.axes))])
        theirs.append([math.dist((x, y), truth.center), *np.abs(np.subtract((a, b), truth.axes))])
    ours_median, theirs_median = np.median(ours, axis=0), np.median(theirs, axis=0)
    assert np.all(ours_median <= np.maximum(theirs_median * 1.2, 0.12)), (ours_median, theirs_median)
    assert ours_median.max() < 0.4


def test_part_of_the_outline_is_enough() -> None:
    rng = np.random.default_rng(8)
    truth = Ellipse((300.0, 300.0), (250.0, 220.0), 0.4)
    points = edge_points(truth, 0.2, rng)
    turn = np.arctan2(*(points - truth.center).T[::-1])
    found = fit_ellipse(points[np.abs(turn) > 0.25 * np.pi], 4.0)
    assert found is not None
    assert math.dist(found[0].center, truth.center) < 1.0


def test_no_ellipse_no_answer() -> None:
    line = np.stack([np.arange(30.0), 2 * np.arange(30.0)], axis=-1)
    assert fit_ellipse(line, 0.1) is None
    assert fit_ellipse(line[:4], 0.1) is None
    flat = Ellipse((0.0, 0.0), (100.0, 20.0), 0.0).points(np.linspace(0, 6, 50))
    assert fit_ellipse(flat, 0.5) is None
    assert fit_ellipse(flat, 0.5, roundness=0.1) is not None
    assert fit_ellipse(flat, 0.5, roundness=0.1, span=(60, 1000)) is None


def test_same_points_same_ellipse() -> None:
    points = edge_points(Ellipse((0.0, 0.0), (100.0, 90.0), 0.0), 0.3, np.random.default_rng(2))
    first, second = fit_ellipse(points, 4.0), fit_ellipse(points, 4.0)
    assert first is not None and second is not None and first[0].axes == second[0].axes
