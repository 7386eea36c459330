"""Commands killed with SIGKILL, or given a full disk, at random points, run again, and held against an undisturbed run.

    python tests/trials kills/kills --command score --kills 100

Kills fall in two ways, in turn: at a random moment of the run's own length, and just before a random one of its file
operations (opening for writing, renaming, removing, truncating, syncing, a statement of SQL). With --full, runs are
refused space instead, in turn by the kernel (no file may grow past a random size, RLIMIT_FSIZE) and at a random one of
the files they open (ENOSPC). A run goes on from where the one before it ended; once whole it is compared and begun
anew. Children are forked from a process that has the program in memory, so that they are ended in their work and not
while they start; for the same reason pictures are drawn and judged once beforehand, unless --compute is given.
"""

from __future__ import annotations

import argparse
import errno
import faulthandler
import functools
import json
import math
import os
import re
import resource
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from trials.kills.workload import ProgramOutput, Workload
from trials.kills.workloads import WORKLOADS

_FRAME = re.compile(r'File ".*?/(?:synth|model|train|evaluate|trials)/((?:\w+/)*\w+)\.py", line \d+ in (\S+)')
_OURS = ("kills/kills", "kills/workloads", "kills/workload", "cli/main")
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC
_CHANGES = ("os.rename", "os.remove", "os.truncate", "os.mkdir", "os.chmod")


@dataclass(frozen=True)
class Ending:
    """How a run ended. code : exit status, None when it was killed. where : the function it was in."""

    code: int | None
    where: str
    said: str
    operations: int


@dataclass
class Tally:
    """What happened to one command. progress : share done at each kill. faults : what was not as promised."""

    command: str
    ended: Counter[str] = field(default_factory=Counter)
    where: Counter[str] = field(default_factory=Counter)
    progress: list[float] = field(default_factory=list)
    whole: int = 0
    faults: list[str] = field(default_factory=list)

    def record(self) -> dict[str, Any]:
        """What the JSON document holds."""
        quarters = np.histogram(self.progress, bins=[0, 0.25, 0.5, 0.75, 1 - 1e-9, 2])[0].tolist()
        return {
            "command": self.command,
            "ended": dict(self.ended),
            "by_progress": dict(zip(("below 1/4", "to 1/2", "to 3/4", "to all", "all done"), quarters, strict=True)),
            "where": dict(self.where.most_common()),
            "runs_compared": self.whole,
            "faults": self.faults,
        }


class _Operations:
    """Counts the file operations of a child below a folder, and does something just before the n-th of them."""

    def __init__(self, folder: Path, at: int | None, act: Callable[[str], None]) -> None:
        self.folder, self.at, self.act, self.count = str(folder), at, act, 0

    def begin(self) -> None:
        sync, connect = os.fsync, sqlite3.connect
        operations = self

        def synced(handle: int) -> None:
            operations.one("fsync")
            sync(handle)

        class Told(sqlite3.Connection):
            def execute(self, *words: Any) -> sqlite3.Cursor:
                operations.one("sql")
                return super().execute(*words)

        os.fsync = synced  # type: ignore[assignment]
        sqlite3.connect = functools.partial(connect, factory=Told)  # type: ignore[assignment]
        sys.addaudithook(self.heard)

    def heard(self, event: str, words: tuple[Any, ...]) -> None:
        if event == "open":
            if not isinstance(words[2], int) or not words[2] & _WRITING:
                return
        elif event not in _CHANGES:
            return
        if isinstance(words[0], str | bytes | os.PathLike) and os.fsdecode(words[0]).startswith(self.folder):
            self.one(event)

    def one(self, event: str) -> None:
        self.count += 1
        if self.at is not None and self.count >= self.at:
            self.act(event)


