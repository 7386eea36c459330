"""Cells that a spreadsheet would run, in every table that is written: one guard, undone on reading."""

from __future__ import annotations

import ast
import csv
import io
from types import SimpleNamespace

import benchmark_rows_made
import pytest
from benchmark_rows_made import row
from checkout import PARTS, ROOT

from dialtell.evaluate.benchmark import table as benchmark_table
from dialtell.evaluate.collection import table as collection_table
from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.examine.fields import TEXTS
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.labels_along import labels_along
from dialtell.evaluate.examine.taken_along import table_along
from dialtell.evaluate.label import sheet as label_sheet
from dialtell.evaluate.museum import folder as gathered
from dialtell.evaluate.museum import records
from dialtell.evaluate.score import stream as score_stream
from dialtell.model.reading.known import MarkedPlace
from dialtell.synth.shared.tables import guarded, unguarded
from dialtell.train.photographs import adapt_run
from dialtell.train.photographs.labels import COLUMNS

# what OWASP's page on CSV injection names: = + - @ tab and carriage return at the beginning of a cell
FORMULAS = [
    "=1+1",
    "+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    "'=1+1",
    "''=1",
    "=cmd|'/C calc'!A0",
    '=HYPERLINK("x")',
]
# who writes a table, which is tested below, or holds numbers and words of ours only
WRITERS = {
    "score/stream", "collection/table", "benchmark/table", "label/sheet", "museum/folder", "museum/records",
    "photographs/adapt_run", "examine/taken_along",
}  # fmt: skip
NUMBERS_ONLY = {"run/loop", "ladder/ladder", "reader/loop", "benchmark/judged"}


def harmless(text):
    """No cell of the table would be run: none begins as a formula unless it is a plain number."""
    for cells in csv.reader(io.StringIO(text, newline="")):
        for cell in cells:
            if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
                float(cell)
    return True


def test_every_writer_of_tables_is_known():
    raw, found = set(), set()
    for part in PARTS:
        for file in (ROOT / part).rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Attribute) and ast.unparse(node) in ("csv.writer", "csv.DictWriter"):
                    raw.add(f"{file.parent.name}/{file.stem}")
                elif isinstance(node, ast.Name) and node.id == "rows_text":
                    found.add(f"{file.parent.name}/{file.stem}")
    assert raw == {"shared/tables"}, "write tables by rows_text, which guards their cells"
    assert found == WRITERS | NUMBERS_ONLY, "a new table: test it here"


@pytest.mark.parametrize("cell", [*FORMULAS, "plain", "", "'quoted'", "5 - 3"])
def test_the_guard_is_undone_on_reading(cell):
    assert harmless(f'"{guarded(cell).replace(chr(34), chr(34) * 2)}"\n')
    assert unguarded(guarded(cell)).strip() == cell.strip()


@pytest.mark.parametrize("cell", FORMULAS)
def test_calls(cell):
    geometry = {"pixels_per_mm": 1.0, "pixels_across": 2.0}
    dial = dict.fromkeys(("photo", "support", "reason"), cell) | {
        "call": "printed", "log10_lr": -1.0, "probability_hand": 0.1, "geometry": geometry, "zones": [],
        "warnings": [cell],
    }  # fmt: skip
    for entry in (dial, {"photo": cell, "error": cell}):
        assert harmless(score_stream._line(score_stream.row_of(entry, "a" * 64)))


@pytest.mark.parametrize("cell", FORMULAS)
def test_dials_examined(cell, tmp_path):
    files = KeptFiles(tmp_path / "dials")
    files.prepare()
    with files.opened() as dials:
        dial = dials.new_dial(blind=False)
        dials.change_dial(dial, dict.fromkeys(TEXTS, cell))
        dials.take(dial, "a" * 64, "a.jpg", cell)
        hand = MarkedPlace("hand", ((1.0, 2.0), (3.0, 4.0), (5.0, 6.0)), cell.strip())
        dials.change_places("a" * 64, lambda _: (hand,), cell)
        assert harmless(table_along(dials)) and harmless(labels_along(dials, lambda _: cell))


@pytest.mark.parametrize("cell", FORMULAS)
def test_collection(cell, tmp_path):
    with CollectionFile(tmp_path / "dials.collection", create=True) as dials:
        document = {"photo": cell, "call": cell, "log10_lr": -1.0, "support": cell, "reason": cell, "zones": [
            {"zone": "signature", "judged": True, "call": cell, "log10_lr": 1.0}]}  # fmt: skip
        dials.add(tmp_path / "x", "0" * 64, likeness=None, thumbnail=None,
                  weights={"name": cell, "version": "1", "sha256": cell}, document=document)  # fmt: skip
        dials.set_fields(1, {"maker": cell, "serial": cell, "notes": cell})
        dials.set_label(1, "dial", "printed", cell)
        assert harmless(collection_table.csv_text(dials.entries(), dials))


@pytest.mark.parametrize("cell", FORMULAS)
def test_labels(cell):
    sheet = label_sheet.LabelSheet((*COLUMNS, "mine"), [dict.fromkeys((*COLUMNS, "mine"), cell)])
    assert harmless(sheet.text())


@pytest.mark.parametrize("cell", FORMULAS)
def test_gathered(cell, tmp_path):
    """The manifest, written and read again by the next run: the same lines."""
    part = tmp_path / "museum-1-0123456789.part"
    line = dict.fromkeys(gathered.COLUMNS, cell.strip()) | {"file": "museum-1-0123456789.jpg", "sha256": "0" * 64}
    with gathered.Gathered(tmp_path) as folder:
        part.write_bytes(b"x")
        folder.put(part, line)
    assert harmless((tmp_path / "manifest.csv").read_text("utf-8"))
    with gathered.Gathered(tmp_path) as folder:
        assert list(folder.rows.values()) == [line]


@pytest.mark.parametrize("cell", FORMULAS)
def test_records(cell):
    record = records.Record(cell, cell, ("http://x/",), object_id=cell, title=cell, attribution=cell, date_text=cell)
    text = records.records_text([record])
    assert harmless(text)
    again = records.parse_records(text, "records.csv")[0]
    assert again.title == records.plain(cell) and again.licence == records.plain(cell)


@pytest.mark.parametrize("cell", FORMULAS)
def test_benchmarks_rows(cell):
    said = {"dial": cell, "source": cell, "object_type": cell, "labeller": cell, "notes": cell}
    rows = [row(i, ("printed", "painted")[i % 2], 1.5, **said) for i in range(2, 12)]
    assert harmless(benchmark_table.csv_text(benchmark_rows_made.document(rows)["rows"]))


@pytest.mark.parametrize("cell", FORMULAS)
def test_split_of_an_adaptation(cell, tmp_path):
    photo = SimpleNamespace(row=2, name=cell, dial=cell, source=cell, sha256="0" * 64, dial_process="painted")
    item = SimpleNamespace(photo=photo, bag=SimpleNamespace(zone=[1, 2]))
    adapt_run._write_split(tmp_path / "split.csv", SimpleNamespace(learnt=[item], held_out=[], unread=[cell]))
    assert harmless((tmp_path / "split.csv").read_bytes().decode())
