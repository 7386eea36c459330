"""Zones of two dials beside each other: found on each by itself, cut from the originals, at one scale."""

import cv2
import numpy as np
import pytest
from drawn_dial import draw, photographed, scene

from dialtell.evaluate.compare.zone_pairs import SHOWN, zone_pairs
from dialtell.evaluate.score.score import ScoredPhoto
from dialtell.model.reading.known import Known
from dialtell.model.reading.steps import read_at


def scored(across):
    """A drawn dial read where it is known to lie; no net has seen it."""
    drawn = scene(across, blur=0.8, noise=0.006)
    taken = photographed(draw(drawn, np.random.default_rng(1)))
    reading = read_at(taken, drawn.dial, drawn.dial.twelve_deg)
    record = {"zones": [{"zone": zone.value, "reason": f"Seen at {across}."} for zone in reading.zones.found]}
    return ScoredPhoto(record, taken, reading=reading)


@pytest.fixture(scope="module")
def coarse():
    return scored(640)


def likeness(one, other):
    a, b = (cv2.GaussianBlur(p.mean(axis=2).astype(np.float32), (0, 0), 2.0).ravel() for p in (one, other))
    return float(np.corrcoef(a, b)[0, 1])


def test_one_dial_taken_twice_looks_the_same_whatever_the_photographs_size(coarse):
    fine = scored(1300)
    pairs = zone_pairs(coarse, fine)
    assert [pair.zone for pair in pairs] == [zone.value for zone in SHOWN if zone in fine.reading.zones.found]
    assert len(pairs) >= 2
    for pair in pairs:
        assert pair.says == ("Seen at 640.", "Seen at 1300.")
        for one, other in zip(*pair.pictures, strict=True):
            assert one.shape == other.shape and likeness(one, other) > 0.85, pair.zone


def test_sizes_in_mm_set_the_scale(coarse):
    """A dial half as large shows twice as much of itself in a picture of as many mm."""
    large, small = (
        ScoredPhoto(coarse.record, coarse.photo, Known(diameter_mm=mm), coarse.reading) for mm in (40.0, 20.0)
    )
    for pair in zone_pairs(large, small):
        for one, other in zip(*pair.pictures, strict=True):
            assert one.shape == other.shape
            high, wide = other.shape[:2]
            middle = other[high // 4 : high // 4 + high // 2, wide // 4 : wide // 4 + wide // 2]
            assert likeness(one, cv2.resize(middle, (wide, high), interpolation=cv2.INTER_CUBIC)) > 0.85, pair.zone


def test_a_photograph_without_a_dial_has_nothing_beside(coarse):
    nothing = ScoredPhoto({"zones": []}, coarse.photo)
    for pair in zone_pairs(coarse, nothing):
        assert pair.pictures[0] and not pair.pictures[1] and pair.says[1] == "Not found."
    assert zone_pairs(nothing, nothing) == []