def run_child(
    work: Workload,
    out: Path,
    *,
    after_s: float | None = None,
    at: int | None = None,
    full_at: int | None = None,
    grow: int | None = None,
) -> Ending:
    """Run the command into `out` in a child.

    after_s : kill it then. at : before this file operation. full_at : no room from this file operation on.
    grow : bytes no file may grow past.
    """
    notes = Path(tempfile.mkdtemp(prefix="dialtell-kills-"))
    stack, count = notes / "stack", notes / "count"
    said = ProgramOutput()
    child = os.fork()
    if child == 0:
        status = 70
        try:
            status = _child(work, out, stack, said, count, at, full_at, grow)
        finally:
            os._exit(status)
    said.listen()
    killer = _killer(child, after_s, stack) if after_s is not None else None
    try:
        work.drive(child, out, said)
    finally:
        os.waitid(os.P_PID, child, os.WEXITED | os.WNOWAIT)
        if killer is not None:  # before the child's number is free again
            os.kill(killer, signal.SIGKILL)
            os.waitpid(killer, 0)
        status = os.waitpid(child, 0)[1]
    code = None if os.WIFSIGNALED(status) else os.waitstatus_to_exitcode(status)
    where = _where(stack.read_text()) if code is None and stack.exists() else ""
    ending = Ending(code, where, said.text(), int(count.read_text() or 0) if count.exists() else 0)
    said.close()
    shutil.rmtree(notes)
    return ending


def _child(
    work: Workload,
    out: Path,
    stack: Path,
    said: ProgramOutput,
    count: Path,
    at: int | None,
    full_at: int | None,
    grow: int | None,
) -> int:
    os.dup2(said.into, 1)
    os.dup2(said.into, 2)
    sys.stdout = os.fdopen(1, "w", closefd=False)
    sys.stderr = os.fdopen(2, "w", closefd=False)
    file = stack.open("w")
    faulthandler.register(signal.SIGUSR1, file, all_threads=True)
    # a shell that starts something in the background has it ignore Ctrl-C, and its children too
    signal.signal(signal.SIGINT, signal.default_int_handler)

    def kill(event: str) -> None:
        faulthandler.dump_traceback(file, all_threads=False)
        os.kill(os.getpid(), signal.SIGKILL)

    def refuse(event: str) -> None:
        if event in ("open", "os.mkdir", "fsync"):  # renaming and removing need no room
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    operations = _Operations(out, at or full_at, kill if at else refuse)
    operations.begin()
    if grow is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (grow, resource.RLIM_INFINITY))
    try:
        code = work.start(out)
    except SystemExit as leave:
        code = int(leave.code or 0)
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 70
    sys.stdout.flush()
    sys.stderr.flush()
    if grow is None:
        count.write_text(str(operations.count))
    return code


def _killer(child: int, after_s: float, stack: Path) -> int:
    """A process that kills another one after a while, and has it write its stack just before."""
    killer = os.fork()
    if killer == 0:
        try:
            time.sleep(after_s)
            os.kill(child, signal.SIGUSR1)
            for _ in range(200):
                if stack.exists() and stack.stat().st_size:
                    break
                time.sleep(0.001)
            os.kill(child, signal.SIGKILL)
        finally:
            os._exit(0)
    return killer


def _where(stack: str) -> str:
    """The innermost function of ours in a stack, of whichever thread works."""
    found = [match for match in _FRAME.findall(stack) if match[0] not in _OURS]
    return ".".join(found[0]) if found else "elsewhere"


def _refusal(said: str, out: Path) -> str:
    """The last thing said, without the folder's name."""
    return (said.strip().splitlines() or ["nothing said"])[-1].replace(str(out), "OUT")[:150]


