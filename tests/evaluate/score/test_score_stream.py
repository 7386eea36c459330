"""The table of calls: rows in order, cut off and gone on with, safe to open in a spreadsheet."""

import csv
import os
import shutil
import signal
import subprocess
import sys
import time
from importlib import resources
from pathlib import Path

import pytest

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.score.stream import COLUMNS, StreamSettings, finished_rows, row_of, stream_calls
from dialtell.model.net.weights_file import load_weights
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.tables import guarded

EXAMPLES = Path(str(resources.files("dialtell.evaluate"))) / "examples"
SHA = "a" * 64


def rows(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.reader(file))


@pytest.fixture
def photos(tmp_path):
    folder = tmp_path / "photos"
    folder.mkdir()
    for index in range(4):
        shutil.copy(EXAMPLES / "too-small.jpg", folder / f"{index}.jpg")
    (folder / "2.jpg").write_bytes(b"not a picture")
    (folder / "=cmd|x.jpg").write_bytes((EXAMPLES / "too-small.jpg").read_bytes())
    return sorted(folder.iterdir())


def test_rows_come_in_order_with_a_bad_photograph_among_them(photos, tmp_path):
    table = tmp_path / "calls.csv"
    said = list(stream_calls(photos, table, StreamSettings(), sha256=SHA, workers=1))
    found = rows(table)
    assert tuple(found[0]) == COLUMNS
    assert [Path(row[0].lstrip("'")).name for row in found[1:]] == [path.name for path in photos]
    assert [bool(error) for _, error in said] == [path.name == "2.jpg" for path in photos]
    assert found[3][COLUMNS.index("error")] and not found[2][COLUMNS.index("error")]


def test_how_a_print_was_made_has_its_columns():
    """Filled for prints alone, empty where nothing was stated."""
    entry = {"photo": "a.jpg", "call": "printed", "support": "", "reason": "", "log10_lr": -2.0, "geometry": None,
             "probability_hand": 0.01, "zones": [], "warnings": []}  # fmt: skip
    place = COLUMNS.index("print_process")
    found = {"call": "transfer", "reason": "", "log10_lr": -1.25}
    assert row_of({**entry, "print_process": found}, SHA)[place : place + 2] == ["transfer", -1.25]
    assert row_of({**entry, "print_process": None}, SHA)[place : place + 2] == [None, None]


def test_a_run_cut_off_at_any_byte_goes_on_to_the_same_table(photos, tmp_path):
    whole = tmp_path / "whole.csv"
    list(stream_calls(photos, whole, StreamSettings(), sha256=SHA, workers=1))
    data = whole.read_bytes()
    header = len(data.split(b"\n")[0])
    for cut in (1, header - 3, header, header + 1, header + 40, len(data) // 2, len(data) - 1, len(data)):
        part = tmp_path / "part.csv"
        part.write_bytes(data[:cut])
        list(stream_calls(photos, part, StreamSettings(), sha256=SHA, workers=1))
        assert part.read_bytes() == data


def test_many_workers_write_the_same_table_as_one(photos, tmp_path):
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    list(stream_calls(photos, one, StreamSettings(), sha256=SHA, workers=1))
    list(stream_calls(photos, two, StreamSettings(), sha256=SHA, workers=2))
    assert one.read_bytes() == two.read_bytes()


def test_other_tables_and_other_weights_are_refused_and_left_alone(tmp_path):
    table = tmp_path / "mine.csv"
    table.write_text("serial,year\n1,1880\n")
    with pytest.raises(OutputError, match="not a table of calls"):
        finished_rows(table, SHA, overwrite=False)
    assert table.read_text() == "serial,year\n1,1880\n"
    list(stream_calls([EXAMPLES / "too-small.jpg"], table, StreamSettings(), sha256=SHA, workers=1, overwrite=True))
    with pytest.raises(OutputError, match="other weights"):
        finished_rows(table, "b" * 64, overwrite=False)


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2", "@sum", "\tx"])
def test_cells_that_a_spreadsheet_would_run_get_an_apostrophe(text):
    """OWASP, CSV injection: cells beginning with = + - @ tab or return (from memory)."""
    assert guarded(text) == "'" + text
    assert guarded("watch.jpg") == "watch.jpg"


def test_the_command_streams_and_says_what_it_did(photos, tmp_path, capsys):
    table = tmp_path / "calls.csv"
    command = ["score", str(photos[0].parent), "--csv", str(table), "--workers", "1"]
    assert main(command) == 1  # one of them is no picture
    assert "5 photographs scored, 0 were there already" in capsys.readouterr().out
    assert main(command) == 0
    assert "0 photographs scored, 5 were there already" in capsys.readouterr().out
    assert main([*command, "--out", str(tmp_path / "x")]) == 1


@pytest.mark.slow
def test_killed_runs_lose_and_double_nothing(photos, tmp_path):
    table = tmp_path / "calls.csv"
    many = []
    for index in range(30):
        many.append(tmp_path / f"{index:02}.jpg")
        shutil.copy(EXAMPLES / "too-small.jpg", many[-1])
    sha = load_weights(None).identity["sha256"]
    code = (
        "import sys; from pathlib import Path\n"
        "from dialtell.evaluate.score.stream import StreamSettings as S, stream_calls\n"
        "for _ in stream_calls([Path(p) for p in sys.argv[3:]], Path(sys.argv[1]), S(), sha256=sys.argv[2],"
        " workers=1): pass"
    )
    command = [sys.executable, "-c", code, str(table), sha, *map(str, many)]
    for _ in range(8):
        process = subprocess.Popen(command)
        before = table.stat().st_size if table.exists() else 0
        while process.poll() is None and (not table.exists() or table.stat().st_size <= before + 300):
            time.sleep(0.01)
        if process.poll() is None:
            os.kill(process.pid, signal.SIGKILL)
        process.wait()
    subprocess.run(command, check=True)
    assert [row[0] for row in rows(table)[1:]] == [str(path) for path in many]
