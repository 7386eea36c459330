"""The master behind a print: exact repeats where a punch made them, an engraver's scatter where not."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_strokes import MACHINE_PLATE, tables, tick_ring, upright_strokes

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.plate import Plate, cut, sample_plate
from dialtell.synth.strokes.skeleton import gather
from dialtell.synth.strokes.stroke import Item, Stroke


def test_a_machine_cut_plate_is_the_artwork():
    items = tick_ring() + upright_strokes(np.full(5, 3.0), 0.3)
    for before, after in zip(gather(items), cut(*tables(items), MACHINE_PLATE), strict=True):
        np.testing.assert_allclose(after.path, before.path, atol=1e-12)
        np.testing.assert_allclose(after.width, before.width, atol=1e-12)


def test_punched_forms_keep_their_shape_wherever_they_stand():
    plate = replace(MACHINE_PLATE, scatter=1.0, punched=True)
    (batch,) = cut(*tables(upright_strokes(np.full(8, 3.0), 0.3)), plate)
    assert np.ptp(batch.width) < 1e-12
    straight = np.linalg.norm(batch.path[:, -1] - batch.path[:, 0], axis=1)
    along = np.linalg.norm(np.diff(batch.path, axis=1), axis=2).sum(axis=1)
    np.testing.assert_allclose(straight, along, rtol=1e-9)


def test_a_plate_is_the_same_each_time_and_another_cutting_is_not():
    items = upright_strokes(np.full(8, 3.0), 0.3)
    plate = replace(MACHINE_PLATE, scatter=1.0, punched=False, seed=4)
    first, again, other = (cut(*tables(items), p)[0] for p in (plate, plate, replace(plate, seed=5)))
    np.testing.assert_array_equal(first.path, again.path)
    assert np.abs(first.path - other.path).max() > 0.02


def test_a_plate_with_scatter_strays_as_a_hand_and_more_with_more():
    items = upright_strokes(np.full(60, 3.0), 0.3)
    stray = []
    for scatter in (0.0, 0.4, 1.0):
        (batch,) = cut(*tables(items), replace(MACHINE_PLATE, scatter=scatter, punched=False))
        stray.append(np.sqrt(np.mean((batch.path - gather(items)[0].path) ** 2)))
    assert stray[0] < 1e-12 < stray[1] < stray[2]
    assert 0.3 < stray[1] / stray[2] < 0.5


def test_widening_is_added_once_and_never_to_a_point():
    path = np.array([[0.0, 0.0], [0.0, 1.0], [0.0, 2.0]])
    wedge = Stroke(path, np.array([0.0, 0.2, 0.4]), 0.4, Kind.MARK, "wedge")
    items = [Item((wedge,), Zone.MINUTE_TRACK, (0.0, 0.0), 0.0, 2.0, "wedge")]
    plain, wide = (cut(*tables(items), replace(MACHINE_PLATE, widen=widen))[0].width for widen in (0.0, 0.015))
    assert wide[0, 0] == 0.0
    # no line is cut finer than 0.02 mm
    np.testing.assert_allclose(wide[0, 1:], np.maximum(gather(items)[0].width[0, 1:] + 0.015, 0.02))
    assert np.median(wide - plain) == pytest.approx(0.015)


def test_plates_are_widened_as_often_as_thinned():
    """A mean other than 0 would make print bolder than paint."""
    rng = np.random.default_rng(1)
    widen = np.array([sample_plate(rng=rng).widen for _ in range(2000)])
    assert abs(widen.mean()) < 4 * 0.008 / np.sqrt(len(widen))
    assert np.abs(widen).max() <= 0.02


def test_a_plate_out_of_range_is_refused():
    with pytest.raises(ParameterError, match=r"Plate.scatter is 2\.0; give a value from 0\.0 to 1\.5"):
        Plate(engraver=MACHINE_PLATE.engraver, scatter=2.0, widen=0.0, punched=True, seed=0)
