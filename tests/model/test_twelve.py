"""Where 12 o'clock stands, from probabilities of directions, and on which division."""

import math

import numpy as np
import pytest

from dialtell.model.reader.file import Certainty, Reader
from dialtell.model.reader.net import SIDE, TURNS
from dialtell.model.reading.divisions import Divisions
from dialtell.model.reading.looks import Look
from dialtell.model.reading.twelve import TOLD, Twelve, find_twelve, on_division, usual_turns
from dialtell.synth.shared.terms import SEEN


def look(degrees, spread=1.2, wrong=0.0):
    """A look that puts 12 at a direction, and a share of its belief opposite."""
    at = np.arange(TURNS)

    def about(angle):
        share = np.exp(-0.5 * ((((at - angle + 180) % 360) - 180) / spread) ** 2)
        return share / share.sum()

    turn = (1 - wrong) * about(degrees) + wrong * about(degrees + 180)
    return shown(turn)


def shown(turn):
    """A look that sees nothing but a turn."""
    names, half = np.zeros((len(SEEN), SIDE, SIDE), np.float32), SIDE // 2
    return Look(np.eye(2, 3), names, np.zeros((half, half)), np.zeros((2, half, half)), {}, turn)


def reader(twelve=(0.0, 1.0)):
    return Reader(None, "r", "0", "", Certainty(twelve=twelve), {})


@pytest.mark.parametrize("degrees", [-179.6, -90.0, -0.3, 0.0, 0.4, 33.3, 90.0, 179.7])
def test_between_the_samples_and_across_the_ends(degrees):
    found = find_twelve(look(degrees), reader())
    off = math.degrees(found.radians) - degrees
    assert abs((off + 180) % 360 - 180) < 0.2 and -math.pi <= found.radians <= math.pi
    assert found.certainty > 0.95 and found.told


def test_certainty_follows_the_share_and_the_curve():
    half = find_twelve(look(20.0, wrong=0.5), reader())
    assert half.certainty == pytest.approx(0.5, abs=0.02)
    sure, unsure = (find_twelve(look(20.0, wrong=share), reader()) for share in (0.2, 0.45))
    assert sure.certainty > unsure.certainty and sure.certainty == pytest.approx(0.8, abs=0.02)
    strict, plain = (find_twelve(look(20.0, wrong=0.05), reader((constant, 1.0))) for constant in (-3.0, 0.0))
    assert strict.certainty < TOLD < plain.certainty and plain.told and not strict.told and not sure.told
    flat = find_twelve(look(20.0, spread=400.0), reader())
    assert flat.certainty < 0.1 and not flat.told


@pytest.mark.parametrize(("off", "expected"), [(0.0, 30.4), (2.2, 30.4), (-2.2, 30.4)])
def test_set_on_the_division_beside_it(off, expected):
    divisions = Divisions(0.8, math.radians(0.4), 0.9, 60)
    found = on_division(Twelve(math.radians(30.4 + off), 0.7), divisions)
    assert math.degrees(found.radians) == pytest.approx(expected) and found.certainty == 0.7


def test_no_division_is_near_enough_or_known():
    twelve = Twelve(math.radians(33.2), 0.7)
    assert on_division(twelve, Divisions(0.8, math.radians(0.4), 0.9, 60)) == twelve
    assert on_division(twelve, None) == twelve


def test_a_look_without_a_turn_cannot_be_asked():
    with pytest.raises(AssertionError, match="square look"):
        find_twelve(shown(None), reader())


def test_what_the_dial_leaves_open_is_decided_by_how_photographs_are_held():
    """A dial a little likelier on its head is taken to stand upright; how sure that is rests on the dial alone."""
    for other in (180.0, 90.0, -90.0):
        open_ = look(other, wrong=0.0)
        open_ = shown(0.6 * open_.turn + 0.4 * look(0.0).turn)
        found = find_twelve(open_, reader())
        assert math.degrees(found.radians) == pytest.approx(0.0, abs=0.3) and not found.told
        assert found.certainty == pytest.approx(0.4, abs=0.02)
        anyhow = find_twelve(open_, reader(), anyhow=True)
        assert abs(math.degrees(anyhow.radians) - other) % 360 == pytest.approx(0.0, abs=0.3)
        assert anyhow.certainty == pytest.approx(0.6, abs=0.02)


@pytest.mark.parametrize("degrees", [45.0, 90.0, 180.0, -123.0])
def test_what_the_dial_shows_plainly_is_not_overruled(degrees):
    clear = find_twelve(look(degrees, wrong=0.001), reader())
    assert abs(math.degrees(clear.radians) - degrees) % 360 == pytest.approx(0.0, abs=0.3) and clear.told


def test_usual_turns_are_shares():
    usual = usual_turns()
    assert usual.shape == (TURNS,) and usual.sum() == pytest.approx(1.0) and (usual > 0).all()
    step = TURNS // 4
    assert usual.argmax() == 0 and usual[2 * step] == pytest.approx(usual[step]) == pytest.approx(usual[3 * step])
