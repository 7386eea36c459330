"""The verb draw: worker independence, going on after an interruption, and what it refuses."""

from __future__ import annotations

import argparse
import errno
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import cv2
import pytest

from dialtell.evaluate.cli.draw import add_arguments, run
from dialtell.synth.sets import set_folder
from dialtell.synth.sets.dial_set import DialSet
from dialtell.synth.sets.set_folder import SetFolder
from dialtell.synth.shared import files
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.workers import in_order

SMALL = ("--max-side", "420", "--pixels-per-radius", "120", "180", "--seed", "41")


def draw(*words: str | Path, workers: int = 1) -> int:
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    return run(parser.parse_args([*map(str, words), "--workers", str(workers)]))


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six dials with masks, drawn in one go by one process."""
    folder = tmp_path_factory.mktemp("whole") / "set"
    assert draw("--count", "6", "--masks", "--out", folder, *SMALL) == 0
    return folder


@pytest.fixture
def copy(whole: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "copy"
    folder.mkdir()
    for name, data in contents(whole).items():
        (folder / name).write_bytes(data)
    return folder


def again(folder: Path, *words: str) -> int:
    return draw("--count", "6", "--masks", "--out", folder, *SMALL, *words)


def test_two_workers_draw_the_same_bytes_as_one(whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "two"
    assert draw("--count", "6", "--masks", "--out", folder, *SMALL, workers=2) == 0
    assert contents(folder) == contents(whole)


def test_a_killed_run_leaves_whole_files_and_goes_on(tmp_path: Path) -> None:
    folder = tmp_path / "set"
    words = ["--count", "10", "--out", str(folder), *SMALL, "--workers", "1"]
    code = (
        "import argparse; from dialtell.evaluate.cli.draw import add_arguments, run\n"
        f"p = argparse.ArgumentParser(); add_arguments(p); run(p.parse_args({words!r}))"
    )
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    manifest = folder / "manifest.jsonl"
    while process.poll() is None and not (manifest.exists() and manifest.read_bytes().count(b"\n") >= 3):
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    lines = manifest.read_bytes().count(b"\n")
    assert 3 <= lines < 10
    pictures = [path for path in folder.iterdir() if path.suffix == ".png"]
    assert lines <= len(pictures) <= lines + 1
    assert all(cv2.imread(str(path)) is not None for path in pictures)
    kept = {path.name: path.stat().st_mtime_ns for path in sorted(pictures)[:lines]}
    assert draw(*words) == 0
    assert {name: (folder / name).stat().st_mtime_ns for name in kept} == kept
    other = tmp_path / "at-once"
    assert draw(*["--out" if w == "--out" else str(other) if w == str(folder) else w for w in words]) == 0
    assert contents(folder) == contents(other)


def test_a_line_cut_short_and_a_damaged_picture_are_drawn_again(copy: Path, whole: Path) -> None:
    manifest = copy / "manifest.jsonl"
    manifest.write_bytes(manifest.read_bytes()[:-40])
    first = next(copy.glob("000001-*.strokes.png"))
    first.write_bytes(b"not a picture")
    next(path for path in copy.glob("000002-*.png") if path.name.count(".") == 1).unlink()
    assert again(copy) == 0
    assert contents(copy) == contents(whole)


def test_other_settings_are_refused(copy: Path, whole: Path) -> None:
    with pytest.raises(OutputError, match=r"copy holds .* other settings \(seed 41, now 42\).*--overwrite"):
        draw("--count", "6", "--masks", "--out", copy, *SMALL[:-1], "42")
    with pytest.raises(OutputError, match=r"jitter 1\.0, now 2\.0"):
        again(copy, "--jitter", "2")
    assert contents(copy) == contents(whole)


def test_overwrite_takes_away_the_older_set_and_nothing_else(copy: Path) -> None:
    (copy / "000003-notes.txt").write_text("mine")
    edited = next(copy.glob("000005-*.strokes.png"))
    edited.write_bytes(b"mine too")
    assert draw("--count", "2", "--out", copy, *SMALL, "--overwrite") == 0
    names = set(contents(copy))
    assert {"000003-notes.txt", edited.name, "set.json", "manifest.jsonl"} <= names
    assert len(names) == 6 and edited.read_bytes() == b"mine too"


def test_a_picture_of_the_users_is_not_overwritten(whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    name = next(path.name for path in whole.glob("000001-*.png") if path.name.count(".") == 1)
    (folder / name).write_bytes(b"mine")
    with pytest.raises(OutputError, match=f"{name} exists and is not this command's result"):
        again(folder)
    assert (folder / name).read_bytes() == b"mine"
    assert (folder / "manifest.jsonl").read_bytes().count(b"\n") == 1
    assert again(folder, "--overwrite") == 0
    assert contents(folder) == contents(whole)


def test_a_manifest_without_settings_is_refused(tmp_path: Path) -> None:
    (tmp_path / "manifest.jsonl").write_text("mine\n")
    with pytest.raises(OutputError, match=r"holds a manifest.jsonl but no set.json"):
        again(tmp_path)
    assert (tmp_path / "manifest.jsonl").read_text() == "mine\n"


def test_a_full_disk_is_said_and_the_run_goes_on_later(
    whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, written = tmp_path / "set", files.whole_file

    @contextmanager
    def full(path: Path) -> Iterator[BinaryIO]:
        with written(path) as file:
            yield file
            if path.name.startswith("000002"):
                raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(files, "whole_file", full)
    with pytest.raises(OutputError, match=r"000002-.*the disk is full; make room and run the same command again"):
        again(folder)
    monkeypatch.undo()
    assert not list(folder.glob("*000002*")) and not list(folder.glob(".*"))
    assert again(folder) == 0
    assert contents(folder) == contents(whole)


def test_ctrl_c_says_what_is_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    replace = os.replace

    def interrupted(source: Path, target: Path) -> None:
        if target.name.startswith("000001"):
            raise KeyboardInterrupt
        replace(source, target)

    monkeypatch.setattr(set_folder.os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        draw("--count", "3", "--out", tmp_path / "set", *SMALL)
    assert "1 of 3 dials in" in capsys.readouterr().err
    assert not list((tmp_path / "set").glob("*000001*"))


def test_two_runs_at_once_are_refused(copy: Path) -> None:
    pytest.importorskip("fcntl")
    settings = json.loads((copy / "set.json").read_text())
    assert settings["count"] == 6
    dials = DialSet(count=1, seed=1)
    folder = copy.parent / "busy"
    with SetFolder(folder, dials), pytest.raises(OutputError, match="another run is drawing into"):
        SetFolder(folder, dials).__enter__()


def test_check_names_what_differs(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    manifest = copy / "manifest.jsonl"
    assert draw("--check", manifest) == 0
    assert capsys.readouterr().out.endswith("6 dials of " + str(manifest) + " redrawn: all as recorded\n")
    rows = manifest.read_text().splitlines()
    line = json.loads(rows[4])
    line["spec"]["camera"]["gamma"] = 1.5
    old = json.loads(rows[5])
    old["version"] = "0"
    manifest.write_text("\n".join([rows[3], json.dumps(line), json.dumps(old)]) + "\n")
    assert draw("--check", manifest, "--json") == 1
    report = json.loads(capsys.readouterr().out)
    assert report["faults"][0] == f"{line['file']}: the picture redrawn has other pixels"
    assert (
        report["faults"][1].startswith(f"{old['file']} was drawn by renderer version 0") and len(report["faults"]) == 2
    )


def test_stdout_is_one_line_or_one_document(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = copy.parent / "sheet.png"
    assert again(copy, "--sheet", str(sheet)) == 0
    out, err = capsys.readouterr()
    assert out.count("\n") == 1 and "0 drawn, 6 kept" in out and str(sheet) in out and err == ""
    assert again(copy, "--sheet", str(sheet), "--json") == 0  # the same sheet again is no clash
    report = json.loads(capsys.readouterr().out)
    assert (report["schema"], report["dials"], report["kept"]) == ("dialtell.draw/1", 6, 6)
    sheet.write_bytes(b"mine")
    with pytest.raises(OutputError, match=r"sheet.png exists"):
        again(copy, "--sheet", str(sheet))
    assert sheet.read_bytes() == b"mine"


@pytest.mark.parametrize(
    ("words", "kind", "message"),
    [
        ((), ParameterError, "out is missing; give --out DIR"),
        (("--sheet", "s.png", "--cues", "c.png"), ParameterError, "sheet is given without a set"),
        (("--check", "m.jsonl", "--out", "d"), ParameterError, "check is given with out"),
        (("--cues", "c.jpg"), OutputError, "c.jpg is not named as a PNG"),
        (("--cues", "/no/such/folder/c.png"), OutputError, "/no/such/folder is not a folder"),
        (("--out", "/dev/null/x"), OutputError, "/dev/null/x cannot be written"),
        (("--out", "d", "--twins", "--process", "hand"), ParameterError, "twins are asked for with process 'hand'"),
    ],
)
def test_requests_that_make_no_sense_are_refused(words: tuple[str, ...], kind: type[Exception], message: str) -> None:
    with pytest.raises(kind, match=message):
        draw(*words)


def test_results_come_in_order_and_only_a_few_are_ahead() -> None:
    taken = []

    def jobs():  # type: ignore[no-untyped-def]
        for number in range(40):
            taken.append(number)
            yield number

    results = in_order(abs, jobs(), 2)
    assert next(results) == 0
    assert len(taken) <= 6
    assert list(results) == list(range(1, 40))


def test_the_parser_is_built_without_heavy_imports() -> None:
    code = (
        "import argparse, sys; from dialtell.evaluate.cli.draw import add_arguments\n"
        "p = argparse.ArgumentParser(); add_arguments(p); p.format_help()\n"
        "print(sorted({'numpy', 'cv2', 'PIL', 'scipy', 'torch', 'multiprocessing'} & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout == "[]\n"
