"""True resolution against slanted edges (ISO 12233) of the same blur, finished in the same ways."""

import math

import numpy as np
import pytest
from finishings import (
    WAYS,
    equivalent_sigma,
    finished,
    frequency_response,
    sharp_dial,
    sharpened,
    slanted_edge,
    slanted_sigma,
    through_lens,
)

from dialtell.model.reading.density import optical_density
from dialtell.model.reading.edge_response import REACH, TEN_TO_NINETY, common_sigma
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.photo import linear_light
from dialtell.model.reading.sharpness import PIXEL_SIGMA, Sharpness, measure_sharpness
from dialtell.synth.shared.terms import Process

QUARTER_OCTAVE = 2**0.25
# px/mm, process, turn, blur SD in px: the thick strokes are 0.73 mm wide
DIALS = (
    (10.0, Process.TRANSFER, 0.2, (0.6, 0.85, 1.2)),
    (20.0, Process.PHOTOGRAPHIC, 0.5, (0.7, 1.0, 1.5)),
    (30.0, Process.HAND, 0.0, (0.6, 1.3)),
)


def resolved(code: np.ndarray, dial: DialGeometry) -> Sharpness:
    return measure_sharpness(optical_density(linear_light(code), dial), dial)


@pytest.fixture(scope="module", params=DIALS, ids=lambda dial: f"{dial[0]:.0f}-px-per-mm")
def pictures(request) -> tuple[DialGeometry, dict[float, np.ndarray]]:
    """The dial, and its light behind lenses of each blur."""
    per_mm, process, turn, sigmas = request.param
    large, dial = sharp_dial(per_mm, process, turn)
    return dial, {sigma: through_lens(large, sigma) for sigma in sigmas}


@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 1.5, 2.5])
def test_the_standards_method_finds_a_known_blur(sigma: float) -> None:
    code = finished(slanted_edge(sigma), "plain")
    assert equivalent_sigma(*frequency_response(code)) == pytest.approx(sigma, rel=0.03)


def test_what_finishing_leaves() -> None:
    """Half the pixels carry half at most; tails and a veil take contrast, and little of the finest detail."""
    assert slanted_sigma(0.5, "halved") > 1.8 * 0.5
    for sigma in (0.7, 1.0, 1.5):
        assert slanted_sigma(sigma, "tails") == pytest.approx(1.09 * sigma, rel=0.03)
        assert slanted_sigma(sigma, "veil") == pytest.approx(sigma, rel=0.03)
    # an unsharp mask moves the place where the response falls to a tenth: it is not what the picture carried before
    assert slanted_sigma(1.0, "denoised", sharpen=1.0) < 0.87


@pytest.mark.parametrize("way", ["plain", *WAYS])
def test_finished_pictures_within_a_quarter_of_an_octave(pictures, way: str) -> None:
    dial, seen = pictures
    for sigma, light in seen.items():
        found = resolved(finished(light, way, noise=0.006), dial).true_pixels_per_radius / dial.pixels_per_radius
        truth = min(1.0, PIXEL_SIGMA / slanted_sigma(sigma, way))
        assert abs(math.log(found / truth)) < math.log(QUARTER_OCTAVE), (sigma, found, truth)


def test_plain_pictures_read_as_they_are(pictures) -> None:
    dial, seen = pictures
    for sigma, light in seen.items():
        assert resolved(finished(light, "plain", noise=0.006), dial).edge_sigma_px == pytest.approx(sigma, rel=0.08)


@pytest.mark.parametrize(
    ("amount", "size", "within"),
    [(a, s, QUARTER_OCTAVE) for a in (0.4, 1.0) for s in (0.8, 1.5, 3.0)]
    + [(1.5, s, 2 ** (1 / 3)) for s in (0.8, 1.5)],
)
def test_sharpening_alone_adds_nothing(pictures, amount: float, size: float, within: float) -> None:
    """A wide mask of amount 1.5 clips white and black, and cannot be seen through: a third to two thirds too high."""
    dial, seen = pictures
    for light in list(seen.values())[1:]:  # the sharpest has little more to gain
        code = finished(light, "plain", noise=0.003)
        before, after = resolved(code, dial), resolved(sharpened(code, amount, size), dial)
        change = after.true_pixels_per_radius / before.true_pixels_per_radius
        assert abs(math.log(change)) < math.log(within)


def test_edges_of_two_kinds_only() -> None:
    """None of them is like their median: its width is all there is to tell."""
    x = np.arange(-REACH, REACH + 2) - 0.5
    profile = np.array([np.clip(0.5 + x / wide, 0.0, 1.0) for wide in (2.0, 20.0)] * 10)
    one = np.ones(20)
    found = common_sigma(profile, one, 0.0 * one, one)
    assert found == pytest.approx(0.5 * (0.8 * 2 + 0.8 * 20) / TEN_TO_NINETY, rel=0.1)


def test_small_dials_and_noise() -> None:
    """154 px a radius: thin strokes are lost and the thick ones five pixels wide."""
    large, dial = sharp_dial(7.0, Process.TRANSFER, 0.3)
    for sigma in (0.6, 1.0):
        light = through_lens(large, sigma)
        for noise in (0.0, 0.02):
            found = resolved(finished(light, "plain", noise=noise), dial)
            assert abs(math.log(found.edge_sigma_px / sigma)) < math.log(QUARTER_OCTAVE)
