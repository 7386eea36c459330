"""The rasteriser against exact areas, an independent point-sampled picture, and itself in a larger frame."""

import ast
from pathlib import Path

import numpy as np
import pytest
from skimage.measure import points_in_poly

from dialtell.synth.strokes import raster
from dialtell.synth.strokes.paint import flatten, lay, mask
from dialtell.synth.strokes.raster import accumulate, coverage, edges_of
from dialtell.synth.strokes.skeleton import normals

SYNTH = Path(raster.__file__).parents[1]
# files that may draw by other means: captions and frames of overview pages, and the baseline of the benchmark
DRAWS_CAPTIONS = {"contact_sheet.py", "cue_page.py", "speed.py"}
DRAWS_GLINTS = {"scratches.py"}  # of light in the crystal, over everything and softened
# rooms that draw what lies round a dial, and dials that the reader alone learns from: no stroke of theirs is judged
DRAWS_SURROUNDINGS = {"faces", "settings"}
CV2_DRAWING = {
    "fillPoly", "fillConvexPoly", "line", "circle", "ellipse", "polylines", "rectangle", "drawContours",
    "arrowedLine", "drawMarker", "ellipse2Poly",
}  # fmt: skip


def shoelace(polygon):
    x, y = polygon.T
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))


def star(rng, size, points=9):
    """A simple polygon about the origin, concave as a rule."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, points))
    radius = size * rng.uniform(0.25, 1.0, points)
    return radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def bar(width, length, angle, middle):
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    return np.array([middle + 0.5 * (a * length * along + b * width * across) for a, b in corners])


@pytest.mark.parametrize("width", [0.3, 1.0])
def test_thin_bars_have_their_true_mass(width):
    rng = np.random.default_rng(1)
    worst = 0.0
    for angle in np.linspace(0, np.pi, 60, endpoint=False):
        for middle in 32 + rng.uniform(0, 1, (3, 2)):
            drawn = float(coverage([bar(width, 40.0, angle, middle)], (64, 64)).sum(dtype=np.float64))
            worst = max(worst, abs(drawn / (width * 40.0) - 1))
    assert worst < 1e-6  # reached: 5e-8, the rounding of float32; the brief for any rasteriser here is 2 %


def test_mass_is_the_shoelace_area_for_either_winding():
    rng = np.random.default_rng(2)
    for size in (0.2, 1.0, 7.0, 60.0):
        for _ in range(20):
            polygon = star(rng, size) + 70 + rng.uniform(0, 1, 2)
            for wound in (polygon, polygon[::-1]):
                drawn = float(coverage([wound], (140, 140)).sum(dtype=np.float64))
                assert drawn == pytest.approx(shoelace(polygon), rel=1e-6, abs=1e-9)


def test_polygons_across_the_frame_are_cut_not_moved():
    """A frame's picture is the same part of a larger frame's, whichever borders the polygons cross."""
    rng = np.random.default_rng(3)
    polygons = [star(rng, rng.uniform(1, 80)) + rng.uniform(0, 180, 2) for _ in range(120)]
    weights = rng.uniform(0.1, 2.0, len(polygons))
    whole = coverage(polygons, (180, 180), weights)
    for top, left, tall, wide in ((0, 0, 60, 60), (55, 60, 40, 33), (100, 10, 80, 170), (70, 70, 1, 1)):
        moved = [polygon - np.array([left, top]) for polygon in polygons]
        part = coverage(moved, (tall, wide), weights)
        np.testing.assert_allclose(part, whole[top : top + tall, left : left + wide], atol=1e-5)


def test_a_polygon_around_the_frame_fills_it_and_one_beside_it_leaves_it_bare():
    square = np.array([[0.0, 0.0], [1, 0], [1, 1], [0, 1]])
    assert coverage([square * 500 - 200], (70, 90)).min() == 1.0
    for shift in ((-60, 0), (95, 0), (0, -60), (0, 75)):
        assert coverage([square * 50 + np.array(shift)], (70, 90)).max() == 0.0
    assert coverage([], (4, 5)).shape == (4, 5)


def test_agrees_with_a_point_sampled_picture():
    """32 x 32 points a pixel, inside or outside by scikit-image's crossing-number test."""
    rng = np.random.default_rng(4)
    side, fine = 12, 32
    at = (np.arange(side * fine) + 0.5) / fine
    points = np.stack(np.meshgrid(at, at), axis=-1).reshape(-1, 2)
    for _ in range(6):
        polygon = star(rng, 6.0) + 6 + rng.uniform(-1, 1, 2)
        sampled = points_in_poly(points, polygon).reshape(side, fine, side, fine).mean(axis=(1, 3))
        difference = coverage([polygon], (side, side)) - sampled
        assert np.abs(difference).max() < 0.03
        assert abs(difference.mean()) < 2e-4


