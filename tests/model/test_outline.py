"""Dials are found and their edge followed to a fraction of a percent; pictures without a dial are refused.

Bounds on drawn scenes are in dial radii: largest distance of the found outline from the drawn one. What rests on how
well the reader is trained is asked of most of several pictures.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from checkout import PHOTOS
from drawn_dial import Scene, cut, draw, outline_error, photographed, scene
from skimage import data

from dialtell.evaluate.score.recognised import unrecognised
from dialtell.model.net.verdict import LEAST_PATCHES
from dialtell.model.reader.file import Certainty, Reader, load_reader
from dialtell.model.reader.glance import Glance
from dialtell.model.reader.net import SIDE, TURNS
from dialtell.model.reading.ellipse import Ellipse
from dialtell.model.reading.looks import FLATTEST
from dialtell.model.reading.outline import Found, NoDial, apart, find_outline, followed
from dialtell.model.reading.photo import Photo, read_photo
from dialtell.model.reading.steps import read_dial
from dialtell.synth.shared.terms import MAKES, SEEN
from dialtell.train.reader.finish import RIGHT_OUTLINE, photograph_of, told_of

SCENES: dict[str, tuple[Scene, float]] = {
    "dark ground": (scene(420), 0.002),
    "light ground, dark line": (scene(420, ground=0.6, line=0.01), 0.003),
    "ground lighter than the enamel": (scene(420, ground=0.9, enamel=0.6), 0.003),
    "tilt 33, strong texture": (scene(420, tilt=33, angle=40, texture=0.8), 0.003),
    "tilt 35 across": (scene(420, tilt=35, angle=100, blur=1), 0.002),
    "case, gap, bright rim, hands": (scene(420, gap=0.015, rim=0.12, hands=True, tilt=20), 0.003),
    "rim close to the enamel": (scene(420, gap=0.005, rim=0.1, ground=0.5), 0.004),
    "light falls off, texture": (scene(420, shading=0.8, ground=0.3, texture=0.5), 0.003),
    "a sixth of the outline cut off": (cut(scene(420, texture=0.5, hands=True), 0.85), 0.003),
    "a quarter of the outline cut off": (cut(scene(420, texture=0.5), 0.7), 0.003),
    "nearly half of the outline cut off": (cut(scene(420, texture=0.5), 0.2), 0.004),
    "light falls to a third across the dial": (scene(420, shading=1.0, texture=0.3), 0.004),
    "noise and blur": (scene(420, blur=2, noise=0.08, texture=0.5), 0.006),
    "200 px across": (scene(200, blur=1, margin=0.2), 0.004),
    "small in the frame": (scene(260, margin=1.2, texture=0.8), 0.004),
    "2000 px across": (scene(2000, tilt=20, texture=0.4, gap=0.01, rim=0.1, supersample=1), 0.001),
    "no rings": (scene(420, rings=False, seconds=False, texture=0.3), 0.003),
}


def find(light: np.ndarray) -> Found | NoDial:
    return find_outline(photographed(light), load_reader())


@pytest.mark.parametrize("name", SCENES)
def test_outline_of_drawn_dials(name: str) -> None:
    drawn, bound = SCENES[name]
    found = find(draw(drawn, np.random.default_rng(4)))
    assert isinstance(found, Found), found
    assert outline_error(found.geometry, drawn.dial) < bound
    assert found.geometry.rotation == 0 and found.certainty > 0.5


def test_random_scenes_right_or_silent() -> None:
    # an inner ring or a rim taken for the edge would put the error above 0.05
    refused = 0
    for k in range(24):
        rng = np.random.default_rng(1000 + k)
        kinds = ({}, {"gap": rng.uniform(0.005, 0.03), "rim": rng.uniform(0.05, 0.15)}, {"line": 0.015})
        drawn = scene(
            rng.uniform(220, 480),
            tilt=rng.uniform(0, 34),
            angle=rng.uniform(0, 180),
            rotation=rng.uniform(-15, 15),
            ground=rng.uniform(0.02, 0.35),
            texture=rng.uniform(0, 0.8),
            shading=rng.uniform(0, 0.6),
            blur=rng.uniform(0.3, 2),
            noise=rng.uniform(0, 0.04),
            enamel=rng.uniform(0.5, 0.85),
            margin=rng.uniform(0.08, 0.7),
            hands=bool(rng.random() < 0.5),
            supersample=2,
            **kinds[k % 3],
        )
        found = find(draw(drawn if k % 4 else cut(drawn, 0.8), rng))
        if isinstance(found, NoDial):
            refused += 1
            continue
        assert outline_error(found.geometry, drawn.dial) < 0.02, k
    assert refused <= 2


def test_ring_on_equal_ground_is_never_taken_for_the_edge() -> None:
    # enamel and ground alike: the printed rings are the only full circles; the outline or nothing
    for number, texture in ((0, 0.0), (1, 0.3), (2, 0.8)):
        drawn = scene(420, ground=0.62, enamel=0.65, texture=texture)
        found = find(draw(drawn, np.random.default_rng(number)))
        assert not found or outline_error(found.geometry, drawn.dial) < 0.02


def test_drawn_photographs() -> None:
    """Dials in cases, hands and rooms, and pictures of none: 15 of 16 and 6 of 6 measured with interim weights."""
    told = [told_of(photograph_of(77, index, 700), load_reader()) for index in range(22)]
    dials, others = [one for one in told if one.dial], [one for one in told if not one.dial]
    assert len(dials) == 16 and len(others) == 6
    assert sum(one.found and one.off < RIGHT_OUTLINE for one in dials) >= 13
    assert sum(not one.found for one in others) >= 5


def test_the_edge_is_followed_or_left() -> None:
    """A start off by less than the band comes to lie on the edge; on plain ground it stays where it was."""
    drawn = scene(600, blur=0.7)
    grey = draw(drawn, np.random.default_rng(0))
    (x, y), (a, b) = drawn.dial.center_px, drawn.dial.axes_px
    start = Ellipse((x + 1.0, y - 1.5), (a * 1.004, b * 0.998), 0.0)
    found = followed(grey, start)
    assert outline_error(found, drawn.dial) < 0.001 and found.support > 0.9
    kept = followed(np.full_like(grey, 0.5), start)
    assert apart(start, Ellipse(kept.center_px, kept.axes_px, kept.angle)) < 1e-9


class Fickle:
    """A net that tells a smaller disc with each look, and nothing from one on."""

    def __init__(self, silent: int) -> None:
        self.looks, self.silent = 0, silent

    def __call__(self, picture: np.ndarray, turn: bool) -> Glance:
        self.looks += 1
        axis = np.arange(SIDE // 2) * 2.0 + 1.0 - SIDE / 2
        place = np.stack(np.meshgrid(axis, axis)) / 130.0
        inside = 20.0 * (1.0 - np.hypot(*place)) if self.looks < self.silent else np.full(place.shape[1:], -5.0)
        return Glance(np.zeros((len(SEEN), SIDE, SIDE)), inside.astype(np.float32), place, np.zeros(len(MAKES)),
                      np.zeros(TURNS) if turn else None)  # fmt: skip


@pytest.mark.parametrize("silent", [1, 2, 3, 4, 5])
def test_an_outline_lost_by_any_look_is_none(silent: int) -> None:
    net = Fickle(silent)
    found = find_outline(photographed(np.full((900, 900), 0.5)), Reader(net, "fickle", "0", "", Certainty(), {}))
    assert isinstance(found, NoDial) and net.looks >= silent


WITHOUT = (
    "coins", "page", "astronaut", "camera", "coffee", "moon", "retina", "cat", "text", "brick", "grass", "gravel",
    "rocket", "colorwheel", "clock", "hubble_deep_field",
)  # fmt: skip


def test_pictures_without_a_dial() -> None:
    """Of skimage, whose clock is smeared by motion; 15 of 16 measured with interim weights (the moon passed for one).

    What passes for a dial must not show strokes enough for a call, or not be understood."""
    refused = 0
    for name in WITHOUT:
        codes = np.ascontiguousarray(getattr(data, name)())
        codes = codes[..., :3] if codes.ndim == 3 else codes
        found = read_dial(Photo(Path(name), codes, (codes.shape[1], codes.shape[0])))
        if isinstance(found, NoDial):
            assert not found and len(found.reason) > 20
            refused += 1
        else:
            assert len(found.patches) < LEAST_PATCHES or unrecognised(found) is not None, name
            assert min(found.geometry.axes_px) >= FLATTEST * max(found.geometry.axes_px), name
    assert refused >= 14


def test_noise_plain_disc_and_too_much_cut_off() -> None:
    rng = np.random.default_rng(0)
    for light in (rng.random((400, 500)), np.full((300, 300), 0.5), np.zeros((300, 300))):
        found = find(light)
        assert isinstance(found, NoDial) and len(found.reason) > 20
    bare = replace(scene(400), figures=False, ticks=False, rings=False, seconds=False)
    assert isinstance(find(draw(bare, rng)), NoDial)
    assert isinstance(read_dial(photographed(draw(cut(scene(400), -0.8), rng))), NoDial)
    strip = read_dial(photographed(draw(cut(scene(400), -0.6), rng)))  # an arc of a quarter: no whole dial at least
    assert isinstance(strip, NoDial) or (strip.close_up is not None and strip.outline_certainty is None)
    found = find(draw(scene(40, blur=0.5), rng))
    assert isinstance(found, NoDial) and "px across; give a larger photograph" in found.reason
    found = find(np.zeros((20, 400)))
    assert isinstance(found, NoDial) and "only 20 px on its short side" in found.reason


# evaluation photographs are not part of the project: beside the checkout, or where DIALTELL_PHOTOS says
# read off the pictures by eye: centre and half width, half height of the white, px
BY_EYE = {
    "stopwatch-dial.jpg": ((561, 600), (506, 496.5)),
    "twenty-four-hour-dial.jpg": ((536, 546), (426, 417)),
}


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="no evaluation photographs beside the checkout")
@pytest.mark.parametrize("name", BY_EYE)
def test_real_dials(name: str) -> None:
    found = find_outline(read_photo(PHOTOS / name), load_reader())
    assert found
    center, half = BY_EYE[name]
    assert np.hypot(*np.subtract(found.geometry.center_px, center)) < 0.02 * 2 * half[0]
    assert found.geometry.axes_px == pytest.approx(half, rel=0.015)


def test_a_dial_lost_in_the_last_look_is_no_dial(monkeypatch):
    """Each look moves the outline by a third, so that none is the last but the fourth, which shows nothing."""
    from dialtell.model.reading import outline

    shown = [Ellipse((192.0 + 50.0, 192.0), (160.0, 160.0), 0.0)] * 3 + [None]
    first = SimpleNamespace(
        outline=lambda shape: Ellipse((192.0, 192.0), (80.0, 80.0), 0.0), in_photo=lambda found: found
    )

    def look(codes, current, reader):
        own = shown.pop(0)
        moved = Ellipse((current.center[0] + 25.0, current.center[1]), current.axes, 0.0)
        return SimpleNamespace(outline=lambda shape: own, placed=lambda shape: own, in_photo=lambda found: moved)

    monkeypatch.setattr(outline, "first_look", lambda codes, reader: first)
    monkeypatch.setattr(outline, "square_look", look)
    found = find_outline(SimpleNamespace(codes=np.zeros((400, 400, 3), np.uint8)), load_reader())
    assert isinstance(found, NoDial) and "no dial" in found.reason and shown == []
