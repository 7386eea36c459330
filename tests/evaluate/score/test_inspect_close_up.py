"""The page of a close-up: what does not apply is left out and said, and the resolution is that of the whole dial."""

import cv2
import numpy as np
import pytest
from pages_made import without_line_ups

from dialtell.evaluate.inspection.advice import reached_words
from dialtell.evaluate.inspection.one_photo import inspect_photo
from dialtell.evaluate.inspection.stated import NO_OUTLINE, drawable
from dialtell.evaluate.score.reasons import NOT_TOLD_APART
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import Known


@pytest.fixture(scope="module")
def weights(make_weights):
    return load_weights(make_weights(9.0, 9.0))


@pytest.fixture(scope="module")
def unnamed(drawn_photo, drawn_truth, weights, tmp_path_factory):
    """Document and page of figures and hub of the drawn dial, no track, its scale given."""
    pixels = cv2.imread(str(drawn_photo))
    x, y, a = *drawn_truth.dial.center_px, drawn_truth.dial.axes_px[0]
    part = pixels[round(y - 0.84 * a) : round(y - 0.3 * a), round(x - 0.45 * a) : round(x + 0.45 * a)]
    folder = tmp_path_factory.mktemp("close")
    cv2.imwrite(str(folder / "close.png"), part)
    known = Known(diameter_mm=44.0, close_up=True, pixels_per_mm=drawn_truth.dial.pixels_per_radius / 22.0)
    document = inspect_photo(
        folder / "close.png", folder / "close.html", weights, known=known, still=folder / "still.png"
    )
    return document, (folder / "close.html").read_text(encoding="utf-8"), folder / "still.png"


def test_the_page_of_a_close_up_has_its_reading(unnamed):
    document, page, still = unnamed
    dial = document["dial"]
    assert dial["call"] == "hand-painted" and dial["close_up"]["located"] is False
    assert dial["geometry"] is not None  # it carries the scale in the document
    assert dial["reason"] in page and "This dial looks painted by hand." in page
    assert "data:image/png" in page and 'alt="Rest of the dial, straightened"' in page  # the map, and the close view
    assert still.read_bytes().startswith(b"\x89PNG")


def test_what_does_not_apply_is_left_out_and_said(unnamed):
    document, page, _ = unnamed
    page = without_line_ups(page)
    assert NO_OUTLINE in page and NOT_TOLD_APART in page
    head = page[: page.index("</header>")]
    assert "<ellipse" not in head and "<polygon" not in head
    assert "Drawn: painted by hand" not in page and "on a dial of a like design" not in page
    assert document["style_hints"] == [] and "Style of the dial" not in page


def test_resolution_is_that_of_the_whole_dial(unnamed, drawn_truth):
    document, page, _ = unnamed
    across, per_mm = document["dial"]["geometry"]["pixels_across"], document["dial"]["geometry"]["pixels_per_mm"]
    assert across == pytest.approx(2 * drawn_truth.dial.pixels_per_radius, rel=1e-3)
    words = f"At the scale of this close-up the whole dial would be {across:.0f} pixels across, or {per_mm:.1f} pixels"
    assert words in page and "pixels per millimetre are needed" in page


def test_a_close_up_with_its_place_keeps_everything():
    record = {
        "close_up": {"located": True}, "geometry": {"center_px": [1, 2], "axes_px": [3, 3]}, "warnings": [],
        "zones": [{"polygon_px": [[0, 0]], "judged": False, "reason": "Not found."}],
    }  # fmt: skip
    assert drawable(record) == record
    whole = {key: value for key, value in record.items() if key != "close_up"}
    assert drawable(whole) == whole


def test_a_close_up_without_a_scale_is_a_page_too(tmp_path, weights):
    cv2.imwrite(str(tmp_path / "bare.png"), np.full((300, 400, 3), 230, np.uint8))
    document = inspect_photo(tmp_path / "bare.png", tmp_path / "bare.html", weights, known=Known(close_up=True))
    page = (tmp_path / "bare.html").read_text(encoding="utf-8")
    assert document["dial"]["call"] == "undetermined" and "the scale of this close-up is unknown" in page


@pytest.mark.parametrize(
    ("resolution", "close_up", "said", "unsaid"),
    [
        (Resolution(820, 800, 600, 41.0), None,
         ["Here the dial is 820 pixels across, or 20.0 pixels per millimetre: enough.",
          "14.6 pixels per millimetre are needed, which is this dial at 600 pixels across."], ["no more detail"]),
        (Resolution(820, 410, 600, 41.0), None,
         ["no more detail than at 410 pixels across, or 10.0 pixels per millimetre: too few."], []),
        (Resolution(820, 800, 900), None,
         ["820 pixels across: too few. 900 pixels across the dial are needed; its size in millimetres is not known."],
         ["per millimetre"]),
        (Resolution(820, 0, 600), None, ["how much of that is real detail cannot be told"], ["enough", "too few"]),
        (Resolution(2000, 1900, 600), {"scale_spread": 0.42},
         ["the whole dial would be 2000 pixels across: enough.", "The scale is known only to within 42%."],
         ["Here the dial"]),
    ],
)  # fmt: skip
def test_resolution_reached_against_needed(resolution, close_up, said, unsaid):
    words = reached_words(resolution, close_up)
    assert all(part in words for part in said) and not any(part in words for part in unsaid), words
