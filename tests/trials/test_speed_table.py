"""The table of speeds: what is divided by what, and that the parts it names can be run. No time is asserted."""

import json

import pytest
from trials.speed import table as speed_table
from trials.speed.table import PARTS, SCHEMA, SpeedRow, main, median_of, table

from dialtell.evaluate.cli.main import main as command
from dialtell.synth.shared.errors import ParameterError

ABOUT = {"versions": {"python": "3.11", "numpy": "2"}, "machine": "x", "cores": 2, "load": 0.5}


def test_a_row_is_a_multiple_of_its_yardstick():
    row = SpeedRow("drawing", "a dial", 3, "processor", 0.5, "a product", 0.02)
    assert row.times == 25
    text = table([row], ABOUT)
    assert "| a dial | 3 | 500 | processor | 25 | a product |" in text.splitlines()
    assert text.endswith("python 3.11, numpy 2; x, 2 cores, load 0.5 at the start. Yardsticks, about: a product 20 ms.")


def test_the_median_leaves_the_first_call_out():
    ticks = iter([0, 1, 10, 17, 20, 22])  # 1, 7 and 2 s
    called = []
    assert median_of(called.append, 3, lambda: next(ticks)) == 2
    assert called == [0, 0, 1, 2]


def test_json_holds_the_same(monkeypatch, capsys):
    monkeypatch.setitem(PARTS, "drawing", lambda n: [SpeedRow("drawing", "a dial", n, "wall", 3.0, "another", 2.0)])
    assert main(["--only", "drawing", "--n", "5", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == SCHEMA and document["versions"]["dialtell"] and document["cores"] >= 1
    assert document["rows"] == [
        {
            "part": "drawing", "what": "a dial", "n": 5, "clock": "wall", "seconds": 3.0, "yardstick": "another",
            "yardstick_seconds": 2.0, "times": 1.5,
        }
    ]  # fmt: skip


def test_drawing_and_laying_plates_run(monkeypatch):
    monkeypatch.setattr(speed_table, "SIDE", 300)
    monkeypatch.setattr(speed_table, "PER_RADIUS", 110.0)
    rows = PARTS["drawing"](1) + PARTS["plates"](1)
    assert [row.part for row in rows] == ["drawing"] * 4 + ["plates"]
    assert all(row.seconds > 0 and row.yardstick_seconds > 0 for row in rows)


def test_wrong_numbers_are_refused():
    with pytest.raises(ParameterError, match="n is 0"):
        main(["--n", "0", "--only", "drawing"])
    assert command(["speed_table"]) == 2  # a module, no verb
