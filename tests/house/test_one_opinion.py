"""One photograph, one opinion: every verb and function states the same call, ratio, zones and reasons."""

from __future__ import annotations

import json
import re
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from score_schema import check_dial

from dialtell.evaluate import Known, compare_photos, inspect_photo, score_photo, score_photos
from dialtell.evaluate.cli.main import main
from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.label.photos import PhotoFolder
from dialtell.evaluate.label.views import LabelViews
from dialtell.evaluate.score.stream import COLUMNS
from dialtell.evaluate.words.first_words import headline
from dialtell.evaluate.words.plain import zone_heading
from dialtell.evaluate.words.stated import WITHHELD, stated_ratio
from dialtell.model import load_weights
from dialtell.model.reading.geometry import sample_points
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.sizes import size_mm
from dialtell.synth.shared.terms import Process

EXAMPLES = Path(str(resources.files("dialtell.evaluate"))) / "examples"
SIZE = size_mm(18)  # 44.873 mm, NAWCC encyclopedia, "Watch Size"


def drawn(path: Path, process: Process, index: int) -> None:
    scope = Range(pixels_per_radius=(300.0, 320.0), max_side=900, wear=(0.0, 0.3))
    cv2.imwrite(str(path), cv2.cvtColor(render(sample_spec(4711, index, scope, process)), cv2.COLOR_RGB2BGR))


