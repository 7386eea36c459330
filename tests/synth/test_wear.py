"""Wear: stays on the dial, keeps its stated depth, and does nothing where nothing has happened."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from dialtell.synth.photograph.crazing import sample_crazing
from dialtell.synth.photograph.view import ViewSpec, homography, to_px
from dialtell.synth.photograph.wear import abrasion_field, apply_wear, sample_wear
from dialtell.synth.shared.errors import ParameterError

VIEW = ViewSpec(10.0, 10.0, 0.0, 5.0, 0.1, 500, 500, 250.0, 250.0, 22.0, "whole")
WHITE = np.full((500, 500, 3), 0.8, dtype=np.float32)
DISC = (np.hypot(*(np.mgrid[:500, :500] - 249.5)) < 205).astype(np.float32)
NONE = replace(
    sample_wear(rng=np.random.default_rng(1)), hairlines=0, chips=0, scratches=0, dust=0, stain=0.0, soiling=0.0,
    rust=0.0, repairs=0, abrasion=0.0, crazing=None,
)  # fmt: skip

CRAZED = replace(
    sample_crazing(rng=np.random.default_rng(2), dial_radius_mm=22.0), cell_mm=3.0, line_mm=0.1, depth=0.6, area=1.0
)


def test_no_wear_changes_nothing():
    assert (apply_wear(NONE, VIEW, WHITE, DISC) == WHITE).all()
    assert abrasion_field(NONE, VIEW, (500, 500)).max() == 0.0


@pytest.mark.parametrize(
    "changes",
    [
        {"hairlines": 8, "hairline_depth": 0.6},
        {"scratches": 40, "scratch_depth": 0.3},
        {"stain": 0.3, "stain_mm": 4.0},
        {"soiling": 0.3},
        {"rust": 0.7, "rust_mm": 2.0},
        {"chips": 5, "chip_mm": 1.0},
        {"repairs": 3, "repair_mm": 2.0, "repair_tone": 0.8},
        {"crazing": CRAZED},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_each_fault_shows_on_the_enamel_and_nowhere_else(changes):
    worn = apply_wear(replace(NONE, **changes), VIEW, WHITE, DISC)
    assert np.isfinite(worn).all() and worn.min() >= 0.0 and worn.max() < 1.2
    moved = np.abs(worn - WHITE).max(axis=2)
    assert moved.max() > 0.03
    assert moved[DISC == 0.0].max() < 1e-6


def test_hairline_takes_the_light_its_width_and_depth_say():
    # a crack 1 px wide and 0.5 deep takes at most half of a pixel; 0.02 mm = 0.2 px takes a fifth of that
    wide, thin = (
        (WHITE - apply_wear(replace(NONE, hairlines=1, hairline_depth=0.5, hairline_mm=width), VIEW, WHITE, DISC)).sum()
        for width in (0.1, 0.02)
    )
    assert thin / wide == pytest.approx(0.2, rel=0.02)


@pytest.mark.parametrize("area", [0.1, 0.3, 0.6])
def test_abrasion_covers_about_the_area_asked_for(area):
    share = []
    for seed in range(30):
        wear = replace(NONE, abrasion=0.9, abrasion_area=area, seed=seed)
        field = abrasion_field(wear, VIEW, (500, 500))
        assert field.dtype == np.float32 and field.min() >= 0.0 and field.max() <= np.float32(0.9)
        share.append((field > 0.0).mean())
    assert np.mean(share) == pytest.approx(area, abs=0.12)


def test_same_spec_same_bytes():
    wear = sample_wear(rng=np.random.default_rng(4), severity=1.0)
    wear = replace(wear, hairlines=3, chips=2, dust=30, stain=0.1, scratches=9, repairs=1, abrasion=0.5)
    assert apply_wear(wear, VIEW, WHITE, DISC).tobytes() == apply_wear(wear, VIEW, WHITE, DISC).tobytes()
    first = abrasion_field(wear, VIEW, (500, 500))
    assert first.tobytes() == abrasion_field(wear, VIEW, (500, 500)).tobytes()
    assert WHITE.min() == WHITE.max()


def test_severity_scales_wear():
    def count(severity):
        rng = np.random.default_rng(0)
        return sum(sample_wear(rng=rng, severity=severity).hairlines for _ in range(200))

    assert count(0.0) == 0 < count(0.3) < count(1.0)


@pytest.mark.parametrize(("name", "value"), [("hairlines", 99), ("stain", 1.0), ("chip_mm", 0.0), ("abrasion", -0.1)])
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        replace(NONE, **{name: value})


# another photograph of the same dial: closer, tilted the other way, the dial turned in the frame and off its middle
OTHER = ViewSpec(13.0, 24.0, 70.0, -35.0, 0.2, 640, 700, 350.0, 300.0, 22.0, "whole")


def seen_from_above(picture, view, px_per_mm=6.0, reach_mm=20.0):
    """The dial rectified by the view's own homography, 12 up; within `reach_mm` of the centre, the rest nan."""
    side = round(2 * reach_mm * px_per_mm)
    at = (np.arange(side) + 0.5) / px_per_mm - reach_mm
    mm = np.stack(np.meshgrid(at, at), axis=-1)
    x, y = np.moveaxis(to_px(homography(view), mm).astype(np.float32) - np.float32(0.5), 2, 0)
    flat = cv2.remap(picture, x, y, cv2.INTER_LINEAR)
    return np.where(np.hypot(*np.moveaxis(mm, 2, 0)) < reach_mm, flat, np.nan)


