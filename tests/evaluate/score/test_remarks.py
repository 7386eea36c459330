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

FINE = Resolution(800, 700, 640, diameter_mm=44.873)
# of sharpness, rotation and zones only what warnings look at
CLEAR, SCREEN = SimpleNamespace(halftone=False), SimpleNamespace(halftone=True, screen_px=3.2)
PLAIN = Reading(
    geometry=DialGeometry((500, 500), (400, 390)),
    density=np.zeros((1000, 1000), np.float32),
    sharpness=CLEAR,
    rotation=SimpleNamespace(),
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
        (replace(PLAIN, rotation=None), FINE, "12 o'clock is assumed to be up"),
        (replace(PLAIN, sharpness=SCREEN), FINE, "A dot screen of 3.2 px"),
        (PLAIN, Resolution(1000, 300, 640), "stores 1000 px across the dial but resolves about 300"),
        (PLAIN, replace(FINE, diameter_mm=240.0), "240.0 mm is unusual"),
    ],
)
def test_each_weakness_has_its_warning(reading, resolution, said):
    (only,) = remarks(reading, verdict(2.0, 1.5), resolution)
    assert said in only


def test_what_was_found_is_not_said_to_be_missing():
    """No sentence that says there is no track where one was found, none at all where 12 was said."""
    lost = replace(PLAIN, rotation=None)
    assert "No minute track was found" in remarks(lost, verdict(2.0, 1.5), FINE)[0]
    found = replace(lost, zones=SimpleNamespace(named=True, track=(0.88, 0.94)))
    (said,) = remarks(found, verdict(2.0, 1.5), FINE)
    assert said.startswith("How the dial is turned was not found") and "--twelve" in said
    assert remarks(replace(lost, twelve_given=True), verdict(2.0, 1.5), FINE) == []


def test_contradiction_is_the_first_warning():
    found = remarks(replace(PLAIN, geometry=CUT), verdict(2.0, 1.5, -1.5), FINE)
    assert len(found) == 2 and found[0].startswith("Zones contradict each other")