@pytest.fixture(scope="module")
def eight(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The four examples (one resolves too little), two more dials, one blurred, one without a dial."""
    folder = tmp_path_factory.mktemp("eight")
    for photo in sorted(EXAMPLES.glob("*.jpg")):
        shutil.copy(photo, folder)
    drawn(folder / "a-hand.png", Process.HAND, 3)
    drawn(folder / "b-print.png", Process.TRANSFER, 5)
    soft = cv2.GaussianBlur(cv2.imread(str(EXAMPLES / "painted.jpg")), (0, 0), 6)
    cv2.imwrite(str(folder / "c-soft.png"), soft)
    cv2.imwrite(str(folder / "d-wall.png"), np.full((300, 400, 3), 90, np.uint8))
    photos = sorted(folder.iterdir())
    assert len(photos) == 8
    return photos


@pytest.fixture(scope="module")
def records(eight: list[Path]) -> dict[str, dict[str, Any]]:
    """The record of each, by score_photo."""
    weights = load_weights()
    return {str(path): score_photo(path, weights, known=Known(diameter_mm=SIZE)).record for path in eight}


def test_records_keep_the_contract_and_cover_the_kinds(records: dict[str, dict[str, Any]]) -> None:
    for record in records.values():
        check_dial(record)
    calls = [record["call"] for record in records.values()]
    assert {"hand-painted", "printed", "undetermined"} == set(calls)
    assert any(record["withheld"] for record in records.values())
    assert any(record["geometry"] is None for record in records.values())


def test_score_and_inspect(eight, records, tmp_path, capsys) -> None:
    words = [*map(str, eight), "--size", "18"]
    assert main(["score", *words, "--json"]) == 0
    scored = json.loads(capsys.readouterr().out)
    assert {dial["photo"]: dial for dial in scored["dials"]} == records
    assert score_photos(eight, load_weights(), known=Known(diameter_mm=SIZE))["dials"] == scored["dials"]
    assert main(["inspect", *words, "--out", str(tmp_path / "pages"), "--png", str(tmp_path), "--json"]) == 0
    inspected = json.loads(capsys.readouterr().out)
    assert {one["dial"]["photo"]: one["dial"] for one in inspected["inspections"]} == records
    for one in inspected["inspections"]:
        _page_says(Path(one["page"]).read_text("utf-8"), records[one["dial"]["photo"]])


def _page_says(page: str, record: dict[str, Any]) -> None:
    head = page[page.index("<h1>") : page.index('id="look"')]
    assert f"<h1>{_escaped(headline(record))}</h1>" in head and _escaped(record["reason"]) in head
    ratio = stated_ratio(record)
    assert ('class="strength"' in head) == (ratio is not None)
    assert ("likelihood ratio</dt>" in page) == (ratio is not None)
    if record["withheld"]:
        assert "prior 1:1</dt>" not in page and "times more probable" not in page and "one in" not in head
    looks = {  # of one part or of several
        "hand-painted": "looks? painted by hand", "printed": "looks? printed", "undetermined": "settles? nothing by",
    }  # fmt: skip
    for zone in record["zones"]:
        name = zone_heading(zone["zone"])
        own = re.search(rf"<h2 id=[^>]*>{name} (.*?)</p>|<li><strong>{name}</strong>: (.*?)</li>", page, re.S)
        if zone["judged"] and record["support"] == WITHHELD:  # said once, at the top
            assert own is None and f">{name}</h2>" in page and zone["reason"] not in page
            continue
        if zone["zone"] == "other" and not zone["polygon_px"]:
            continue  # that there is no rest of the dial is nothing to be told
        assert own is not None and _escaped(zone["reason"]) in own[0]
        assert page.count(_escaped(zone["reason"])) <= sum(z["reason"] == zone["reason"] for z in record["zones"])
        if zone["judged"]:
            assert re.search(looks[zone["call"]], own[0])


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("'", "&#39;").replace("<", "&lt;").replace(">", "&gt;")


def test_the_table_and_the_stream_of_rows(eight, records, tmp_path, capsys) -> None:
    import csv

    assert (
        main(["score", *map(str, eight), "--size", "18", "--csv", str(tmp_path / "calls.csv"), "--workers", "1"]) == 0
    )
    with (tmp_path / "calls.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["photo"]: row for row in csv.DictReader(file)}
    assert set(next(iter(rows.values()))) == set(COLUMNS)
    for path, record in records.items():
        row = rows[path]
        assert (row["call"], row["reason"]) == (record["call"], record["reason"])
        assert (row["probability_hand"] == "") == (record["probability_hand"] is None)
        for zone in record["zones"]:
            name = zone["zone"].replace(" ", "_")
            assert row[f"{name}_call"] == (zone["call"] if zone["judged"] else "not judged")
    capsys.readouterr()
    assert main(["score", *map(str, eight), "--size", "18"]) == 0
    table = " ".join(capsys.readouterr().out.split())
    for record in records.values():
        assert " ".join(record["reason"].split()) in table


def test_note_collection_compare_and_label(eight, records, tmp_path, capsys) -> None:
    for path in eight:
        assert main(["note", str(path), "--size", "18", "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["dial"] == records[str(path)]
    file = tmp_path / "dials.collection"
    assert main(["--quiet", "collection", "add", str(file), *map(str, eight), "--size", "18"]) == 0
    with CollectionFile(file) as collection:
        kept = {str(entry.path): entry.document for entry in collection.entries()}
    assert kept == {str(Path(path).resolve()): record for path, record in records.items()}
    weights = load_weights()
    for first, second in zip(eight[::2], eight[1::2], strict=True):
        compared = compare_photos(first, second, weights, known=Known(diameter_mm=SIZE))
        assert compared.document["dials"] == [records[str(first)], records[str(second)]]
    views = LabelViews()
    for photo in PhotoFolder(eight[0].parent):
        record, call = records[str(eight[0].parent / photo.name)], views.call(photo, Known(diameter_mm=SIZE))
        assert {name: call[name] for name in ("call", "support", "reason", "warnings")} == {
            name: record[name] for name in ("call", "support", "reason", "warnings")
        }
        assert call["log10_lr"] == stated_ratio(record)
        assert [(z["zone"], z["call"], z["reason"]) for z in call["zones"]] == [
            (z["zone"], z["call"], z["reason"]) for z in record["zones"]
        ]


def test_what_is_known_is_carried_whole(eight, tmp_path, capsys) -> None:
    """Outline, 12, a marked place and size reach every verb, by flags and by a table, and are kept in a collection."""
    photo = next(path for path in eight if path.name == "painted.jpg")
    weights = load_weights()
    found = score_photo(photo, weights).record["geometry"]
    outline = [*found["center_px"], *found["axes_px"], found["ellipse_angle_deg"]]
    text = " ".join(map(str, outline))
    x, y = found["center_px"]
    corners = [(x - 40, y + 60), (x + 40, y + 60), (x + 40, y + 150)]
    place = " ".join(["hand", *(f"{value:.1f}" for corner in corners for value in corner)])
    flags = ["--outline", text, "--twelve", str(found["rotation_deg"]), "--size", "18", "--place", place]
    said = {
        "diameter_mm": pytest.approx(SIZE), "outline": outline, "twelve_deg": found["rotation_deg"],
        "places": [{"what": "hand", "polygon": [[round(value, 1) for value in corner] for corner in corners]}],
    }  # fmt: skip
    assert main(["score", str(photo), *flags, "--json"]) == 0
    (scored,) = json.loads(capsys.readouterr().out)["dials"]
    assert scored["known"] == said and scored["geometry"]["center_px"] == found["center_px"]
    assert main(["inspect", str(photo), *flags, "--out", str(tmp_path / "a.html"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["dial"] == scored
    assert main(["note", str(photo), *flags, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["dial"] == scored
    table = tmp_path / "labels.csv"
    cells = f'"{photo}",{SIZE},"{text}",{found["rotation_deg"]},"{place}"'
    table.write_text(f"photo,size_mm,outline,twelve_deg,places\n{cells}\n", encoding="utf-8")
    assert main(["score", str(photo.parent), "--known", str(table), "--json"]) == 0
    dials = {dial["photo"]: dial for dial in json.loads(capsys.readouterr().out)["dials"]}
    assert dials[str(photo)] == scored and sum("outline" in dial["known"] for dial in dials.values()) == 1
    file = tmp_path / "dials.collection"
    assert main(["--quiet", "collection", "add", str(file), str(photo), *flags]) == 0
    with CollectionFile(file) as collection:
        (entry,) = collection.entries()
    assert entry.document == scored
    assert main(["score", *map(str, eight), "--outline", text]) == 1
    assert "several are given" in capsys.readouterr().err
    assert main(["score", *map(str, eight), "--place", place]) == 1
    assert "several are given" in capsys.readouterr().err
    assert main(["score", str(photo), "--place", "thumb 1 2 3 4 5 6"]) == 2
    assert "give what lies there" in capsys.readouterr().err
    assert main(["score", str(photo), "--outline", "1 2 3"]) == 2
    assert "give five numbers" in capsys.readouterr().err


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_photograph_on_its_side_or_head_is_read_as_upright(tmp_path, quarters) -> None:
    """To every digit where 12 is found; where it is said, to what saying it changes."""
    weights = load_weights()
    upright = score_photo(EXAMPLES / "painted.jpg", weights)
    picture = cv2.imread(str(EXAMPLES / "painted.jpg"))
    height, width = picture.shape[:2]
    side = tmp_path / "side.png"
    cv2.imwrite(str(side), np.rot90(picture, -quarters))  # clockwise
    turn = upright.record["geometry"]["rotation_deg"] + 90.0 * quarters
    judged = {zone["zone"]: zone["log10_lr"] for zone in upright.record["zones"] if zone["judged"]}
    x, y = upright.record["geometry"]["center_px"]
    where = {1: (height - y, x), 2: (width - x, height - y), 3: (y, width - x)}[quarters]
    for known, off in ((Known(), 1e-6), (Known(twelve_deg=turn), 0.02)):
        found = score_photo(side, weights, known=known)
        read = found.record
        assert read["call"] == upright.record["call"] and read["warnings"] == upright.record["warnings"]
        away = (read["geometry"]["rotation_deg"] - turn) % 360.0
        assert min(away, 360.0 - away) < 0.1 and read["geometry"]["center_px"] == pytest.approx(where, abs=0.11)
        assert read["log10_lr"] == pytest.approx(upright.record["log10_lr"], abs=off)
        turned = {zone["zone"]: zone["log10_lr"] for zone in read["zones"] if zone["judged"]}
        assert turned == pytest.approx(judged, abs=off)
        # what is read lies where the photograph shows it
        own, other = found.reading, upright.reading
        assert own.density.shape == picture.shape[:2][:: 1 if quarters == 2 else -1]
        points = own.geometry.to_photo(np.array([[0.0, -0.9], [0.7, 0.1]]))
        there = other.geometry.to_photo(np.array([[0.0, -0.9], [0.7, 0.1]]))
        assert sample_points(own.density, points) == pytest.approx(sample_points(other.density, there), abs=0.05)


def test_zones_and_the_sentence_never_contradict(records) -> None:
    for record in records.values():
        track = next((zone for zone in record["zones"] if zone["zone"] == "minute track"), None)
        if any("No minute track was found" in warning for warning in record["warnings"]):
            assert track is not None and not track["judged"]
        called = {zone["call"] for zone in record["zones"]} - {"undetermined"}
        if record["call"] != "undetermined":
            assert called <= {record["call"]}
        if record["support"].startswith("withheld"):
            assert not called
        if "was not found" in record["reason"] or "were not found" in record["reason"]:
            lost = record["reason"].rpartition(";")[2]
            for zone in record["zones"]:
                assert not (zone["judged"] and f"the {zone['zone']}" in lost)


def test_inspect_photo_is_the_same_opinion(eight, records, tmp_path) -> None:
    photo = eight[-1]
    document = inspect_photo(photo, tmp_path / "a.html", load_weights(), known=Known(diameter_mm=SIZE))
    assert document["dial"] == records[str(photo)]
