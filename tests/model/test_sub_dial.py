"""A sub-dial has divisions round it; a winding hole, an arbor or plain enamel has none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from drawn_dial import photographed

from dialtell.model.reading.density import optical_density
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.sub_dial import is_divided
from dialtell.model.reading.zones import Circle
from dialtell.synth.design.design import Variety
from dialtell.synth.photograph.view import homography, to_px
from dialtell.synth.scene import Range, radiance, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.train.bags.bags import known_geometry

FRONT = DialGeometry((600.0, 600.0), (560.0, 560.0))
SECONDS = Circle(0.0, 0.5, 0.24, 0.9)


def canvas() -> np.ndarray:
    return np.random.default_rng(3).normal(0.0, 0.01, (1200, 1200)).astype(np.float32)


def at(turn: float, radius: float) -> tuple[int, int]:
    x, y = FRONT.to_photo(np.array([SECONDS.x + radius * np.sin(turn), SECONDS.y - radius * np.cos(turn)]))
    return round(float(x)), round(float(y))


def test_sixty_ticks_are_divisions():
    flat = canvas()
    for tick in range(60):
        turn = tick * np.pi / 30
        cv2.line(flat, at(turn, 0.205), at(turn, 0.225), 1.2, 2)
    assert is_divided(flat, FRONT, SECONDS)
    small = FRONT.scaled(0.2)
    assert not is_divided(cv2.resize(flat, None, fx=0.2, fy=0.2, interpolation=cv2.INTER_AREA), small, SECONDS)


@pytest.mark.parametrize("kind", ["hole", "ring", "arbor", "enamel", "twelve marks"])
def test_holes_rings_and_bare_enamel_are_none(kind):
    flat, middle = canvas(), at(0.0, 0.0)
    if kind in ("hole", "arbor"):
        cv2.circle(flat, middle, 120 if kind == "hole" else 40, 1.5, -1)
    if kind == "ring":
        cv2.circle(flat, middle, 125, 1.0, 3)
    if kind == "twelve marks":
        for hour in range(12):
            cv2.circle(flat, at(hour * np.pi / 6, 0.2), 7, 1.2, -1)
    assert not is_divided(flat, FRONT, SECONDS)


def test_drawn_seconds_bits_are_known_and_other_places_are_not():
    """On twenty dials drawn by hand with a seconds bit: told on nine of ten, and nowhere else on any of them."""
    variety = Variety(uncommon=0.0)  # which have sub-dials at other places too
    scope = Range(pixels_per_radius=(420.0, 440.0), tilt=4.0, wear=(0.0, 0.2), hands_off=1.0, variety=variety)
    told = asked = 0
    for index in range(60):
        spec = sample_spec(88_002, index, scope, Process.HAND)
        if not spec.design.seconds_bit or asked == 20:
            continue
        geometry = known_geometry(spec, rng=np.random.default_rng(0), jitter=0.0)
        density = optical_density(photographed(radiance(spec)).grey, geometry)
        own, mm = spec.design.subdials[0], spec.design.radius_mm
        # perspective moves a sub-dial off its place in the outline
        x, y = geometry.to_dial(to_px(homography(spec.view), mm * np.array([[own.x, own.y]])))[0]
        asked += 1
        told += is_divided(density, geometry, Circle(float(x) + 0.008, float(y), 1.03 * own.radius, 1.0))
        for x, y in ((0.0, -0.45), (0.35, 0.0), (-0.35, 0.0)):
            assert not is_divided(density, geometry, Circle(x, y, 0.2, 0.9))
    assert asked == 20 and told >= 17, (asked, told)
