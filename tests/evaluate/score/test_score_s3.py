"""Photographs in an S3 store: the rows of the same files by path, by both engines, whatever the store does."""

import csv
import importlib.util
import os
import signal
import subprocess
import time
from contextlib import contextmanager

import pytest
from s3_store import BUCKET, S3Store
from trials.kills.cluster import Cluster, command, photographs_in

from dialtell.evaluate.score.addresses import LARGEST
from dialtell.evaluate.score.stream import COLUMNS

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        any(importlib.util.find_spec(name) is None for name in ("s3fs", "moto", "flask")),
        reason="s3fs and moto[server] are not installed",
    ),
]
ERROR = COLUMNS.index("error")


@pytest.fixture
def store(monkeypatch):
    with S3Store() as begun:
        for name, value in begun.environment.items():
            monkeypatch.setenv(name, value)
        yield begun


def rows(table):
    with table.open(newline="", encoding="utf-8") as file:
        return list(csv.reader(file))[1:]


def scored(tmp_path, table, addresses, *words):
    """The command under way, for a list of addresses."""
    (tmp_path / "list.txt").write_text("\n".join(addresses))
    whole = command(tmp_path / "list.txt", table, *words)
    whole.insert(whole.index("score") + 1, "--list")
    return subprocess.Popen(whole, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


@contextmanager
def workers_of(engine, tmp_path):
    """The words that have two workers of an engine judge, while it runs."""
    if engine == "local":
        yield "--workers", "2"
        return
    pytest.importorskip("distributed")
    with Cluster(tmp_path) as cluster:
        yield "--engine", "cluster", "--scheduler", cluster.address


def judged(tmp_path, count):
    """So many photographs as files, and the table of their rows."""
    photographs_in(folder := tmp_path / "photographs", count, poison=False)
    subprocess.run(
        command(folder, near := tmp_path / "near.csv", "--workers", "2"), check=True, stdout=subprocess.DEVNULL
    )
    return sorted(folder.iterdir()), near


def until_rows(table, count, run):
    while (not table.exists() or len(table.read_bytes().splitlines()) <= count) and run.poll() is None:
        time.sleep(0.02)


@pytest.mark.parametrize("engine", ["local", "cluster"])
def test_rows_are_those_of_the_files_and_what_is_wrong_is_named(tmp_path, store, engine):
    (files, near), far = judged(tmp_path, 4), tmp_path / "far.csv"
    good = [store.put(f"lot%201/{path.name}", path.read_bytes()).replace("%20", " ") for path in files]
    wrong = {
        f"s3://{BUCKET}/none.jpg": "it does not exist",
        "s3://nowhere/a.jpg": "the bucket nowhere does not exist",
        store.put("text.jpg", b"no picture"): "text.jpg",
        store.put("empty.jpg", b""): "empty.jpg",
        store.put("huge.jpg", bytes(LARGEST + 2)): f"more than {LARGEST} bytes",
    }
    addresses = [address for pair in zip([*good, good[0]], wrong, strict=True) for address in pair]
    with workers_of(engine, tmp_path) as words:
        run = scored(tmp_path, far, addresses, *words)
        said = run.communicate(timeout=300)[1]
    found = {row[0]: row[1:] for row in rows(far)}
    assert run.returncode == 1 and len(rows(far)) == len(found) == len(good) + len(wrong)
    assert [found[address] for address in good] == [row[1:] for row in rows(near)]
    for address, words in wrong.items():
        assert words in found[address][ERROR - 1] and words in said and "/tmp" not in found[address][ERROR - 1]


def test_keys_that_are_refused_or_missing_leave_no_rows(tmp_path, store, monkeypatch):
    photographs_in(folder := tmp_path / "photographs", 1, poison=False)
    address, table = store.put("a.jpg", next(folder.iterdir()).read_bytes()), tmp_path / "calls.csv"

    def said():
        run = scored(tmp_path, table, [address], "--workers", "1")
        return run.communicate(timeout=300)[1]

    store.refuse()
    assert "Access Key Id you provided does not exist" in said() and rows(table) == []
    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY"):
        monkeypatch.delenv(name)
    monkeypatch.setenv("AWS_SHARED_CREDENTIALS_FILE", os.devnull)
    assert "Unable to locate credentials" in (words := said()) and "FSSPEC_S3_ANON" in words and rows(table) == []


@pytest.mark.parametrize("engine", ["local", "cluster"])
def test_a_store_that_dies_and_a_command_that_is_cut_off_cost_no_row(tmp_path, store, engine):
    (files, near), far = judged(tmp_path, 10), tmp_path / "far.csv"
    addresses = [store.put(path.name, path.read_bytes()) for path in files]
    with workers_of(engine, tmp_path) as words:
        run = scored(tmp_path, far, addresses, *words)
        until_rows(far, 1, run)
        store.stop()
        assert "run again" in run.communicate(timeout=300)[1] and run.returncode == 1
        before = rows(far)
        assert 1 <= len(before) < len(files) and not any(row[ERROR] for row in before)
        store.start()
        for path in files:
            store.put(path.name, path.read_bytes())
        run = scored(tmp_path, far, addresses, *words)
        until_rows(far, len(before) + 1, run)
        run.send_signal(signal.SIGINT)
        run.communicate(timeout=300)
        assert run.returncode == 130 and len(rows(far)) < len(files)
        run = scored(tmp_path, far, addresses, *words)
        run.communicate(timeout=300)
    assert run.returncode == 0
    assert [row[0] for row in rows(far)] == addresses
    assert [row[1:] for row in rows(far)] == [row[1:] for row in rows(near)]
