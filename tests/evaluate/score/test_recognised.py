"""What was not recognised withholds the call and says why; directions in words."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from score_schema import check_dial
from verdicts_made import patches

from dialtell.evaluate.score.recognised import (
    LEAST_CERTAIN,
    OTHER_MAKE,
    direction,
    other_make,
    recognition,
    unrecognised,
)
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.steps import Reading
from dialtell.model.reading.twelve import Twelve
from dialtell.synth.shared.terms import MAKES, Make

READING = Reading(
    geometry=DialGeometry((500, 500), (400, 390)),
    density=np.zeros((10, 10), np.float32),
    sharpness=SimpleNamespace(),
    divisions=None,
    twelve=Twelve(0.0, 0.9),
    zones=SimpleNamespace(),
    patches=patches(),
    make={},
    outline_certainty=0.9,
)


def makes(enamel, likeliest=Make.METAL):
    """Probabilities of each make: enamel, most of the rest one other."""
    rest = (1 - enamel) / 10
    return {make: enamel if make is Make.ENAMEL else 6 * rest if make is likeliest else rest for make in MAKES}


def test_a_dial_of_enamel_with_a_certain_edge_is_recognised():
    for make in ({}, makes(0.9), makes(1 - OTHER_MAKE + 0.01)):
        assert unrecognised(replace(READING, make=make)) is None


def test_an_uncertain_edge_withholds_and_says_what_to_do():
    said = unrecognised(replace(READING, outline_certainty=LEAST_CERTAIN - 0.01))
    assert said is not None and "the dial's edge was not made out for certain" in said and "--outline" in said
    assert unrecognised(replace(READING, outline_certainty=LEAST_CERTAIN, twelve=None)) is None


def test_edge_and_twelve_must_be_likelier_both_right_than_not():
    unsure = replace(READING, outline_certainty=0.7, twelve=Twelve(0.0, 0.7))
    said = unrecognised(unsure)
    assert said is not None and "not both made out" in said and "--outline" in said and "--twelve" in said
    assert unrecognised(replace(unsure, outline_certainty=0.75)) is None
    assert unrecognised(replace(unsure, outline_certainty=None)) is None  # a close-up placed by a part of its edge


@pytest.mark.parametrize(
    ("make", "words"),
    [(Make.METAL, "a metal dial"), (Make.PAPER, "a paper dial"), (Make.PAINTED, "painted metal or plastic"),
     (Make.RAISED, "a dial with raised figures"), (Make.NONE, "no dial")],
)  # fmt: skip
def test_another_make_withholds_and_is_named(make, words):
    reading = replace(READING, make=makes(0.1, make))
    assert other_make(reading) is make and f"not look like fired enamel but like {words}" in unrecognised(reading)
    assert other_make(replace(READING, make=makes(0.3, make))) is None


def test_recognition_is_rounded_and_says_nothing_of_what_was_not_asked():
    assert recognition(replace(READING, make=makes(0.61239))) == {
        "outline": 0.9, "twelve": 0.9, "fired_enamel": 0.612
    }  # fmt: skip
    assert recognition(replace(READING, twelve=None)) == {"outline": 0.9, "twelve": None, "fired_enamel": None}


@pytest.mark.parametrize(
    ("degrees", "word"),
    [(0, "up"), (22, "up"), (23, "upper right"), (90, "right"), (135, "lower right"), (180, "down"), (-180, "down"),
     (-135, "lower left"), (-90, "left"), (-45, "upper left"), (-22, "up"), (350, "up"), (300, "upper left")],
)  # fmt: skip
def test_directions(degrees, word):
    assert direction(degrees) == word


@pytest.mark.parametrize(
    ("change", "said"),
    [({"outline_certainty": 0.2}, "No call is made: the dial's edge was not made out for certain"),
     ({"make": makes(0.05, Make.PAPER)}, "No call is made: this does not look like fired enamel but like a pap")],
)  # fmt: skip
def test_a_record_withholds(change, said, drawn_photo, make_weights, monkeypatch):
    """A net that would call the dial painted, asked of a reading that is not to be relied on."""
    from dialtell.evaluate.score import score
    from dialtell.model.net.weights_file import load_weights

    weights = load_weights(make_weights(9.0, 9.0))
    sound = score.score_photo(drawn_photo, weights).record
    assert sound["call"] == "hand-painted" and not sound["withheld"]
    read = score.read
    monkeypatch.setattr(score, "read", lambda *given: [replace(one, **change) for one in read(*given)])
    record = score.score_photo(drawn_photo, weights).record
    check_dial(record)
    assert record["withheld"] and record["call"] == "undetermined" and record["reason"].startswith(said)
    assert record["probability_hand"] is None and record["recognised"]["outline"] == change.get(
        "outline_certainty", sound["recognised"]["outline"]
    )
