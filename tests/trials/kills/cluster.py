"""An archive scored on a cluster of this machine whose parts are killed, held against the table of the local engine.

    python tests/trials kills/cluster --photographs 2000 --kills 100 --dials 200

Kills (SIGKILL) fall in turn on a process that judges, a worker, the command and the scheduler, each after at least one
row more; what ended is begun again, as a cluster's manager does. One photograph is poison: whatever opens it on a
worker dies. In the end its row must name it, and all other rows must be those of the local engine, each once, in order.
Needs the extra `cluster`.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

POISON = "000001-poison.jpg"
ENDS = ("judging", "worker", "command", "scheduler")
UNMOUNTED = "unmounted"
# in every Python of a worker, and in no other: who opens the poison dies, and folders named so are not seen
HOOK = f"""
import os, signal, sys
def heard(event, words):
    if event == "open" and isinstance(words[0], str) and words[0].endswith({POISON!r}):
        os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(heard)
there = os.path.lexists
os.path.lexists = lambda path: {UNMOUNTED!r} not in str(path) and there(path)
"""


class Cluster:
    """A scheduler and two workers, which are begun again when they end. Use as a context manager."""

    def __init__(self, home: Path, workers: int = 2, hook: str = HOOK) -> None:
        self.home, self.count = home, workers
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"tcp://127.0.0.1:{self.port}"
        (home / "hook").mkdir(exist_ok=True)
        (home / "hook" / "sitecustomize.py").write_text(hook)
        self.parts: dict[str, subprocess.Popen[bytes]] = {}

    def __enter__(self) -> Cluster:
        self.tend()
        return self

    def __exit__(self, *_: object) -> None:
        for part in self.parts.values():
            for process in reversed(_family(part.pid)):
                _kill(process)
            part.wait()

    def tend(self) -> None:
        """Begin what is not there."""
        worker = [self.address, "--nthreads", "1", "--no-dashboard", "--local-directory", str(self.home)]
        wanted = {"scheduler": ["dask_scheduler", "--host", "127.0.0.1", "--port", str(self.port), "--no-dashboard"]}
        wanted |= {f"worker {index}": ["dask_worker", *worker] for index in range(self.count)}
        for name, (module, *words) in wanted.items():
            if name not in self.parts or self.parts[name].poll() is not None:
                places = [os.environ.get("PYTHONPATH", "")]
                if name != "scheduler":
                    places.insert(0, str(self.home / "hook"))
                with (self.home / f"{name}.log").open("ab") as said:
                    self.parts[name] = subprocess.Popen(
                        [sys.executable, "-m", f"distributed.cli.{module}", *words], stdout=said, stderr=said,
                        env={**os.environ, "PYTHONPATH": os.pathsep.join(places)},
                    )  # fmt: skip

    def workers(self) -> list[int]:
        """Dask's workers, each the child of a nanny."""
        nannies = [part.pid for name, part in self.parts.items() if name != "scheduler"]
        return [worker for nanny in nannies for worker in _spawned(nanny)]

    def judging(self, worker: int) -> list[int]:
        """The processes in which a worker judges."""
        return _spawned(worker)

    def kill(self, what: str, rng: np.random.Generator) -> bool:
        """Kill the scheduler, a worker or a process that judges; whether there was one."""
        if what == "scheduler":
            found = [self.parts["scheduler"].pid]
        else:
            found = self.workers()
            if what == "judging":
                found = [process for worker in found for process in self.judging(worker)]
        return bool(found) and _kill(found[rng.integers(len(found))])


def _family(pid: int) -> list[int]:
    import psutil

    try:
        return [pid, *(child.pid for child in psutil.Process(pid).children(recursive=True))]
    except psutil.NoSuchProcess:
        return []


def _spawned(pid: int) -> list[int]:
    """Children that multiprocessing spawned to work."""
    import psutil

    try:
        children = psutil.Process(pid).children()
        return [child.pid for child in children if any("spawn_main" in word for word in child.cmdline())]
    except psutil.Error:
        return []


def _kill(pid: int) -> bool:
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:
        return False
    return True


@dataclass
class Outcome:
    """What came of it. faults : what was not as promised. largest_mb : the command's memory at its largest."""

    photographs: int
    kills: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    largest_mb: float = 0.0
    faults: list[str] = field(default_factory=list)

    def record(self) -> dict[str, Any]:
        """What is printed."""
        return {**vars(self), "kills": dict(self.kills)}


def photographs_in(folder: Path, count: int, *, poison: bool = True, dials: int = 0) -> None:
    """So many photographs, the poison among them, third in order.

    The smallest of the drawn examples in turn; or of so many `dials`, drawn 400 px wide and less, each turned on and
    saved with a little less each time, so that no two photographs are alike.
    """
    folder.mkdir()
    if dials:
        _drawn(folder, count - poison, dials)
        if poison:
            shutil.copy(folder / "000000.jpg", folder / POISON)
        return
    examples = Path(str(resources.files("dialtell.evaluate"))) / "examples"
    drawn = sorted(examples.glob("*.jpg"), key=lambda path: (path.stat().st_size, path.name))[:2]
    for index in range(count - poison):
        shutil.copy(drawn[index % len(drawn)], folder / f"{index:06}.jpg")
    if poison:
        shutil.copy(drawn[0], folder / POISON)


