"""Plaques, centres, winding holes and moons: where they are, how large, lit from the right side, bare of paint."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.photograph.body import BodySpec, Surface, paint_body, sample_body
from dialtell.synth.photograph.furniture import plaque_outlines
from dialtell.synth.photograph.view import ViewSpec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.groundwork import CENTRES, GROUNDS, PLAQUES, Groundwork

RADIUS, SCALE = 22.0, 10.0


def surface(ground: Groundwork, **changes: object) -> Surface:
    """The enamel face on at 10 px/mm with nothing else on it, light from above."""
    body: BodySpec = sample_body(rng=np.random.default_rng(1), ground=ground, light_azimuth_deg=0.0)
    fixed = {"wave_share": 0.0, "pits": 0, "rounding": 0.0, "holes": (), "sunk": "flat", "centre_radius_mm": 0.0}
    side = int(2 * RADIUS * SCALE)
    view = ViewSpec(SCALE, 0.0, 0.0, 0.0, 0.0, side, side, 0.5 * side, 0.5 * side, RADIUS, "whole")
    return paint_body(replace(body, **{**fixed, **changes}), view)


def at(x: float, y: float) -> tuple[int, int]:
    """Row and column of a place in dial radii."""
    return round(SCALE * RADIUS * (1 + y)), round(SCALE * RADIUS * (1 + x))


@pytest.mark.parametrize("kind", CENTRES[1:])
def test_a_centre_is_as_large_as_asked_and_bare_of_paint(kind: str) -> None:
    found = surface(Groundwork(centre=kind, centre_reach=0.4, collar=0.03, seed=3))
    assert float(found.holes.sum()) == pytest.approx(np.pi * (0.43 * RADIUS * SCALE) ** 2, rel=0.01)
    assert found.metal is not None
    middle = found.metal[at(0.0, 0.1)]
    assert middle == (0.0 if kind == "open" else 1.0)
    assert found.metal[at(0.0, 0.415)] > 0.9  # the collar
    assert found.holes[at(0.0, 0.5)] == 0.0


def test_a_centre_of_enamel_has_its_ring_of_metal_alone() -> None:
    found = surface(Groundwork(centre="enamel", centre_reach=0.4, collar=0.03, seed=3))
    band = np.pi * (0.43**2 - 0.4**2) * (RADIUS * SCALE) ** 2
    assert found.metal is not None
    assert (
        float(found.holes.sum()) == pytest.approx(band, rel=0.01) == pytest.approx(float(found.metal.sum()), rel=0.01)
    )
    assert found.reflectance[at(0.1, 0.2)] == pytest.approx(found.reflectance[at(0.1, 0.6)], rel=0.02)


def test_an_opening_is_darker_than_the_enamel_and_has_works_in_it() -> None:
    found = surface(Groundwork(centre="open", centre_reach=0.3, centre_y=-0.3, seed=5))
    rows, columns = at(-0.2, -0.5)[0], at(-0.2, -0.5)[1]
    inside = found.reflectance[rows : at(0, -0.1)[0], columns : at(0.2, 0)[1]]
    assert np.median(inside) < 0.4 * found.reflectance[at(0.5, 0.3)].mean()
    assert inside.std() > 0.05


def test_winding_holes_are_dark_with_a_square_in_them_and_eyelets_about_them() -> None:
    found = surface(Groundwork(holes=((0.4, 0.1, 0.06), (-0.4, 0.1, 0.06)), seed=4))
    assert found.metal is not None
    for x in (0.4, -0.4):
        assert found.reflectance[at(x + 0.045, 0.1)].max() < 0.1
        assert found.reflectance[at(x, 0.1)].max() > 0.08  # the arbor's square
        assert found.metal[at(x + 0.07, 0.1)] > 0.9
    assert float(found.holes.sum()) == pytest.approx(2 * np.pi * (1.38 * 0.06 * RADIUS * SCALE) ** 2, rel=0.03)
    bare = surface(Groundwork(holes=((0.4, 0.1, 0.06),), grommets=False, seed=4))
    assert float(bare.holes.sum()) == pytest.approx(np.pi * (0.06 * RADIUS * SCALE) ** 2, rel=0.03)


@pytest.mark.parametrize("shape", PLAQUES[1:])
@pytest.mark.parametrize("between", GROUNDS[1:])
def test_plaques_are_enamel_and_what_lies_between_them_is_not(shape: str, between: str) -> None:
    ground = Groundwork(plaques=shape, plaque_ground=between, plaque_wide=0.12, plaque_high=0.15, seed=2)
    found = surface(ground)
    outlines = plaque_outlines(ground)
    assert outlines.shape[0] == 12
    for outline in outlines:
        assert found.holes[at(*outline.mean(axis=0))] == 0.0
    turn = np.radians(15.0)
    x, y = 0.7 * np.sin(turn), -0.7 * np.cos(turn)
    assert found.holes[at(x, y)] == 1.0
    shoelace = 0.5 * np.abs(np.sum(outlines[0][:, 0] * np.roll(outlines[0][:, 1], -1)
                                   - outlines[0][:, 1] * np.roll(outlines[0][:, 0], -1)))  # fmt: skip
    band = np.pi * (0.886**2 - 0.514**2) - 12 * shoelace  # metal beads at its edges too
    assert float(found.holes.sum()) == pytest.approx(band * (RADIUS * SCALE) ** 2, rel=0.01)


def test_raised_plaques_cast_their_shadow_away_from_the_light() -> None:
    ground = Groundwork(plaques="oval", plaque_wide=0.1, plaque_high=0.13, seed=2)
    luma = surface(ground).reflectance[..., 1]
    plain = luma[at(0.0, -0.3)]
    for x in (0.7, -0.7):  # the light comes from 12: below the plaques of 3 and 9 lies shadow
        assert luma[at(x, 0.108)] < 0.93 * plain
        assert luma[at(x, -0.125)] > 0.95 * plain
        assert luma[at(x, 0.0)] == pytest.approx(plain, rel=0.02)


def test_a_moon_lies_in_its_aperture_alone() -> None:
    found = surface(Groundwork(moon=(0.0, -0.35, 0.16), seed=6))
    half = 0.5 * np.pi * (0.16 * RADIUS * SCALE) ** 2
    assert float(found.holes.sum()) == pytest.approx(half, rel=0.02)
    assert found.holes[at(0.0, -0.33)] == 0.0 and found.holes[at(0.0, -0.45)] == 1.0


def test_a_step_asked_for_is_cut_and_its_far_side_catches_the_light() -> None:
    ground = Groundwork(step=0.5, seed=1)
    body = sample_body(rng=np.random.default_rng(2), ground=ground)
    assert body.sunk == "double" and body.centre_radius_mm == pytest.approx(11.0)
    wall = {"sunk": "double", "centre_radius_mm": 11.0, "sink_wall_mm": 0.4, "sink_line": 0.0, "sink_shade": 0.5}
    dull, lit = (surface(ground, **wall, sink_lit=value).reflectance[..., 1] for value in (0.0, 0.4))
    far, near = at(0.0, 0.509), at(0.0, -0.509)
    assert lit[far] > 1.2 * dull[far] and lit[near] == pytest.approx(dull[near])
    assert lit[near] < 0.8 * lit[at(0.0, -0.7)]


def test_plain_ground_paints_nothing() -> None:
    found = surface(Groundwork())
    assert found.metal is None and not found.holes.any()


@pytest.mark.parametrize(("name", "value"), [("centre", "glass"), ("plaques", "star"), ("step", 1.5), ("tone", -1.0)])
def test_values_out_of_range_are_named(name: str, value: object) -> None:
    with pytest.raises(ParameterError, match=name):
        Groundwork(**{name: value})
