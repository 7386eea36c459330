"""Photographs of one dial beside each other: the same places, one scale, and no place that only one shows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from drawn_dial import draw, photographed, scene

from dialtell.evaluate.one_dial.beside import PLACES, beside
from dialtell.evaluate.one_dial.dial import OneDial, Part
from dialtell.evaluate.score.score import ScoredPhoto
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import read_at


@pytest.fixture(scope="module")
def parts():
    """A whole view, and the upper right quarter of a photograph twice as fine, laid where it lies."""
    found = []
    for name, across in (("whole.png", 640), ("near.png", 1280)):
        drawn = scene(across, blur=0.8, noise=0.006)
        taken = photographed(draw(drawn, np.random.default_rng(1)))
        reading = read_at(taken, drawn.dial, drawn.dial.twelve_deg)
        if name == "near.png":
            top, left = 0, taken.codes.shape[1] // 2
            codes = np.ascontiguousarray(taken.codes[: taken.codes.shape[0] // 2, left:])
            taken = Photo(Path(name), codes, codes.shape[1::-1])
            x, y = reading.geometry.center_px
            geometry = replace(reading.geometry, center_px=(x - left, y - top))
            density = np.ascontiguousarray(reading.density[: codes.shape[0], left:])
            reading = replace(reading, geometry=geometry, density=density)
        scored = ScoredPhoto({"photo": name, "zones": []}, taken, reading=reading)
        found.append(Part(scored, None if name == "whole.png" else SimpleNamespace(), reading))
    return tuple(found)


def likeness(one, other):
    a, b = (cv2.GaussianBlur(p.mean(axis=2).astype(np.float32), (0, 0), 2.0).ravel() for p in (one, other))
    return float(np.corrcoef(a, b)[0, 1])


def test_the_same_places_stand_beside_each_other_at_one_scale(parts):
    zones = beside(OneDial(parts[0].alone, parts[::-1], None))
    assert {"numerals", "minute track"} <= set(zones)
    for places in zones.values():
        assert 1 <= len(places) <= PLACES
        for (first, one), (second, other) in places:
            assert (first, second) == ("whole.png", "near.png")  # the whole view first, whatever the order given
            assert one.shape == other.shape and likeness(one, other) > 0.85


def test_what_only_one_photograph_shows_has_nothing_beside_it(parts):
    assert beside(OneDial(parts[0].alone, parts[:1], None)) == {}
    assert beside(OneDial(parts[0].alone, parts[1:], None)) == {}
    away = replace(parts[1].reading.geometry, center_px=(-5000.0, -5000.0))
    far = replace(parts[1], reading=replace(parts[1].reading, geometry=away))
    assert beside(OneDial(parts[0].alone, (parts[0], far), None)) == {}


def test_photographs_are_called_as_a_person_calls_them(parts):
    zones = beside(OneDial(parts[0].alone, parts, None), {"near.png": "IMG_7.heic"})
    assert {name for places in zones.values() for place in places for name, _ in place} == {"whole.png", "IMG_7.heic"}