def _drawn(folder: Path, count: int, dials: int) -> None:
    from PIL import Image

    from dialtell.synth.scene import Range, render, sample_spec

    small = Range(pixels_per_radius=(150.0, 190.0), max_side=400)
    for dial in range(dials):
        picture = Image.fromarray(render(sample_spec(6, dial, small)))
        for index in range(dial, count, dials):
            way = index // dials
            turned = picture.rotate(3 * way, Image.Resampling.BICUBIC, fillcolor=(120, 110, 100))
            turned.save(folder / f"{index:06}.jpg", quality=max(50, 95 - way))


def command(folder: Path, table: Path, *words: str) -> list[str]:
    """`dialtell score FOLDER --csv TABLE ...` by this Python."""
    code = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"
    return [sys.executable, "-c", code, "score", str(folder), "--csv", str(table), "--quiet", *words]


def _rows(table: Path) -> list[bytes]:
    return table.read_bytes().splitlines() if table.exists() else []


def disturb(
    home: Path,
    photographs: int,
    kills: int,
    *,
    seed: int = 1,
    kill_s: float = 86400.0,
    limit_s: float = 86400.0,
    dials: int = 0,
) -> Outcome:
    """Score so many photographs in `home` while parts are killed so often; the last kill may find no time to fall."""
    outcome, rng = Outcome(photographs), np.random.default_rng(seed)
    folder, local, table = home / "photographs", home / "local.csv", home / "cluster.csv"
    photographs_in(folder, photographs, dials=dials)
    subprocess.run(command(folder, local, "--workers", "2"), check=True, stdout=subprocess.DEVNULL)
    begun = time.monotonic()
    with Cluster(home) as cluster:
        words = command(folder, table, "--engine", "cluster", "--scheduler", cluster.address)
        run, before, pause = subprocess.Popen(words), 0, 0.0
        while (code := run.poll()) not in (0, 1) and time.monotonic() - begun < limit_s:
            cluster.tend()
            if code is not None:
                run = subprocess.Popen(words)
            outcome.largest_mb = max(outcome.largest_mb, memory_mb(run.pid))
            due = len(_rows(table)) > before and time.monotonic() > pause
            what = ENDS[outcome.kills.total() % len(ENDS)]
            if due and outcome.kills.total() < kills and time.monotonic() - begun < kill_s:
                if _kill(run.pid) if what == "command" else cluster.kill(what, rng):
                    outcome.kills[what] += 1
                    before, pause = len(_rows(table)), time.monotonic() + rng.uniform(0, 3)
            time.sleep(0.05)
        if run.poll() is None:
            outcome.faults.append(f"not done after {limit_s:.0f} s")
            run.kill()
        run.wait()
    outcome.seconds = round(time.monotonic() - begun, 1)
    whole, found = _rows(local), _rows(table)
    if [line for line in found if POISON.encode() not in line] != [
        line for line in whole if POISON.encode() not in line
    ]:
        outcome.faults.append(f"{len(found)} rows are not the {len(whole)} of the local engine")
    named = [line for line in found if POISON.encode() in line]
    if len(named) != 1 or b"set aside" not in named[0] or len(found) != len(whole):
        outcome.faults.append("the poison has no row of its own that says so")
    return outcome


def memory_mb(pid: int) -> float:
    """What a process holds in memory, 0 when it is gone."""
    import psutil

    try:
        return float(round(psutil.Process(pid).memory_info().rss / 2**20, 1))
    except psutil.Error:
        return 0.0


def main(arguments: list[str]) -> int:
    """Run it; 1 when anything was not as promised."""
    about = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(prog="kills/cluster", description=__doc__, formatter_class=about)
    parser.add_argument("--photographs", type=int, default=2000)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--dials", type=int, default=0, help="draw so many (default: two examples in turn)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kill-for", type=float, default=86400.0, metavar="SECONDS", help="then leave it in peace")
    parser.add_argument("--limit", type=float, default=86400.0, metavar="SECONDS", help="give up then")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="a new folder for all that is made; kept")
    args = parser.parse_args(arguments)
    home = args.keep or Path(tempfile.mkdtemp(prefix="dialtell-cluster-"))
    home.mkdir(exist_ok=True)
    outcome = disturb(
        home, args.photographs, args.kills, seed=args.seed, kill_s=args.kill_for, limit_s=args.limit, dials=args.dials
    )
    print(json.dumps(outcome.record(), indent=1))
    if args.keep is None:
        shutil.rmtree(home, ignore_errors=True)
    return 1 if outcome.faults else 0
