"""Bad photographs by the thousand through the very code `dialtell score` and `inspect` use:

    python tests/trials bad_input/bad_input --count 10000 --seed 1

Each file is made (bad_pictures.py), scored in a worker process under a watchdog, and thrown away. What must not
happen: a traceback, a crash, more than --seconds of the processor for one file (six times as long where it is inspected
too), more than --megabytes of memory, a file without its one row, a message without the file's name and a remedy, a
refusal of a sound file. A JSON document of counts by kind goes to standard output, every fault to standard error; the
exit status is 1 when there was one. --only INDEX makes a file that did wrong again and keeps it in the current folder.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from trials.bad_input.bad_pictures import KINDS, BadPicture, bad_picture

SECONDS, MEGABYTES = 10.0, 2048
WAITING = 6  # times --seconds by the clock on the wall, where the machine is busy or a file is waited for
LONGEST_MESSAGE = 1000  # characters besides the file's name
_NAP = 0.05  # s


@dataclass(frozen=True)
class BadFileOutcome:
    """One file scored. result : "read" (with or without a dial), "refused" or "failed". fault : "" or what went wrong.

    seconds : wall time, cpu : of the worker's processor. megabytes : the worker's peak while at it.
    """

    index: int
    kind: str
    result: str
    fault: str
    seconds: float
    cpu: float = 0.0
    megabytes: float = 0.0
    said: str = ""


def put(picture: BadPicture, folder: Path) -> Path:
    """Make the file, or whatever else bears its name; returns its path."""
    place = folder / os.fsdecode(picture.name)
    if picture.special == "folder":
        place.mkdir()
    elif picture.special == "pipe":
        os.mkfifo(place)
    elif picture.special == "loop":
        place.symlink_to(place)
    elif picture.special == "dangling":
        place.symlink_to(folder / "nothing")
    elif picture.content is not None:
        place.write_bytes(picture.content)
    return place


def remove(place: Path) -> None:
    """Take away what `put` made, if anything."""
    try:
        if place.is_dir() and not place.is_symlink():
            shutil.rmtree(place)
        else:
            place.unlink(missing_ok=True)
    except (OSError, ValueError):  # a name no file can have
        pass


def faults_of(place: Path, document: dict[str, Any], *, sound: bool) -> tuple[str, str, str]:
    """(result, fault, message) of a document of schema dialtell.score/1 about one file."""
    from dialtell.evaluate.score.stream import COLUMNS, row_of
    from dialtell.evaluate.score.table import call_table
    from dialtell.evaluate.words.document import json_text

    entries = [*document["dials"], *document["errors"]]
    if len(entries) != 1:
        return "failed", f"{len(entries)} entries for one file", ""
    if entries[0]["photo"] != str(place):
        return "failed", "the entry names another file", entries[0]["photo"]
    json_text(document)  # strict
    shown = call_table(document["dials"], [(e["photo"], e["error"]) for e in document["errors"]], encoding="ascii")
    row = [str(cell) for cell in row_of(entries[0], "0" * 64)]
    if len(row) != len(COLUMNS) or any("\n" in cell for cell in row) or any("\x1b" in text for text in (shown, *row)):
        return "failed", "a control mark came through to the table", ""
    message = entries[0].get("error", "")
    if not message:
        long = max((len(text) for text in entries[0]["warnings"]), default=0)
        many = len(entries[0]["warnings"])
        return "read", f"{many} warnings, one of {long} characters" if long > LONGEST_MESSAGE or many > 20 else "", ""
    bare = message.replace(str(place), "")
    if "internal error" in bare:
        return "failed", bare, message
    if str(place) not in message or ";" not in bare:
        return "refused", f"a message without name or remedy: {message}", message
    if len(bare) > LONGEST_MESSAGE:
        return "refused", f"a message of {len(bare)} characters: {bare[:200]}", message
    return "refused", f"a sound file was refused: {bare}" if sound else "", bare


def _work(link: Connection, weights_path: Path | None, inspect_out: Path | None) -> None:
    """The worker: paths in, (result, fault, message, cpu seconds, MB) out."""
    import traceback
    import warnings

    import cv2
    import torch

    from dialtell.evaluate.inspection.one_photo import inspect_photo
    from dialtell.evaluate.score.score import score_photos
    from dialtell.model.net.weights_file import load_weights
    from dialtell.synth.shared.errors import DialtellError

    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # decoders complain there of every file
    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    warnings.simplefilter("error")
    weights = load_weights(weights_path)
    link.send("ready")
    while True:
        place, sound, inspect = link.recv()
        _reset_peak()
        before = time.process_time()
        try:
            answer = faults_of(place, score_photos([place], weights), sound=sound)
            if inspect and inspect_out is not None:
                try:
                    inspect_photo(place, inspect_out, weights, overwrite=True)
                except DialtellError as error:
                    if answer[0] == "read":
                        answer = "failed", f"inspect refused what score read: {error}", str(error)
        except Exception:
            answer = "failed", traceback.format_exc(), ""
        link.send((*answer, time.process_time() - before, _peak_mb()))


def _reset_peak() -> None:
    try:
        Path("/proc/self/clear_refs").write_text("5")  # Linux: the high-water mark anew
    except OSError:
        pass


def _peak_mb() -> float:
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
    except (OSError, StopIteration):
        import resource

        unit = 1 if sys.platform == "darwin" else 1024  # bytes there, kibibytes elsewhere
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 2**20


def _cpu_seconds(pid: int | None) -> float:
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError):
        return 0.0


def _now_mb(pid: int | None) -> float:
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20
    except (OSError, ValueError, IndexError):
        return 0.0


class Worker:
    """A process that scores one file at a time and is replaced when it hangs, swells or dies."""

    def __init__(
        self,
        *,
        seconds: float = SECONDS,
        megabytes: float = MEGABYTES,
        weights: Path | None = None,
        page: Path | None = None,
    ) -> None:
        self._seconds, self._megabytes, self._arguments = seconds, megabytes, (weights, page)
        self._context = multiprocessing.get_context("spawn")
        self._start()

    def _start(self) -> None:
        self._link, theirs = self._context.Pipe()
        self._process = self._context.Process(target=_work, args=(theirs, *self._arguments), daemon=True)
        self._process.start()
        theirs.close()
        self._link.recv()

    def stop(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.join()
        self._link.close()

    def score(self, index: int, picture: BadPicture, place: Path, *, inspect: bool = False) -> BadFileOutcome:
        """Score the file of a bad picture; inspect it too if asked."""
        began, used = time.monotonic(), _cpu_seconds(self._process.pid)
        self._link.send((place, picture.sound, inspect))
        limit = self._seconds * (6 if inspect else 1)
        try:
            while not self._link.poll(_NAP):
                spent, size = time.monotonic() - began, _now_mb(self._process.pid)
                cpu = _cpu_seconds(self._process.pid) - used
                late = cpu > limit or spent > WAITING * limit
                if late or size > 2 * self._megabytes:
                    why = f"still at work after {spent:.0f} s" if late else f"grew to {size:.0f} MB"
                    self.stop()
                    self._start()
                    return BadFileOutcome(index, picture.kind, "failed", why, spent, cpu, size)
            result, fault, said, cpu, peak = self._link.recv()
        except (EOFError, ConnectionError):
            self._process.join()
            code = self._process.exitcode
            self.stop()
            self._start()
            return BadFileOutcome(
                index, picture.kind, "failed", f"the process died, exit code {code}", time.monotonic() - began
            )
        if not fault and cpu > limit:
            fault = f"took {cpu:.1f} s"
        if not fault and peak > self._megabytes:
            fault = f"took {peak:.0f} MB"
        return BadFileOutcome(index, picture.kind, result, fault, time.monotonic() - began, cpu, peak, said)


def run(indices: Sequence[int], seed: int, worker: Worker, *, inspect_every: int = 0) -> Iterator[BadFileOutcome]:
    """Make, score and remove the files of these indices; every `inspect_every`th is inspected as well."""
    with tempfile.TemporaryDirectory(prefix="dialtell-bad-") as name:
        for index in indices:
            picture = bad_picture(index, seed=seed)
            place = put(picture, Path(name))
            try:
                yield worker.score(index, picture, place, inspect=bool(inspect_every) and index % inspect_every == 0)
            finally:
                remove(place)


def summary(outcomes: Sequence[BadFileOutcome]) -> dict[str, Any]:
    """Counts by kind, the slowest and the largest file."""
    kinds = {}
    for kind in KINDS:
        of_kind = [outcome for outcome in outcomes if outcome.kind == kind]
        if of_kind:
            results = Counter(outcome.result for outcome in of_kind)
            kinds[kind] = {
                "files": len(of_kind), "read": results["read"], "refused": results["refused"],
                "faults": sum(bool(outcome.fault) for outcome in of_kind),
                "worst_seconds": round(max(outcome.seconds for outcome in of_kind), 2),
                "worst_cpu_seconds": round(max(outcome.cpu for outcome in of_kind), 2),
                "worst_mb": round(max(outcome.megabytes for outcome in of_kind)),
            }  # fmt: skip
    return {
        "files": len(outcomes),
        "faults": sum(bool(outcome.fault) for outcome in outcomes),
        "seconds": round(sum(outcome.seconds for outcome in outcomes), 1),
        "kinds": kinds,
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Make, score, count; returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=10_000, metavar="N", help="files (default: %(default)s)")
    parser.add_argument("--start", type=int, default=0, metavar="INDEX", help="of the first file (default: 0)")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    parser.add_argument(
        "--seconds", type=float, default=SECONDS, metavar="S", help="for one file (default: %(default)s)"
    )
    parser.add_argument(
        "--megabytes", type=float, default=MEGABYTES, metavar="MB", help="at most (default: %(default)s)"
    )
    parser.add_argument(
        "--inspect-every", type=int, default=200, metavar="N", help="of the files (default: 200; 0 none)"
    )
    parser.add_argument("--out", type=Path, metavar="FILE", help="every outcome as JSON lines")
    parser.add_argument("--only", type=int, metavar="INDEX", help="make this one file here and stop")
    args = parser.parse_args(arguments)
    if args.only is not None:
        picture = bad_picture(args.only, seed=args.seed)
        print(picture.kind, repr(str(put(picture, Path.cwd()))))
        return 0
    if args.out is not None:
        args.out.write_text("", encoding="utf-8")
    outcomes = []
    with tempfile.TemporaryDirectory(prefix="dialtell-bad-") as name:
        worker = Worker(seconds=args.seconds, megabytes=args.megabytes, page=Path(name) / "page.html")
        indices = range(args.start, args.start + args.count)
        try:
            for outcome in run(indices, args.seed, worker, inspect_every=args.inspect_every):
                outcomes.append(outcome)
                if args.out is not None:
                    with args.out.open("a", encoding="utf-8") as file:
                        file.write(json.dumps(asdict(outcome)) + "\n")
                if outcome.fault:
                    print(f"{outcome.index} ({outcome.kind}): {outcome.fault}", file=sys.stderr, flush=True)
                if len(outcomes) % 500 == 0:
                    print(f"{len(outcomes)} files", file=sys.stderr, flush=True)
        finally:
            worker.stop()
    print(json.dumps(summary(outcomes), indent=1))
    return int(any(outcome.fault for outcome in outcomes))


if __name__ == "__main__":
    raise SystemExit(main())
