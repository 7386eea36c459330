"""Figures and words: as tall and where they are asked for, turned clockwise, different in each style."""

import numpy as np
import pytest

from dialtell.synth.faces.face_parts import lattice
from dialtell.synth.faces.lettering import STYLES, Word, figures_around, set_words


@pytest.mark.parametrize("style", STYLES)
def test_a_figure_is_as_tall_as_asked_and_in_its_place(style):
    cover = set_words([Word("18", 0.3, 0.2, -0.4)], style, 150)
    x, y = (axis[cover > 0.5] for axis in lattice(150)[:2])
    assert np.ptp(y) == pytest.approx(0.3, abs=0.04)
    assert (0.5 * (x.min() + x.max()), 0.5 * (y.min() + y.max())) == pytest.approx((0.2, -0.4), abs=0.04)


def test_styles_differ():
    covers = [set_words([Word("25", 0.4, 0.0, 0.0)], style, 60) for style in STYLES]
    for i, one in enumerate(covers):
        for other in covers[:i]:
            assert np.abs(one - other).sum() > 0.05 * one.sum()


def test_a_turned_word_lies_on_its_side_and_reads_clockwise():
    upright = set_words([Word("7", 0.6, 0.0, 0.0)], "plain", 100)
    turned = set_words([Word("7", 0.6, 0.0, 0.0, np.pi / 2)], "plain", 100)
    assert np.abs(np.rot90(upright, -1) - turned).mean() < 0.004
    assert np.abs(np.rot90(upright, 1) - turned).mean() > 0.02


def test_figures_stand_at_their_hours():
    words = figures_around([str(k) for k in range(1, 13)], 0.1, 0.7, radial="turned")
    places = {word.text: word for word in words}
    assert (places["3"].x, places["3"].y) == pytest.approx((0.7, 0.0), abs=1e-9)
    assert (places["12"].x, places["12"].y) == pytest.approx((0.0, -0.7), abs=1e-9)
    assert places["6"].turn == pytest.approx(2 * np.pi) and places["2"].turn == pytest.approx(np.pi / 3)


def test_words_at_the_rim_are_cut_not_lost():
    assert (
        0
        < set_words([Word("8", 0.4, 1.0, 0.0)], "plain", 80).sum()
        < set_words([Word("8", 0.4, 0, 0)], "plain", 80).sum()
    )