def alike(wear, other, show):
    """Correlation of the marks of two wears in the two photographs, place by place on the dial."""
    first, second = (seen_from_above(show(w, v), v) for w, v in ((wear, VIEW), (other, OTHER)))
    both = np.isfinite(first) & np.isfinite(second)
    return float(np.corrcoef(first[both], second[both])[0, 1])


def worn_light(wear, view):
    blank = np.full((*view.shape, 3), 0.8, dtype=np.float32)
    return apply_wear(wear, view, blank, np.ones(view.shape, dtype=np.float32))[..., 2 if wear.soiling else 0]


@pytest.mark.parametrize(
    ("changes", "least"),
    [
        ({"stain": 0.5, "stain_mm": 3.0}, 0.98),
        ({"stain": 0.5, "stain_mm": 1.6}, 0.95),
        ({"soiling": 0.5, "stain_mm": 4.0}, 0.98),
        ({"rust": 0.9, "rust_mm": 4.0}, 0.98),
        ({"repairs": 3, "repair_mm": 2.0, "repair_tone": 0.8}, 0.95),
        ({"chips": 20, "chip_mm": 5.0}, 0.95),
        ({"hairlines": 12, "hairline_depth": 0.8, "hairline_mm": 0.3}, 0.8),
        ({"scratches": 60, "scratch_depth": 0.5}, 0.6),
        ({"crazing": CRAZED}, 0.4),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else None,
)
def test_two_photographs_of_a_dial_share_its_marks(changes, least):
    wear = replace(NONE, **changes)
    assert alike(wear, wear, worn_light) > least
    if not ({"rust", "soiling", "chips"} & set(changes)):  # those lie about the centre or the edge on any dial
        assert abs(alike(wear, replace(wear, seed=wear.seed + 77), worn_light)) < 0.35


def test_two_photographs_of_a_dial_share_what_is_rubbed_away():
    wear = replace(NONE, abrasion=0.9, abrasion_area=0.4)

    def field(w, view):
        return abrasion_field(w, view, view.shape)

    assert alike(wear, wear, field) > 0.9
    assert abs(alike(wear, replace(wear, seed=wear.seed + 1), field)) < 0.35


def test_figures_worn_pale_are_rare_but_occur():
    worn = [sample_wear(rng=np.random.default_rng([3, index]), severity=0.8) for index in range(1500)]
    gone = np.array([wear.abrasion * wear.abrasion_area for wear in worn])
    assert 0.15 < np.mean(gone > 0) < 0.3
    assert 0.0 < np.mean(gone > 0.2) < 0.03


def test_a_share_of_worn_dials_is_crazed_and_all_else_stays_as_drawn():
    worn = [sample_wear(rng=np.random.default_rng([4, index]), severity=0.8) for index in range(800)]
    assert 0.06 < np.mean([wear.crazing is not None for wear in worn]) < 0.12
    assert all(sample_wear(rng=np.random.default_rng(index), severity=0.0).crazing is None for index in range(50))


def test_crazing_is_a_net_of_cells_of_the_size_asked_for():
    inner = np.hypot(*(np.mgrid[:500, :500] - 249.5)) < 150

    def cells(cell_mm):
        """Cells of four nets within 15 mm of the centre; those its edge cuts count too."""
        crazing = replace(CRAZED, cell_mm=cell_mm, line_mm=0.4, depth=0.8)
        total = 0
        for seed in range(4):
            worn = apply_wear(replace(NONE, crazing=crazing, seed=seed), VIEW, WHITE, DISC)
            clear = ((WHITE - worn)[..., 0] < 0.02) & inner
            areas = cv2.connectedComponentsWithStats(clear.astype(np.uint8), connectivity=4)[2][1:, cv2.CC_STAT_AREA]
            total += int((areas > 100).sum())  # no slivers between lines that nearly meet
        return total

    fine, coarse = cells(3.0), cells(6.0)
    whole = 4 * np.pi * 15.0**2 / 9.0
    assert whole < fine < 1.5 * whole
    assert 2.4 < fine / coarse < 4.0
