"""The drawn dial beside a photograph takes what is seen there, and stands beside no zone in which it would differ."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dialtell.evaluate.inspection.close_views import VIEW, ViewPlace, like_there
from dialtell.evaluate.inspection.reference_dial import (
    LIKE_SECONDS,
    MARGIN,
    MARK_PX,
    MARK_VIEW,
    drawn_mark,
    reference_dial,
    with_track,
)
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import read_at
from dialtell.synth.design.design import ARABIC, ROMAN, Line
from dialtell.synth.shared.terms import Process, Zone
from dialtell.synth.specimen import part, plain_making, specimen

SIDE = 1400


def read_design(design):
    """A faultless dial of a design, face on, read where it is known to lie."""
    picture = part(design, plain_making(Process.TRANSFER), 0.0, 0.0, 2 * MARGIN * design.radius_mm, SIDE)
    radius = 0.5 * SIDE / MARGIN
    geometry = DialGeometry((0.5 * SIDE, 0.5 * SIDE), (radius, radius))
    return read_at(Photo(Path("drawn"), picture, (SIDE, SIDE)), geometry, 0.0)


def test_a_drawn_view_stands_beside_what_it_is_like_alone():
    design = specimen()
    reading = read_design(design)
    at_twelve, between = (ViewPlace((x, y), (1.0, 0.0), 200) for x, y in ((0.0, -0.75), (0.2, -0.72)))
    drawn = part(design, plain_making(Process.TRANSFER), 0.0, -0.75 * design.radius_mm, VIEW * design.radius_mm, 200)
    assert like_there(reading, at_twelve, drawn) > 0.9
    assert like_there(reading, between, drawn) < LIKE_SECONDS
    assert like_there(reading, at_twelve, np.full_like(drawn, 230)) == 0.0


@pytest.mark.parametrize("mark", ["tick", "dot", "wedge", "lozenge"])
def test_five_minute_marks_are_those_of_the_subject(mark):
    """Bars stay bars: no triangle stands beside them."""
    design = specimen()
    track = replace(design.track, mark=mark, heavy_mm=0.6, outer=0.955, inner=0.9)
    reading = read_design(replace(design, track=track))
    drawn = reference_dial(reading)
    assert drawn.design.track.mark == mark and Zone.MINUTE_TRACK in drawn.shows
    assert drawn.design.track.outer == pytest.approx(0.955, abs=0.012)
    assert drawn.design.track.inner == pytest.approx(0.9, abs=0.012)


def test_a_track_that_is_drawn_as_it_is_laid_out():
    """The quick picture of a track and the renderer's agree."""
    design = specimen()
    for mark in ("tick", "dot", "wedge"):
        track = replace(design.track, mark=mark, heavy_mm=0.6)
        bare = replace(design, track=track, chapter=None, subdials=())
        seen = part(bare, plain_making(Process.TRANSFER), 0.0, -0.915 * 22, MARK_VIEW * 22, MARK_PX)[..., 0].astype(
            float
        )
        assert np.corrcoef(drawn_mark(track, 22.0).ravel(), -seen.ravel())[0, 1] > 0.9, mark


def test_figures_keep_their_kind_and_place_and_weight():
    for forms, thick in ((ROMAN, 0.15), (ROMAN, 0.24), (ARABIC, 0.12)):
        design = specimen()
        chapter = replace(design.chapter, letterform=forms[0], thick=thick, radial=forms is ROMAN, bent=forms is ROMAN)
        drawn = reference_dial(read_design(replace(design, chapter=chapter)))
        if Zone.NUMERALS in drawn.shows:
            assert drawn.design.chapter.letterform in forms
            assert drawn.design.chapter.outer == pytest.approx(0.87, abs=0.02)
        assert Zone.NUMERALS in drawn.shows or forms is ARABIC
        if forms is ROMAN:
            assert 0.6 < drawn.design.chapter.thick / thick < 1.7


def test_capitals_that_are_not_told_have_nothing_drawn_beside_them():
    design = specimen()
    line = Line("THE LONGEST NAME", "block-capitals", 0.06, -0.42, 0.0, 0.14, 0.1, 0.05, 0)
    drawn = reference_dial(read_design(replace(design, signature=(line,))))
    assert Zone.SIGNATURE not in drawn.shows


def test_a_dial_without_a_track_has_none_beside_it():
    reading = read_design(replace(specimen(), track=None))
    design, like = with_track(replace(reading, zones=replace(reading.zones, track=None)), specimen())
    assert like == -1.0 and design.track == specimen().track
