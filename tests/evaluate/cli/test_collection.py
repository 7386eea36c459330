"""The collection file: nothing lost, nothing doubled, foreign and damaged files left alone."""

import csv
import io
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import cv2
import numpy as np
import pytest

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.collection.file import APPLICATION_ID, STEPS, VERSION, CollectionFile
from dialtell.evaluate.collection.near_duplicates import alike, distance, likeness
from dialtell.evaluate.collection.page import page_text, shares
from dialtell.evaluate.collection.table import Choice, csv_text, list_text, record_of
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.train.stats.proportion import wilson

WEIGHTS = {"name": "strokes", "version": "0.1.0", "sha256": "a" * 64}
NEWER = {"name": "strokes", "version": "0.2.0", "sha256": "b" * 64}


def dial(call="printed", ratio=-1.2, zone="hand-painted"):
    zones = [{"zone": "signature", "judged": True, "call": zone, "log10_lr": 1.1, "probability_hand": 0.9}]
    return {"photo": "x", "call": call, "log10_lr": ratio, "support": "moderate support for printing", "zones": zones}


def add(collection, path, number, weights=WEIGHTS, **changes):
    mark = f"{number * 2654435761 % 2**64:016x}"
    return collection.add(
        path, f"{number:064x}", likeness=mark, thumbnail=None, weights=weights, document=dial(**changes)
    )


@pytest.fixture
def collection(tmp_path):
    with CollectionFile(tmp_path / "dials.collection", create=True) as found:
        yield found


def test_a_photograph_and_weights_are_kept_once_and_newer_calls_stand_beside_older(collection, tmp_path):
    assert add(collection, tmp_path / "1.jpg", 1)
    assert not add(collection, tmp_path / "moved.jpg", 1)
    assert add(collection, tmp_path / "moved.jpg", 1, NEWER, call="hand-painted", ratio=1.5)
    assert collection.counts() == {"photographs": 1, "calls": 2, "labels": 0}
    entry = collection.entry(1)
    assert (entry.call, entry.weights, entry.path.name) == ("hand-painted", "strokes 0.2.0", "moved.jpg")
    assert [call["call"] for call in collection.history(1)] == ["printed", "hand-painted"]
    assert collection.known(f"{1:064x}", "a" * 64) and not collection.known(f"{1:064x}", "c" * 64)


def test_fields_labels_and_choices(collection, tmp_path):
    for number in range(1, 7):
        add(collection, tmp_path / f"{number}.jpg", number, call=("hand-painted", "printed")[number % 2],
            ratio=(1.5, -1.5)[number % 2])  # fmt: skip
        collection.set_fields(number, {"year": 1874 + 4 * number, "maker": "Aldwin & Sons"})
    collection.set_label(2, "dial", "painted", "by eye")
    collection.set_label(2, "dial", "printed", "examined object")
    entries = list(collection.entries())
    assert [entry.id for entry in entries if Choice(call="hand-painted").takes(entry)] == [2, 4, 6]
    assert [entry.id for entry in entries if Choice(decade=1880).takes(entry)] == [2, 3]
    assert all(Choice(call="hand-painted", zone="signature").takes(entry) for entry in entries)
    assert not any(Choice(least_support=1.6).takes(entry) for entry in entries)
    assert [entry.id for entry in entries if Choice(words="aldwin").takes(entry)] == [1, 2, 3, 4, 5, 6]
    assert [label["label"] for label in collection.labels(2)] == ["printed"]
    with pytest.raises(ParameterError, match="no photograph 99"):
        collection.set_fields(99, {"year": 1880})
    with pytest.raises(ParameterError, match="cannot tell"):
        collection.set_label(2, "dial", "perhaps", "by eye")
    rows = list(csv.DictReader(io.StringIO(csv_text(entries, collection))))
    assert rows[1]["labels"] == "dial: printed" and rows[1]["signature_call"] == "hand-painted"
    assert "Aldwin" in list_text(entries)
    json.dumps(record_of(entries[0], collection), allow_nan=False)


def test_shares_by_year_carry_the_wilson_interval(collection, tmp_path):
    for number in range(1, 11):
        add(collection, tmp_path / f"{number}.jpg", number, call="hand-painted" if number < 8 else "printed")
        collection.set_fields(number, {"year": 1880})
    add(collection, tmp_path / "11.jpg", 11, call="undetermined", ratio=0.1)
    collection.set_fields(11, {"year": 1880})
    (share,) = shares(list(collection.entries()))
    assert (share["painted"], share["decided"]) == (7, 10)
    assert (share["low"], share["high"]) == tuple(wilson(7, 10))


def test_an_older_schema_is_carried_over_with_all_it_held(tmp_path):
    path = tmp_path / "old.collection"
    base = sqlite3.connect(path)
    base.executescript(STEPS[1])
    base.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    base.execute("PRAGMA user_version = 1")
    base.execute("INSERT INTO photo (sha256, path, added_at, maker) VALUES ('00', 'old.jpg', '2020', 'Aldwin')")
    base.commit()
    base.close()
    with CollectionFile(path) as collection:
        assert collection.entry(1).fields["maker"] == "Aldwin"
        assert add(collection, tmp_path / "new.jpg", 5)
        assert collection.faults() == []
    with closing(sqlite3.connect(path)) as base:
        assert base.execute("PRAGMA user_version").fetchone()[0] == VERSION


