"""The object's body: exact disc area, parts where they belong, nothing but spec and view in the picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.photograph.body import paint_body, sample_body
from dialtell.synth.photograph.surroundings import GROUNDS
from dialtell.synth.photograph.view import homography, sample_view, to_px
from dialtell.synth.shared.errors import ParameterError

SECONDS = {"seconds_centre_mm": (0.0, 11.0), "seconds_radius_mm": 4.5}


def a_view(**changes):
    view = sample_view(rng=np.random.default_rng(0), max_side_px=600, px_per_mm=(10.0, 10.1), part_share=0.0)
    fixed = {
        "height_px": 560, "width_px": 600, "centre_x_px": 301.3, "centre_y_px": 280.7, "tilt_deg": 20.0,
        "azimuth_deg": 33.0, "perspective": 0.0, "px_per_mm": 10.0, "field": "whole",
    }  # fmt: skip
    return replace(view, **{**fixed, **changes})


def a_body(seed=1, **changes):
    return replace(sample_body(rng=np.random.default_rng(seed), **SECONDS), **changes)


@pytest.mark.parametrize("tilt", [0.0, 20.0, 35.0])
def test_dial_mask_has_the_area_of_the_exact_ellipse(tilt):
    mask = paint_body(a_body(), a_view(tilt_deg=tilt)).dial_mask
    exact = np.pi * 220.0 * 220.0 * np.cos(np.radians(tilt))
    assert float(mask.sum(dtype=np.float64)) == pytest.approx(exact, rel=0.0005)
    assert mask.min() >= 0.0 and mask.max() <= 1.0


def test_same_spec_same_bytes_and_another_seed_differs():
    view, body = a_view(), a_body(wave_share=0.02, pits=20)
    first, second = paint_body(body, view), paint_body(body, view)
    assert first.reflectance.tobytes() == second.reflectance.tobytes()
    assert first.reflectance.dtype == np.float32 and first.reflectance.shape == (560, 600, 3)
    assert paint_body(replace(body, seed=body.seed + 9), view).reflectance.tobytes() != first.reflectance.tobytes()


def test_close_up_agrees_with_the_same_place_in_the_whole_picture():
    """Also the enamel's unevenness, which belongs to the dial and not to the frame."""
    body = a_body(wave_share=0.08, wave_mm=3.0, pits=0, sunk="flat", seconds_radius_mm=0.0, centre_radius_mm=0.0)
    whole = paint_body(body, a_view(tilt_deg=0.0)).reflectance[140:300, 200:380]
    part = paint_body(
        body,
        a_view(tilt_deg=0.0, height_px=160, width_px=180, centre_x_px=101.3, centre_y_px=140.7, field="part"),
    )
    assert part.dial_mask.min() == 1.0
    np.testing.assert_allclose(part.reflectance, whole, atol=0.02)
    assert whole[..., 1].std() > 0.02  # there is unevenness to agree on


def test_enamel_has_its_colour_and_holes_are_dark():
    colour = (0.8, 0.76, 0.7)
    body = a_body(enamel_rgb=colour, wave_share=0.0, pits=0, rounding=0.0, holes=((0.0, 0.0, 1.0, 0),))
    surface = paint_body(body, a_view())
    x, y = to_px(homography(a_view()), np.array([-8.0, 14.0])).astype(int)
    np.testing.assert_allclose(surface.reflectance[y, x], colour, rtol=0.02)
    assert surface.reflectance[280, 301].max() < 0.15
    hole_area = np.pi * 100.0 * np.cos(np.radians(20.0))
    assert float(surface.holes.sum()) == pytest.approx(hole_area, rel=0.005)


def test_sink_is_dark_toward_the_light_and_bright_across():
    body = a_body(
        sunk="single", seconds_x_mm=0.0, seconds_y_mm=11.0, seconds_radius_mm=5.0, centre_radius_mm=0.0,
        sink_wall_mm=0.4, sink_shade=0.7, sink_line=0.0, light_azimuth_deg=0.0, wave_share=0.0, pits=0, holes=(),
    )  # fmt: skip
    view = a_view(tilt_deg=0.0, roll_deg=0.0, height_px=600, centre_x_px=300.0, centre_y_px=280.0)
    luma = paint_body(body, view).reflectance[..., 1]
    near, far, plain = luma[280 + 110 - 52, 300], luma[280 + 110 + 52, 300], luma[280 - 100, 300]
    assert near < 0.5 * plain < plain < far


@pytest.mark.parametrize("ground", GROUNDS)
def test_every_ground_paints(ground):
    body = a_body()
    body = replace(body, around=replace(body.around, ground=ground, rim="none"))
    corner = paint_body(body, a_view()).reflectance[:40, :40]
    assert np.isfinite(corner).all() and corner.min() >= 0.0 and corner.std() > 0.0


@pytest.mark.parametrize(("name", "value"), [("sunk", "deep"), ("wave_share", 0.5), ("pits", -1), ("sink_shade", 2.0)])
def test_values_out_of_range_are_named(name, value):
    with pytest.raises(ParameterError, match=name):
        a_body(**{name: value})


def test_body_and_view_must_agree_on_the_radius():
    with pytest.raises(ParameterError, match="dial_radius_mm"):
        paint_body(a_body(), a_view(dial_radius_mm=20.0))
