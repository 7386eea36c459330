"""Nothing but the process may tell a painted dial from its printed twin: no bolder, no darker, in the same place."""

from dataclasses import fields, replace

import numpy as np
import pytest

from dialtell.synth.design.layout import lay_out
from dialtell.synth.making import make, sample_making
from dialtell.synth.scene import Range, sample_spec
from dialtell.synth.shared.terms import ZONES, Kind, Process, Zone

PRINTS = (Process.TRANSFER, Process.PHOTOGRAPHIC)
THICK_MM = 0.4  # strokes from here on are flooded by a brush
SIDE = 640  # px across a dial as drawn here


def drawn(spec, side=SIDE):
    """Covered area, mm2, and area times density, of all strokes as rasterised square-on."""
    scale = 0.49 * side / spec.design.radius_mm
    matrix = np.array([[scale, 0, side / 2], [0, scale, side / 2], [0, 0, 1.0]])
    total = np.zeros(2)
    for coat in make(spec.design, spec.making):
        share, density = coat.lay(matrix, (side, side))
        total += share.sum(dtype=np.float64), (share * density).sum(dtype=np.float64)
    return total / scale**2


def thick_density(spec):
    """Mean density, D, of the thick stems of a dial, weighted by area; nan where it has none."""
    stems = [
        stroke.kind is Kind.STEM and stroke.nominal >= THICK_MM
        for item in lay_out(spec.design)
        for stroke in item.strokes
    ]
    (coat,) = make(spec.design, spec.making)
    paint = coat.paint
    keep = paint.follows & (paint.stroke >= 0)
    keep &= np.array(stems)[np.maximum(paint.stroke, 0)]
    if not keep.any():
        return np.nan
    width = np.linalg.norm(paint.left - paint.right, axis=1)
    step = np.linalg.norm(paint.left - np.roll(paint.left, 1, axis=0), axis=1)
    area = (width * step)[keep]
    return float((area * paint.density[keep]).sum() / area.sum())


def ratio(specs, column):
    """Geometric mean of hand over print, each the mean of the two prints, and its 95 % interval's half width."""
    values = []
    for spec in specs:
        hand, *prints = (drawn(spec.as_process(process))[column] for process in (Process.HAND, *PRINTS))
        values.append(np.log(hand) - np.mean(np.log(prints)))
    return float(np.exp(np.mean(values))), float(1.96 * np.std(values) / np.sqrt(len(values)))


def test_a_twin_differs_in_its_process_alone():
    spec = sample_spec(3, 0)
    for process in Process:
        twin = spec.as_process(process)
        for field in fields(spec):
            if field.name != "making":
                assert getattr(twin, field.name) is getattr(spec, field.name)
        for field in fields(spec.making):
            if field.name != "processes":
                assert getattr(twin.making, field.name) is getattr(spec.making, field.name)
        assert set(twin.making.processes) == {process}


def test_all_else_is_drawn_before_the_process_is_known():
    drawn_ = [sample_spec(3, 1, process=process) for process in Process]
    for name in ("design", "view", "body", "hands", "wear", "light", "camera"):
        assert repr(getattr(drawn_[0], name)) == repr(getattr(drawn_[1], name)) == repr(getattr(drawn_[2], name))
    for name in ("workshop", "plate", "pull", "exposure"):
        assert len({repr(getattr(spec.making, name)) for spec in drawn_}) == 1


def test_twins_cover_the_same_area_on_average():
    mean, half = ratio([sample_spec(21, index, process=Process.HAND) for index in range(16)], 0)
    assert abs(np.log(mean)) < 0.03 + half


def test_masters_are_as_bold_as_regular_prints():
    mean, _ = ratio([sample_spec(27, index, Range(mastered=1.0), Process.HAND) for index in range(40)], 0)
    assert abs(np.log(mean)) < 0.02


def test_prints_fade_less_often_and_less_than_paint():
    """A thin line that is weaker than a thick one proves nothing, but it is seldom a print's."""
    makings = [sample_spec(28, index).making for index in range(150)]
    worn = np.array([making.plate.shallow for making in makings])
    fading = np.array([making.workshop.figures.thin_fade for making in makings])
    assert 0.15 < (worn > 0).mean() < 0.45
    assert worn.max() <= 0.25 < np.quantile(fading, 0.6)


@pytest.mark.slow
def test_twins_cover_the_same_area_over_a_hundred_dials():
    mean, half = ratio([sample_spec(22, index, process=Process.HAND) for index in range(100)], 0)
    assert half < 0.03
    assert abs(np.log(mean)) < 0.03


def test_thick_strokes_are_as_dense_painted_as_printed():
    values = []
    for index in range(60):
        spec = sample_spec(23, index, process=Process.HAND)
        pull = replace(spec.making.pull, slip_mm=(0.0, 0.0))  # a doubled film is fainter by intent
        spec = replace(spec, making=replace(spec.making, pull=pull))
        values.append([thick_density(spec.as_process(process)) for process in Process])
    hand, transfer, photographic = np.nanmean(np.array(values), axis=0)
    assert abs(hand - transfer) < 0.03
    assert abs(hand - photographic) < 0.03


def test_a_painted_layout_sits_off_the_centre_as_much_as_a_sheet():
    """Where a design sits on its dial must not tell: a painter's layout and a sheet take the same shift and turn."""
    off = {process: [] for process in Process}
    for index in range(10):
        spec = sample_spec(24, index, Range(jitter=0.0, scatter=(0.0, 0.0)), Process.HAND)
        pull = replace(spec.making.pull, slip_mm=(0.0, 0.0), shift_mm=(0.5, -0.3), stretch=0.0, turn_deg=0.0)
        exposure = replace(spec.making.exposure, placing=pull)
        spec = replace(spec, making=replace(spec.making, pull=pull, exposure=exposure))
        if spec.design.track is None or not any(spec.design.track.rings):
            continue
        for process in Process:
            (coat,) = make(spec.design, spec.making.as_process(process))
            ring = coat.paint.select((coat.paint.zone == ZONES.index(Zone.MINUTE_TRACK)) & (coat.paint.stroke == 0))
            middle = 0.5 * (ring.left + ring.right)[np.cumsum(~ring.follows) == 1]  # the ring without its specks
            off[process].append(0.5 * (middle.min(axis=0) + middle.max(axis=0)))
    for process in Process:
        np.testing.assert_allclose(np.mean(off[process], axis=0), [0.5, -0.3], atol=0.005)


def test_mixed_dials_differ_in_one_zone_or_two():
    seen = set()
    for index in range(60):
        spec = sample_spec(25, index, Range(mixed=1.0))
        counts = sorted(spec.making.processes.count(process) for process in set(spec.making.processes))
        assert len(counts) == 2
        assert counts[0] in (1, 2)
        seen.add(tuple(spec.making.processes))
    assert len(seen) > 10


def test_every_coat_holds_the_zones_of_its_process():
    rng = np.random.default_rng(4)
    spec = sample_spec(26, 0)
    making = sample_making(rng=rng, design=spec.design, process=None)
    for coat in make(spec.design, making):
        processes = {making.processes[zone] for zone in np.unique(coat.paint.zone)}
        assert len(processes) == 1
        assert coat.film == (processes == {Process.TRANSFER})
        assert (coat.coat > 0) == (processes == {Process.HAND})