@pytest.mark.parametrize("what", ["text", "foreign", "newer", "damaged", "missing", "folder"])
def test_files_that_are_no_collection_are_named_and_left_as_they_were(what, tmp_path):
    path = tmp_path / "x.collection"
    if what == "text":
        path.write_text("serial,year\n" * 200)
    elif what == "foreign":
        with closing(sqlite3.connect(path)) as base:
            base.executescript("CREATE TABLE bird (name TEXT)")
    elif what == "folder":
        path.mkdir()
    elif what in ("newer", "damaged"):
        with CollectionFile(path, create=True) as collection:
            for number in range(1, 60):
                add(collection, tmp_path / "1.jpg", number)
        if what == "newer":
            with closing(sqlite3.connect(path)) as base:
                base.execute(f"PRAGMA user_version = {VERSION + 1}")
        else:
            data = bytearray(path.read_bytes())
            data[100:4096] = b"\xff" * 3996
            path.write_bytes(bytes(data))
    before = path.read_bytes() if path.is_file() else None
    with pytest.raises(OutputError, match=r"x\.collection"), CollectionFile(path) as collection:
        list(collection.entries())
    assert (path.read_bytes() if path.is_file() else None) == before


WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[4])
from test_collection import add
from dialtell.evaluate.collection.file import CollectionFile
with CollectionFile(Path(sys.argv[1]), create=True) as collection:
    for number in range(int(sys.argv[2]), int(sys.argv[3])):
        add(collection, Path(f"{number}.jpg"), number)
        print(number, flush=True)
"""


def test_two_processes_add_at_once_and_one_is_killed(tmp_path):
    """What a killed writer had said it added is there; nothing is doubled; SQLite's own check is clean."""
    path = tmp_path / "dials.collection"
    here = os.path.dirname(__file__)

    def start(first, last):
        command = [sys.executable, "-c", WRITER, str(path), str(first), str(last), here]
        return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)

    steady, doomed = start(0, 250), start(200, 500)
    for _ in range(40):
        assert doomed.stdout is not None
        last = int(doomed.stdout.readline())
    os.kill(doomed.pid, signal.SIGKILL)
    said = [int(line) for line in (doomed.stdout.read() or "").split()]
    doomed.wait()
    doomed.stdout.close()
    steady.communicate()
    assert steady.returncode == 0
    with CollectionFile(path) as collection:
        found = {int(entry.sha256, 16) for entry in collection.entries()}
        assert found >= set(range(250)) | set(range(200, max([last, *said]) + 1))
        assert collection.faults() == []
    again = start(200, 500)
    again.communicate()
    with CollectionFile(path) as collection:
        assert collection.counts()["photographs"] == collection.counts()["calls"] == 500
        assert collection.faults() == []


def test_a_held_file_is_waited_for(tmp_path):
    path = tmp_path / "dials.collection"
    with CollectionFile(path, create=True) as collection:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        process = subprocess.Popen([sys.executable, "-c", WRITER, str(path), "1", "2", os.path.dirname(__file__)])
        time.sleep(1.0)
        other.execute("COMMIT")
        other.close()
        assert process.wait(60) == 0
        assert collection.counts()["photographs"] == 1


def test_likeness_survives_scaling_and_noise_and_tells_pictures_apart():
    rng = np.random.default_rng(4)
    pictures = [cv2.GaussianBlur(rng.random((200, 240)).astype(np.float32), (0, 0), 9) for _ in range(12)]
    pictures = [(p - p.min()) / np.ptp(p) for p in pictures]
    marks = [likeness(p) for p in pictures]
    small = cv2.resize(pictures[0], (120, 100), interpolation=cv2.INTER_AREA)
    assert distance(marks[0], likeness(small + 0.01 * rng.standard_normal(small.shape).astype(np.float32))) <= 8
    assert alike([*marks, likeness(small)]) == [(0, 12, distance(marks[0], likeness(small)))]


def test_page_escapes_names_and_carries_every_dial(collection, tmp_path):
    add(collection, tmp_path / "<img src=x onerror=alert(1)>.jpg", 1)
    collection.set_fields(1, {"maker": "</script><script>alert(2)</script>", "year": 1881})
    text = page_text(list(collection.entries()), "<b>mine</b>")
    assert "<img src=x" not in text and "<b>mine" not in text and "alert(2)</script>" not in text
    data = json.loads(text.split('id="data">')[1].split("</script>")[0])
    assert data[0]["name"] == "<img src=x onerror=alert(1)>.jpg"
    assert "http" not in text.replace("http-equiv", "")


def test_a_page_says_when_it_was_made(tmp_path):
    place, page = tmp_path / "dials.collection", tmp_path / "dials.html"
    with CollectionFile(place, create=True) as collection:
        add(collection, tmp_path / "1.jpg", 1)
    assert main(["collection", "page", str(place), "--out", str(page)]) == 0
    assert re.search(r"<dt>Page made</dt><dd>\d{4}-\d\d-\d\d \d\d:\d\d UTC</dd>", page.read_text("utf-8"))
