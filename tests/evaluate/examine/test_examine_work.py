"""What worker processes do: views are the photograph's light reduced, and a marked place needs no new look."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from checkout import ROOT

from dialtell.evaluate.examine import work
from dialtell.evaluate.score.score import score_photo
from dialtell.model.reading.known import Known, MarkedPlace, Outline
from dialtell.model.reading.photo import read_photo

KINDS = {"colour": (3, np.uint8), "grey": (1, np.uint8), "deep": (3, np.uint16), "transparent": (4, np.uint8)}


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    """Nothing open from another test, and the shipped weights."""
    for name in ("_held", "_place", "_open", "_read"):
        monkeypatch.setattr(work, name, {})
    work.begin(None)


@pytest.mark.parametrize("kind", KINDS)
def test_a_view_is_the_light_of_whole_px(kind, tmp_path, monkeypatch):
    """Against OpenCV's reduction of all of the light at once."""
    monkeypatch.setattr(work, "VIEW_PX", 100)
    channels, depth = KINDS[kind]
    path = tmp_path / "photo.png"
    codes = np.random.default_rng(1).integers(0, np.iinfo(depth).max, (202, 301, channels), endpoint=True, dtype=depth)
    cv2.imwrite(str(path), codes)
    photo = read_photo(path)
    wanted = cv2.resize(photo.pixels[:201, :300], (100, 67), interpolation=cv2.INTER_AREA)
    assert work._reduced(photo, 3) == pytest.approx(wanted, abs=1e-5)
    looked = work.look(path, tmp_path / "view.jpg", 10**6)
    assert (looked.width, looked.height) == (301, 202)
    assert cv2.imread(str(tmp_path / "view.jpg")).shape == (67, 100, 3)
    assert max(cv2.imdecode(np.frombuffer(looked.thumbnail, np.uint8), cv2.IMREAD_COLOR).shape) == 100


def test_small_photographs_are_shown_as_they_are(tmp_path):
    path = tmp_path / "photo.png"
    cv2.imwrite(str(path), np.full((40, 60, 3), 200, np.uint8))
    work.look(path, tmp_path / "view.jpg", 10**6)
    assert cv2.imread(str(tmp_path / "view.jpg")).shape == (40, 60, 3)


def test_a_marked_place_is_read_without_looking_again(monkeypatch):
    """The same record as from the beginning, and the reader is not asked."""
    from dialtell.model.reading import steps

    photo = ROOT / "evaluate/examples/painted.jpg"
    plain = work.read(photo, Known())
    place = MarkedPlace("stain", ((300.0, 300.0), (900.0, 300.0), (900.0, 700.0), (300.0, 700.0)))
    with monkeypatch.context() as held:
        held.setattr(steps, "first_look", lambda *_: pytest.fail("looked at anew"))
        held.setattr(steps, "square_look", lambda *_, **__: pytest.fail("looked at anew"))
        marked = work.read(photo, Known(places=(place,)))
        assert work.read(photo, Known()).document == plain.document
    assert marked.document == score_photo(photo, work._weights(), known=Known(places=(place,))).record
    assert marked.document["zones"] != plain.document["zones"]
    # an outline that is said is another matter
    geometry = plain.document["geometry"]
    outline = [*geometry["center_px"], *geometry["axes_px"], geometry["ellipse_angle_deg"]]
    assert work.read(photo, Known(outline=Outline(*outline))).document["known"]["outline"] == outline
