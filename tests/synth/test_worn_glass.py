"""A worn crystal: it shifts what lies beneath by what refraction says, is fixed to the dial, and knows no process."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.photograph.worn_glass import EDGE, INDEX, WornGlass, sample_worn_glass, seen_through
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Process

GLASS = WornGlass(slope=0.02, gap_mm=2.0, grain_mm=0.2, streak=3.0, veil=0.0, seed=5)


def view_of(px_per_mm: float = 20.0):
    return sample_spec(3, 1, Range(pixels_per_radius=(21.5 * px_per_mm,) * 2, tilt=0.0)).view


def test_a_ramp_is_shifted_as_far_as_refraction_says():
    """A slope s under a glass of index n at height g shifts by s (n - 1) g (small angles; from memory)."""
    view = view_of()
    ramp = np.tile(np.arange(view.width_px, dtype=np.float32)[None, :, None], (view.height_px, 1, 3))
    radius = 0.3 * min(view.width_px, view.height_px) / view.px_per_mm
    bent = seen_through(GLASS, view, ramp, radius)
    moved = (bent - ramp)[..., 0] / view.px_per_mm
    middle = moved[
        view.height_px // 2 - 40 : view.height_px // 2 + 40, view.width_px // 2 - 40 : view.width_px // 2 + 40
    ]
    assert middle.std() == pytest.approx(0.02 * INDEX * 2.0, rel=0.4)  # cubic steps between cells lose some
    # nothing where the crystal is not
    yes = np.hypot(
        *np.meshgrid(np.arange(view.width_px) - view.width_px / 2, np.arange(view.height_px) - view.height_px / 2)
    )
    assert not moved[yes / view.px_per_mm > 1.3 * EDGE * radius].any()


def test_the_veil_takes_light_from_enamel_and_lays_it_on_ink():
    view = view_of()
    light = np.full((view.height_px, view.width_px, 3), 0.8, np.float32)
    light[:, view.width_px // 2 :] = 0.02
    seen = seen_through(replace(GLASS, slope=0.0, veil=0.1), view, light, 25.0)
    ink = seen[:, 3 * view.width_px // 4 :]
    assert ink.mean() > 0.02 and seen[:, : view.width_px // 4].std() > 0.01
    assert (seen_through(replace(GLASS, slope=0.0), view, light, 25.0) == light).all()


def test_twins_are_seen_through_the_same_glass():
    scope = Range(pixels_per_radius=(200.0, 300.0), finished=1.0, film=0.0)
    worn = [spec for spec in (sample_spec(11, index, scope) for index in range(60)) if spec.light.glass is not None]
    assert 3 <= len(worn) <= 40
    spec = worn[0]
    assert spec.as_process(Process.HAND).light == spec.as_process(Process.TRANSFER).light
    assert (render(spec) == render(spec)).all()
    assert (render(spec) != render(replace(spec, light=replace(spec.light, glass=None)))).any()


def test_ranges_and_errors():
    for seed in range(40):
        glass = sample_worn_glass(rng=np.random.default_rng(seed), dial_radius_mm=22.0)
        assert 0.0005 < glass.shift_mm < 0.05
    with pytest.raises(ParameterError, match="slope"):
        replace(GLASS, slope=0.3)
