"""Commands ended with SIGKILL or out of room: what is left is never taken for whole, and a rerun ends alike."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time

import pytest
from checkout import TRIALS
from trials.kills.dials import Draw, Score
from trials.kills.workloads import WORKLOADS

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="children are forked")
QUICK = [name for name in WORKLOADS if name != "train"]  # train draws its pictures first, half a minute of one core


def disturbed(*words):
    """The record of one command, without a fault."""
    run = [sys.executable, str(TRIALS), "kills/kills", *words]
    done = subprocess.run(run, capture_output=True, text=True, env={**os.environ, "OMP_NUM_THREADS": "1"}, check=False)
    assert done.returncode in (0, 1), done.stderr
    (record,) = json.loads(done.stdout)["commands"]
    assert record["faults"] == [] and record["runs_compared"] >= 1
    return record


@pytest.mark.parametrize("command", QUICK)
def test_killed_runs_go_on_to_the_same_end(command):
    record = disturbed("--command", command, "--kills", "6")
    assert record["ended"] == {"moment": 3, "file operation": 3} or sum(record["ended"].values()) == 6


@pytest.mark.parametrize("command", QUICK)
def test_runs_without_room_say_so_and_go_on_later(command):
    """Refused by the kernel past a random size, and at a random file operation as by a full disk: exit 1 in words."""
    record = disturbed("--command", command, "--kills", "6", "--full")
    assert sum(record["ended"].values()) == 6


@pytest.mark.slow
@pytest.mark.parametrize("command", WORKLOADS)
def test_a_hundred_kills(command):
    record = disturbed("--command", command, "--kills", "100", "--seed", "2")
    assert sum(record["ended"].values()) == 100


@pytest.mark.slow
@pytest.mark.parametrize("command", WORKLOADS)
def test_thirty_times_without_room(command):
    disturbed("--command", command, "--kills", "30", "--full", "--seed", "2")


@pytest.mark.slow
@pytest.mark.parametrize("command", ["draw", "score", "collection"])
def test_killed_while_pictures_are_drawn_and_judged(command):
    disturbed("--command", command, "--kills", "10", "--compute")


def test_the_checker_sees_what_was_lost_doubled_or_torn(tmp_path):
    """A promise that no broken folder could break would hold nothing."""
    score, draw = Score(tmp_path / "score"), Draw(tmp_path / "draw")
    whole, cut = tmp_path / "whole", tmp_path / "cut"
    for folder in (whole, cut):
        folder.mkdir()
    rows = [f"row {number}\n".encode() for number in range(4)]
    (whole / "calls.csv").write_bytes(b"".join(rows))
    for kept, good in ((rows[:2], True), (rows[:1] + rows[2:3], False), (rows[:2] + rows[1:2], False)):
        (cut / "calls.csv").write_bytes(b"".join(kept))
        assert (score.faults_when_cut(cut, whole) == []) is good
        assert score.faults_when_whole(cut, whole) != []
    (cut / "calls.csv").write_bytes(b"".join(rows))
    assert score.faults_when_whole(cut, whole) == []
    (whole / "a.png").write_bytes(b"picture")
    (cut / "a.png").write_bytes(b"pict")
    (whole / "manifest.jsonl").write_bytes(b"line\n")
    assert draw.faults_when_cut(cut, whole) != [] and draw.faults_when_whole(cut, whole) != []


@pytest.mark.slow
def test_no_worker_outlives_a_killed_run(tmp_path, drawn_photo):
    """The processes that a run started end with it, though it could not tell them to."""
    for number in range(6):
        (tmp_path / f"{number}.png").write_bytes(drawn_photo.read_bytes() + bytes([number]))
    code = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"
    words = ["score", str(tmp_path), "--csv", str(tmp_path / "calls.csv"), "--workers", "2"]
    run = subprocess.Popen([sys.executable, "-c", code, *words], start_new_session=True, stderr=subprocess.DEVNULL)
    group = run.pid

    def living():
        listed = subprocess.run(["ps", "-e", "-o", "pgid=,stat="], capture_output=True, text=True, check=True).stdout
        return sum(line.split()[0] == str(group) and "Z" not in line.split()[1] for line in listed.splitlines())

    try:
        ends = time.monotonic() + 120
        while living() < 4 and time.monotonic() < ends:  # the run, two workers, the resource tracker
            time.sleep(0.05)
        time.sleep(8)  # until the workers wait for work
        run.send_signal(signal.SIGKILL)
        run.wait()
        ends = time.monotonic() + 30
        while living() and time.monotonic() < ends:
            time.sleep(0.1)
        assert living() == 0
    finally:
        if living():
            os.killpg(group, signal.SIGKILL)
