"""How fast a cluster of this machine scores, by its workers; and, with --stand-in, what memory an archive takes.

    python tests/trials speed/cluster --workers 1 --workers 2 --photographs 60
    python tests/trials speed/cluster --stand-in --photographs 100000

Times run from the first row to the last, so that starting is left out. With --stand-in a worker's process reads no
photograph but answers at once with the entry of an example dial; all else is as ever. Needs the extra `cluster`.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import tempfile
import time
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

import psutil
from trials.kills.cluster import HOOK, Cluster, command, memory_mb, photographs_in

MARKS = 20  # times that memory is looked at
_STAND_IN = """
import json, pathlib, dialtell.evaluate.score.stream as stream
entry = json.loads((pathlib.Path(__file__).parent / "entry.json").read_text())
def started(settings): pass
def judged(path): return dict(entry)
stream.start_judging, stream.judge = started, judged
"""


@dataclass
class Pace:
    """What one run came to. memory_mb : (rows, command, scheduler, workers, judging processes), resident.

    cpu_ms : of processor time a row, of the command, the scheduler, all workers, all judging processes, after the first
    row. idle : share of the cores at rest meanwhile, of all that the machine did.
    """

    workers: int
    photographs: int
    a_second: float = 0.0
    cpu_ms: list[float] = field(default_factory=list)
    idle: float = 0.0
    memory_mb: list[tuple[int, float, float, float, float]] = field(default_factory=list)


def paced(folder: Path, home: Path, count: int, workers: int, hook: str) -> Pace:
    """Score the `count` photographs in `folder` once, by so many workers of one thread."""
    pace, table = Pace(workers, count), home / "calls.csv"
    with Cluster(home, workers, hook) as cluster:
        words = command(folder, table, "--engine", "cluster", "--scheduler", cluster.address)
        run = subprocess.Popen(words, stdout=subprocess.DEVNULL)
        rows, size, first, last = -1, 0, (0, 0.0), (0, 0.0)
        spent: list[tuple[int, list[float]]] = []
        while run.poll() is None:
            time.sleep(0.05)
            if not table.exists():
                continue
            with table.open("rb") as file:  # what is new of it: reading all of it again and again would take the time
                file.seek(size)
                new = file.read()
            size, rows = size + len(new), rows + new.count(b"\n")
            if new and rows > 0:
                last = (rows, time.monotonic())
                if not first[0]:
                    first = last
                    psutil.cpu_percent()
            if rows > 0 and rows >= (len(pace.memory_mb) + 1) * count // MARKS:
                judging = [process for worker in cluster.workers() for process in cluster.judging(worker)]
                parts = ([run.pid], [cluster.parts["scheduler"].pid], cluster.workers(), judging)
                command_mb, scheduler_mb, workers_mb, judging_mb = (sum(map(memory_mb, part)) for part in parts)
                pace.memory_mb.append((rows, command_mb, scheduler_mb, workers_mb, judging_mb))
                spent.append((rows, [sum(map(_cpu_s, part)) for part in parts]))
        if run.wait() != 0 or rows + table.read_bytes()[size:].count(b"\n") != count:
            raise RuntimeError(f"the command ended with {run.returncode} after {rows} of {count} rows")
    pace.idle = round(1 - psutil.cpu_percent() / 100, 2)
    (start, before), (end, after) = spent[0], spent[-2]  # at the last mark the command may be gone
    pace.cpu_ms = [round(1000 * (b - a) / max(end - start, 1), 2) for a, b in zip(before, after, strict=True)]
    pace.a_second = round((last[0] - first[0]) / max(last[1] - first[1], 1e-9), 3)
    return pace


def _cpu_s(pid: int) -> float:
    try:
        times = psutil.Process(pid).cpu_times()
        return float(times.user + times.system)
    except psutil.Error:
        return 0.0


def main(arguments: list[str]) -> int:
    """Run it and print JSON."""
    about = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(prog="speed/cluster", description=__doc__, formatter_class=about)
    parser.add_argument("--photographs", type=int, default=60)
    parser.add_argument("--workers", type=int, action="append", help="may be repeated (default: 2)")
    parser.add_argument("--rounds", type=int, default=1, help="of all of --workers, one after the other")
    parser.add_argument("--stand-in", action="store_true", help="judge nothing")
    args = parser.parse_args(arguments)
    top = Path(tempfile.mkdtemp(prefix="dialtell-pace-"))
    folder = top / "photographs"
    if args.stand_in:
        folder.mkdir()
        for index in range(args.photographs):
            (folder / f"{index:07}.jpg").touch()
    else:
        photographs_in(folder, args.photographs, poison=False)
    found: list[dict[str, Any]] = []
    for number in range(args.rounds):
        for workers in args.workers or [2]:
            home = top / f"{number}-{workers}"
            (home / "hook").mkdir(parents=True)
            if args.stand_in:
                (home / "hook" / "entry.json").write_text(json.dumps(_entry()))
            found.append(vars(paced(folder, home, args.photographs, workers, _STAND_IN if args.stand_in else HOOK)))
            print(json.dumps(found[-1]), flush=True)
    shutil.rmtree(top, ignore_errors=True)
    return 0


def _entry() -> dict[str, Any]:
    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.net.weights_file import load_weights

    example = Path(str(resources.files("dialtell.evaluate"))) / "examples"
    return score_photo(sorted(example.glob("*.jpg"))[0], load_weights(None)).record
