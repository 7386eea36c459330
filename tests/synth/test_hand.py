"""What the hand does besides straying from the line: paint, ends, rings, and who paints what."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_strokes import tables, tick_ring, upright_strokes

from dialtell.synth.design.layout import ring_item
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.hand import hand_of, paint_by_hand, unbiased, waves
from dialtell.synth.strokes.hand_style import ORDINARY, RANGES, HandStyle, Workshop, sample_hand_style, sample_workshop
from dialtell.synth.strokes.paint import Cue

DENSITY = 1.35
STILL = ORDINARY.scaled(0.0)


def painted(items, style=ORDINARY, seed=3):
    return paint_by_hand(*tables(items), Workshop(style, style, style, seed), DENSITY)


def areas(paint):
    """(P,) mm2 of the slice that ends at each sample, 0 where none does."""
    left, right = paint.left, paint.right
    a, b = right[1:] - left[:-1], right[:-1] - left[1:]
    area = np.zeros(len(left))
    area[1:] = 0.5 * np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    return area * paint.follows


def test_the_same_workshop_paints_the_same_and_another_day_does_not():
    items = upright_strokes(np.full(6, 3.0), 0.3)
    first, again, other = painted(items), painted(items), painted(items, seed=4)
    np.testing.assert_array_equal(first.left, again.left)
    np.testing.assert_array_equal(first.density, again.density)
    assert len(other.left) != len(first.left) or np.abs(other.left - first.left).max() > 0.01


def test_nothing_of_the_hand_makes_strokes_bolder_on_average():
    """Swelling, pooled and rounded ends and scatter move paint about; the mean area stays the design's."""
    lengths, widths = np.full(1200, 3.0), np.tile([0.1, 0.3, 0.7], 400)
    design = float((lengths * widths).sum())
    for change in (
        {"width_scatter": 0.2}, {"swell": 0.2}, {"pool": 0.3}, {"round_end": 1.0}, {"wobble": 0.5}, {},
    ):  # fmt: skip
        # a wandering line is longer: an ordinary hand's by 2 %, a painter's by less than half a percent
        style = replace(STILL, **change) if change else replace(ORDINARY, taper=0.0, retouch=0.0, wobble=0.5, hook=0.01)
        assert areas(painted(upright_strokes(lengths, widths), style)).sum() / design == pytest.approx(1, abs=0.015)


def test_nothing_but_thinness_lowers_the_mean_density():
    items = upright_strokes(np.full(600, 4.0), 0.3)
    for change in ({"runout": 0.3}, {"load_scatter": 0.15}, {"flow": 0.15}, {"pool": 0.3}):
        paint = painted(items, replace(STILL, **change))
        area = areas(paint)
        assert (area * paint.density).sum() / area.sum() == pytest.approx(DENSITY, rel=0.01)
        assert paint.density.std() > 0.005


def test_density_follows_width():
    widths = np.array([0.05, 0.1, 0.2, 0.4, 0.8])
    paint = painted(upright_strokes(np.full(5, 3.0), widths), replace(STILL, thin_fade=0.4, fade_width=0.16))
    mean = np.array([paint.density[paint.stroke == index].mean() for index in range(5)])
    expected = DENSITY * (1 - 0.4 * np.exp(-((widths / 0.16) ** 2.0)))
    np.testing.assert_allclose(mean, expected, rtol=1e-6)
    assert np.all(np.diff(mean) > 0)


def test_rounded_ends_do_not_make_figures_much_taller():
    square, round_ = (painted(upright_strokes([3.0], 0.15), replace(STILL, round_end=value)) for value in (0.0, 1.0))
    taller = np.ptp(round_.left[:, 1]) - np.ptp(square.left[:, 1])
    # each end reaches half a width on, of which pi / 4 was taken off first
    assert taller == pytest.approx(2 * 0.075 * (1 - np.pi / 4), rel=0.6)
    along = np.diff(0.5 * (round_.left + round_.right)[:, 1])
    assert np.all(along > 0) or np.all(along < 0)  # no slice turns back on itself


def test_a_junction_left_open_says_so():
    """Only strokes that should meet others leave gaps, and the label lies at their ends."""
    gappy = replace(STILL, junction_gap=0.1)
    assert not (painted(upright_strokes([3.0] * 20, 0.1), gappy).cue & int(Cue.GAP)).any()  # stems stand free
    bars = upright_strokes([3.0] * 20, 0.1)
    bars = [replace(item, strokes=tuple(replace(s, kind=Kind.BAR) for s in item.strokes)) for item in bars]
    paint = painted(bars, gappy)
    labelled = (paint.cue & int(Cue.GAP)) != 0
    assert 0 < labelled.mean() < 0.3
    assert not (painted(bars, STILL).cue & int(Cue.GAP)).any()


def test_overshoot_runs_past_the_guide_line_and_says_so():
    style = replace(STILL, overshoot=0.05)
    paint = painted(upright_strokes([3.0], 0.1), style)
    assert np.ptp(paint.left[:, 1]) == pytest.approx(3.0 + 2 * 0.05 * 3.0, rel=0.01)
    assert (paint.cue & int(Cue.OVERSHOOT)).any()
    assert not (painted(upright_strokes([3.0], 0.1), STILL).cue & int(Cue.OVERSHOOT)).any()


