"""`dialtell examine` without its page: dials taken along, brought in, and agreement, as the page does them."""

from __future__ import annotations

import json

import pytest
from examine_asked import add, asked, new_dial, settled

from dialtell.evaluate.cli.main import main


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
