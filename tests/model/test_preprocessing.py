"""What the net's input means: the patches of one drawn dial held to what the stated version makes of it."""

from functools import cache

import numpy as np
import pytest
from drawn_dial import draw, photographed, scene
from seen_maps import drawn_seen, look_of

from dialtell.model.net.preprocessing import VERSION, difference, preprocessing
from dialtell.model.reading import figure_patches, patches, zones
from dialtell.model.reading.close_up import unnamed_geometry
from dialtell.model.reading.steps import read_at, read_unnamed
from dialtell.synth.shared.terms import ZONES

# by reading: full density, resolution, then per zone number of patches, mean, SD, and how they lie along two patterns,
# and the same of single shapes
FROZEN_VERSION = 5  # of the lattice what version 3 made of it
FROZEN: dict[str, list[list[float]]] = {
    "whole": [
        [1.4761, -1.1083],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [60.0, 0.2097, 0.3658, 0.1021, 0.0333, 0.0525],
        [58.0, 0.0948, 0.2153, 0.0295, 0.0137, 0.031],
        [33.0, 0.0709, 0.185, 0.0128, 0.0153, 0.0369],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [22.0, 0.0525, 0.2013, 0.0446, 0.0353, 0.0058],
    ],
    "close": [
        [1.4722, -1.1064],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [12.0, 0.2019, 0.3611, 0.1219, 0.0366, 0.0455],
        [14.0, 0.0954, 0.2164, 0.0298, 0.0138, 0.0313],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [5.0, 0.0462, 0.19, 0.0415, 0.0357, 0.0005],
    ],
    "unnamed": [
        [1.4493, -1.1034],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [69.0, 0.1156, 0.2547, 0.0313, 0.0112, 0.0561],
        [6.0, 0.0458, 0.1908, 0.0339, 0.0256, 0.0118],
    ],
}


def digest(reading):
    """Coarse numbers that follow any change of what the net is shown."""
    axis = np.cos(np.pi * (np.arange(patches.SIDE) + 0.5) / patches.SIDE)
    waves = [np.cos(2 * np.pi * k * (np.arange(patches.SIDE) + 0.5) / patches.SIDE) for k in (2, 5)]
    found = [[reading.patches.full, reading.patches.resolution]]
    single = reading.patches.fine.density  # no patch of a larger scale is resolved here
    for some in (*(reading.patches.density[reading.patches.zone == index] for index in range(len(ZONES))), single):
        if len(some):
            along = [np.abs(some @ wave).mean() / patches.SIDE for wave in waves]
            across = np.abs(some.transpose(0, 2, 1) @ axis).mean() / patches.SIDE
            found.append([len(some), some.mean(), some.std(), *along, across])
        else:
            found.append([0, 0, 0, 0, 0, 0])
    return [[round(float(value), 4) for value in row] for row in found]


@cache
def picture():
    drawn = scene(1150.0, tilt=12.0, angle=25.0, rotation=3.0, blur=0.9, noise=0.004, hands=True)
    return drawn, draw(drawn, np.random.default_rng(2))


def readings():
    drawn, light = picture()
    close = light[150:800, 700:1400].copy()
    x, y = drawn.dial.center_px
    geometry = type(drawn.dial)((x - 700, y - 150), drawn.dial.axes_px, drawn.dial.angle)
    size = drawn.dial.pixels_per_radius
    look = look_of(drawn_seen(drawn.dial.rotation))  # whatever the reader has learnt
    return {
        "whole": digest(read_at(photographed(light), drawn.dial, drawn.dial.twelve_deg, look=look)),
        "close": digest(read_at(photographed(close), geometry, drawn.dial.twelve_deg, look=look)),
        "unnamed": digest(read_unnamed(photographed(close), unnamed_geometry(close.shape, size))),
    }


def apart(found, frozen):
    """Whether two digests differ by more than rounding and library versions would make them."""
    for name, rows in frozen.items():
        for row, (one, two) in enumerate(zip(found[name], rows, strict=True)):
            if row == 0:
                if abs(one[0] - two[0]) > 0.01 or abs(one[1] - two[1]) > 0.03:
                    return True
            elif abs(one[0] - two[0]) > max(1, 0.01 * two[0]) or np.abs(np.subtract(one[1:], two[1:])).max() > 0.004:
                return True
    return False


@pytest.fixture(scope="module")
def found():
    return readings()


def test_a_change_of_the_patches_asks_for_a_new_version(found):
    assert VERSION == FROZEN_VERSION, "set FROZEN_VERSION and FROZEN to what the new version gives"
    assert not apart(found, FROZEN), f"patches changed: raise preprocessing.VERSION, retrain, set FROZEN to {found}"


@pytest.mark.parametrize(
    ("module", "name", "value"),
    [(patches, "MOST_INK", 0.3), (patches, "LEAST_INK", 0.05), (patches, "FULL", (0.9, 0.9, 0.2, 2.0)),
     (zones, "NEAR", 0.15), (figure_patches, "BESIDE", 0.7), (patches, "MOST_HIDDEN", 0.5), (patches, "INK", 0.4)],
)  # fmt: skip
def test_the_digest_notices(monkeypatch, found, module, name, value):
    monkeypatch.setattr(module, name, value)
    assert apart(readings(), found)


def test_differences_in_words():
    assert difference(preprocessing()) == ""
    old = {key: value for key, value in preprocessing().items() if key != "version"}
    assert difference(old) == f"version is not stated, here {VERSION}"
    assert "ink_density is 0.2, here 0.15" in difference({**preprocessing(), "ink_density": 0.2})
    assert "more is 1, here unknown" in difference({**preprocessing(), "more": 1})
    assert difference(None) == "no preprocessing is stated"
