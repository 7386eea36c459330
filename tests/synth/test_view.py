"""The view against exact geometry: where a plane's points fall in a pinhole picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage.measure import EllipseModel

from dialtell.synth.photograph.patch import circle, cover_each, cover_patch
from dialtell.synth.photograph.view import ViewSpec, homography, local_scale, mm_grid, sample_view, to_px
from dialtell.synth.shared.errors import ParameterError

VIEW = ViewSpec(
    px_per_mm=20.0,
    tilt_deg=0.0,
    azimuth_deg=0.0,
    roll_deg=0.0,
    perspective=0.0,
    height_px=1000,
    width_px=1100,
    centre_x_px=560.0,
    centre_y_px=480.0,
    dial_radius_mm=20.0,
    field="whole",
)


@pytest.mark.parametrize("tilt", [5.0, 20.0, 35.0])
@pytest.mark.parametrize("azimuth", [0.0, 77.0, 200.0])
def test_circle_without_perspective_becomes_ellipse_of_ratio_cos_tilt(tilt, azimuth):
    view = replace(VIEW, tilt_deg=tilt, azimuth_deg=azimuth, roll_deg=9.0)
    fit = EllipseModel.from_estimate(to_px(homography(view), circle(0.0, 0.0, 20.0)))
    axes = sorted(fit.axis_lengths) if hasattr(fit, "axis_lengths") else sorted(fit.params[2:4])
    assert axes[1] == pytest.approx(400.0, rel=1e-6)
    assert axes[0] / axes[1] == pytest.approx(np.cos(np.radians(tilt)), rel=1e-6)


def test_perspective_matches_a_pinhole_camera_in_space():
    view = replace(VIEW, tilt_deg=30.0, azimuth_deg=90.0, perspective=0.25)
    # camera 4 dial diameters = 160 mm off; the right half leans away
    x, tilt = 12.0, np.radians(30.0)
    expected = 560.0 + 20.0 * x * np.cos(tilt) * 160.0 / (160.0 + x * np.sin(tilt))
    np.testing.assert_allclose(to_px(homography(view), np.array([x, 0.0])), [expected, 480.0], rtol=1e-12)


def test_upright_dial_has_twelve_up_and_three_right():
    right, up = to_px(homography(VIEW), np.array([[20.0, 0.0], [0.0, -20.0]]))
    np.testing.assert_allclose([right, up], [[960.0, 480.0], [560.0, 80.0]])
    turned = to_px(homography(replace(VIEW, roll_deg=90.0)), np.array([0.0, -20.0]))
    np.testing.assert_allclose(turned, [960.0, 480.0])  # a clockwise turn brings 12 to the right


def test_scale_at_the_centre():
    view = replace(VIEW, tilt_deg=35.0, azimuth_deg=40.0, perspective=1 / 3)
    across = np.array([np.cos(np.radians(40.0)), np.sin(np.radians(40.0))]) * 0.01
    ends = to_px(homography(view), np.array([-across, across]))
    assert np.hypot(*(ends[1] - ends[0])) / 0.02 == pytest.approx(20.0, rel=0.01)
    area = float(local_scale(homography(view), np.zeros(2))) ** 2
    assert area == pytest.approx(400.0 * np.cos(np.radians(35.0)), rel=1e-9)


def test_grid_is_the_inverse_of_the_homography():
    view = replace(VIEW, tilt_deg=25.0, azimuth_deg=130.0, perspective=0.2, roll_deg=-7.0)
    x, y = mm_grid(view, 4)
    assert x.shape == (250, 275)
    back = to_px(homography(view), np.array([x[100, 30], y[100, 30]], dtype=np.float64))
    np.testing.assert_allclose(back, [30 * 4 + 2, 100 * 4 + 2], atol=0.01)


def test_sampled_views_keep_their_limits():
    rng = np.random.default_rng(1)
    views = [sample_view(rng=rng, dial_radius_mm=20.0, max_side_px=700, min_side_px=120) for _ in range(400)]
    assert {view.field for view in views} == {"whole", "part"}
    for view in views:
        assert max(view.shape) <= 700 and min(view.shape) >= 100
        assert 4.0 <= view.px_per_mm <= 120.0 and view.tilt_deg <= 35.0 and abs(view.roll_deg) <= 12.0
        rim = to_px(homography(view), circle(0.0, 0.0, 20.0))
        inside = np.all((rim >= 0) & (rim <= [view.width_px, view.height_px]), axis=1).mean()
        assert inside > 0.35 if view.field == "whole" else inside < 1.0
    logs = np.log([view.px_per_mm for view in views])
    assert abs(np.mean(logs) - np.log(4.0 * 120.0) / 2) < 4 * np.log(30.0) / np.sqrt(12 * 400)


@pytest.mark.parametrize(
    ("name", "value"),
    [("px_per_mm", 0.0), ("tilt_deg", 61.0), ("perspective", float("nan")), ("width_px", 3), ("field", "half")],
)
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        replace(VIEW, **{name: value})


def test_shapes_drawn_together_equal_shapes_drawn_alone():
    rng = np.random.default_rng(3)
    polygons = rng.uniform(-30, 230, (60, 1, 2)) + circle(0.0, 0.0, 1.0, 9) * rng.uniform(0.2, 25.0, (60, 1, 1))
    polygons[5] = circle(100.0, 90.0, 280.0, 9)  # too large for the shared sheet
    for polygon, patch in zip(polygons, cover_each(polygons, (180, 200)), strict=True):
        alone = cover_patch([polygon], (180, 200))
        assert (patch is None) == (alone is None)
        if patch is not None:
            assert (patch.rows, patch.columns) == (alone.rows, alone.columns)
            np.testing.assert_allclose(patch.cover, alone.cover, atol=1e-5)
