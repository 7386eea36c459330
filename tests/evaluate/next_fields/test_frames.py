"""The frames of what to photograph next, drawn over the dial."""

from __future__ import annotations

import numpy as np

from dialtell.evaluate.next_fields.frames import next_photographs
from dialtell.evaluate.pages.templates import filled
from dialtell.model.reading.geometry import DialGeometry

PHOTO = np.full((600, 800, 3), 200, np.uint8)
DIAL = DialGeometry((500.0, 300.0), (200.0, 200.0), 0.0, 0.0)
FIELD = {"x": 0.5, "y": 0.0, "width": 0.6, "pixels": 924, "px_per_mm": 69.0, "reason": "Minute <track> about 3."}


def test_a_frame_is_drawn_where_it_lies_in_the_picture_of_the_dial() -> None:
    shown = next_photographs([FIELD], PHOTO, DIAL)
    assert shown is not None and shown.picture is not None
    assert abs(shown.picture["width"] - 424) <= 2  # the dial with its margin, cut out
    (frame,) = shown.picture["frames"]
    corners = np.array([[float(v) for v in pair.split(",")] for pair in frame["points"].split()])
    assert np.allclose(np.ptp(corners, axis=0), 120, atol=1)
    assert abs(frame["x"] - (212 + 100)) <= 2 and abs(frame["y"] - 212) <= 2
    assert "950 pixels" in shown.says and "69 pixels per millimetre" in shown.says


def test_nothing_is_shown_of_a_settled_dial_and_no_frame_of_the_whole() -> None:
    assert next_photographs([], PHOTO, DIAL) is None and next_photographs([FIELD], PHOTO, None) is None
    shown = next_photographs([FIELD | {"width": 2.1, "px_per_mm": None}], PHOTO, DIAL)
    assert shown is not None and shown.picture is None and "millimetre" not in shown.says
    both = next_photographs([FIELD | {"width": 2.1}, FIELD], PHOTO, DIAL)
    assert both is not None and both.picture is not None and len(both.reasons) == 2
    assert [frame["number"] for frame in both.picture["frames"]] == [2]
    assert both.says.startswith("Begin with the whole dial")


def test_the_part_of_the_page_is_escaped() -> None:
    shown = next_photographs([FIELD], PHOTO, DIAL)
    assert "Minute &lt;track&gt;" in filled("next_photographs", next=shown)
