"""Paint as a coat with thickness, measured back from what it does to share and density as rasterised."""

from dataclasses import fields, replace

import cv2
import numpy as np
import pytest
from drawn_strokes import CLEAN_EXPOSURE, MACHINE_PLATE, PAPER, frame, line_width, tables, upright_strokes

from dialtell.synth.scene import Range, radiance, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.coat import density_of, ground_of, inward, thickened, thickness_of
from dialtell.synth.strokes.film import RANGES, sample_film
from dialtell.synth.strokes.hand import paint_by_hand
from dialtell.synth.strokes.hand_style import ORDINARY, Workshop
from dialtell.synth.strokes.paint import lay
from dialtell.synth.strokes.photographic import printed_evenly
from dialtell.synth.strokes.plate import cut
from dialtell.synth.strokes.transfer import lay_down

WIDTHS = np.array([0.08, 0.15, 0.3, 0.7])
DENSITY = 1.35
FLAT = ORDINARY.scaled(0.0)


def film(seed=1, **changes):
    return replace(sample_film(rng=np.random.default_rng(seed), radius_mm=22.0), folds=(), cracks=(), **changes)


def laid(process, px_per_mm, spec, exposure=CLEAN_EXPOSURE, widths=WIDTHS, *, flat=False):
    """Share and density of upright strokes 3 mm long and 2 mm apart, as rasterised and as a coat."""
    items = upright_strokes(np.full(len(widths), 3.0), widths)
    if process is Process.HAND:
        paint = paint_by_hand(*tables(items), Workshop(*(FLAT if flat else ORDINARY,) * 3, 3), DENSITY)
    else:
        master = cut(*tables(items), MACHINE_PLATE)
        pull = exposure.placing
        sheet = process is Process.TRANSFER
        paint = lay_down(master, pull, DENSITY) if sheet else printed_evenly(master, exposure, DENSITY)
    matrix, shape = frame((-1, -3.5), (2 * len(widths) - 1, 0.5), px_per_mm)
    plain = lay(paint, matrix, shape, coat=0.5 if process is Process.HAND else 0.0)
    return plain, thickened(process, paint, spec, exposure, ground_of(matrix, shape), *plain)


def of_stroke(field, index, px_per_mm):
    """The part of a field between 1 and 3 mm down that belongs to one stroke."""
    rows = slice(int(0.8 * px_per_mm), int(3.2 * px_per_mm))
    return field[rows, int(2 * index * px_per_mm) : int((2 * index + 2) * px_per_mm)].astype(np.float64)


def test_density_follows_thickness_until_the_surface_s_own_light_is_left():
    thickness = np.linspace(0.0, 6.0, 61)
    density = density_of(thickness)
    np.testing.assert_allclose(density[:6], thickness[:6], atol=0.006)  # Beer and Lambert in a thin coat
    assert (np.diff(density) > 0).all()
    assert (np.diff(density, 2) < 1e-9).all()
    assert density[-1] == pytest.approx(-np.log10(0.003), abs=0.01)
    np.testing.assert_allclose(thickness_of(density[:21]), thickness[:21], atol=1e-6)


def test_a_distance_is_exact_to_a_tenth_of_a_pixel_wherever_the_edge_cuts():
    for offset in np.linspace(0.0, 0.9, 10):
        share = np.zeros((30, 40), dtype=np.float32)
        share[:, 11:31] = 1.0
        share[:, 10], share[:, 31] = 1.0 - offset, offset
        middle = np.arange(40) + 0.5
        expected = 10.5 - np.abs(middle - 20.5 - offset)
        found = inward(share)[15]
        near = np.abs(expected) < 6
        assert np.abs(found - expected)[near].max() < 0.12


@pytest.mark.parametrize("process", list(Process))
@pytest.mark.parametrize("px_per_mm", [40.0, 60.0, 120.0])
def test_area_thickness_and_line_width_are_those_of_the_design(process, px_per_mm):
    """Area within 2 %, mean thickness within 0.02 D, line width at 50 and 60 % within 0.012 mm, mean of films."""
    found = []
    for seed in range(4):
        exposure = replace(CLEAN_EXPOSURE, grain_mm=(0.012, 0.02)[seed % 2], edge_grains=0.4)
        (share, density), (coat, dense) = laid(process, px_per_mm, film(seed), exposure)
        for index in range(len(WIDTHS)):
            before, after, d, e = (of_stroke(field, index, px_per_mm) for field in (share, coat, density, dense))
            lines = [PAPER * (1 - s + s * 10.0**-o).mean(axis=0) for s, o in ((before, d), (after, e))]
            widths = [[line_width(line, px_per_mm, level) for level in (0.5, 0.6)] for line in lines]
            thick = [(s * thickness_of(o)).sum() / s.sum() for s, o in ((before, d), (after, e))]
            found.append([after.sum() / before.sum() - 1, thick[1] - thick[0], *np.subtract(*widths[::-1])])
    mean = np.abs(np.reshape(found, (4, len(WIDTHS), 4)).mean(axis=0)).max(axis=0)
    assert mean[0] < 0.02
    assert mean[1] < 0.02
    assert mean[2:].max() < 0.012


