"""`dialtell examine` without its page: dials taken along, brought in, and agreement, as the page does them."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
from examine_asked import add, asked, new_dial, settled

from dialtell.evaluate.cli.main import main
from dialtell.model.reading.known import MarkedPlace, Outline
from dialtell.synth.shared.terms import Zone
from dialtell.train.photographs.labels import read_labels


@pytest.fixture
def folder(tmp_path):
    with asked(tmp_path / "dials") as client:
        dial = new_dial(client, blind=True)
        add(client, dial)
        settled(client, dial)
        client.post(f"/dials/{dial}", json={"maker": "Invented"})
        client.post(f"/dials/{dial}/opinion", json={"zone": "dial", "label": "painted"})
        client.post(f"/dials/{dial}/show", json={})
    return tmp_path / "dials"


def test_taken_along_and_brought_in(folder, tmp_path, capsys):
    zipped, there = tmp_path / "dials.zip", tmp_path / "there"
    assert main(["examine", str(folder), "--take-along", str(zipped)]) == 0
    assert main(["examine", str(folder), "--take-along", str(zipped)]) == 1  # it exists
    assert main(["examine", str(folder), "--take-along", str(zipped), "--overwrite"]) == 0
    capsys.readouterr()
    assert main(["examine", str(there), "--bring-in", str(zipped), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told == {"dials": 1, "known": 0, "photographs": 1, "missing": 0, "elsewhere": 0}
    assert main(["examine", str(there), "--bring-in", str(zipped)]) == 0
    assert "dials that were here: 1" in capsys.readouterr().out
    with asked(there) as client:
        row = client.get("/dials").json()["dials"][0]
        assert (row["maker"], row["call"], row["photographs"]) == ("Invented", "hand-painted", 1)


def test_labels_are_read_as_labels(folder, tmp_path):
    """What was said and marked, by the reader of `benchmark` and `train --photos`; in the zip likewise, unpacked."""
    hand = {"what": "hand", "polygon": [[10, 10], [30, 10], [30, 40]], "by": "Anna"}
    with asked(folder) as client:
        (photo,) = client.get("/dials/1").json()["photographs"]
        outline = [50.0, 40.0, 30.0, 28.0, 0.0]
        client.post(f"/photographs/{photo['sha256']}/mark", json={"outline": outline, "twelve_deg": 7.0})
        client.post(f"/photographs/{photo['sha256']}/places", json=hand)
        client.post("/dials/1/opinion", json={"zone": "numerals", "label": "printed"})
        client.post("/dials/1/opinion", json={"zone": "signature", "label": "mixed"})
        client.post("/dials/1", json={"size_mm": 44.9, "notes": '=a\n"b"', "source": "+ a book"})
        settled(client, 1)
        zipped = client.get("/along/dials.zip").content
    target = tmp_path / "out" / "labels.csv"
    target.parent.mkdir()
    assert main(["examine", str(folder), "--write-labels", str(target)]) == 0
    assert main(["examine", str(folder), "--write-labels", str(target)]) == 1  # it exists
    with zipfile.ZipFile(io.BytesIO(zipped)) as archive:
        archive.extractall(tmp_path / "unpacked")
    for table in (target, tmp_path / "unpacked" / "labels.csv"):
        (row,) = read_labels(table)
        assert row.path.read_bytes() == b"photograph" and row.sha256 == photo["sha256"]
        # said to be painted with printed figures
        assert (row.dial_process, row.zones, row.basis) == ("mixed", {Zone.NUMERALS: "printed"}, "by eye")
        assert (row.labeller, row.source, row.size_mm) == ("Anna", "+ a book", 44.9)
        known = row.known()
        assert (known.outline, known.twelve_deg) == (Outline(*outline), 7.0)
        assert known.places == (MarkedPlace("hand", ((10.0, 10.0), (30.0, 10.0), (30.0, 40.0))),)


@pytest.mark.parametrize("form", ["csv", "json"])
def test_table_and_json(folder, tmp_path, form):
    target = tmp_path / f"dials.{form}"
    assert main(["examine", str(folder), "--take-along", str(target)]) == 0
    assert "Invented" in target.read_text("utf-8")


def test_agreement(folder, capsys):
    assert main(["examine", str(folder), "--agreement", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["agreement"]
    assert (told[0]["zone"], told[0]["n"], told[0]["alike"]) == ("dial", 1, 1)
    assert main(["examine", str(folder), "--agreement"]) == 0
    assert capsys.readouterr().out.splitlines()[1].split()[:3] == ["dial", "1", "1"]


@pytest.mark.parametrize(
    "words",
    [["--take-along", "dials.txt"], ["--bring-in", "nothing.zip"], ["--json"], ["--overwrite"]],
)
def test_what_cannot_be_done_is_said(folder, words, capsys):
    assert main(["examine", str(folder), *words]) == 1
    assert capsys.readouterr().err.startswith("dialtell: error: ")


def test_a_folder_without_dials_is_not_made(tmp_path, capsys):
    assert main(["examine", str(tmp_path / "none"), "--agreement"]) == 1
    assert "holds no dials" in capsys.readouterr().err and not (tmp_path / "none").exists()


def test_nothing_is_brought_in_beside_an_open_page(folder, tmp_path, capsys):
    from dialtell.evaluate.examine.kept_files import KeptFiles

    table = tmp_path / "list.csv"
    table.write_text("maker\nInvented\n", "utf-8")
    with KeptFiles(folder).held():
        assert main(["examine", str(folder), "--bring-in", str(table)]) == 1
    assert "another program" in capsys.readouterr().err
