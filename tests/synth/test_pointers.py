"""Hands: where they point, what they hide, and the shadow beside them."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.faces.face_parts import NUMBER, lattice
from dialtell.synth.faces.modern import draw_modern, sample_modern
from dialtell.synth.faces.pointers import KINDS, Pointer, PointersSpec, lay_pointers, sample_pointers
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Make, Seen

SCALE = 80
FACE = draw_modern(sample_modern(rng=np.random.default_rng(2), make=Make.ENAMEL), SCALE)


def spec_of(*hands, **other):
    plain = {
        "x": 0.0,
        "y": 0.0,
        "cap": 0.05,
        "facet": 0.0,
        "shift": (0.0, 0.0),
        "blur": 0.02,
        "depth": 0.0,
        "light": 0.0,
    }
    return PointersSpec(hands=hands, **{**plain, **other})


@pytest.mark.parametrize("kind", list(KINDS))
@pytest.mark.parametrize("turn", [0.5, 4.0])
def test_a_hand_points_where_it_is_told_as_far_as_it_is_long(kind, turn):
    after = lay_pointers(spec_of(Pointer(kind, turn, 0.8, 0.0, 1.0, "black", False)), FACE)
    x, y, radius, _ = lattice(SCALE)
    hand = after.seen == NUMBER[Seen.HAND]
    along = x * np.sin(turn) - y * np.cos(turn)
    reach = 0.36 if kind == "broken" else 0.8
    assert along[hand].max() == pytest.approx(reach, abs=0.12)
    assert np.abs(x * np.cos(turn) + y * np.sin(turn))[hand].max() < 0.12
    assert along[hand & (radius > 0.2)].min() > 0.1
    assert after.ink[hand].mean() <= FACE.ink[hand].mean()


def test_the_shadow_falls_where_it_is_shifted_and_is_named_a_hand():
    hand = Pointer("baton", 0.0, 0.8, 0.0, 1.0, "white", False)
    plain, shaded = (lay_pointers(spec_of(hand, shift=(0.12, 0.0), depth=d), FACE) for d in (0.0, 0.6))
    x, y, _, _ = lattice(SCALE)
    dark = shaded.colour.mean(axis=2) < 0.7 * plain.colour.mean(axis=2)
    body = dark & (y < -0.2)
    assert x[body].mean() == pytest.approx(0.12, abs=0.02)
    assert (shaded.seen[dark] == NUMBER[Seen.HAND]).all()
    np.testing.assert_array_equal(plain.ink, shaded.ink)


def test_luminous_paint_is_light_on_a_dark_hand():
    hand = Pointer("baton", 0.0, 0.8, 0.0, 1.5, "black", True)
    lit, dark = (lay_pointers(spec_of(h), FACE) for h in (hand, replace(hand, lume=False)))
    row = int(0.5 * SCALE)
    assert lit.colour[row, SCALE].min() > 0.5 > 0.1 > dark.colour[row, SCALE].max()


def test_samples_are_pure_and_of_every_kind():
    specs = [sample_pointers(rng=np.random.default_rng([1, k])) for k in range(150)]
    assert {hand.kind for spec in specs for hand in spec.hands} == set(KINDS)
    for spec in specs[:20]:
        before = FACE.colour.copy()
        one, again = lay_pointers(spec, FACE), lay_pointers(spec, FACE)
        for a, b in zip(one, again, strict=True):
            np.testing.assert_array_equal(a, b)
        np.testing.assert_array_equal(FACE.colour, before)
        assert one.colour.dtype == np.float32 and one.ink.dtype == np.float32 and one.seen.dtype == np.uint8
        assert (one.seen == NUMBER[Seen.HAND]).sum() > 30 and one.colour.min() >= 0.0


def test_wrong_names_are_refused_in_words():
    with pytest.raises(ParameterError, match="kind is 'finger'; give one of baton"):
        Pointer("finger", 0.0, 0.8, 0.0, 1.0, "black", False)
    with pytest.raises(ParameterError, match="metal is 'lead'"):
        Pointer("baton", 0.0, 0.8, 0.0, 1.0, "lead", False)
