"""A collection that came from someone else: SQLite takes any value in any cell, this program does not."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing

import pytest

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.collection.file import CollectionFile

DOCUMENT = {
    "photo": "x", "call": "printed", "log10_lr": -1.0, "support": "s", "reason": "r",
    "zones": [{"zone": "signature", "judged": True, "call": "printed", "log10_lr": -1.0}],
}  # fmt: skip


def zone(**changes):
    return json.dumps(DOCUMENT | {"zones": [DOCUMENT["zones"][0] | changes]})


TAMPERED = {
    "year as text": "UPDATE photo SET year = '<script>alert(1)</script>'",
    "year 0": "UPDATE photo SET year = 0",
    "year of nineteen digits": "UPDATE photo SET year = 9223372036854775807",
    "size without end": "UPDATE photo SET size_mm = 9e999",
    "maker as bytes": "UPDATE photo SET maker = x'ff00'",
    "likeness that is none": "UPDATE photo SET likeness = 'zz'",
    "thumbnail as text": "UPDATE photo SET thumbnail = 'x'",
    "ratio as text": "UPDATE call SET log10_lr = 'much'",
    "ratio without end": "UPDATE call SET log10_lr = -9e999",
    "call as bytes": "UPDATE call SET call = x'ff'",
    "document cut off": "UPDATE call SET document = '{\"zones\": ['",
    "document nested": "UPDATE call SET document = '" + "[" * 100_000 + "'",
    "document without zones": "UPDATE call SET document = '{}'",
    "document of another kind": "UPDATE call SET document = '[1]'",
    "document as bytes": "UPDATE call SET document = x'ff'",
    "zone that is none": f"UPDATE call SET document = '{json.dumps(DOCUMENT | {'zones': [5]})}'",
    "zone without a name": f"UPDATE call SET document = '{zone(zone=None)}'",
    "zone's ratio not a number": f"UPDATE call SET document = '{zone(log10_lr=float('nan'))}'",
}


@pytest.fixture
def place(tmp_path):
    with CollectionFile(tmp_path / "dials.collection", create=True) as dials:
        weights = {"name": "w", "version": "1", "sha256": "a" * 64}
        dials.add(tmp_path / "x.png", "0" * 64, likeness="0" * 16, thumbnail=b"j", weights=weights, document=DOCUMENT)
        dials.set_fields(1, {"maker": "m", "year": 1880, "size_mm": 44.0})
    return tmp_path / "dials.collection"


def tamper(place, *statements):
    with closing(sqlite3.connect(place)) as base:
        for statement in statements:
            base.execute(statement)
        base.commit()


@pytest.mark.parametrize("what", TAMPERED)
def test_a_cell_of_another_kind_is_damage_in_words(what, place, tmp_path, capsys):
    tamper(place, TAMPERED[what])
    for words in (
        ["list", place], ["list", place, "--json"], ["show", place, "1"],
        ["export", place, "--csv", tmp_path / "c.csv"],
        ["export", place, "--json", tmp_path / "c.json"], ["page", place, "--out", tmp_path / "c.html"],
    ):  # fmt: skip
        assert main(["collection", *map(str, words)]) == 1, words
        said = capsys.readouterr()
        assert said.out == "" and "dials.collection is damaged" in said.err and "Traceback" not in said.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["dials.collection"]


def test_a_path_to_anything_is_only_ever_looked_at_as_a_photograph(place, capsys):
    """What lies there must have the hash that is stated; pipes and devices are not opened."""
    for path in ("/dev/zero", "/etc/passwd", "../../x", "//server/share/x.png", "file:///etc/passwd", "\\\\server\\x"):
        tamper(place, f"UPDATE photo SET path = '{path}'", "DELETE FROM call")
        assert main(["collection", "rescore", str(place)]) == 1
        assert "root:" not in (said := capsys.readouterr()).out + said.err
        assert "no longer there" in said.err or "was changed" in said.err


def test_what_lies_in_wait_in_a_file_may_call_nothing(place, capsys):
    """A view in the place of a table may not use functions that reach outside SQL."""
    tamper(
        place, "ALTER TABLE photo RENAME TO own",
        "CREATE VIEW photo AS SELECT id, sha256, path, added_at, load_extension('/tmp/x.so') AS maker, serial, year, "
        "size_mm, notes, likeness, thumbnail FROM own",
    )  # fmt: skip
    assert main(["collection", "list", str(place)]) == 1
    assert "dials.collection is damaged or no collection" in capsys.readouterr().err


@pytest.mark.parametrize("number", ["0", "-1", str(2**63), "1" + "0" * 400])
def test_numbers_no_photograph_has(number, place, capsys):
    for words in (["show", str(place), number], ["set", str(place), number, "--maker", "x"]):
        assert main(["collection", *words]) in (1, 2)
        assert "error" in capsys.readouterr().err
