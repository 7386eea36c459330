"""The map between photograph and dial: exact where it is affine, true to light where it reduces."""

import math

import cv2
import numpy as np
import pytest

from dialtell.model.reading.geometry import DialGeometry, patch_grid, rectify, sample
from dialtell.synth.shared.errors import ParameterError

TILTED = DialGeometry((210.5, 180.25), (120.0, 95.0), math.radians(35), math.radians(8))


def test_outline_is_the_unit_circle() -> None:
    # OpenCV draws its polygon of the same ellipse independently; it rounds to whole pixels
    (x, y), (a, b) = TILTED.center_px, TILTED.axes_px
    drawn = cv2.ellipse2Poly((round(x), round(y)), (round(a), round(b)), 35, 0, 360, 5)
    dial = TILTED.to_dial(drawn + np.array([x - round(x), y - round(y)]))
    assert np.hypot(*dial.T) == pytest.approx(1, abs=0.012)


def test_there_and_back() -> None:
    points = np.random.default_rng(0).normal(size=(50, 2))
    assert TILTED.to_dial(TILTED.to_photo(points)) == pytest.approx(points, abs=1e-12)
    assert np.linalg.det(TILTED.matrix) == pytest.approx(120 * 95)
    assert TILTED.pixels_across == pytest.approx(2 * math.sqrt(120 * 95))
    assert TILTED.pixels_per_mm(40) == pytest.approx(TILTED.pixels_across / 40)
    assert math.cos(TILTED.tilt) == pytest.approx(95 / 120)


def test_rotation_is_clockwise_from_up() -> None:
    face_on = DialGeometry((0, 0), (10, 10), angle=1.234, rotation=math.radians(30))
    assert face_on.to_photo(np.array([0.0, -1.0])) == pytest.approx([5.0, -10 * math.cos(math.radians(30))])


def test_symmetric_root_leaves_up_nearly_alone() -> None:
    # at 30 degrees of tilt the shift of "up" stays under 4.2 degrees in the worst direction
    worst = 0.0
    for angle in np.radians(np.arange(0, 180, 5)):
        x, y = DialGeometry((0, 0), (1.0, math.cos(math.radians(30))), angle).to_photo(np.array([0.0, -1.0]))
        worst = max(worst, abs(math.degrees(math.atan2(x, -y))))
    assert 3.5 < worst < 4.2


def test_box_holds_the_outline_and_no_more() -> None:
    rows, columns = TILTED.box((400, 500))
    turn = np.linspace(0, 2 * np.pi, 3600)
    outline = TILTED.to_photo(np.stack([np.cos(turn), np.sin(turn)], axis=-1))
    assert columns.start <= outline[:, 0].min() < columns.start + 1
    assert rows.stop - 1 < outline[:, 1].max() <= rows.stop
    assert TILTED.box((100, 90))[0].stop <= 100


def test_patch_grid_axes() -> None:
    grid = patch_grid(TILTED, (0.2, -0.5), (0.0, 2.0), (5, 7), 50.0)
    dial = TILTED.to_dial(grid)
    assert dial[2, 3] == pytest.approx([0.2, -0.5])
    assert dial[2, 4] - dial[2, 3] == pytest.approx([0, 1 / 50])  # columns run along `right`
    assert dial[3, 3] - dial[2, 3] == pytest.approx([-1 / 50, 0])  # rows a quarter turn clockwise from it


def test_rectify_at_scale_one_returns_the_pixels() -> None:
    image = np.random.default_rng(1).random((64, 64, 3), dtype=np.float32)
    upright = DialGeometry((32.0, 32.0), (32.0, 32.0))
    assert rectify(image, upright, 32.0, extent=1.0) == pytest.approx(image, abs=1e-5)


@pytest.mark.parametrize("factor", [2, 3, 4, 5, 7, 16])
def test_reduction_is_the_area_mean(factor: int) -> None:
    # the exact answer for a whole-number reduction is the mean of each block
    image = np.random.default_rng(2).random((32 * factor, 32 * factor), dtype=np.float32)
    upright = DialGeometry((16.0 * factor, 16.0 * factor), (16.0 * factor, 16.0 * factor))
    exact = image.reshape(32, factor, 32, factor).mean(axis=(1, 3))
    found = rectify(image, upright, 16.0, extent=1.0)
    # white noise is the hardest case; blocks averaged first need not line up with the cells
    assert np.std((found - exact)[1:-1, 1:-1]) < 0.5 * np.std(exact)
    assert np.std(found) == pytest.approx(np.std(exact), rel=0.15)


def test_fine_stripes_do_not_alias() -> None:
    # stripes of 2.6 px, reduced 3.7 times and turned: point sampling would beat, the area mean is flat
    y, x = np.mgrid[0:800, 0:800]
    image = (0.5 + 0.5 * np.sin(2 * np.pi * (x + 0.3 * y) / 2.6)).astype(np.float32)
    dial = DialGeometry((400, 400), (370, 330), 0.4, 0.1)
    reduced = rectify(image, dial, 94.0, extent=0.9)
    assert reduced.std() < 0.06 and reduced.mean() == pytest.approx(0.5, abs=0.01)
    grid = patch_grid(dial, (0, 0), (1, 0), (170, 170), 94.0).astype(np.float32)
    point = cv2.remap(image, grid, None, cv2.INTER_LINEAR)
    assert point.std() > 0.15


def test_half_pixel() -> None:
    # a spot round the middle of one pixel is centred half a pixel in from its corner, whatever the scale
    image = np.zeros((40, 40), np.float32)
    image[12, 25] = 1
    image = cv2.GaussianBlur(image, (0, 0), 2.0)
    dial = DialGeometry((20.0, 20.0), (20.0, 20.0))
    for scale in (10.0, 20.0, 80.0):
        found = rectify(image, dial, scale, extent=1.0)
        rows, columns = np.mgrid[0 : found.shape[0], 0 : found.shape[1]] + 0.5
        x, y = ((v * found).sum() / found.sum() / scale - 1 for v in (columns, rows))
        assert (x, y) == pytest.approx((5.5 / 20, -7.5 / 20), abs=0.002)


def test_beyond_the_frame_the_border_repeats() -> None:
    image = np.full((50, 50), 0.25, np.float32)
    far = DialGeometry((300.0, -400.0), (40.0, 40.0))
    assert sample(image, patch_grid(far, (0, 0), (1, 0), (9, 9), 5.0)) == pytest.approx(0.25)


def test_bad_geometry_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"axes_px is \(10, 20\); give semi-axes a >= b > 0"):
        DialGeometry((0, 0), (10, 20))
    with pytest.raises(ParameterError, match="right"):
        patch_grid(TILTED, (0, 0), (0, 0), (5, 5), 10.0)
    with pytest.raises(ParameterError, match="diameter_mm is 0"):
        TILTED.pixels_per_mm(0)
