"""Masters: figures as regular as a print's, ticks that still differ in weight, and paint drawn apart from the line."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_strokes import tables, tick_ring, upright_strokes

from dialtell.synth.design.design import sample_design
from dialtell.synth.making import sample_making
from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.hand import paint_by_hand
from dialtell.synth.strokes.hand_style import ORDINARY, Workshop, sample_hand_style, sample_workshop
from dialtell.synth.strokes.masters import sample_masters

DENSITY = 1.35
SHOPS = [sample_masters(rng=np.random.default_rng(n), seed=n) for n in range(200)]


def body(paint, number):
    """Middle line (M, 2) and width (M,) mm of the first coat of a stroke, without its ends."""
    own = np.flatnonzero(paint.stroke == number)
    own = own[: np.append(np.flatnonzero(~paint.follows[own])[1:], len(own))[0]]
    own = own[len(own) // 6 : -(len(own) // 6)]
    return 0.5 * (paint.left[own] + paint.right[own]), np.linalg.norm(paint.left[own] - paint.right[own], axis=1)


def straying(shop, length=4.0, width=0.15, count=24):
    """mm RMS off their lines, SD of lean in degrees, of ln width and of ln density of stems that ought to be alike."""
    paint = paint_by_hand(*tables(upright_strokes(np.full(count, length), width, gap=2 * length)), shop, DENSITY)
    off, lean, wide, dark = [], [], [], []
    for number in range(count):
        middle, breadth = body(paint, number)
        slope, start = np.polyfit(middle[:, 1], middle[:, 0], 1)
        off.append(np.std(middle[:, 0] - slope * middle[:, 1] - start))
        lean.append(np.degrees(np.arctan(slope)))
        wide.append(np.log(breadth.mean()))
        dark.append(np.log(paint.density[paint.stroke == number].mean()))
    return np.sqrt(np.mean(np.square(off))), np.std(lean), np.std(wide), np.std(dark)


def tick_weights(shop):
    """SD of ln width times density of the ticks of a track."""
    paint = paint_by_hand(*tables(tick_ring()), shop, DENSITY)
    dark = [paint.density[paint.stroke == number].mean() for number in range(60)]
    return np.std([np.log(body(paint, number)[1].mean() * dark[number]) for number in range(60)])


def test_a_masters_figures_repeat_and_their_ticks_do_not():
    figures = np.array([straying(shop) for shop in SHOPS[:40]])
    off, lean, wide, _ = np.median(figures, axis=0)
    assert off < 0.0035 and lean < 0.35 and wide < 0.025
    assert figures[:, 0].max() < 0.012
    ticks = [tick_weights(shop) for shop in SHOPS[:20]]
    assert np.median(ticks) > 0.05 and np.median(ticks) > 2 * wide


def test_a_masters_paint_still_tells():
    """Of most, some evidence of the coat is left in stems that are alike: load from one to the next, or fading."""
    dark = np.array([straying(shop)[3] for shop in SHOPS[:40]])
    assert np.quantile(dark, 0.1) > 0.008 and np.median(dark) > 0.02
    fading = np.array([shop.figures.thin_fade for shop in SHOPS])
    assert 0.08 < (fading < 0.12).mean() < 0.4  # a black coat even in thin strokes
    assert (fading > 0.25).mean() > 0.3


def test_line_and_paint_are_drawn_apart():
    for part in ("layout", "figures", "lettering"):
        line, load = np.log([[getattr(s, part).wobble, getattr(s, part).load_scatter] for s in SHOPS]).T
        assert abs(np.corrcoef(line, load)[0, 1]) < 0.35
    line = np.log([[s.figures.wobble, s.lettering.wobble, s.layout.wobble] for s in SHOPS])
    assert np.abs(np.corrcoef(line.T)[np.triu_indices(3, 1)]).max() < 0.35  # nor are the zones of one dial


def test_masters_stray_a_tenth_to_a_half_of_a_good_hand():
    good = [sample_hand_style(rng=np.random.default_rng(n), steadiness=0.9) for n in range(200)]
    for name in ("wobble", "place", "angle_deg", "height_scatter", "end_scatter"):
        ratio = np.median([getattr(s.figures, name) for s in SHOPS]) / np.median([getattr(h, name) for h in good])
        assert 0.1 < ratio < 0.5
    for name in ("load_scatter", "flow", "pool"):
        ratio = np.median([getattr(s.figures, name) for s in SHOPS]) / np.median([getattr(h, name) for h in good])
        assert 0.8 < ratio < 2.2


def test_without_jitter_a_master_draws_the_skeleton():
    still = sample_masters(rng=np.random.default_rng(1), seed=1, jitter=0.0)
    off, lean, wide, dark = straying(still)
    assert max(off, lean, wide, dark) < 1e-6


def test_a_clocks_strokes_stray_as_far_as_a_watchs():
    """In millimetres: figures seven times as tall, laid by the same people, stray at most twice as far."""
    for style in (ORDINARY, sample_workshop(rng=np.random.default_rng(5)).figures):
        watch = Workshop(style, style, style, 3).sized(22.0)
        clock = Workshop(style, style, style, 3).sized(7 * 22.0)
        small, large = straying(watch, 4.0, 0.15), straying(clock, 28.0, 1.05)
        assert 0.4 < large[0] / small[0] < 2.0
        assert 0.4 < 7 * large[1] / small[1] < 2.2  # the ends of a stem, by its lean
        assert large[2] == pytest.approx(small[2], rel=0.3)  # widths by share: brushes fit


def test_a_clocks_brushes_fit_and_a_watchs_stay():
    assert ORDINARY.sized(24.0) == ORDINARY
    clock = ORDINARY.sized(130.0)
    assert 2.5 < clock.brush < 5.2
    for name in ("broad_mm", "fade_width", "runout_mm"):
        assert getattr(clock, name) / getattr(ORDINARY, name) == pytest.approx(clock.brush)
    # ends of broad strokes are rounded as deep as the brush, which a clock's is
    item = upright_strokes([30.0], 2.0)
    tall = [
        np.ptp(paint_by_hand(*tables(item), Workshop(s, s, s, 1), DENSITY).left[:, 1])
        for s in (replace(ORDINARY.scaled(0.0), round_end=1.0, brush=brush) for brush in (1.0, 4.0))
    ]
    assert tall[1] - tall[0] == pytest.approx(3 * 0.1 * 2 * (1 - np.pi / 4), rel=0.3)


def test_a_share_of_dials_is_mastered_and_nothing_else_is_drawn_anew():
    design = sample_design(rng=np.random.default_rng(3))
    plain, some, all_ = (
        [
            sample_making(rng=np.random.default_rng(n), design=design, process=Process.HAND, mastered=share)
            for n in range(200)
        ]
        for share in (0.0, 0.4, 1.0)
    )
    changed = [a.workshop != b.workshop for a, b in zip(plain, some, strict=True)]
    assert np.mean(changed) == pytest.approx(0.4, abs=0.11)
    assert all(a.workshop != b.workshop and a.plate != b.plate for a, b in zip(plain, all_, strict=True))
    regular = [a.plate.floor_um > 0 for a in some]
    assert 0.5 < np.mean(regular) < 0.78  # most prints
    for a, b in zip(plain, some, strict=True):
        assert a.pull == b.pull and a.exposure == b.exposure and a.workshop.seed == b.workshop.seed
        assert a.plate.widen == b.plate.widen
    assert not any(a.plate.shallow or a.plate.floor_um for a in plain)
