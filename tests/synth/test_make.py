"""The same design on other dials: enamel as it was, other grounds, strokes where they were."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.faces.face_parts import NUMBER
from dialtell.synth.faces.make import MakeSpec, dress, sample_make
from dialtell.synth.faces.modern import bare, draw_modern, sample_modern
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Make, Seen

SCALE = 60
OTHERS = (Make.METAL, Make.PAPER, Make.PAINTED, Make.RAISED)
MODERN = next(
    spec
    for spec in (sample_modern(rng=np.random.default_rng([4, k]), make=Make.ENAMEL) for k in range(99))
    if spec.window != (0.0, 0.0) and len(spec.shown) == 12
)
FACE, GROUND = draw_modern(MODERN, SCALE), bare(MODERN, SCALE)


def of(make, count=12):
    return [replace(sample_make(rng=np.random.default_rng([6, k])), make=make) for k in range(count)]


def test_enamel_stays_as_it_is():
    assert dress(of(Make.ENAMEL, 1)[0], FACE, GROUND) is FACE


def test_each_make_is_drawn():
    drawn = [sample_make(rng=np.random.default_rng([7, k])).make for k in range(80)]
    assert all(8 < drawn.count(make) < 35 for make in OTHERS)


@pytest.mark.parametrize("make", OTHERS)
def test_a_dress_is_pure_and_leaves_openings_and_the_outside(make):
    hole = FACE.seen == NUMBER[Seen.HOLE]
    assert hole.sum() > 40
    faces = []
    for spec in of(make):
        before = FACE.colour.copy()
        one, again = dress(spec, FACE, GROUND), dress(spec, FACE, GROUND)
        np.testing.assert_array_equal(FACE.colour, before)
        for a, b in zip(one, again, strict=True):
            np.testing.assert_array_equal(a, b)
        assert np.isfinite(one.colour).all() and one.colour.min() >= 0.0 and one.colour.dtype == np.float32
        assert one.ink.dtype == np.float32 and one.seen.dtype == np.uint8
        np.testing.assert_array_equal(one.colour[hole], FACE.colour[hole])
        np.testing.assert_array_equal(one.seen == 0, FACE.seen == 0)
        faces.append(one)
    middle = [face.colour[SCALE - 8 : SCALE + 8, SCALE - 8 : SCALE + 8].mean(axis=(0, 1)) for face in faces]
    assert np.std(middle, axis=0).max() > 0.05


@pytest.mark.parametrize("make", (Make.METAL, Make.PAINTED))
def test_the_strokes_stay_where_they_were_and_can_be_seen(make):
    for spec in of(make):
        numbers = (*spec.numbers[:8], 0.9, 0.9, spec.numbers[10], 0.9, *spec.numbers[12:])
        face = dress(replace(spec, numbers=numbers), FACE, GROUND)  # without luminous dots, crazing or flakes
        np.testing.assert_array_equal(face.seen, FACE.seen)
        np.testing.assert_array_equal(face.ink, FACE.ink)
        full, free = FACE.ink > 0.99, FACE.ink == 0.0
        free &= FACE.seen == NUMBER[Seen.ENAMEL]
        assert abs(np.log(face.colour[full].mean() / face.colour[free].mean())) > 0.25


def test_raised_figures_throw_a_shadow_and_keep_their_place():
    spec = replace(
        of(Make.RAISED, 1)[0], numbers=(0.1, 0.1, 0.1, 0.9, 0.1, 0.9, 0.9, 0.5, 0.9, 0.5, 0.9, 0.9, 0.0, 0.1, 0.5, 0.5)
    )
    face = dress(spec, FACE, GROUND)  # on the enamel itself, the light from above
    np.testing.assert_array_equal(face.seen, FACE.seen)
    figures = np.where(FACE.seen == NUMBER[Seen.NUMERALS], FACE.ink, 0.0)
    bare_ = (FACE.ink == 0.0) & (FACE.seen == NUMBER[Seen.ENAMEL])
    below = bare_[2:] & (figures[:-2] > 0.9)
    above = bare_[:-2] & (figures[2:] > 0.9)
    assert face.colour[2:][below].mean() < 0.9 * face.colour[:-2][above].mean()


def test_torn_paper_is_damage_and_takes_its_ink_along():
    spec = replace(of(Make.PAPER, 1)[0], numbers=(0.5,) * 10 + (0.25,) + (0.5,) * 5)
    face = dress(spec, FACE, GROUND)
    gone = (face.seen == NUMBER[Seen.DAMAGE]) & (FACE.ink > 0.5)
    assert gone.sum() > 5 and face.ink[gone].max() < 0.55


def test_what_is_no_dial_and_wrong_numbers_are_refused():
    with pytest.raises(ParameterError, match="make is 'no dial'"):
        MakeSpec(Make.NONE, (0.5,) * 16, 0)
    with pytest.raises(ParameterError, match="give 16 numbers"):
        MakeSpec(Make.PAPER, (0.5,) * 3, 0)