@pytest.mark.parametrize("process", [Process.HAND, Process.TRANSFER])
def test_below_the_fading_scale_nothing_changes_and_it_fades_in(process):
    change = []
    for px_per_mm in (12.0, 20.0, 30.0, 40.0):
        (share, density), (coat, dense) = laid(process, px_per_mm, film())
        change.append(float(np.abs(share * density - coat * dense).sum() / (share * density).sum()))
    assert change[0] < 1e-6
    assert 0 < change[1] < 0.5 * change[2] < change[3]


def test_a_brush_leaves_streaks_along_the_stroke_and_a_film_none():
    wet = film(streak=0.35, quick=1.0, clump=0.0, dry=0.0, tide=0.0, texture=0.0, wipe=0.0, pinholes=0.0, hair_um=50.0)
    for process, least, most in ((Process.HAND, 3.0, np.inf), (Process.TRANSFER, 0.0, 1.6)):
        _, (_, dense) = laid(process, 120.0, wet, widths=np.array([0.3, 0.3]), flat=True)
        inside = np.concatenate([of_stroke(dense, i, 120.0)[:, 120 - 10 : 120 + 10] for i in range(2)])
        across = np.abs(np.diff(inside, axis=1)).mean()
        along = np.abs(np.diff(inside, axis=0)).mean()
        assert least * along <= across <= most * along + 1e-3


def test_painted_shoulders_are_round_and_printed_ones_crisp():
    plain = film(streak=0.0, clump=0.0, tide=0.0, dry=0.0, edge_um=0.0, burr=0.0, texture=0.0, wipe=0.0, pinholes=0.0,
        fringe_um=0.0, shoulder_um=35.0, crisp_um=4.0)  # fmt: skip
    reach = {}
    for process in (Process.HAND, Process.TRANSFER):
        _, (_, dense) = laid(process, 240.0, plain, widths=np.array([0.5]), flat=True)
        profile = thickness_of(of_stroke(dense, 0, 240.0).mean(axis=0))
        whole = profile[240]
        edge = np.flatnonzero(profile > 0.1 * whole)[0]
        reach[process] = float((np.flatnonzero(profile > 0.9 * whole)[0] - edge) / 240.0)
    assert reach[Process.HAND] > 0.018
    assert reach[Process.TRANSFER] < 0.009


def test_a_burr_darkens_the_edge_of_a_film():
    quiet = {"texture": 0.0, "wipe": 0.0, "pinholes": 0.0, "fringe_um": 0.0, "burr_um": 16.0, "crisp_um": 3.0}
    gain = []
    for burr in (0.0, 0.15):
        _, (_, dense) = laid(Process.TRANSFER, 120.0, film(burr=burr, **quiet), widths=np.array([0.7]))
        profile = thickness_of(of_stroke(dense, 0, 120.0).mean(axis=0))
        inside = profile[int(120 * (1 - 0.35)) :][:42]
        gain.append(inside[1:4].max() / np.median(inside[12:]))
    assert gain[0] < 1.02
    assert 1.08 < gain[1] < 1.25


def edge_of(exposure, px_per_mm, spec):
    _, (coat, _) = laid(Process.PHOTOGRAPHIC, px_per_mm, spec, exposure, np.array([0.5]))
    return of_stroke(coat, 0, px_per_mm)[:, : int(px_per_mm)].sum(axis=1) / px_per_mm


def test_edges_of_powder_are_as_rough_as_the_grain_is_large():
    rough = [
        edge_of(replace(CLEAN_EXPOSURE, grain_mm=grain, edge_grains=0.5), 120.0, film()).std()
        for grain in (0.008, 0.016, 0.032)
    ]
    assert rough[0] < 0.75 * rough[1] < 0.75 * 0.75 * rough[2]
    for grain, value in zip((0.008, 0.016, 0.032), rough, strict=True):
        # as rasterised from afar: `edge_grains` RMS, of which straight lines between samples keep 2/3 of the variance
        assert 0.7 < value / (0.5 * grain * np.sqrt(2 / 3)) < 1.5
    smooth, ragged = (
        edge_of(replace(CLEAN_EXPOSURE, grain_mm=0.02, edge_grains=value), 120.0, film()).std() for value in (0.2, 0.8)
    )
    assert ragged > 1.5 * smooth


