"""What is known beforehand: ranges, contradictions, and that a record of it gives the same again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drawn_dial import draw, photographed, scene

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import (
    MOST_PLACES,
    MOST_POINTS,
    Known,
    MarkedPlace,
    Outline,
    known_from,
    place_from,
    read_outline,
    read_places,
)
from dialtell.model.reading.steps import read
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Zone


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"diameter_mm": 5.0}, "diameter_mm"), ({"pixels_per_mm": 0.1}, "pixels_per_mm"),
        ({"twelve_deg": 400.0}, "twelve_deg"), ({"max_pixels": 0}, "max_pixels"),
        ({"outline": Outline(9, 9, 5, 4, 0), "close_up": True}, "outline is given of a close-up"),
        ({"places": (MarkedPlace("hand", ((1, 1), (2, 1), (2, 2))),) * (MOST_PLACES + 1)}, "places are marked"),
    ],
)  # fmt: skip
def test_values_out_of_range_and_contradictions(given, said):
    with pytest.raises(ParameterError, match=said):
        Known(**given)


@pytest.mark.parametrize("text", ["1 2 3", "1 2 3 4 x", "1 2 3 4 5", "1 2 3 nan 5", ""])
def test_outlines_that_are_none(text):
    with pytest.raises(ParameterError, match="outline is"):
        read_outline(text)


def test_a_record_gives_the_same_again():
    whole = Known(diameter_mm=44.9, outline=Outline(501.5, 400.0, 200.0, 190.5, -3.0), twelve_deg=-90.0)
    part = Known(pixels_per_mm=92.0, zone=Zone.SIGNATURE)
    places = (
        MarkedPlace("hand", ((1.0, 2.5), (30.0, 2.0), (30.0, 40.0)), "Anna", "2026-11-30T20:00:00+00:00"),
        MarkedPlace("minute track", ((5.0, 5.0), (6.0, 5.0), (6.0, 7.0), (5.0, 7.1))),
    )
    for known in (Known(), whole, part, Known(places=places)):
        again = known_from(known.record())
        assert again.record() == known.record() and again.part == known.part
    assert read_outline(whole.outline.text) == whole.outline and part.part and not part.whole().part
    assert read_places("; ".join(place.text for place in places)) == (places[0]._replace(by="", at=""), places[1])
    assert read_places("") == ()
    for damaged in ({"zone": "bezel"}, {"outline": [1, 2]}, {"diameter_mm": "wide"}, {"places": 3}, {"places": [3]}):
        with pytest.raises(ParameterError, match="damaged"):
            known_from(damaged)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"what": "thumb"}, "give one of"), ({"what": ["hand"]}, "give one of"), ({"polygon": [[1, 2]] * 2}, "corners"),
        ({"polygon": [[1, 2]] * (MOST_POINTS + 1)}, "corners"), ({"polygon": [[1, 2], [3, 4], [5]]}, "corners"),
        ({"polygon": "abc"}, "corners"), ({"polygon": [[1, 2], [3, 4], [5, math.nan]]}, "outside"),
        ({"polygon": [[1, 2], [3, 4], [-5, 6]]}, "outside"), ({"polygon": [[1, 2], [3, 4], [5, 10**400]]}, "corners"),
        ({"by": 3}, "who marked"), ({"by": "x" * 201}, "who marked"), ({"at": "\0"}, "who marked"),
        ({"by": "\ud800"}, "who marked"),
    ],
)  # fmt: skip
def test_places_that_are_none(given, said):
    with pytest.raises(ParameterError, match=said):
        place_from({"what": "hand", "polygon": [[1, 2], [3, 4], [5, 6]]} | given)


@pytest.mark.parametrize(
    "text", ["hand", "hand 1 2 3 4 5", "thumb 1 2 3 4 5 6", "hand 1 2 3 4 5 x", "signature1 2 3 4"]
)
def test_texts_that_are_no_place(text):
    with pytest.raises(ParameterError):
        read_places(text)


@pytest.mark.parametrize("twelve", [0.0, 37.0, 90.0, -120.0, 180.0])
@pytest.mark.parametrize("tilt", [0.0, 25.0])
def test_twelve_stands_where_it_was_said(twelve, tilt):
    """Against the definition: the direction of 12 o'clock in the photograph, clockwise from up."""
    geometry = DialGeometry((500.0, 400.0), (300.0, 300.0 * math.cos(math.radians(tilt))), 0.6)
    turned = geometry.turned(geometry.rotation_to(twelve))
    x, y = turned.to_photo(np.array([0.0, -1.0])) - np.array(turned.center_px)
    assert math.degrees(math.atan2(x, -y)) % 360 == pytest.approx(twelve % 360, abs=1e-9)
    assert turned.twelve_deg % 360 == pytest.approx(twelve % 360, abs=1e-9)


def test_the_track_is_kept_and_the_hour_taken_as_said():
    truth = scene(640.0, rotation=4.0, noise=0.004, line=0.01)
    photo = photographed(draw(truth, np.random.default_rng(1)))
    geometry = truth.dial
    outline = Outline(*geometry.center_px, *geometry.axes_px, math.degrees(geometry.angle))
    (own,) = read(photo, Known(outline=outline))
    (said,) = read(photo, Known(outline=outline, twelve_deg=4.0 + 2.0))  # by eye, two degrees off
    assert own.twelve is not None and own.twelve.told and said.twelve is not None and said.twelve.certainty == 1.0
    assert math.degrees(own.geometry.rotation) == pytest.approx(4.0, abs=0.3)
    assert said.geometry.rotation == pytest.approx(own.geometry.rotation, abs=1e-9)  # the nearest division
    (turned,) = read(photo, Known(outline=outline, twelve_deg=4.0 + 90.0))
    assert math.degrees(turned.geometry.rotation - own.geometry.rotation) == pytest.approx(90.0, abs=1e-6)
    found = own.divisions
    assert found is not None and found.nearest(own.geometry.rotation) == pytest.approx(own.geometry.rotation)
