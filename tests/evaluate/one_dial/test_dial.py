"""Photographs of one dial through the command line: one row, what each gave, the stranger named."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image
from score_schema import check_dial
from trials.reading.one_dial import field_spec, whole_spec

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.one_dial.dial import score_one_dial
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import Known, MarkedPlace
from dialtell.synth.scene import photograph

SET = 7_700_219


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("dial")
    own, other = whole_spec(SET, 4), whole_spec(SET, 2)
    pictures = {"a": field_spec(own, 0), "whole": own, "stranger": field_spec(other, 0)}
    for name, spec in pictures.items():
        Image.fromarray(photograph(spec)).save(folder / f"{name}.png", compress_level=1)
    return folder


@pytest.fixture(scope="module")
def row(photos, make_weights, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "dial.json"
    words = [str(photos / f"{name}.png") for name in ("a", "whole", "stranger")]
    weights = str(make_weights(9.0, 9.0))
    assert main(["score", *words, "--one-dial", "no. 41", "--json", "--out", str(out), "--weights", weights]) == 0
    document = json.loads(out.read_text())
    assert len(document["dials"]) == 1 and document["errors"] == []
    return document["dials"][0]


def test_one_row_says_what_each_photograph_gave(row, photos) -> None:
    parts = {part["photo"].rpartition("/")[2]: part for part in row["photographs"]}
    assert list(parts) == ["a.png", "whole.png", "stranger.png"]
    assert [part["role"] for part in parts.values()] == ["laid on it", "whole view", "another dial"]
    assert row["photo"] == str(photos / "whole.png") and row["dial"] == "no. 41"
    place = parts["a.png"]["place"]
    assert sum(place["zones"].values()) == pytest.approx(1.0, abs=0.01) and place["residual_radii"] < 0.004
    assert abs(place["turn_deg"]) <= 180 and len(place["corners_radii"]) == 4
    # the finer photograph is counted, the stranger is not
    assert parts["a.png"]["squares"] > 20 and parts["stranger.png"]["squares"] == 0
    assert parts["whole.png"]["place"] is None and parts["stranger.png"]["place"] is None
    same = parts["a.png"]["same_places"]
    assert same["places"] > 20 and same["difference"] == pytest.approx(
        abs(same["log10_lr"] - same["whole_view"]), abs=2e-4
    )
    assert any("stranger.png" in words and "another dial" in words for words in row["warnings"])
    bare = {name: value for name, value in row.items() if name not in ("dial", "photographs")}
    check_dial(bare)


def test_without_a_whole_view_nothing_is_brought_together(photos, make_weights, capsys) -> None:
    words = [str(photos / "a.png"), str(photos / "stranger.png")]
    assert main(["score", *words, "--one-dial", "--json", "--close-up", "--weights", str(make_weights(9.0, 9.0))]) == 0
    row = json.loads(capsys.readouterr().out)["dials"][0]
    assert "None of the 2 photographs shows the whole dial" in row["warnings"][0] and row["dial"] is None
    assert {part["role"] for part in row["photographs"]} == {"not placed"}


def test_rows_of_photographs_and_of_a_dial_are_not_mixed(photos, tmp_path, capsys) -> None:
    words = ["score", str(photos / "a.png"), "--one-dial", "--csv", str(tmp_path / "calls.csv")]
    assert main(words) != 0 and "--one-dial" in capsys.readouterr().err


@pytest.mark.slow
def test_page_and_note_state_the_one_opinion(photos, row, make_weights, tmp_path, capsys) -> None:
    words = [str(photos / f"{name}.png") for name in ("a", "whole", "stranger")]
    weights = str(make_weights(9.0, 9.0))
    page = tmp_path / "dial.html"
    assert main(["inspect", *words, "--one-dial", "no. 41", "--out", str(page), "--json", "--weights", weights]) == 0
    dial = json.loads(capsys.readouterr().out)["dial"]
    assert dial == row and "stranger.png" in page.read_text("utf-8")
    assert main(["note", *words, "--one-dial", "no. 41", "--json", "--weights", weights]) == 0
    note = json.loads(capsys.readouterr().out)
    assert note["dial"] == row
    read = [one for one in note["sentences"] if "photographs" in one["fields"]]
    assert len(read) == 1 and "1 other photograph of parts of it" in read[0]["text"]
    assert main(["note", *words, "--weights", weights]) in (1, 2) and "--one-dial" in capsys.readouterr().err


@pytest.mark.slow
def test_a_collection_keeps_the_dial_by_its_name(photos, make_weights, tmp_path, capsys) -> None:
    words = [str(photos / f"{name}.png") for name in ("a", "whole")]
    weights, place = str(make_weights(9.0, 9.0)), str(tmp_path / "dials.collection")
    assert main(["collection", "add", place, *words, "--one-dial", "--weights", weights]) != 0
    assert "needs a name" in capsys.readouterr().err
    assert main(["collection", "add", place, *words, "--one-dial", "no. 41", "--weights", weights]) == 0
    assert "2 scored" in capsys.readouterr().out
    assert main(["collection", "list", place, "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    (dial,) = listed["of_several_photographs"]
    assert dial["name"] == "no. 41" and [one["role"] for one in dial["photographs"]] == ["laid on it", "whole view"]
    assert len(listed["dials"]) == 2
    assert main(["collection", "show", place, "1"]) == 0 and "no. 41: " in capsys.readouterr().out
    assert main(["collection", "check", place]) == 0


def test_a_stain_of_the_dial_is_left_out_of_every_photograph(photos, make_weights) -> None:
    """Marked on the whole view, which has it too; what is marked on a close-up is that photograph's alone."""
    weights = load_weights(make_weights(9.0, 9.0))
    paths = [photos / f"{name}.png" for name in ("a", "whole")]
    plain, _ = score_one_dial(paths, weights)
    assert plain is not None and plain.parts[0].reading is not None and plain.scored.reading is not None
    middle = np.median(plain.parts[0].reading.patches.center, axis=0)
    square = middle + 0.12 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = plain.scored.reading.geometry.to_photo(square)
    places = {
        "whole.png": (MarkedPlace("stain", tuple(map(tuple, corners))),),
        "a.png": (MarkedPlace("hand", ((0.0, 0.0), (30.0, 0.0), (30.0, 30.0))),),
    }
    marked, _ = score_one_dial(paths, weights, known=lambda path: Known(places=places[path.name]))
    assert marked is not None

    def inside(part):
        return int((np.abs(part.reading.patches.center - middle) < 0.1).all(axis=1).sum())

    assert inside(plain.parts[0]) > 0 and [inside(part) for part in marked.parts] == [0, 0]
    warnings = marked.scored.record["warnings"]
    assert "Marked by a person as not of the design, and left out: stain." in warnings
    assert "a.png: Marked by a person as not of the design, and left out: hand." in warnings
    assert marked.scored.record["known"]["places"][0]["what"] == "stain"
