import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from verdicts_made import patches, verdict

from dialtell.evaluate.score.remarks import remarks
from dialtell.model.net.resolution import Resolution
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.steps import Reading
from dialtell.model.reading.twelve import TOLD, Twelve

FINE = Resolution(800, 700, 640, diameter_mm=44.873)
# of sharpness and zones only what warnings look at
CLEAR, SCREEN = SimpleNamespace(halftone=False), SimpleNamespace(halftone=True, screen_px=3.2)
PLAIN = Reading(
    geometry=DialGeometry((500, 500), (400, 390)),
    density=np.zeros((1000, 1000), np.float32),
    sharpness=CLEAR,
    divisions=None,
    twelve=Twelve(0.0, 0.9),
    make={},
    zones=SimpleNamespace(named=True, track=None),
    patches=patches(),
)
CUT = replace(PLAIN.geometry, seen=0.86)
TILTED = replace(PLAIN.geometry, axes_px=(400.0, 400 * math.cos(math.radians(31))))


def test_a_plain_reading_needs_no_warning():
    assert remarks(PLAIN, verdict(2.0, 1.5), FINE) == []


@pytest.mark.parametrize(
    ("reading", "resolution", "said"),
    [
        (replace(PLAIN, geometry=CUT), FINE, "14% of the dial's outline lies outside the frame"),
        (replace(PLAIN, geometry=TILTED), FINE, "seen at 31 degrees from square"),
        (
            replace(PLAIN, twelve=Twelve(0.0, 0.6)),
            FINE,
            "12 o'clock stands was not made out for certain; it is taken to be up",
        ),
        (replace(PLAIN, sharpness=SCREEN), replace(FINE, screened=True), "A dot screen of 3.2 px"),
        (PLAIN, Resolution(1000, 300, 640), "stores 1000 px across the dial but resolves about 300"),
        (PLAIN, replace(FINE, diameter_mm=240.0), "240.0 mm is unusual"),
    ],
)
def test_each_weakness_has_its_warning(reading, resolution, said):
    (only,) = remarks(reading, verdict(2.0, 1.5), resolution)
    assert said in only


def test_where_twelve_is_taken_to_be_is_said_as_it_appears():
    """Nothing is said where it was told, given, where no place on the dial is known, or where the reason says it."""
    geometry = replace(PLAIN.geometry, rotation=math.radians(92))
    unsure = replace(PLAIN, geometry=geometry, twelve=Twelve(1.6, TOLD - 0.01))
    (said,) = remarks(unsure, verdict(2.0, 1.5), FINE)
    assert "it is taken to be right. Give --twelve" in said
    for twelve in (Twelve(1.6, TOLD), Twelve(1.6, 1.0), Twelve(1.6, 0.4), None):
        assert remarks(replace(unsure, twelve=twelve), verdict(2.0, 1.5), FINE) == []


def test_contradiction_is_the_first_warning():
    found = remarks(replace(PLAIN, geometry=CUT), verdict(2.0, 1.5, -1.5), FINE)
    assert len(found) == 2 and found[0].startswith("Zones contradict each other")


def test_of_several_photographs_a_dot_screen_is_named_only_where_all_show_one():
    assert remarks(replace(PLAIN, sharpness=SCREEN), verdict(2.0, 1.5), FINE) == []
