"""What stands on a dial and where, against the trade's arithmetic: 60 divisions of 6 degrees, hours of 30 (facts
computed), IIII for 4 (D. E. Smith, History of Mathematics II)."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.design.design import Variety, sample_design
from dialtell.synth.design.layout import guide_circles, lay_out, ring_item
from dialtell.synth.shared.terms import Kind, Zone


def designs(count, wanted=lambda design: True, uncommon=0.0):
    found, index = [], 0
    while len(found) < count:
        design = sample_design(rng=np.random.default_rng([9, index]), variety=Variety(uncommon=uncommon))
        index += 1
        if wanted(design):
            found.append(design)
    return found


def angles(items):
    """Degrees clockwise from 12 of the items' anchors about the dial centre, sorted."""
    x, y = np.array([item.anchor for item in items]).T
    return np.sort(np.degrees(np.arctan2(x, -y)) % 360.0)


def test_a_full_track_has_sixty_divisions_of_six_degrees():
    for design in designs(10, lambda d: d.track is not None and d.track.divisions == 60):
        ticks = [
            item
            for item in lay_out(replace(design, subdials=(), chapter=None, signature=()))
            if item.strokes[0].kind in (Kind.TICK, Kind.DOT, Kind.MARK)
            and item.zone is Zone.MINUTE_TRACK
            and "half" not in item.group
        ]
        assert len(ticks) == 60
        np.testing.assert_allclose(np.diff(angles(ticks) + 3.0) % 360, 6.0, atol=1e-6)


def test_half_marks_stand_between_the_divisions():
    for halves in ("dot", "short"):
        (design,) = designs(1, lambda d: d.track is not None and d.track.divisions == 60)
        design = replace(design, track=replace(design.track, halves=halves), subdials=(), chapter=None, signature=())
        marks = [item for item in lay_out(design) if item.group == f"track/half {halves}"]
        assert len(marks) == 60
        np.testing.assert_allclose((angles(marks) - 3.0) % 6.0 % 5.999999, 0.0, atol=1e-5)
        inside = np.array([np.hypot(*item.anchor) for item in marks]) / design.radius_mm
        assert np.all((inside > design.track.inner) & (inside < design.track.outer))


def test_roman_hours_stand_thirty_degrees_apart_with_iiii_for_four():
    for design in designs(6, lambda d: d.chapter is not None and d.chapter.bent and d.chapter.hours == 12):
        items = [item for item in lay_out(replace(design, subdials=())) if item.zone is Zone.NUMERALS]
        assert len(items) == 12
        np.testing.assert_allclose(np.diff(angles(items) + 15.0) % 360, 30.0, atol=1e-6)
        names = {item.group.split("/")[1] for item in items}
        assert {"IIII", "IX", "VIII", "XII"} <= names
        assert "IV" not in names


def test_seconds_figures_stand_where_their_number_says():
    """Figures at every 10 s stand 60 degrees apart, at every 15 s 90, with 60 at the top."""
    for design in designs(8, lambda d: d.seconds_bit):
        dial = design.subdials[0]
        figures = [
            item for item in lay_out(design)
            if item.zone is Zone.SECONDS_BIT and item.strokes[0].kind not in (Kind.TICK, Kind.RING, Kind.DOT, Kind.MARK)
        ]  # fmt: skip
        count = 60 // dial.track.figures_every
        words = sorted({item.word for item in figures})
        assert len(words) == count
        for number, word in enumerate(words):
            # a figure's middle: half its height above the middle of its feet, upright
            feet = np.array([item.anchor for item in figures if item.word == word]).mean(axis=0)
            height = next(item.height for item in figures if item.word == word)
            x, y = feet - np.array([0, 0.5 * height]) - design.radius_mm * np.array([dial.x, dial.y])
            off = (np.degrees(np.arctan2(x, -y)) - 360.0 * number / count + 180) % 360 - 180
            assert abs(off) < 8.0  # digits of uneven width shift the mean of the feet


def test_nothing_is_laid_off_the_dial_and_everything_has_width():
    for design in designs(80, uncommon=0.6):
        for item in lay_out(design):
            for stroke in item.strokes:
                reach = np.hypot(*stroke.path.T) + 0.5 * stroke.width
                assert reach.max() < design.radius_mm
                assert stroke.width.min() >= 0.0
                assert stroke.nominal == pytest.approx(stroke.width.max())


def test_figures_stand_between_their_guide_circles():
    for design in designs(6, lambda d: d.chapter is not None and d.chapter.bent):
        outer, inner = (item.height for item in guide_circles(design))
        for item in lay_out(design):
            if item.zone is Zone.NUMERALS:
                radius = np.hypot(*np.concatenate([stroke.path for stroke in item.strokes]).T)
                assert radius.min() > inner - 0.05 * (outer - inner)
                assert radius.max() < outer + 0.05 * (outer - inner)


def test_a_design_is_laid_out_the_same_each_time():
    (design,) = designs(1)
    for first, again in zip(lay_out(design), lay_out(design), strict=True):
        assert first.zone is again.zone
        for one, other in zip(first.strokes, again.strokes, strict=True):
            np.testing.assert_array_equal(one.path, other.path)


def test_a_ring_is_a_closed_circle():
    path = ring_item((1.0, 2.0), 5.0, 0.1, Zone.OTHER, "r").strokes[0].path
    np.testing.assert_allclose(np.hypot(*(path - np.array([1.0, 2.0])).T), 5.0)
    np.testing.assert_allclose(path[0], path[-1], atol=1e-9)
