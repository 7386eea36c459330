import inspect
import json
import math

import cv2
import numpy as np
import pytest
from PIL import Image
from score_schema import check_dial, check_document

from dialtell.evaluate.score import score
from dialtell.evaluate.score.score import score_photo, score_photos
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import MAX_PIXELS, Known
from dialtell.model.reading.photo import read_photo
from dialtell.synth.shared.errors import PhotoError


@pytest.fixture(scope="module")
def weights(make_weights):
    return load_weights(make_weights(9.0, 9.0))


@pytest.fixture(scope="module")
def scored(drawn_photo, weights):
    return score_photo(drawn_photo, weights, known=Known(diameter_mm=44.873))


def test_record_keeps_the_contract(scored, drawn_photo):
    check_dial(scored.record)
    assert scored.record["photo"] == str(drawn_photo)
    assert (scored.record["call"], scored.record["log10_lr"]) == ("hand-painted", 2.0)
    assert scored.record["support"] == "at least moderate support for hand painting"
    json.dumps(scored.record, allow_nan=False)


def test_geometry_is_that_of_the_drawn_dial(scored, drawn_truth):
    found, truth = scored.record["geometry"], drawn_truth.dial
    assert found["center_px"] == pytest.approx(truth.center_px, abs=1.0)
    assert found["axes_px"] == pytest.approx(truth.axes_px, rel=0.006)
    # 12 o'clock as it appears: the drawn dial's own place of it
    x, y = truth.to_photo(np.array([0.0, -1.0])) - truth.center_px
    assert found["rotation_deg"] == pytest.approx(math.degrees(math.atan2(x, -y)), abs=0.5)
    # an 18 size dial is 44.873 mm across (NAWCC encyclopedia, "Watch Size")
    assert found["pixels_per_mm"] == pytest.approx(found["pixels_across"] / 44.873, rel=1e-4)


def test_polygons_lie_on_the_drawn_dial(scored, drawn_truth):
    zones = {zone["zone"]: zone for zone in scored.record["zones"]}
    for name, least, most in (("minute track", 0.84, 1.0), ("numerals", 0.3, 0.9)):
        points = drawn_truth.dial.to_dial(np.array(zones[name]["polygon_px"]))
        radius = np.hypot(points[:, 0], points[:, 1])
        assert least < radius.min() and radius.max() < most, name
    # no lettering is drawn: what has no ink lies nowhere
    assert zones["signature"]["polygon_px"] == [] and not zones["signature"]["judged"]
    # the drawn ticks stand between 0.885 and 0.93 dial radii
    track = drawn_truth.dial.to_dial(np.array(zones["minute track"]["polygon_px"]))
    radius = np.hypot(track[:, 0], track[:, 1])
    assert radius.min() < 0.89 and radius.max() > 0.925


def test_the_same_photograph_gives_the_same_record(scored, drawn_photo, weights):
    assert score_photo(drawn_photo, weights, known=Known(diameter_mm=44.873)).record == scored.record


def test_largest_photograph_is_the_readers():
    assert inspect.signature(read_photo).parameters["max_pixels"].default == MAX_PIXELS


@pytest.fixture(scope="module")
def bad(tmp_path_factory, drawn_photo):
    """A folder of what cannot be scored, and a good photograph among it."""
    folder = tmp_path_factory.mktemp("bad")
    (folder / "text.jpg").write_text("no picture")
    (folder / "empty.png").touch()
    light = cv2.imread(str(drawn_photo))
    whole = cv2.imencode(".jpg", light)[1].tobytes()
    (folder / "half.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "good.jpg").write_bytes(whole)
    grain = np.random.default_rng(0).integers(90, 120, (300, 400), dtype=np.uint8)
    Image.fromarray(grain).save(folder / "wall.png")
    (folder / ".hidden.png").touch()
    (folder / "notes.txt").write_text("left out")
    (folder / "bare").mkdir()
    return folder


def test_bad_photographs_do_not_stop_the_others(bad, weights):
    document = score_photos([bad, bad / "missing.jpg", bad / "bare"], weights)
    check_document(document)
    told = {error["photo"].removeprefix(f"{bad}/"): error["error"] for error in document["errors"]}
    assert set(told) == {"text.jpg", "empty.png", "half.jpg", "missing.jpg", "bare"}
    for name, said in {
        "text.jpg": "is not an image that can be read; give a JPEG, HEIC, PNG or TIFF",
        "empty.png": "is empty (0 bytes); copy it again",
        "half.jpg": "is cut off or damaged",
        "missing.jpg": "does not exist; check the path",
        "bare": "holds no photographs; give another folder",
    }.items():
        assert said in told[name] and str(bad / name) in told[name]
    dials = {dial["photo"].removeprefix(f"{bad}/"): dial for dial in document["dials"]}
    assert set(dials) == {"good.jpg", "wall.png"}
    assert dials["good.jpg"]["call"] == "hand-painted"
    wall = dials["wall.png"]
    assert (wall["call"], wall["geometry"], wall["support"]) == ("undetermined", None, "not judged")
    assert wall["reason"].startswith("No dial was found: ")


def test_too_many_pixels_are_refused(drawn_photo, weights):
    with pytest.raises(PhotoError, match="more than the limit of 1000; scale it down or raise the limit"):
        score_photo(drawn_photo, weights, known=Known(max_pixels=1000))


def test_a_fault_of_ours_is_one_entry(monkeypatch, caplog, drawn_photo, bad, weights):
    real = score.read
    calls = iter([RuntimeError("boom"), None])

    def broken(photo, known, reader):
        fault = next(calls)
        if fault is not None:
            raise fault
        return real(photo, known, reader)

    monkeypatch.setattr(score, "read", broken)
    with caplog.at_level("DEBUG", "dialtell.score"):
        document = score_photos([drawn_photo, bad / "wall.png"], weights)
    (error,) = document["errors"]
    assert error["error"] == f"{drawn_photo}: internal error: RuntimeError: boom; please report it"
    assert len(document["dials"]) == 1
    assert caplog.records[0].exc_info is not None
