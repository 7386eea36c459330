"""Patches: sampling against functions known exactly, like strokes against each other, and what is left out."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from drawn_dial import draw, scene
from seen_maps import seen_under

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import (
    HIGH,
    INK,
    LEAST_INK,
    LOW,
    MOST_INK,
    SCALE,
    SIDE,
    SPAN,
    cut_patches,
    full_density,
    places,
    reduced,
)
from dialtell.model.reading.zones import EDGES, EXTENT, HIDING, MAP_SCALE, Circle, ZoneMap
from dialtell.synth.shared.terms import SEEN, ZONES, Zone

TILTED = DialGeometry((402.3, 396.8), (380.0, 330.0), 0.7, 0.2)
SHAPE = (800, 810)


def zone_map(track=(0.885, 0.93), numerals=(0.6, 0.87), **kind):
    side = round(2 * EXTENT * MAP_SCALE)
    axis = (np.arange(side) + 0.5) / MAP_SCALE - EXTENT
    radius = np.hypot(*np.meshgrid(axis, axis))
    label = np.full((side, side), ZONES.index(Zone.SIGNATURE), np.int8)
    label[radius > numerals[0]] = ZONES.index(Zone.NUMERALS)
    label[radius > numerals[1]] = ZONES.index(Zone.MINUTE_TRACK)
    label[radius > 0.99] = -1
    return ZoneMap(
        label, seen_under(np.zeros((side, side), bool)), track, numerals, **{"seconds": None, "counters": (), **kind}
    )


def ramp(points):
    """D rising by 0.002 a px or so, so that some patches hold the line where ink begins."""
    return 0.15 + 0.0021 * (points[..., 0] - 402.3) - 0.0012 * (points[..., 1] - 396.8)


def pictured(function, shape=SHAPE):
    rows, columns = np.indices(shape)
    return function(np.stack([columns + 0.5, rows + 0.5], axis=-1)).astype(np.float32)


@pytest.mark.parametrize(("zoom", "most_px"), [(1.0, 0.1), (4.0, 0.6)])
def test_a_ramp_is_sampled_where_the_grid_says(zoom, most_px):
    """Error as a shift in px: OpenCV's cubic (A = -0.75) bends a ramp by up to 0.05 px, its tables step 1/32 px.

    At zoom 4 the photograph has more px than patches and is reduced first, to whole px, which may shift by half of one.
    """
    geometry = TILTED.scaled(zoom)
    shape = tuple(int(zoom * side) for side in SHAPE)
    patches = cut_patches(pictured(lambda p: ramp(p / zoom), shape), geometry, zone_map(), 0.1, 500.0)
    assert len(patches) > 12
    truth = np.clip(np.clip(ramp(patches.grids(geometry) / zoom), LOW, HIGH) / patches.full, LOW, HIGH)
    _, place = reduced(np.zeros(shape, np.float32), geometry)
    slope = np.hypot(0.0021, 0.0012) * TILTED.pixels_per_radius / place.pixels_per_radius / patches.full
    assert np.abs(patches.density - truth).max() < most_px * slope


def test_grids_are_square_steps_on_the_dial():
    patches = cut_patches(pictured(ramp), TILTED, zone_map(), 0.1, 500.0)
    dial = TILTED.to_dial(patches.grids(TILTED).astype(float))
    assert dial.shape == (len(patches), SIDE, SIDE, 2)
    assert (
        np.abs(
            dial[:, SIDE // 2 - 1 : SIDE // 2 + 1, SIDE // 2 - 1 : SIDE // 2 + 1].mean((1, 2)) - patches.center
        ).max()
        < 1e-5
    )
    across = (dial[:, 0, -1] - dial[:, 0, 0]) / (SIDE - 1)
    down = (dial[:, -1, 0] - dial[:, 0, 0]) / (SIDE - 1)
    assert np.abs(across * SCALE - patches.right).max() < 1e-4
    assert np.abs(down * SCALE - np.stack([-patches.right[:, 1], patches.right[:, 0]], axis=1)).max() < 1e-4
    assert np.allclose(np.hypot(*patches.right.T), 1.0)


@lru_cache
def ticks(across=1000.0, turn=0.0):
    """D of a picture of rings and ticks alone, and its geometry without the turn."""
    picture = scene(across, tilt=12.0, angle=25.0, rotation=turn, blur=1.5, figures=False, seconds=False)
    light = draw(picture, np.random.default_rng(0))
    return np.maximum(-np.log10(np.maximum(light, 1e-3) / picture.enamel), 0).astype(np.float32), picture.dial


def minor_ticks(patches):
    """Patches of the 48 ticks between the heavier ones, by their angle."""
    angle = np.degrees(np.arctan2(patches.center[:, 0], -patches.center[:, 1]))
    tick = np.round(angle / 6).astype(int)
    on_track = (patches.zone == ZONES.index(Zone.MINUTE_TRACK)) & (np.hypot(*patches.center.T) < 0.93)
    return patches.density[on_track & (tick % 5 != 0)]


def test_equal_ticks_give_equal_patches():
    density, geometry = ticks()
    minor = minor_ticks(cut_patches(density, geometry, zone_map(), 0.0, 500.0))
    assert len(minor) == 48
    middle = np.median(minor, axis=0)
    assert middle.max() > 0.5
    assert np.sqrt(np.mean((minor - middle) ** 2)) < 0.02 * middle.max()
    # a turn of the whole picture by a third of a division does not pass for that
    off = minor_ticks(cut_patches(density, geometry, zone_map(), np.radians(2.0), 500.0))
    assert np.sqrt(np.mean((np.median(off, axis=0) - middle) ** 2)) > 0.1 * middle.max()


def test_tick_phase_turns_the_ring_with_the_divisions():
    density, geometry = ticks(turn=2.0)  # divisions 2 degrees past the 12 o'clock of a geometry that knows no turn
    minor = minor_ticks(cut_patches(density, replace(geometry, rotation=0.0), zone_map(), np.radians(2.0), 500.0))
    profile = np.median(minor, axis=0)[24:40].mean(axis=0)
    profile = profile - np.median(profile)
    assert abs((profile * (np.arange(SIDE) + 0.5)).sum() / profile.sum() - SIDE / 2) < 0.25


def test_upright_and_turned_patches():
    zones = zone_map(seconds=Circle(0.0, 0.5, 0.2, 1.0))
    center, right = places(zones, 0.3)
    on_ring = np.isclose(np.hypot(*center.T), 0.9075)
    assert on_ring.sum() == 60
    out = center[on_ring] / 0.9075
    assert np.allclose(np.stack([right[on_ring][:, 1], -right[on_ring][:, 0]], axis=1), out)  # rows run inwards
    assert np.min(np.abs(np.arctan2(out[:, 0], -out[:, 1]) - 0.3)) < 1e-9
    around = np.hypot(center[:, 0], center[:, 1] - 0.5)
    assert (np.isclose(around, 0.16)).sum() == 24
    lettered = np.isclose(right, [1.0, 0.0]).all(axis=1) & (np.hypot(*center.T) < 0.5)
    assert lettered.sum() > 20


@pytest.mark.parametrize(("share", "near"), [(0.0, 0.01), (0.05, 0.05)])
def test_full_density_is_that_of_the_fullest_strokes(share, near):
    """Not of the thinnest patches, nor of a few black ones."""
    rng = np.random.default_rng(3)
    patches = rng.normal(0.0, 0.01, (100, SIDE, SIDE)).astype(np.float32)
    patches[:60, :, 20:30] = 1.3  # full strokes
    patches[60:, :, 20:30] = 0.6  # fainter ones
    patches[: int(100 * share)] = 2.0
    assert full_density(patches) == pytest.approx(1.3, abs=near)


def test_full_density_stays_in_its_range():
    assert full_density(np.empty((0, SIDE, SIDE), np.float32)) == 1.0
    assert full_density(np.zeros((4, SIDE, SIDE), np.float32)) == pytest.approx(0.2)
    assert full_density(np.full((4, SIDE, SIDE), 9.0, np.float32)) == pytest.approx(2.0)


def test_exposure_and_thin_paint_do_not_show():
    """A dial whose paint is fainter throughout gives the same patches; that is what dividing is for."""
    density, geometry = ticks()
    strong = cut_patches(density, geometry, zone_map(), 0.0, 500.0)
    weak = cut_patches(density * np.float32(0.8), geometry, zone_map(), 0.0, 500.0)
    assert weak.full == pytest.approx(0.8 * strong.full, rel=1e-3)
    same = np.isin(np.round(strong.center, 6).view("f8,f8"), np.round(weak.center, 6).view("f8,f8"))[:, 0]
    assert same.mean() > 0.95
    assert np.abs(strong.density[same][:10] - weak.density[:10]).max() < 2e-3


@pytest.mark.parametrize("level", [0.0, 2.0])  # bare enamel; a dial all in shadow
def test_nothing_to_read(level):
    patches = cut_patches(np.full(SHAPE, level, np.float32), TILTED, zone_map(), 0.0, 500.0)
    assert len(patches) == 0 and patches.full == 1.0
    assert patches.density.shape == (0, SIDE, SIDE) and patches.grids(TILTED).shape == (0, SIDE, SIDE, 2)
    assert patches.center.shape == patches.right.shape == (0, 2) and patches.ink.shape == (0,)


def test_dial_out_of_the_frame():
    away = DialGeometry((-2000.0, -2000.0), (380.0, 330.0))
    assert len(cut_patches(pictured(ramp), away, zone_map(), 0.0, 500.0)) == 0


def test_patches_over_the_frame_or_a_hand_are_left_out():
    density, geometry = ticks()
    whole = cut_patches(density, geometry, zone_map(), 0.0, 500.0)
    half = cut_patches(density[:, : int(geometry.center_px[0])], geometry, zone_map(), 0.0, 500.0)
    x = half.grids(geometry)[..., 0]
    assert 0 < len(half) < 0.6 * len(whole) and x.max() <= int(geometry.center_px[0])
    for what in HIDING:
        covered = zone_map()
        covered.seen[:, : len(covered.seen) // 2] = SEEN.index(what)
        free = cut_patches(density, geometry, covered, 0.0, 500.0)
        assert 0 < len(free) < len(whole) and free.center[:, 0].min() > -0.05 * SPAN
    for what in EDGES:  # a step may run through a patch, but not fill it
        stepped = zone_map()
        stepped.seen[:, : len(stepped.seen) // 2] = SEEN.index(what)
        some = cut_patches(density, geometry, stepped, 0.0, 500.0)
        assert len(free) <= len(some) < len(whole)


def test_ink_share_is_within_its_limits():
    patches = cut_patches(pictured(ramp), TILTED, zone_map(), 0.1, 500.0)
    truth = (np.clip(ramp(patches.grids(TILTED)), LOW, HIGH) > INK).mean(axis=(1, 2))
    assert np.abs(patches.ink - truth).max() < 0.005
    assert patches.ink.min() >= LEAST_INK and patches.ink.max() <= MOST_INK


@pytest.mark.parametrize(("resolved", "told"), [(0.0, -4.0), (SCALE / 2, -1.0), (SCALE, 0.0), (1e6, 3.0)])
def test_resolution_told_to_the_net(resolved, told):
    assert cut_patches(pictured(ramp), TILTED, zone_map(), 0.0, resolved).resolution == pytest.approx(told)


def test_reduced_is_the_same_dial():
    large = TILTED.scaled(5.0)
    small, geometry = reduced(np.zeros((4000, 4050), np.float32), large)
    assert geometry.pixels_per_radius == pytest.approx(1.25 * SCALE, rel=0.002)
    assert small.shape[1] / 4050 == pytest.approx(geometry.center_px[0] / large.center_px[0], rel=1e-9)
    kept = np.zeros(SHAPE, np.float32)
    assert reduced(kept, TILTED) == (kept, TILTED)
