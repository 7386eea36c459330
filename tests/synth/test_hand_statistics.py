"""The ordinary hand, measured from its rendered strokes, against strokes that people drew with pens.

Bands: quartiles copied from statistics of UNIPEN train_r01_v07 (International Unipen Foundation, CC BY 4.0; I. Guyon
et al., ICPR 1994; 5822 straight strokes of 125 people on seven pads) and, for repeats in a row, of DigiLeTs (77 people
x 62 symbols x 5 repeats; statistics only). Figures are copied, no data. Trained painters are not among them.
"""

from itertools import pairwise

import numpy as np
import pytest
from stroke_statistics import (
    CYCLES,
    SAMPLES,
    Line,
    band_shares,
    fit_line,
    growth,
    pooled_power,
    spectral_slope,
    trace,
    trace_each,
)

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.hand import paint_by_hand
from dialtell.synth.strokes.hand_style import ORDINARY, Workshop
from dialtell.synth.strokes.skeleton import gather, tabulate
from dialtell.synth.strokes.stroke import Item, Stroke

# value: (25 %, 75 %), what it is over, n
RMS_SHARE = (0.00545, 0.01419)  # strokes, n = 5822, noise-corrected
BELOW_2, FROM_2_TO_6, ABOVE_6 = (0.7715, 0.8231), (0.1642, 0.2131), (0.00755, 0.01615)  # pads, n = 7
SLOPE = (-3.37, -2.915)  # pads, n = 7, 1.5 to 8 cycles
CORRELATION = (0.071, 0.118)  # strokes, n = 5822
HOOK_START, HOOK_END = (0.01397, 0.05305), (0.00955, 0.03849)  # off the line untrimmed, share of length, n = 862
GROWTH = 0.666  # within a person, 4700 strokes with a known scale
LENGTH_MM = (1.47, 4.29, 11.73)  # 5, 50 and 95 % of the strokes measured
ANGLE_DEG = (1.585, 2.557)  # DigiLeTs, SD of a person's upright I, n = 73 people
END_SHARE = (0.0312, 0.0441)  # DigiLeTs, SD per axis of a person's H, size set equal, share of height, n = 63
LN_HEIGHT = (0.059, 0.096)  # DigiLeTs, SD of ln height of a person's H, n = 63

PX_PER_MM = 60.0
DENSITY = 1.3


def upright_strokes(lengths, width=0.25):
    """Stems side by side, each an item and a word of its own."""
    items = []
    for index, length in enumerate(lengths):
        x = 2.0 * index
        stroke = Stroke(np.array([[x, -length], [x, 0.0]]), np.full(2, width), width, Kind.STEM, "I/stem")
        items.append(Item((stroke,), Zone.NUMERALS, (x, 0.0), 0.0, float(length), "I", 0, index))
    return items


def row_of_h(count, height=3.0, width=0.25):
    items = []
    for index in range(count):
        x = 5.0 * index
        ends = (
            ((x - 1, -height), (x - 1, 0.0), Kind.STEM),
            ((x + 1, -height), (x + 1, 0.0), Kind.STEM),
            ((x - 1, -height / 2), (x + 1, -height / 2), Kind.BAR),
        )
        strokes = tuple(
            Stroke(np.array([a, b]), np.full(2, width), width, kind, f"H/{number}")
            for number, (a, b, kind) in enumerate(ends)
        )
        items.append(Item(strokes, Zone.NUMERALS, (x, 0.0), 0.0, height, "H", 0, index))
    return items


def painted(items, style=ORDINARY, seed=3):
    return paint_by_hand(gather(items), tabulate(items), Workshop(style, style, style, seed), DENSITY)


def lengths_like_the_data(count):
    """Log-normal with the median of the strokes measured, kept within their 5 to 95 %."""
    low, middle, high = LENGTH_MM
    spread = 0.5 * np.log(high / low) / 1.645
    return np.exp(np.random.default_rng(5).normal(np.log(middle), spread, count)).clip(low, high)


@pytest.fixture(scope="module")
def ordinary_lines():
    return trace_each(painted(upright_strokes(lengths_like_the_data(800))), PX_PER_MM)


def within(value, band):
    return band[0] <= value <= band[1]


def test_estimators_agree_with_the_reference_on_known_noise():
    """Cosine modes of power k^-beta, n = 800: medians and mean shares that the reference's own code gave."""
    reference = {2.5: (0.585, 0.344, 0.071, 0.094), 3.0: (0.67, 0.295, 0.035, 0.110), 3.5: (0.742, 0.242, 0.016, 0.118)}
    rng = np.random.default_rng(0)
    modes, x = np.arange(2, 64), (np.arange(SAMPLES) + 0.5) / SAMPLES
    for beta, expected in reference.items():
        off = rng.standard_normal((800, len(modes))) * modes ** (-beta / 2) @ np.cos(np.pi * np.outer(modes, x))
        fit = np.polynomial.polynomial.polyfit(x, off.T, 1)
        off = off - np.polynomial.polynomial.polyval(x, fit)
        lines = [Line(1.0, 0.0, row, np.zeros((2, 2)), np.zeros(2)) for row in off]
        shares = np.mean([band_shares(line.power) for line in lines], axis=0)
        np.testing.assert_allclose(shares, expected[:3], atol=0.025)
        assert abs(np.median([line.correlation_length for line in lines]) - expected[3]) < 0.009  # one lag
        # the mode above 8 cycles and those below 1.5 are left out of the fit
        assert abs(spectral_slope(np.mean([line.power for line in lines], axis=0)) + beta) < 0.15


