"""Resampling of strokes, and the directions along them."""

import numpy as np
import pytest
from drawn_strokes import tick_ring, upright_strokes

from dialtell.synth.design.design import sample_design
from dialtell.synth.design.layout import lay_out, ring_item
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.skeleton import FEWEST, MOST, SPACING_MM, gather, normals, tabulate, tangents


def test_every_stroke_is_there_once_evenly_sampled_with_its_own_ends():
    items = lay_out(sample_design(rng=np.random.default_rng(3)))
    strokes = [stroke for item in items for stroke in item.strokes]
    batches = gather(items)
    assert sorted(np.concatenate([batch.stroke for batch in batches])) == list(range(len(strokes)))
    for batch in batches:
        count = batch.path.shape[1]
        for row, number in enumerate(batch.stroke):
            stroke = strokes[number]
            np.testing.assert_allclose(batch.path[row, [0, -1]], stroke.path[[0, -1]], atol=1e-9)
            np.testing.assert_allclose(batch.width[row, [0, -1]], stroke.width[[0, -1]], atol=1e-9)
            assert batch.width[row].max() <= stroke.width.max() + 1e-9
            assert batch.form[row] == stroke.form
            # a chord is never longer than the line it spans
            step = np.hypot(*np.diff(batch.path[row], axis=0).T)
            assert step.max() <= batch.length[row] / (count - 1) + 1e-9
            assert count == FEWEST or count == MOST or (count - 1) * SPACING_MM < 2 * batch.length[row]


def test_samples_lie_at_most_the_spacing_apart():
    for length in (0.1, 1.0, 3.0, 12.0):
        (batch,) = gather(upright_strokes([length], 0.2))
        assert length / batch.path.shape[1] <= SPACING_MM


def test_tables_and_kinds():
    items = [*tick_ring(count=4), ring_item((0.0, 0.0), 5.0, 0.1, Zone.OTHER, "r")]
    table = tabulate(items)
    assert table.anchor.shape == (5, 2)
    rings = [batch.is_kind(Kind.RING).sum() for batch in gather(items)]
    assert sum(rings) == 1
    assert gather([]) == []


def test_normals_are_square_to_the_path():
    (batch,) = gather([ring_item((0.0, 0.0), 5.0, 0.1, Zone.OTHER, "r")])
    along, side = tangents(batch.path), normals(batch.path)
    np.testing.assert_allclose((along * side).sum(axis=2), 0.0, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(side, axis=2), 1.0)
    outward = (side * batch.path).sum(axis=2) / 5.0
    # clockwise in x right, y down: a quarter turn clockwise from the way one goes points at the centre
    assert outward.max() < -0.99
    still = np.zeros((1, 5, 2))
    np.testing.assert_array_equal(tangents(still)[0], [[1.0, 0.0]] * 5)


@pytest.mark.parametrize("count", [1, 60])
def test_strokes_keep_the_order_they_were_laid(count):
    (batch,) = gather(tick_ring(count=count))
    np.testing.assert_array_equal(batch.stroke, np.arange(count))
    np.testing.assert_array_equal(batch.item, np.arange(count))
