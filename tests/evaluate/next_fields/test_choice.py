"""What to photograph next: where it lies, that nothing is asked for twice, and what is said of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rendered_readings import rendered
from verdicts_made import verdict

from dialtell.evaluate.next_fields.choice import (
    DISAGREEING,
    LEAST,
    MOST,
    WIDTH,
    frames,
    next_fields,
    zone_weights,
)
from dialtell.evaluate.next_fields.reasons import Within, reason_words
from dialtell.evaluate.next_fields.spots import CLOSE, Spots, spots_of, thinness
from dialtell.model.net.resolution import Resolution
from dialtell.model.reading.close_up import CloseUp, DialPlace
from dialtell.model.reading.patches import SCALE, SIDE
from dialtell.model.reading.scale import Scale
from dialtell.synth.shared.terms import ZONES, Zone

OPEN = verdict(0.1, 0.1, 0.1, 0.1, 0.1)
FINE = Resolution(stored=800.0, true=700.0, needed=310.0, diameter_mm=44.0)
TRACK, FIGURES = ZONES.index(Zone.MINUTE_TRACK), ZONES.index(Zone.NUMERALS)


def spots(center, zone=TRACK, worth=1.0, lacking=1.0, covered=False, level=300.0):
    n = len(center)
    return Spots(
        np.array(center, float), np.full(n, zone) if np.isscalar(zone) else np.array(zone), np.full(n, worth),
        np.broadcast_to(np.asarray(lacking, float), n).copy(), np.full(n, covered), np.full(n, level),
    )  # fmt: skip


def lines(breadth):
    patch = np.zeros((1, SIDE, SIDE), np.float32)
    patch[0, 10:50, 20 : 20 + breadth] = 1.0
    return patch


def test_thin_strokes_are_worth_more_than_broad_ones() -> None:
    worth = [float(thinness(lines(breadth))[0]) for breadth in (2, 4, 8, 20)]
    assert worth == sorted(worth, reverse=True) and worth[0] > 0.8 and worth[-1] < 0.3
    assert thinness(np.zeros((1, SIDE, SIDE), np.float32))[0] == 0.0


def test_frames_go_where_most_is_lacking_and_then_elsewhere() -> None:
    some = [(0.5 + 0.02 * k, 0.1 * row) for k in range(5) for row in (-1, 0, 1)]
    few = [(-0.6, 0.02 * k) for k in range(4)]
    found = frames(spots(some + few), np.ones(len(ZONES)))
    assert len(found) == 2  # nothing else is left
    (x, y, within), (other, _, _) = found
    assert abs(x - 0.54) < 0.5 * WIDTH and abs(y) < 0.5 * WIDTH and within.places.sum() == len(some)
    assert abs(other + 0.6) < 0.5 * WIDTH


def test_what_is_shown_finely_already_is_not_asked_for_again() -> None:
    near, far = [(0.5, 0.1 * k) for k in range(-2, 3)], [(-0.5, 0.1 * k) for k in range(-2, 3)]
    ((x, _, _),) = frames(spots(near + far, lacking=[0.0] * 5 + [1.0] * 5), np.ones(len(ZONES)))
    assert x < 0
    assert frames(spots(near, lacking=0.0), np.ones(len(ZONES))) == []


def test_places_of_zones_that_contradict_each_other_count_more() -> None:
    weights = zone_weights(verdict(0.1, None, 0.9, -0.8, 0.1))
    assert weights[FIGURES] == weights[TRACK] == DISAGREEING and weights[0] == 1.0
    assert (zone_weights(verdict(0.9, None, 0.9, 0.8)) == 1.0).all()


def test_what_is_withheld_contradicts_nothing() -> None:
    split = verdict(0.1, None, 0.9, -0.8, 0.1)
    held = replace(split, zones={zone: replace(one, withheld=True) for zone, one in split.zones.items()})
    assert (zone_weights(held) == 1.0).all()
    within = Within(spots([[0.0, -0.8], [0.1, -0.8]]), np.ones(2, bool), np.eye(len(ZONES))[TRACK])
    assert "lean" in reason_words(within, split, None) and "lean" not in reason_words(within, held, None)


def test_a_drawn_dial_is_asked_for_in_frames_on_its_strokes() -> None:
    reading = rendered(3).reading
    found = next_fields(reading, OPEN, FINE)
    assert LEAST <= len(found) <= MOST
    halftone = replace(reading, sharpness=replace(reading.sharpness, halftone=True))
    assert next_fields(halftone, OPEN, FINE) == ()  # as where it carries close-ups that show no screen
    centers = reading.patches.center
    for one in found:
        assert one.width == WIDTH and one.pixels_per_radius == pytest.approx(CLOSE)
        inside = (np.abs(centers - (one.x, one.y)) < 0.5 * WIDTH).all(axis=1)
        assert inside.sum() >= 8
    record = found[0].record(44.0)
    assert record["px_per_mm"] == pytest.approx(70.0, abs=0.5) and record["pixels"] == round(WIDTH * CLOSE)
    assert found[0].record(None)["px_per_mm"] is None
    # photographed as finely as is asked, nothing is left to ask for but what is covered
    patches = reading.patches
    each = np.full(len(patches), np.log2(CLOSE / SCALE))
    done = spots_of(replace(reading, patches=replace(patches, each=each)))
    assert (done.lacking[~done.covered] == 0).all()


def test_a_settled_dial_asks_for_nothing_and_a_small_one_for_the_whole() -> None:
    reading = rendered(3).reading
    assert next_fields(reading, verdict(1.5, 1.2, 1.2, 1.2), FINE) == ()
    assert next_fields(reading, OPEN, replace(FINE, screened=True)) == ()
    (whole,) = next_fields(reading, OPEN, replace(FINE, true=90.0))
    assert whole.width > 2 and whole.pixels_per_radius * whole.width >= 1000 and "whole dial" in whole.reason
    scale = Scale(400.0, 0.1, "the arc")
    part = replace(reading, close_up=CloseUp(DialPlace(reading.geometry, 0.3), scale))
    assert "only a part of it" in next_fields(part, OPEN, FINE)[0].reason
    unplaced = replace(reading, close_up=CloseUp(None, scale))
    assert "which part of it is shown" in next_fields(unplaced, OPEN, FINE)[0].reason
    first, *others = next_fields(reading, OPEN, replace(FINE, true=400.0))
    assert first.width == whole.width and 2 <= len(others) < MOST and all(one.width == WIDTH for one in others)


def test_reasons_name_the_place_and_the_cause() -> None:
    at = spots([(0.5, 0.05 * k) for k in range(5)])
    added = np.zeros(len(ZONES))
    added[TRACK] = 1.0
    within = Within(at, np.ones(5, bool), added)
    said = reason_words(within, OPEN, 44.0)
    assert said.startswith("Minute track about 3 o'clock.") and "14 pixels per millimetre" in said
    assert "covered" in reason_words(replace(within, spots=spots(at.center, covered=True)), OPEN, 44.0)
    assert "Too few strokes" in reason_words(within, verdict(0.1, 0.1, 0.1, None), None)
    against = reason_words(within, verdict(0.1, None, 0.9, -0.8), None)
    assert "the figures lean to paint and the minute track leans to print" in against


def test_a_place_that_a_close_up_shows_is_asked_for_nearer_still() -> None:
    at = spots([(0.5, 0.05 * k) for k in range(5)])
    within = Within(
        replace(at, level=np.array([200.0, 200.0, 500.0, 500.0, 500.0])), np.ones(5, bool), np.eye(5)[TRACK]
    )
    said = reason_words(within, OPEN, None, None, WIDTH, 200.0)
    assert said.startswith(
        "Minute track about 3 o'clock, nearer or sharper than the close-up shows it (some 300 pixels"
    )
    assert "close-up" not in reason_words(within, OPEN, None, None, WIDTH, 500.0)
    before: set[str] = set()
    twice = [reason_words(within, OPEN, None, before, WIDTH, 200.0) for _ in range(2)]
    assert "close-up" in twice[0] and twice[1] == "Minute track about 3 o'clock, likewise."
    few = Within(within.spots, np.array([True, True, True, False, False]), np.eye(5)[TRACK])
    assert "close-up" not in reason_words(few, OPEN, None, None, WIDTH, 200.0)
