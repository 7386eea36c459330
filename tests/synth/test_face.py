"""The disc of a drawn dial face on: its labels agree with the design and with what is drawn."""

from __future__ import annotations

import numpy as np
import pytest

from dialtell.synth.design.layout import lay_out
from dialtell.synth.faces.face import bare_face, draw_face, face_view, resized
from dialtell.synth.photograph.view import homography, to_px
from dialtell.synth.scene import Range, sample_spec
from dialtell.synth.shared.terms import INK_SEEN, SEEN, ZONES, Process, Seen

SCOPE = Range(wear=(0.0, 0.5))
INK = [SEEN.index(INK_SEEN[zone]) for zone in ZONES]


def spec(index: int, process: Process = Process.HAND):
    return sample_spec(910, index, SCOPE, process)


@pytest.fixture(scope="module")
def faces():
    return [(one, draw_face(one, 160, hands=False)) for one in map(spec, range(8))]


def test_the_disc_fills_its_square():
    for radius in (15.0, 30.0):
        rim = to_px(homography(face_view(radius, 160)), radius * np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0]]))
        assert rim == pytest.approx(np.array([[160.0, 0.0], [320.0, 160.0], [160.0, 320.0]]), abs=1e-3)


def test_zones_named_are_those_of_the_design(faces):
    for one, face in faces:
        assert (
            face.colour.shape == (320, 320, 3) and face.seen.shape == face.ink.shape == (320, 320) and face.scale == 160
        )
        drawn = {SEEN.index(INK_SEEN[item.zone]) for item in lay_out(one.design)}
        assert {int(v) for v in np.unique(face.seen)} & set(INK) == drawn
        assert 0.0 <= face.ink.min() and face.ink.max() <= 1.0


def test_what_is_named_ink_is_dark_and_what_is_not_is_bare(faces):
    for one, face in faces:
        light = face.colour.min(axis=2) / np.maximum(bare_face(one, 160).min(axis=2), 1e-3)
        named = np.isin(face.seen, INK)
        enamel = face.seen == SEEN.index(Seen.ENAMEL)
        assert np.median(light[named]) < 0.75 and (light[named] < 0.97).mean() > 0.9
        assert np.median(light[enamel]) > 0.93 and face.ink[enamel].mean() < 0.02 < face.ink[named].mean()


def test_outside_the_disc_nothing_is_named(faces):
    axis = (np.arange(320) + 0.5) / 160 - 1
    radius = np.hypot(*np.meshgrid(axis, axis))
    for _, face in faces:
        assert not face.seen[radius > 1.01].any() and (face.seen[radius < 0.985] > 0).all()


def test_same_spec_same_face_and_hands_lie_over_it():
    one = spec(3)
    first, second, bare = draw_face(one, 160), draw_face(one, 160), draw_face(one, 160, hands=False)
    assert first.colour.tobytes() == second.colour.tobytes() and first.seen.tobytes() == second.seen.tobytes()
    changed = np.abs(first.colour - bare.colour).max(axis=2) > 0.02
    hand = first.seen == SEEN.index(Seen.HAND)
    assert not (bare.seen == SEEN.index(Seen.HAND)).any()
    assert (first.seen == bare.seen)[~hand].all()
    if hand.any():
        assert changed[hand].mean() > 0.8


def test_twins_differ_in_strokes_alone():
    """All that is named but strokes is the same, whatever laid them."""
    for index in range(4):
        hand, print_ = draw_face(spec(index), 160), draw_face(spec(index).as_process(Process.TRANSFER), 160)
        # damage is named by how much light it changes, which strokes beneath it shift
        strokes = np.isin(hand.seen, INK) | np.isin(print_.seen, INK)
        assert (hand.seen == print_.seen)[~strokes].mean() > 0.999
        assert np.isin(hand.seen, INK).sum() == pytest.approx(np.isin(print_.seen, INK).sum(), rel=0.35)


def test_resized_keeps_thin_strokes(faces):
    for _, face in faces:
        small = resized(face, 60)
        assert small.colour.shape == (120, 120, 3) and small.scale == 60
        for number in INK:
            assert (small.seen == number).any() == (face.seen == number).any() or (face.seen == number).sum() < 12
        assert resized(face, 160) is face
        assert small.ink.mean() == pytest.approx(face.ink.mean(), rel=0.02)
