"""Photographic prints measured back from renders without a camera."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_strokes import (
    CLEAN_EXPOSURE,
    MACHINE_PLATE,
    PAPER,
    frame,
    line_width,
    reflectance,
    tables,
    upright_strokes,
)

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.strokes.photographic import develop
from dialtell.synth.strokes.plate import cut

WIDTHS = np.array([0.08, 0.15, 0.3, 0.7])
DENSITY = 1.3


def print_of(items, exposure, plate=MACHINE_PLATE):
    return develop(cut(*tables(items), plate), exposure, DENSITY)


@pytest.mark.parametrize("spread", [-0.01, 0.0, 0.015])
@pytest.mark.parametrize("px_per_mm", [60.0, 120.0])
def test_widths_and_density_are_those_of_the_spec(spread, px_per_mm):
    """Width: the design's plus the plate's widening plus twice the negative's spread; grain leaves it so on average."""
    exposure = replace(CLEAN_EXPOSURE, spread_mm=spread, edge_grains=0.4, mottle=0.03)
    plate = replace(MACHINE_PLATE, widen=0.01)
    paint = print_of(upright_strokes(np.full(4, 3.0), WIDTHS), exposure, plate)
    picture = reflectance(paint, *frame((-1, -3.5), (7, 0.5), px_per_mm))
    rows = slice(int(0.7 * px_per_mm), int(3.3 * px_per_mm))
    for index, width in enumerate(WIDTHS):
        columns = slice(int((2 * index) * px_per_mm), int((2 * index + 2) * px_per_mm))
        profile = picture[rows, columns].mean(axis=0)
        assert line_width(profile, px_per_mm, 0.5) == pytest.approx(width + 0.01 + 2 * spread, abs=0.005)
        if width > 0.1:  # the middle pixels are wholly inked
            assert -np.log10(profile.min() / PAPER) == pytest.approx(DENSITY, abs=0.03)


def test_edges_are_granular_at_the_grain_and_no_more_than_said():
    """Raggedness: the SD of an edge about its line, here of edges drawn at 120 px/mm (one grain is 2.4 px)."""
    exposure = replace(CLEAN_EXPOSURE, edge_grains=0.5)
    px_per_mm = 120.0
    paint = print_of(upright_strokes([6.0], 0.5), exposure)
    picture = reflectance(paint, *frame((-1, -6.5), (1, 0.5), px_per_mm))
    rows = picture[int(0.7 * px_per_mm) : int(6.3 * px_per_mm)]
    inked = (1 - rows / PAPER) / (1 - 10**-DENSITY)
    edge = inked[:, : int(px_per_mm)].sum(axis=1) / px_per_mm
    # samples lie a grain apart and the edge runs straight between them, which keeps 2/3 of their variance
    assert edge.std() == pytest.approx(0.5 * 0.02 * np.sqrt(2 / 3), rel=0.15)
    clean = reflectance(print_of(upright_strokes([6.0], 0.5), CLEAN_EXPOSURE), *frame((-1, -6.5), (1, 0.5), px_per_mm))
    assert clean[100:600, : int(px_per_mm)].sum(axis=1).std() < 1e-4


def test_specks_are_as_many_as_said_and_lie_beside_the_stroke():
    exposure = replace(CLEAN_EXPOSURE, specks=2.0)
    lengths = np.full(40, 5.0)
    paint = print_of(upright_strokes(lengths, 0.2), exposure)
    plain = print_of(upright_strokes(lengths, 0.2), CLEAN_EXPOSURE)
    number = (~paint.follows).sum() - (~plain.follows).sum()
    assert number == pytest.approx(2.0 * lengths.sum(), rel=0.15)  # Poisson, n = 400
    spots = np.split(0.5 * (paint.left + paint.right), np.flatnonzero(~paint.follows)[1:])
    away = np.array([np.abs(spot[:, 0].mean() % 2.0 - 2.0 * (spot[:, 0].mean() % 2.0 > 1)) for spot in spots])
    off = away[away > 1e-6]
    assert len(off) == number
    assert off.min() > 0.1  # outside the stroke


def test_a_slice_averages_the_grains_across_it():
    exposure = replace(CLEAN_EXPOSURE, mottle=0.06)
    paint = print_of(upright_strokes(np.full(20, 5.0), np.tile([0.02, 0.5], 10)), exposure)
    spread = [paint.density[(paint.stroke % 2) == odd].std() / DENSITY for odd in (0, 1)]
    assert spread[0] == pytest.approx(0.06, rel=0.1)
    assert spread[1] == pytest.approx(0.06 * np.sqrt(0.02 / 0.5), rel=0.1)
    assert paint.density.mean() == pytest.approx(DENSITY, rel=0.005)


@pytest.mark.parametrize(
    ("name", "value"),
    [("grain_mm", 0.0), ("edge_grains", -0.1), ("spread_mm", 0.2), ("specks", np.nan), ("mottle", 1.0)],
)
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=f"Exposure.{name}"):
        replace(CLEAN_EXPOSURE, **{name: value})
