"""Whole drawn dials: divisions by place, strokes of Roman figures by likeness, shares that add up."""

import numpy as np
import pytest
from drawn_dial import draw, photographed, scene

from dialtell.evaluate.lineups.figures import hour_figures
from dialtell.evaluate.lineups.gathering import line_ups
from dialtell.evaluate.lineups.strip import unrolled
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
