"""Numbers no run can take: not a number, without end, with five thousand digits. Refused in words, no traceback."""

from __future__ import annotations

import contextlib
import csv
import io
import json

import pytest

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.label.rim import rim_ellipse
from dialtell.evaluate.museum.records import COLUMNS as RECORD_COLUMNS
from dialtell.evaluate.museum.records import parse_records
from dialtell.synth.shared.errors import DialtellError
from dialtell.train.photographs.labels import check_labels

ODD = ("nan", "inf", "-inf", "1e400", "-1", "1" + "0" * 400, "9" * 5000, "0x10", "", "1_0_0", "\u0663\u0663")
FLAGS = [
    "score x.png --diameter-mm N", "score x.png --size N", "score x.png --lignes N", "score x.png --px-per-mm N",
    "score x.png --max-pixels N", "score x.png --csv T/calls.csv --workers N",
    "inspect x.png --out T/x.html --year N", "inspect x.png --out T/x.html --serial N",
    "draw --out T/set --count N", "draw --out T/set --seed N", "draw --out T/set --jitter N",
    "draw --out T/set --pixels-per-radius N 300", "draw --out T/set --pixels-per-radius 300 N",
    "draw --out T/set --max-side N", "draw --out T/set --workers N", "draw --out T/set --plates N",
    "collection show T/dials.collection N", "collection set T/dials.collection N --maker x",
    "collection set T/dials.collection 1 --year N", "collection set T/dials.collection 1 --size-mm N",
    "collection list T/dials.collection --least-support N --decade N",
    "gather --out T/got --delay N", "gather --out T/got --max-megabytes N", "gather --out T/got --limit N",
    "gather --out T/got --max-pixels N", "label T --port N",
    "train --preset tiny --out T/run --epochs N", "train --preset tiny --out T/run --seed N",
    "train --preset tiny --out T/run --steps N", "train --preset tiny --out T/run --calibration N",
]  # fmt: skip


@pytest.mark.parametrize("flag", FLAGS)
def test_odd_numbers_are_refused_in_words(flag, tmp_path, capsys, monkeypatch):
    """Exit 1 or 2 with an error on standard error, whatever is given; nothing is begun. x.png does not exist."""
    from dialtell.evaluate.collection.file import CollectionFile

    with CollectionFile(tmp_path / "dials.collection", create=True):
        pass
    before = sorted(tmp_path.iterdir())
    for number in ODD:
        harmless = number == "\u0663\u0663"  # a whole number in other digits may be taken for what it is
        words = [word.replace("T", str(tmp_path)) if "T" in word else word for word in flag.split()]
        words = [number if word == "N" else word for word in words]
        if harmless or (number == "1_0_0") or (number == "1" + "0" * 400 and flag.endswith("--max-pixels N")):
            continue
        code = main(words)
        said = capsys.readouterr()
        assert code in (1, 2), (number[:20], code)
        assert "does not exist" not in said.err, number[:20]  # it is the number that is refused
        assert "error" in said.err and "Traceback" not in said.err and "internal" not in said.err
        assert len(said.err) < 12_000
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("text", ODD)
def test_sizes_and_outlines_in_a_labels_file(text, tmp_path):
    (tmp_path / "a.png").write_bytes(b"x")
    for column, value in (("size_mm", text), ("outline", f"{text} 1 1 1 0"), ("outline", f"1 1 1 1 {text}")):
        with (tmp_path / "labels.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([("photo", "dial_process", column), ("a.png", "painted", value)])
        photos, problems = check_labels(tmp_path / "labels.csv")
        for photo in photos:  # taken for a number, it is one that a dial can have
            assert photo.size_mm is None or 5 < photo.size_mm < 2000
            assert photo.outline is None or max(map(abs, photo.outline)) < 1e300
        assert photos or "row 2" in problems[0]


@pytest.mark.parametrize("text", ODD)
def test_years_in_a_table_of_records(text):
    out = io.StringIO()
    table = csv.DictWriter(out, RECORD_COLUMNS)
    table.writeheader()
    table.writerow(dict.fromkeys(RECORD_COLUMNS, "") | {"licence": "CC0", "image_url": "http://x/", "year_begin": text})
    with contextlib.suppress(DialtellError):
        (record,) = parse_records(out.getvalue(), "records.csv")
        assert record.year_begin is None or abs(record.year_begin) < 10_000


@pytest.mark.parametrize(
    "text",
    ["[NaN, 1]", "[1e999, 1]", "[1, -Infinity]", "[true, false]", '["1", "2"]', "[null, 1]", f"[1{'0' * 400}, 1]"],
)
def test_rim_points_that_are_no_points(text):
    points = [[10, 10], [20, 10], [20, 20], [10, 20], json.loads(text)]
    try:
        ellipse = rim_ellipse(points, 100, 100)
    except DialtellError:
        return
    except OverflowError as error:
        assert text.startswith("[1000"), error  # the label server answers this with a refusal, see hostile requests
        return
    assert all(abs(value) < 1e4 for value in ellipse)
