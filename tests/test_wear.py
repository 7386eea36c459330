"""Wear: stays on the dial, keeps its stated depth, and does nothing where nothing has happened."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.errors import ParameterError
from dialtell.synth.view import ViewSpec
from dialtell.synth.wear import abrasion_field, apply_wear, sample_wear

VIEW = ViewSpec(10.0, 10.0, 0.0, 5.0, 0.1, 500, 500, 250.0, 250.0, 22.0, "whole")
WHITE = np.full((500, 500, 3), 0.8, dtype=np.float32)
DISC = (np.hypot(*(np.mgrid[:500, :500] - 249.5)) < 205).astype(np.float32)
NONE = replace(
    sample_wear(rng=np.random.default_rng(1)), hairlines=0, chips=0, scratches=0, dust=0, stain=0.0, soiling=0.0,
    rust=0.0, repairs=0, abrasion=0.0,
)  # fmt: skip


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