def disturb(name: str, count: int, *, seed: int = 1, full: bool = False, compute: bool = False) -> Tally:
    """Kill the command `count` times, or refuse it room as often; what came of it."""
    home = Path(tempfile.mkdtemp(prefix=f"dialtell-{name}-"))
    try:
        work = WORKLOADS[name](home / "input", compute=compute)
        tally = Tally(name)
        with work:
            _disturb(work, home, count, np.random.default_rng([seed, *name.encode()]), full, tally)
        return tally
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _disturb(work: Workload, home: Path, count: int, rng: np.random.Generator, full: bool, tally: Tally) -> None:
    whole, out = home / "whole", home / "cut"
    run_child(work, home / "first")  # the first is slower: it loads what others find in memory
    work.forget()
    began = time.monotonic()
    undisturbed = run_child(work, whole)
    length_s = time.monotonic() - began
    if undisturbed.code != 0:
        raise RuntimeError(f"the undisturbed run ended with {undisturbed.code}: {undisturbed.said[-2000:]}")
    largest = max(path.stat().st_size for path in whole.rglob("*") if path.is_file())
    work.forget()
    tries = 0
    while sum(tally.ended.values()) < count:
        tries += 1
        if tries > 20 * count + 20:
            tally.faults.append(f"only {sum(tally.ended.values())} of {count} hit within {tries} runs")
            return
        left = 1.0 - work.progress(out)
        if left == 0 and tally.progress[-1:] == [1.0]:  # once after all is done is enough: to its end
            ending = run_child(work, out)
            if ending.code == 0:
                _compare(work, out, whole, tally)
                continue
        operation = 1 + int(rng.integers(math.ceil(undisturbed.operations * left) + 2))
        if not full:
            if tries % 2:
                way, ending = "moment", run_child(work, out, after_s=float(rng.uniform(0, (left + 0.1) * length_s)))
            else:
                way, ending = "file operation", run_child(work, out, at=operation)
            hit = ending.code is None
        else:
            if tries % 2:
                way, ending = "no growth", run_child(work, out, grow=int(math.exp(rng.uniform(0, math.log(largest)))))
            else:
                way, ending = "no room", run_child(work, out, full_at=operation)
            hit = ending.code != 0 or bool(work.refused)
            words = ending.said + work.refused
            status = 0 if work.refused else 1
            if hit and (ending.code != status or "Traceback" in words or str(out) not in words):
                tally.faults.append(f"{way}: exit {ending.code}, said {words[-400:]!r}")
        if hit:
            tally.ended[way] += 1
            tally.where[ending.where or _refusal(ending.said + work.refused, out)] += 1
            tally.progress.append(work.progress(out))
            tally.faults += work.faults_when_cut(out, whole)
        elif ending.code == 0:
            _compare(work, out, whole, tally)
        else:
            tally.faults.append(f"ended with {ending.code}: {ending.said[-600:]!r}")
            _clear(work, out)
    for _ in range(3):
        ending = run_child(work, out)
        if ending.code == 0:
            break
    if ending.code != 0:
        tally.faults.append(f"the last run ended with {ending.code}: {ending.said[-600:]!r}")
        return
    _compare(work, out, whole, tally)


def _compare(work: Workload, out: Path, whole: Path, tally: Tally) -> None:
    tally.faults += work.faults_when_whole(out, whole)
    tally.whole += 1
    _clear(work, out)


def _clear(work: Workload, out: Path) -> None:
    shutil.rmtree(out, ignore_errors=True)
    work.forget()


def main(argv: list[str] | None = None) -> int:
    """The module's command line; exit status 1 when a promise was broken."""
    parser = argparse.ArgumentParser(prog="python tests/trials kills/kills", description=__doc__.splitlines()[0])
    parser.add_argument("--command", choices=WORKLOADS, action="append", help="may be repeated (default: all)")
    parser.add_argument("--kills", type=int, default=100, metavar="N", help="of each command (default: %(default)s)")
    parser.add_argument("--full", action="store_true", help="refuse room instead of killing")
    parser.add_argument("--compute", action="store_true", help="draw and judge anew in every run (slow; train never)")
    parser.add_argument("--seed", type=int, default=1, help="of the points (default: %(default)s)")
    args = parser.parse_args(argv)
    records = []
    for name in args.command or WORKLOADS:
        tally = disturb(name, args.kills, seed=args.seed, full=args.full, compute=args.compute)
        records.append(tally.record())
        print(f"{name}: {sum(tally.ended.values())} ended, {len(tally.faults)} faults", file=sys.stderr, flush=True)
    print(json.dumps({"schema": "dialtell.kills/1", "full": args.full, "commands": records}, indent=1))
    return 1 if any(record["faults"] for record in records) else 0


if __name__ == "__main__":
    sys.exit(main())
