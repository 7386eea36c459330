"""The label of granular edges: where the edges are, as wide as the grain, and every stray grain."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_strokes import CLEAN_EXPOSURE, MACHINE_PLATE, frame, tables, upright_strokes

from dialtell.synth.design.layout import ring_item
from dialtell.synth.shared.terms import Zone
from dialtell.synth.strokes.edge_band import edge_band
from dialtell.synth.strokes.paint import mask
from dialtell.synth.strokes.photographic import develop
from dialtell.synth.strokes.plate import cut

GRAIN = 0.02


def print_of(items, **changes):
    exposure = replace(CLEAN_EXPOSURE, grain_mm=GRAIN, **changes)
    return develop(cut(*tables(items), MACHINE_PLATE), exposure, 1.3)


@pytest.mark.parametrize(("px_per_mm", "band_mm"), [(200.0, GRAIN), (100.0, GRAIN), (25.0, 0.04)])
def test_a_band_about_the_edges_has_the_grain_s_width_or_a_pixel_s(px_per_mm, band_mm):
    """Over a bar of 3.0 by 0.5 mm: the area of the bar grown by half the band less that of the bar shrunk by it."""
    paint = print_of(upright_strokes([3.0], 0.5))
    view = frame((-1, -3.5), (1, 0.5), px_per_mm)
    band = edge_band(paint, *view, grain_mm=GRAIN, least_mm=1 / px_per_mm)
    area = float(band.sum(dtype=np.float64)) / px_per_mm**2
    expected = (3.0 + band_mm) * (0.5 + band_mm) - (3.0 - band_mm) * (0.5 - band_mm)
    assert area == pytest.approx(expected, rel=0.03)
    # across the middle: nothing inside or beyond, half of the band on each side of the edge
    profile = band[int(2.0 * px_per_mm)]
    middle = (np.arange(len(profile)) + 0.5) / px_per_mm - 1
    away = np.abs(np.abs(middle) - 0.25)
    assert profile[away > 0.5 * band_mm + 1 / px_per_mm].max() < 1e-5
    assert float(profile.sum()) / px_per_mm == pytest.approx(2 * band_mm, rel=0.01)
    outside = float(profile[np.abs(middle) > 0.25].sum()) / px_per_mm
    assert outside == pytest.approx(band_mm, abs=0.51 / px_per_mm)  # the edge may halve a pixel


def test_it_follows_the_ragged_edge():
    paint = print_of(upright_strokes([3.0], 0.5), edge_grains=0.6)
    view = frame((-1, -3.5), (1, 0.5), 200.0)
    band, strokes = edge_band(paint, *view, grain_mm=GRAIN), mask(paint, *view)
    row_edges = np.abs(np.diff((strokes > 0.5).astype(int), axis=1)).astype(bool)[120:680]
    held = band[120:680, 1:] + band[120:680, :-1]
    assert (held[row_edges] > 0.5).mean() > 0.99
    assert band[strokes > 0.999].mean() < 0.2  # the inside is not marked


def test_stray_grains_are_marked_as_a_whole():
    with_, without = (print_of(upright_strokes(np.full(10, 5.0), 0.5), specks=n) for n in (3.0, 0.0))
    view = frame((-1, -5.5), (20, 0.5), 150.0)
    specks = (mask(with_, *view) > 0.95) & (mask(without, *view) == 0)
    assert specks.sum() > 50
    band = edge_band(with_, *view, grain_mm=GRAIN)
    assert np.quantile(band[specks], 0.05) > 0.9


def test_a_ring_has_no_seam():
    paint = print_of([ring_item((0.0, 0.0), 3.0, 0.2, Zone.MINUTE_TRACK, "outer")])
    band = edge_band(paint, *frame((-0.5, -3.3), (0.5, -2.7), 200.0), grain_mm=GRAIN)
    assert band[50:70, 90:110].max() < 1e-5
    across = band.sum(axis=0)
    assert np.abs(across - across.mean()).max() < 0.1 * across.mean()
