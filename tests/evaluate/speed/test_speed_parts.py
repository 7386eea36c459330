"""Every part can be measured, and the command prints what they give. No time is asserted."""

import json

import numpy as np
import pytest
from PIL import Image

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.cli.speed import NAMES
from dialtell.evaluate.speed import drawing as drawing_part
from dialtell.evaluate.speed import measuring, plates, scoring, start, training
from dialtell.evaluate.speed.row import SCHEMA, SpeedRow
from dialtell.model.reading import steps


def test_a_photograph_without_a_dial_is_measured_too(tmp_path):
    place = tmp_path / "noise.jpg"
    Image.fromarray(np.random.default_rng(0).integers(0, 255, (200, 300, 3), dtype=np.uint8)).save(place)
    before = steps.find_outline
    found = scoring.measure(place, 1)
    assert steps.find_outline is before
    assert set(found["seconds"]) == {"whole", *scoring.STAGES, "first"} and found["call"] == "undetermined"
    assert found["seconds"]["outline"] > 0 and found["seconds"]["net"] == 0 and found["decoding"] > 0
    assert (found["pixels"], found["dial_pixels"]) == (60_000, 0)
    # one look at the whole is made; nothing follows where there is no dial
    assert found["multiply_adds"]["looks"] > 5e8 and found["multiply_adds"]["net"] == 0
    limits = scoring.limits_of(found)
    assert set(limits) == {"decode", "linear light", "looks"} and all(limit > 0 for _, limit in limits.values())


def test_a_small_photograph_has_its_rows():
    with scoring.example() as small:
        rows = scoring.rows_of("scoring", small, 1, "cpu", by_stage=True)
    assert [row.what for row in rows] == ["whole, warm", "whole, the first", *scoring.STAGES]
    by_name = {row.what: row for row in rows}
    assert sum(by_name[stage].seconds for stage in scoring.STAGES) == pytest.approx(by_name["whole, warm"].seconds)
    # the encoder of at least 60 patches
    assert by_name["net"].limit_seconds > 0 and "multiply-adds" in by_name["net"].limit


def test_other_parts_run(monkeypatch):
    monkeypatch.setattr(drawing_part, "SIDE", 300)
    monkeypatch.setattr(plates, "PER_RADIUS", 110.0)
    monkeypatch.setattr(training, "STEPS", 1)
    rows = [*drawing_part.drawing(1, "cpu"), *plates.plates(1, "cpu"), *training.training(1, "cpu")]
    assert list(dict.fromkeys(row.part for row in rows)) == ["drawing", "comparing", "training"]
    assert all(row.seconds > 0 and row.yardstick_seconds > 0 for row in rows)
    drawn = {row.what.rpartition(": ")[2]: row.seconds for row in rows if row.what.startswith("a dial of 300 px")}
    stages = sum(seconds for name, seconds in drawn.items() if name not in ("whole", "slices to share and density"))
    assert 0.5 * drawn["whole"] < stages <= drawn["whole"]


def test_the_command_begins_and_says_how_long(monkeypatch):
    monkeypatch.setattr(start, "_COMMAND", "import colorsys  # {words!r}")
    rows = start.start(1, "cpu")
    assert [row.what for row in rows] == [
        "dialtell --help",
        "import onnxruntime",
        "the first call: dialtell score PHOTO",
    ]
    assert rows[1].times > 2 and all(row.seconds > 0 for row in rows)


@pytest.mark.slow
def test_all_cores_and_a_page_run():
    rows = [*measuring.PARTS["cores"](1, "cpu"), *measuring.PARTS["page"](1, "cpu")]
    assert rows[0].clock == "wall" and [row.what for row in rows[1:]] == [
        "whole",
        "scored",
        "looked into",
        "written",
        "rest",
    ]
    assert all(row.seconds > 0 for row in rows)


def test_the_command_prints_every_part_asked_for(monkeypatch, capsys):
    def measure(parts, n, device):
        for name in parts:
            yield name, [SpeedRow(name, f"{device}", n, "wall", 3.0, "another", 2.0)]

    monkeypatch.setattr(measuring, "measure", measure)
    assert main(["speed", "--quiet", "--json", "--n", "5"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["schema"] == SCHEMA and found["versions"]["dialtell"] and found["cores"] >= 1 and found["processor"]
    assert [row["part"] for row in found["rows"]] == list(NAMES) == list(measuring.PARTS)
    assert {(row["n"], row["what"], row["times"]) for row in found["rows"]} == {(5, "cpu", 1.5)}
    assert main(["speed", "--quiet", "--only", "page", "drawing"]) == 0
    assert "| cpu | 3 | 3000 | 1.5 | another |  |  |" in capsys.readouterr().out.splitlines()


def test_wrong_usage(capsys):
    assert main(["speed", "--n", "0"]) == 2
    assert main(["speed", "--only", "tea"]) == 2
    said = capsys.readouterr().err
    assert "'0' is no whole number from 1 to 1000" in said and "tea" in said