def test_retouching_goes_over_that_share_of_strokes():
    paint = painted(upright_strokes(np.full(500, 3.0), 0.2), replace(STILL, retouch=0.2))
    twice = np.unique(paint.stroke[(paint.cue & int(Cue.RETOUCH)) != 0])
    assert len(twice) == pytest.approx(100, abs=27)  # binomial, 3 SD


def test_retouching_ends_round():
    """It opens from nothing to its full width over the brush's tip, half its width on a thin stroke."""
    paint = painted(upright_strokes(np.full(300, 3.0), 0.12), replace(STILL, retouch=0.5))
    coat = paint.select((paint.cue & int(Cue.RETOUCH)) != 0)
    wide = np.linalg.norm(coat.left - coat.right, axis=1)
    along = 0.5 * (coat.left + coat.right)[:, 1]
    for number in np.unique(coat.stroke)[:40]:
        own = (coat.stroke == number) & (wide > 1e-6)
        width, place = wide[own], along[own]
        from_end = np.minimum(np.abs(place - place[0]), np.abs(place - place[-1]))
        full = width.max()
        assert full == pytest.approx(0.84 * 0.12, rel=0.15)
        assert width[[0, -1]].max() < 0.95 * full
        assert width[from_end > 0.1].min() > 0.98 * full


def test_a_ring_is_near_perfect_and_overlaps_where_it_closes():
    ring = ring_item((1.0, -2.0), 10.0, 0.1, Zone.MINUTE_TRACK, "outer")
    perfect = painted([ring], STILL)
    middle = 0.5 * (perfect.left + perfect.right) - np.array([1.0, -2.0])
    radius = np.hypot(*middle.T)
    assert np.abs(radius - 10.0).max() < 1e-3
    assert np.abs(np.linalg.norm(perfect.left - perfect.right, axis=1) - 0.1).max() < 1e-5
    wavy = painted([ring], ORDINARY)
    middle = 0.5 * (wavy.left + wavy.right) - np.array([1.0, -2.0])
    assert 1e-4 < np.std(np.hypot(*middle.T)) / 10.0 < 0.01  # turned on a lathe: a hundredth at most
    turned = np.degrees(np.abs(np.diff(np.unwrap(np.arctan2(*middle.T)))).sum())
    assert 360.0 < turned < 360.0 + 3 * ORDINARY.ring_overlap_deg


def test_ticks_scatter_in_place_angle_and_length_but_not_in_number():
    paint = painted(tick_ring())
    assert len(np.unique(paint.stroke)) == 60


def test_waves_have_unit_rms_and_the_slope_asked_for():
    rng = np.random.default_rng(0)
    modes = np.arange(2, 25)
    noise = waves(rng, 4000, 128, modes=modes, slope=np.full(4000, 3.0))
    assert np.sqrt(np.mean(noise**2)) == pytest.approx(1.0, abs=0.02)
    t = (np.arange(128) + 0.5) / 128
    power = np.mean((noise @ np.cos(np.pi * np.outer(modes, t)).T) ** 2, axis=0)
    assert np.polyfit(np.log(modes), np.log(power), 1)[0] == pytest.approx(-3.0, abs=0.1)


def test_unbiased_factors_have_mean_one():
    rng = np.random.default_rng(0)
    for scatter in (0.1, 0.4):
        factors = unbiased(np.full(400_000, scatter), rng)
        assert factors.mean() == pytest.approx(1.0, abs=0.003)
        assert np.log(factors).std() == pytest.approx(scatter, rel=0.01)


def test_the_best_hand_letters_and_the_layout_hand_draws_tracks():
    rng = np.random.default_rng(2)
    shop = Workshop(*(sample_hand_style(rng=rng, steadiness=s) for s in (0.1, 0.5, 0.9)), seed=0)
    assert hand_of(Zone.SIGNATURE, Kind.STEM, shop) is shop.lettering
    assert hand_of(Zone.SECONDS_BIT, Kind.CURVE, shop) is shop.lettering
    assert hand_of(Zone.NUMERALS, Kind.STEM, shop) is shop.figures
    for kind in (Kind.TICK, Kind.RING, Kind.DOT):
        assert hand_of(Zone.SECONDS_BIT, kind, shop) is shop.layout
    shops = [sample_workshop(rng=rng) for _ in range(300)]
    wobble = np.log([[s.lettering.wobble, s.figures.wobble, s.layout.wobble] for s in shops]).mean(axis=0)
    assert wobble[0] < wobble[1] - 0.1
    assert wobble[0] < wobble[2] - 0.1


def test_steadier_hands_stray_less_and_jitter_scales_it():
    rng = np.random.default_rng(3)
    clumsy, steady = (
        np.median([sample_hand_style(rng=rng, steadiness=s).wobble for _ in range(200)]) for s in (0.0, 1.0)
    )
    assert clumsy == pytest.approx(0.9, rel=0.1)
    assert steady == pytest.approx(0.25, rel=0.1)
    assert ORDINARY.scaled(0.5).wobble == pytest.approx(0.5 * ORDINARY.wobble)
    assert ORDINARY.scaled(4.0).wobble <= RANGES["wobble"][1]
    assert ORDINARY.scaled(2.0).wobble_slope == ORDINARY.wobble_slope


@pytest.mark.parametrize("name", ["wobble", "coat", "ring_overlap_deg"])
def test_a_hand_out_of_range_is_refused(name):
    high = RANGES[name][1]
    with pytest.raises(ParameterError, match=rf"HandStyle.{name} is .*give a value from {RANGES[name][0]} to {high}"):
        HandStyle(**{name: high + 1.0})
