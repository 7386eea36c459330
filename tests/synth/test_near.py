"""Pictures taken from near, as fields of a microscope are; all others stay as drawn without."""

from dataclasses import replace

import pytest

from dialtell.synth.scene import NEAR, NEAR_SIDE, Range, sample_spec


def test_some_pictures_are_taken_from_near():
    plain = Range(pixels_per_radius=(170.0, 900.0))
    taken = 0
    for index in range(120):
        spec, other = (sample_spec(7, index, scope) for scope in (plain, replace(plain, near=0.25)))
        pixels = other.view.px_per_mm * other.design.radius_mm
        assert other.design == spec.design
        if pixels > 901:
            assert NEAR[0] - 1 <= pixels <= NEAR[1] + 1
            assert other.view.field == "part" and max(other.view.width_px, other.view.height_px) <= NEAR_SIDE
            taken += 1
        else:
            assert other == spec
    assert taken / 120 == pytest.approx(0.25, abs=0.1)
