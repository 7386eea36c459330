"""The master behind a print: exact repeats where a punch made them, an engraver's scatter where not."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_strokes import CLEAN_EXPOSURE, CLEAN_PULL, MACHINE_PLATE, tables, tick_ring, upright_strokes

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.photographic import develop
from dialtell.synth.strokes.plate import Plate, cut, regular, sample_plate, shallowed
from dialtell.synth.strokes.skeleton import gather
from dialtell.synth.strokes.stroke import Item, Stroke
from dialtell.synth.strokes.transfer import lay_down


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


def regular_plates(count):
    rng = np.random.default_rng(2)
    return [regular(sample_plate(rng=rng), rng=rng) for _ in range(count)]


def tick_scatter(plate):
    """SD of ln width and of lean, degrees, of the ticks of a faultless pull, from its paint."""
    paint = lay_down(cut(*tables(tick_ring()), plate), CLEAN_PULL, 1.35)
    wide, lean = [], []
    for number in range(60):
        own = paint.stroke == number
        middle = 0.5 * (paint.left + paint.right)[own]
        wide.append(np.log(np.linalg.norm(paint.left - paint.right, axis=1)[own].mean()))
        turn = 2 * np.pi * number / 60
        step = middle[-1] - middle[0]
        lean.append(np.degrees(np.arctan2(step @ [np.cos(turn), np.sin(turn)], step @ [np.sin(turn), -np.cos(turn)])))
    return np.std(wide), np.std(lean)


def test_divided_plates_are_regular_to_their_floor():
    plates = [plate for plate in regular_plates(60) if plate.divided]
    assert 20 < len(plates) < 46
    for plate in plates[:12]:
        wide, lean = tick_scatter(plate)
        assert 0.0005 < wide < 0.01 and 0.003 < lean < 0.1


def test_regular_plates_are_more_regular_than_others_and_some_cut_every_figure_anew():
    rng = np.random.default_rng(4)
    even, uneven = (
        np.mean([tick_scatter(plate) for plate in plates], axis=0)
        for plates in (regular_plates(24), [sample_plate(rng=rng) for _ in range(24)])
    )
    assert even[0] < 0.6 * uneven[0] and even[1] < 0.3 * uneven[1]
    unlike = [plate for plate in regular_plates(200) if plate.divided and plate.scatter >= 0.4]
    assert 10 < len(unlike) < 60
    (batch,) = cut(*tables(upright_strokes(np.full(30, 3.0), 0.3)), unlike[0])
    assert np.std(np.log(batch.width.mean(axis=1))) > 0.004
    assert np.std(batch.path[:, 0, 0] - batch.path[:, -1, 0]) > 0.01


def test_shallow_hairlines_give_less_ink_whichever_way_they_are_printed():
    widths = np.array([0.05, 0.1, 0.4])
    plate = replace(MACHINE_PLATE, shallow=0.2, shallow_mm=0.1)
    expected = 1.35 * (1 - 0.2 * np.exp(-((widths / 0.1) ** 2.0)))
    for depth, wanted in ((plate.depth, expected), (MACHINE_PLATE.depth, np.full(3, 1.35))):
        master = cut(*tables(upright_strokes(np.full(3, 3.0), widths)), plate)
        for paint in (lay_down(master, CLEAN_PULL, 1.35, depth), develop(master, CLEAN_EXPOSURE, 1.35, depth)):
            mean = [paint.density[paint.stroke == number].mean() for number in range(3)]
            np.testing.assert_allclose(mean, wanted, rtol=1e-6)
    rng = np.random.default_rng(5)
    worn = [shallowed(MACHINE_PLATE, rng=rng) for _ in range(200)]
    assert 0.0 < min(one.shallow for one in worn) and max(one.shallow for one in worn) <= 0.25
