"""Dials of modern designs: pure, within the disc, every zone named where its paint is."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.faces.face_parts import NUMBER, lattice
from dialtell.synth.faces.modern import KINDS, bare, draw_modern, sample_modern
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Make, Seen

SCALE = 60


def some(count=40, make=Make.PAINTED):
    return [sample_modern(rng=np.random.default_rng([9, k]), make=make) for k in range(count)]


def test_a_spec_gives_the_same_face_each_time_and_specs_differ():
    first, second = some(2)
    one, again, other = (draw_modern(spec, SCALE) for spec in (first, first, second))
    for a, b in zip(one, again, strict=True):
        np.testing.assert_array_equal(a, b)
    assert np.abs(one.colour - other.colour).max() > 0.1


def test_every_kind_is_drawn_and_what_is_painted_has_a_name():
    specs = some()
    assert {spec.kind for spec in specs} == set(KINDS)
    names = set()
    for spec in specs:
        face = draw_modern(spec, SCALE)
        assert face.colour.shape == (2 * SCALE, 2 * SCALE, 3) and face.colour.dtype == np.float32
        assert face.seen.dtype == np.uint8 and face.ink.dtype == np.float32
        assert 0.0 <= face.ink.min() and face.ink.max() <= 1.0
        inked = (face.seen >= NUMBER[Seen.SIGNATURE]) & (face.seen <= NUMBER[Seen.OTHER])
        if spec.window == (0.0, 0.0):  # its edge takes a part of the ink away
            assert inked[face.ink > 0.25].all() and (face.ink[inked] > 0.15).all()
            same = face.ink == 0.0
            np.testing.assert_array_equal(face.colour[same], bare(spec, SCALE)[same])
        assert (face.seen[lattice(SCALE)[2] > 1.02] == 0).all()
        names |= set(np.unique(face.seen).tolist())
    wanted = {Seen.NUMERALS, Seen.MINUTE_TRACK, Seen.SIGNATURE, Seen.SECONDS_BIT, Seen.OTHER, Seen.HOLE}
    assert {NUMBER[seen] for seen in wanted} <= names


def test_figures_are_where_the_spec_says():
    spec = next(s for s in some(200) if s.shown == (3, 6, 9, 12) and s.marks == "none" and not s.subs and not s.ring[1])
    spec = replace(spec, window=(0.0, 0.0), lines=(), radial="upright")
    face = draw_modern(spec, 100)
    radius = lattice(100)[2][face.seen == NUMBER[Seen.NUMERALS]]
    assert radius.mean() == pytest.approx(spec.at, abs=0.03)
    none = draw_modern(replace(spec, shown=()), 100)
    assert not (none.seen == NUMBER[Seen.NUMERALS]).any()


def test_wrong_names_are_refused_in_words():
    with pytest.raises(ParameterError, match="kind is 'sundial'; give one of station"):
        replace(some(1)[0], kind="sundial")