def wavy_stroke():
    t = np.linspace(0, 1, 80)
    path = np.stack([10 + 70 * t, 30 + 6 * np.sin(7 * t)], axis=1)[None]
    half = (2.0 + np.sin(9 * t))[None]
    labels = {name: np.zeros(1, dtype=np.int64) for name in ("ink", "zone", "stroke")}
    return flatten(path, half, normals(path), np.full_like(half, 1.3), np.zeros(half.shape, dtype=np.int64), **labels)


def test_slices_of_a_stroke_join_without_a_seam():
    paint = wavy_stroke()
    outline = np.concatenate([paint.left, paint.right[::-1]])
    as_one = coverage([outline], (60, 90))
    np.testing.assert_allclose(mask(paint, np.eye(3), (60, 90)), as_one, atol=1e-6)
    quads = [
        np.array([paint.left[i], paint.left[i + 1], paint.right[i + 1], paint.right[i]])
        for i in range(len(paint.left) - 1)
    ]
    np.testing.assert_allclose(coverage(quads, (60, 90)), as_one, atol=1e-6)


def test_one_density_is_laid_evenly_and_a_mirrored_view_lays_the_same():
    paint = wavy_stroke()
    share, density = lay(paint, np.eye(3), (60, 90), coat=0.5)
    inked = density[share > 1e-3]
    assert np.ptp(inked) < 1e-3
    assert abs(float(inked.mean()) - 1.3) < 0.01  # LIGHT_STEP: a hundredth of density at most, at 1.3
    flip = np.array([[-1.0, 0, 90], [0, 1, 0], [0, 0, 1]])
    np.testing.assert_allclose(lay(paint, flip, (60, 90), coat=0.5)[0], share[:, ::-1], atol=1e-6)


def test_layers_are_independent():
    rng = np.random.default_rng(5)
    polygons = [star(rng, 9) + rng.uniform(0, 40, 2) for _ in range(12)]
    edges, owner = edges_of(polygons)
    weights = rng.uniform(-1, 1, (12, 2))[owner]
    both = accumulate(edges, weights, (40, 45))
    for layer in range(2):
        np.testing.assert_allclose(both[layer], accumulate(edges, weights[:, layer], (40, 45)), atol=1e-6)


def test_every_shape_goes_through_this_rasteriser():
    """A second way of drawing edges would be a cue: cv2's anti-aliased fill widens every edge by 0.65 px. It holds for
    the strokes and enamel of the renderer, which must import nothing of the rooms that draw otherwise."""
    found = []
    for path in sorted(SYNTH.rglob("*.py")):
        room = path.relative_to(SYNTH).parts[0]
        if path.name in DRAWS_CAPTIONS | DRAWS_GLINTS or room in DRAWS_SURROUNDINGS:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and set((node.module or "").split(".")) & DRAWS_SURROUNDINGS:
                found.append(f"{path.name}:{node.lineno} imports from {node.module}")
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
                if called.value.id == "cv2" and called.attr in CV2_DRAWING:
                    found.append(f"{path.name}:{node.lineno} cv2.{called.attr}")
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import | ast.ImportFrom) else []
            module = (node.module or "") if isinstance(node, ast.ImportFrom) else ""
            for name in names:
                if "ImageDraw" in name or "ImageDraw" in module or (module == "cv2" and name in CV2_DRAWING):
                    found.append(f"{path.name}:{node.lineno} imports {name}")
                if name.split(".")[0] in ("aggdraw", "skia", "cairo") or module.startswith("skimage.draw"):
                    found.append(f"{path.name}:{node.lineno} imports {name}")
    assert not found
