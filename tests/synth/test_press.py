"""Habits of a hand on thin strokes: leaning on one end of a tick, and broad strokes held by their outlines."""

from dataclasses import replace

import numpy as np

from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.hand import columns, held, paint_by_hand
from dialtell.synth.strokes.hand_style import ORDINARY, Workshop
from dialtell.synth.strokes.skeleton import gather, tabulate
from dialtell.synth.strokes.stroke import Item, Stroke


def ticks(widths, kind=Kind.TICK):
    items = []
    for index, width in enumerate(widths):
        stroke = Stroke(np.array([[index, 0.0], [index, -1.0]]), np.full(2, width), width, kind, "track/minor")
        items.append(Item((stroke,), Zone.MINUTE_TRACK, (float(index), 0.0), 0.0, 1.0, "track/minor", 0, index))
    return items


def end_ratio(style):
    items = ticks([0.12] * 40)
    paint = paint_by_hand(gather(items), tabulate(items), Workshop(style, style, style, seed=3), 1.3)
    breadth = np.linalg.norm(paint.left - paint.right, axis=-1)
    ratios = []
    for stroke in np.unique(paint.stroke):
        own = breadth[paint.stroke == stroke]
        ratios.append(own[-8] / own[7])
    return np.median(ratios)


def test_press_makes_the_outer_end_broader_and_its_sign_turns_it_round():
    perfect = ORDINARY.scaled(0.0)
    outer, none, inner = (end_ratio(replace(perfect, press=press)) for press in (0.8, 0.0, -0.8))
    assert outer > 1.5
    assert 0.97 < none < 1.03
    assert inner < 0.7


def test_broad_strokes_keep_less_of_the_wander():
    items = ticks([0.1, 0.25, 0.5, 1.0], Kind.STEM)
    (batch,) = gather(items)
    hand = columns(batch, Workshop(ORDINARY, ORDINARY, ORDINARY, seed=1))
    np.testing.assert_allclose(held(batch, hand), [1.0, 1.0, 0.5, 0.25])
