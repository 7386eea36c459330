"""Whole drawn dials: divisions by place, strokes of Roman figures by likeness, shares that add up."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_dial import draw, photographed, scene

from dialtell.evaluate.lineups.figures import hour_figures
from dialtell.evaluate.lineups.gathering import line_ups
from dialtell.evaluate.lineups.strip import unrolled
from dialtell.evaluate.lineups.tracks import find_track
from dialtell.evaluate.measurements.sheet import lay_flat
from dialtell.model.net.explanation import Explanation
from dialtell.model.reading.steps import read_at
from dialtell.synth.shared.terms import ZONES, Zone


@pytest.fixture(scope="module")
def read():
    """A drawn dial of equal strokes, 900 px across, its outline half a percent off."""
    drawn = scene(900, blur=0.8, noise=0.004, tilt=8.0, angle=30.0)
    photo = photographed(draw(drawn, np.random.default_rng(3)))
    (x, y), (a, b) = drawn.dial.center_px, drawn.dial.axes_px
    geometry = type(drawn.dial)((x + 0.005 * a, y), (a, b), drawn.dial.angle, drawn.dial.rotation)
    return photo, read_at(photo, geometry, drawn.dial.twelve_deg)


@pytest.fixture(scope="module")
def ups(read):
    return line_ups(lay_flat(read[1]))


def of(ups, zone, what):
    return [group for group in ups.groups if group.zone is zone and group.what == what]


def test_forty_eight_ticks_and_twelve_marks(ups):
    (ticks,), (fives,) = (of(ups, Zone.MINUTE_TRACK, what) for what in ("ticks", "five-minute marks"))
    assert [cut.name for cut in ticks.cuts] == [str(k) for k in range(60) if k % 5]
    assert [cut.name for cut in fives.cuts] == ["60", *(str(k) for k in range(5, 60, 5))]
    # all drawn alike: as like as reading them between pixels lets them be
    assert np.median(ticks.excess) < 0.06 and np.median(fives.excess) < 0.06


def test_every_stem_of_the_roman_figures_is_found_and_the_crosses_apart(ups):
    groups = of(ups, Zone.NUMERALS, "like strokes of the figures")
    # I stands 20 times in a chapter with IIII, here without that of VI, which the seconds bit cuts; X at 9 to 12
    stems = max(groups, key=lambda group: len(group.cuts))
    assert len(stems.cuts) == 19
    crosses = [group for group in groups if {cut.name for cut in group.cuts} <= {"9", "10", "11", "12"}]
    assert crosses and len(crosses[0].cuts) == 4


def test_a_track_is_unrolled_in_four_quarters(read, ups):
    photo, reading = read
    strip = unrolled(Zone.MINUTE_TRACK, ups.track, ups.field.sheet, photo, reading.geometry)
    assert len(strip.quarters) == 4
    first = strip.quarters[0][..., 0].astype(float).mean(axis=0)  # 12 to 3: 15 divisions, so a tick each 1/15
    wave = np.abs(np.fft.rfft(first - first.mean()))
    assert int(wave[:40].argmax()) in (3, 15, 30)


def test_shares_of_the_figures_add_up_to_the_zone(read):
    photo, reading = read
    rng = np.random.default_rng(0)
    turn = rng.uniform(-np.pi, np.pi, 80)
    zone = np.where(np.arange(80) % 4, ZONES.index(Zone.NUMERALS), ZONES.index(Zone.OTHER))
    told = Explanation(
        0.1, zone, 0.7 * np.stack([np.sin(turn), -np.cos(turn)], axis=1), rng.normal(size=80),
        np.array([[0, 1], [2, 3]]), np.array([0.5, -0.2]),
    )  # fmt: skip
    figures = hour_figures(reading, photo, told)
    assert [figure.hour for figure in figures] == list(range(1, 13))
    own = told.by_place[zone == ZONES.index(Zone.NUMERALS)]
    assert sum(figure.share for figure in figures) == pytest.approx(own.sum())
    assert sum(figure.patches for figure in figures) == len(own)
    assert {figure.share for figure in hour_figures(reading, photo, None)} == {None}


def changed(sheet, band, chosen, shift=0.0):
    """The sheet without the ink of some divisions between two radii, or with it `shift` dial radii further out."""
    height, width = sheet.photo.shape
    x, y = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    dial = sheet.geometry.to_dial(np.stack([x, y], axis=-1))
    radius, turn = np.hypot(dial[..., 0], dial[..., 1]), np.arctan2(dial[..., 0], -dial[..., 1])
    division = np.round(turn / (np.pi / 30)).astype(int) % 60
    here = np.isin(division, chosen) & (radius > band[0]) & (radius < band[1])
    photo = sheet.photo.copy()
    photo[here] = 1.0
    if shift:
        further = sheet.geometry.to_photo(dial * (1.0 - shift / np.maximum(radius, 0.1))[..., None]).astype(np.float32)
        moved = cv2.remap(sheet.photo, further[..., 0] - 0.5, further[..., 1] - 0.5, cv2.INTER_CUBIC)
        photo[here] = moved[here]
    return replace(sheet, photo=photo)


def test_divisions_at_some_places_are_no_track(ups):
    """Boxes of a modern track, or figures in a ring, have ink at some of the sixty places."""
    sheet, (low, high) = ups.field.sheet, ups.track.band
    whole = find_track(sheet, (0.0, 0.0), (low - 0.03, high + 0.03))
    assert len(whole.ticks) == 48
    some = changed(sheet, (low - 0.01, high + 0.01), [k for k in range(60) if k % 5 in (1, 2, 3)])
    assert find_track(some, (0.0, 0.0), (low - 0.03, high + 0.03)) is None


def test_ticks_that_stand_out_where_the_outline_is_off_are_followed(ups):
    sheet, (low, high) = ups.field.sheet, ups.track.band
    off = 0.2 * (high - low)
    moved = changed(sheet, (low - off, high + 2 * off), range(6, 20), off)
    before, after = (
        {
            cut.name: float(np.hypot(*sheet.to_dial(np.array([cut.x, cut.y]))))
            for cut in find_track(one, (0.0, 0.0), (low - 0.03, high + 0.03)).ticks
        }
        for one in (sheet, moved)
    )
    out = np.median([after[str(k)] - before[str(k)] for k in (8, 9, 11, 12, 13, 14, 16, 17)])
    rest = np.median([after[str(k)] - before[str(k)] for k in range(24, 58) if k % 5])
    assert out == pytest.approx(off, abs=0.35 * off) and abs(rest) < 0.2 * off
