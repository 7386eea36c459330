"""Worker processes: results in order, a death that is told, and none that outlives its parent."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from dialtell.synth.shared.workers import WorkerDied, in_order

_seen: list[str] = []


def late_first(number: int) -> int:
    time.sleep(0.3 if number == 0 else 0)
    return number


def killed_at(last: int, number: int) -> int:
    if number == last:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def begin(word: str) -> None:
    _seen.append(word)


def with_seen(number: int) -> tuple[int, list[str]]:
    return number, _seen


@pytest.mark.parametrize("workers", [1, 2])
def test_results_come_in_the_order_of_the_jobs_and_each_process_was_set_up(workers: int) -> None:
    assert list(in_order(late_first, range(8), workers)) == list(range(8))
    _seen.clear()
    found = list(in_order(with_seen, range(3), workers, start=begin, arguments=("begun",)))
    assert found == [(number, ["begun"]) for number in range(3)]
    assert _seen == (["begun"] if workers == 1 else [])


def test_a_death_is_told_with_the_job() -> None:
    with pytest.raises(WorkerDied, match="fewer") as told:
        list(in_order(partial(killed_at, 4), range(9), 2))
    assert told.value.job in range(9)


PARENT = """
import os, sys, time
from dialtell.synth.shared.workers import spawned
if __name__ == "__main__":
    pool = spawned(2)
    print(pool.submit(os.getpid).result(), flush=True)
    pool.submit(time.sleep, 60), pool.submit(time.sleep, 60)
    time.sleep(60)
"""


def test_workers_end_with_a_parent_that_is_killed(tmp_path: Path) -> None:
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    with subprocess.Popen([sys.executable, script], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        worker = int(parent.stdout.readline())
        parent.kill()
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            os.kill(worker, 0)
            if Path(f"/proc/{worker}/stat").read_text().split()[2] == "Z":
                return
        except (ProcessLookupError, FileNotFoundError):
            return
        time.sleep(0.05)
    pytest.fail("a worker outlived its parent")


def test_nothing_heavy_is_loaded_by_whoever_hands_out_jobs() -> None:
    code = (
        "import sys; import dialtell.synth.shared.workers; print({'numpy', 'cv2', 'torch', 'scipy'} & set(sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout == "set()\n"
