"""What is planted is where the mask says, and nothing else of the picture changes."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.design.layout import lay_out
from dialtell.synth.planting import Plant, plant
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.terms import Process, Zone

SCOPE = Range(
    max_side=700, pixels_per_radius=(300.0, 320.0), tilt=5.0, wear=(0.0, 0.1), hands_off=1.0, jitter=1.6, finished=0.0
)  # no software that works across the whole picture


def planted(what, index):
    spec = sample_spec(8, index, SCOPE)
    spec = replace(spec, camera=replace(spec.camera, jpeg_before=(), jpeg_after=(), sharpen=0.0, screen_px=0.0))
    found = plant(spec, what, rng=np.random.default_rng(index))
    return spec, found


@pytest.mark.parametrize("what", list(Plant))
def test_only_the_planted_place_changes(what):
    """Away from the mask, beyond the reach of blur, the picture is the same but for rounding."""
    most = 0
    for index in range(6):
        spec, found = planted(what, index)
        if found is None or found.mask.max() < 0.5:
            continue
        host = Process.HAND if what is Plant.PRINTED_FIGURE else Process.TRANSFER
        before = render(spec.as_process(host)).astype(int)
        changed = np.abs(found.pixels.astype(int) - before).max(axis=2)
        reach = np.zeros(found.mask.shape, bool)
        rows, columns = np.nonzero(found.mask > 0.01)
        reach[max(rows.min() - 60, 0) : rows.max() + 60, max(columns.min() - 60, 0) : columns.max() + 60] = True
        assert np.quantile(changed[~reach], 0.999) <= 9  # the exposure is metered anew
        most = max(most, changed[reach].max())
    assert most > 12


def test_a_dial_without_figures_has_nothing_to_plant_a_figure_on():
    for index in range(60):
        spec, found = planted(Plant.PAINTED_FIGURE, index)
        if not any(item.zone is Zone.NUMERALS for item in lay_out(spec.design)):
            assert found is None
            return
    raise AssertionError("no dial without figures in sixty")


def test_the_same_rng_plants_the_same():
    _, first = planted(Plant.FADED_STROKE, 1)
    _, again = planted(Plant.FADED_STROKE, 1)
    assert np.array_equal(first.pixels, again.pixels) and np.array_equal(first.mask, again.mask)