def test_mode_power_adds_up_to_the_mean_square():
    line = Line(1.0, 0.0, np.sin(np.linspace(0, 9, SAMPLES)), np.zeros((2, 2)), np.zeros(2))
    assert line.power.sum() == pytest.approx(np.var(line.deviation), rel=1e-12)
    assert len(CYCLES) == len(line.power)


def test_a_drawn_wave_is_traced_back():
    """A wave of amplitude A about a line has RMS A / sqrt 2 over whole periods, whatever the stroke's direction."""
    style = ORDINARY.scaled(0.0)
    y = np.linspace(-4.0, 0.0, 400)
    waves = 0.01 * np.cos(2 * np.pi * 10 * y / 4)
    for upright in (True, False):
        path = np.stack([waves, y] if upright else [y, waves], axis=1)
        stroke = Stroke(path, np.full(400, 0.2), 0.2, Kind.STEM, "s")
        item = Item((stroke,), Zone.NUMERALS, (0.0, 0.0), 0.0, 4.0, "s")
        (line,) = trace_each(painted([item], style), PX_PER_MM, upright=upright)
        assert line.rms_mm == pytest.approx(0.01 / np.sqrt(2), rel=0.05)
        assert line.length_mm == pytest.approx(4.0, abs=0.01)
        assert np.argmax(line.power) + 1 == 18  # 10 periods, of which nine tenths are in the core


def test_line_statistics_lie_in_the_band_of_the_pens(ordinary_lines):
    power = pooled_power(ordinary_lines)
    below, middle, above = band_shares(power)
    assert within(np.median([line.rms_mm / line.length_mm for line in ordinary_lines]), RMS_SHARE)
    assert within(below, BELOW_2)
    assert within(middle, FROM_2_TO_6)
    assert within(above, ABOVE_6)
    assert within(spectral_slope(power), SLOPE)
    assert within(np.median([line.correlation_length for line in ordinary_lines]), CORRELATION)


def test_ends_hook_off_the_line_as_far_as_the_pens_did(ordinary_lines):
    start, end = np.median([np.abs(line.hooks) / line.length_mm for line in ordinary_lines], axis=0)
    assert within(start, HOOK_START)
    assert within(end, HOOK_END)


def test_deviation_grows_with_length_as_the_pens_did(ordinary_lines):
    assert abs(growth(ordinary_lines) - GROWTH) < 0.1


def test_angle_of_repeated_uprights_lies_in_the_band():
    lines = trace_each(painted(upright_strokes(np.full(400, 3.0)), seed=8), PX_PER_MM)
    assert within(np.std([line.angle_deg for line in lines]), ANGLE_DEG)


def test_ends_and_heights_of_repeats_lie_in_the_band():
    count, height = 300, 3.0
    paint = painted(row_of_h(count, height))
    stems = trace_each(paint.select(paint.stroke % 3 != 2), PX_PER_MM)
    bars = trace_each(paint.select(paint.stroke % 3 == 2), PX_PER_MM, upright=False)
    ends = np.array([np.concatenate([stems[2 * i].ends, stems[2 * i + 1].ends, bars[i].ends]) for i in range(count)])
    heights = np.array([0.5 * (np.ptp(figure[:2, 1]) + np.ptp(figure[2:4, 1])) for figure in ends])
    shape = (ends - ends.mean(axis=1, keepdims=True)) / heights[:, None, None]
    assert within(np.sqrt(np.mean(np.var(shape, axis=0))), END_SHARE)
    assert within(np.std(np.log(heights)), LN_HEIGHT)


def test_without_jitter_the_hand_draws_the_skeleton():
    paint = painted(upright_strokes([2.0, 3.0, 5.0]), ORDINARY.scaled(0.0))
    assert np.allclose(paint.density, DENSITY, atol=1e-12)
    for line, length in zip(trace_each(paint, 50.0), (2.0, 3.0, 5.0), strict=True):
        assert line.rms_mm < 1e-9
        assert abs(line.angle_deg) < 1e-9
        assert line.length_mm == pytest.approx(length, abs=1e-6)
    x = np.round(0.5 * (paint.left[:, 0] + paint.right[:, 0]), 9)
    assert set(x) == {0.0, 2.0, 4.0}
    width = np.abs(paint.left[:, 0] - paint.right[:, 0])
    assert np.all(np.isclose(width, 0.25) | (np.abs(paint.left[:, 1]) < 1e-9) | (np.abs(width) <= 0.25 + 1e-9))
    assert paint.cue.max() == 0


def test_more_jitter_is_more_deviation():
    items = upright_strokes(lengths_like_the_data(120))
    size = [
        np.mean([line.rms_mm for line in trace_each(painted(items, ORDINARY.scaled(jitter)), PX_PER_MM)])
        for jitter in (0.0, 0.5, 1.0, 2.0)
    ]
    assert all(low < high for low, high in pairwise(size))


def test_a_picture_without_a_stroke_is_refused():
    with pytest.raises(ParameterError, match="share is empty"):
        trace(np.zeros((20, 20)), 50.0)
    with pytest.raises(ParameterError, match="path has 2 points"):
        fit_line(np.zeros((2, 2)), np.zeros((2, 2)))
