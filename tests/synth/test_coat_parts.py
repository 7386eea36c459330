"""What the coat is made from: noise and grains fixed to the dial, places within strokes, and dots made round."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_strokes import CLEAN_PULL, MACHINE_PLATE, frame, tables, upright_strokes

from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.fairing import rounded
from dialtell.synth.strokes.grain import cells, centres, mottle
from dialtell.synth.strokes.lanes import lanes
from dialtell.synth.strokes.paint import lay, mask
from dialtell.synth.strokes.plate import cut
from dialtell.synth.strokes.stroke import Item, Stroke
from dialtell.synth.strokes.transfer import lay_down


def test_mottle_has_unit_size_bumps_of_the_cell_and_stays_where_it_is():
    rng = np.random.default_rng(0)
    points = rng.uniform(-20, 20, (40000, 2))
    found = mottle(points, 0.05, 7, 0.001)
    assert found.std() == pytest.approx(1.0, abs=0.05)
    assert abs(found.mean()) < 0.03
    near, far = (mottle(points + np.array([step, 0.0]), 0.05, 7, 0.001) for step in (0.01, 0.15))
    assert np.corrcoef(found, near)[0, 1] > 0.9
    assert abs(np.corrcoef(found, far)[0, 1]) < 0.1
    np.testing.assert_array_equal(mottle(points[:100], 0.05, 7, 0.001), found[:100])
    assert abs(np.corrcoef(found, mottle(points, 0.05, 8, 0.001))[0, 1]) < 0.05
    assert mottle(points, 0.05, 7, 0.2).std() < 0.5  # smaller than a pixel: averaged out


def test_every_point_finds_the_nearest_centre_of_the_list():
    rng = np.random.default_rng(1)
    points = rng.uniform(-1, 1, (500, 2))
    spot = cells(points, 0.1, 5)
    place, first, second = centres(np.array([-1.3, -1.3]), np.array([1.3, 1.3]), 0.1, 5)
    away = np.hypot(*(points[:, None] - place[None]).transpose(2, 0, 1))
    nearest = away.argmin(axis=1)
    found = np.hypot(spot.to_centre[:, 0], spot.to_centre[:, 1])
    # samples of the tile are a sixth of a cell apart, so a point by a border may take the second nearest
    same = np.hypot(*(place[nearest] - points - spot.to_centre).T) < 1e-4
    assert same.mean() > 0.85
    np.testing.assert_array_equal(spot.first[same], first[nearest[same]])
    np.testing.assert_array_equal(spot.second[same], second[nearest[same]])
    assert (found - away.min(axis=1)).max() < 0.1 / 3


def test_a_pixel_knows_where_in_its_stroke_it_lies():
    paint = lay_down(cut(*tables(upright_strokes([3.0, 2.0], [0.4, 0.2])), MACHINE_PLATE), CLEAN_PULL, 1.3)
    matrix, shape = frame((-1, -3.5), (3, 0.5), 50.0)
    pixels = np.flatnonzero(mask(paint, matrix, shape) > 0.01)
    row, column = np.divmod(pixels, shape[1])
    points = np.stack([(column + 0.5) / 50.0 - 1, (row + 0.5) / 50.0 - 3.5], axis=1)
    place = lanes(paint, matrix, shape, pixels, points)
    assert place.single.all()
    right = points[:, 0] > 1.0
    for side, length, half, x in ((~right, 3.0, 0.2, 0.0), (right, 2.0, 0.1, 2.0)):
        # a pixel two slices share may go to either
        np.testing.assert_allclose(place.along[side], np.clip(points[side, 1] + length, 0, length), atol=0.5 / 50.0)
        np.testing.assert_allclose(place.left[side], length - place.along[side], atol=1e-6)
        np.testing.assert_allclose(np.abs(place.across[side]), np.abs(points[side, 0] - x), atol=1e-6)
        np.testing.assert_allclose(place.half[side], half, atol=1e-6)
        assert len(np.unique(place.stroke[side])) == 1
    assert place.stroke[right][0] != place.stroke[~right][0]


def shape_of(kind, width):
    t = np.linspace(-1, 1, 9)
    path = np.stack([np.zeros(9), 0.3 * t], axis=1)
    stroke = Stroke(path, width(t), 0.6, kind, "dot")
    batches, table = tables([Item((stroke,), Zone.MINUTE_TRACK, (0.0, 0.0), 0.0, 0.6, "dot")])
    return lay_down(cut(batches, table, MACHINE_PLATE), CLEAN_PULL, 1.3)


def test_dots_are_made_round_and_lozenges_left():
    matrix, frame_shape = frame((-0.5, -0.5), (0.5, 0.5), 200.0)
    dot = shape_of(Kind.DOT, lambda t: 0.6 * np.sqrt(1 - t**2))
    share, _ = lay(rounded(dot), matrix, frame_shape, coat=0.0)
    area, rough = (
        float(field.sum(dtype=np.float64)) / 200.0**2 for field in (share, lay(dot, matrix, frame_shape, coat=0.0)[0])
    )
    assert abs(area / (np.pi * 0.09) - 1) < 0.04
    assert abs(area / (np.pi * 0.09) - 1) < abs(rough / (np.pi * 0.09) - 1)
    y, x = np.nonzero((share > 0.3) & (share < 0.7))
    radius = np.hypot(x + 0.5 - 100, y + 0.5 - 100)
    assert np.ptp(radius) < 4.0
    lozenge = shape_of(Kind.MARK, lambda t: 0.4 * (1 - np.abs(t)))
    assert rounded(lozenge) is lozenge
    stems = lay_down(cut(*tables(upright_strokes([3.0], 0.4)), MACHINE_PLATE), replace(CLEAN_PULL), 1.3)
    assert rounded(stems) is stems