def test_grains_stick_or_do_not_and_their_edges_have_no_teeth():
    """Seen at four pixels a grain most of the edge is covered or bare, and specks and holes stand apart from it."""
    exposure = replace(CLEAN_EXPOSURE, grain_mm=0.03, edge_grains=0.7)
    _, (coat, _) = laid(Process.PHOTOGRAPHIC, 240.0, film(pores=0.0), exposure, np.array([0.5]))
    inside = of_stroke(coat, 0, 240.0)
    band = inside[:, 240 - 70 : 240 - 50]
    assert ((band < 0.02) | (band > 0.98)).mean() > 0.6
    pieces, _ = cv2.connectedComponents((inside > 0.5).astype(np.uint8))
    assert pieces > 4  # the bare ground, the stroke and stray grains


@pytest.mark.parametrize("grain_mm", [0.01, 0.02])
def test_thin_lines_of_powder_are_as_black_as_thick_ones(grain_mm):
    exposure = replace(CLEAN_EXPOSURE, grain_mm=grain_mm, edge_grains=0.4)
    _, (coat, dense) = laid(Process.PHOTOGRAPHIC, 120.0, film(pores=0.0), exposure, np.array([0.08, 0.7]))
    seen = 1 - coat + coat * np.power(10.0, -dense)
    thin, thick = (-np.log10(of_stroke(seen, index, 120.0).mean(axis=0).min()) for index in range(2))
    assert thin > thick - 0.1


def test_the_same_grains_stand_in_two_views_of_one_dial():
    exposure = replace(CLEAN_EXPOSURE, grain_mm=0.03, edge_grains=0.6)
    views = {}
    for px_per_mm in (60.0, 120.0):
        for seed in (1, 2):
            _, (coat, dense) = laid(Process.PHOTOGRAPHIC, px_per_mm, film(seed, caking=0.2, pores=0.0), exposure)
            ink = coat * dense
            views[px_per_mm, seed] = (
                ink if px_per_mm == 60.0 else cv2.resize(ink, None, fx=0.5, fy=0.5, interpolation=3)
            )
    plain = laid(Process.PHOTOGRAPHIC, 60.0, film(1), exposure)[0]
    away = inward(plain[0])
    edge = np.abs(away) < 2.5

    def alike(one, other):
        return float(np.corrcoef((views[one] - plain[0])[edge], (views[other] - plain[0])[edge])[0, 1])

    assert alike((60.0, 1), (120.0, 1)) > 0.75
    assert alike((60.0, 1), (60.0, 2)) < alike((60.0, 1), (120.0, 1)) - 0.2


def test_a_twin_shares_the_coat_and_says_nothing_else():
    spec = sample_spec(3, 0)
    drawn = [sample_spec(3, 0, process=process).making.film for process in Process]
    assert drawn[0] == drawn[1] == drawn[2] == spec.making.film
    flat = sample_spec(3, 0, Range(coated=False))
    assert flat.making.film is None
    for field in fields(spec):
        if field.name != "making":
            assert repr(getattr(flat, field.name)) == repr(getattr(spec, field.name))
    assert replace(spec.making, film=None) == flat.making


@pytest.mark.parametrize("process", list(Process))
def test_from_afar_a_coat_is_the_flat_fill_it_was_and_close_up_it_is_not(process):
    for low, high, changes in ((200.0, 220.0, False), (1400.0, 1500.0, True)):
        same = []
        for index in range(4):  # some close views show bare enamel alone
            spec = sample_spec(44, index, Range(pixels_per_radius=(low, high), max_side=320), process)
            bare = replace(spec, making=replace(spec.making, film=None))
            same.append(np.array_equal(radiance(spec), radiance(bare)))
        np.testing.assert_array_equal(radiance(spec), radiance(spec))
        assert all(same) is not changes


@pytest.mark.parametrize("name", RANGES)
def test_values_out_of_range_are_named(name):
    with pytest.raises(ParameterError, match=f"FilmSpec.{name}"):
        film(**{name: -1.0 - RANGES[name][1]})
    with pytest.raises(ParameterError, match=r"FilmSpec\.folds"):
        replace(film(), folds=((0.0, 1.0),))


def test_coarsely_ground_paint_is_rare():
    films = [sample_film(rng=np.random.default_rng([6, index]), radius_mm=22.0) for index in range(600)]
    coarse = [film.clump > 0.05 and film.clump_um > 18.0 for film in films]
    assert 0.02 < np.mean(coarse) < 0.2
