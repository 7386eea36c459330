"""How many photographs `dialtell score --csv` scores a second with 1, 2, 4 ... workers of one thread each.

    OMP_NUM_THREADS=1 python tests/trials speed/cores
    OMP_NUM_THREADS=1 python tests/trials speed/cores --workers 1 32 --seconds 10

The bundled photographs are copied under many names, each with a comment of its own. The clock starts when every worker
has had two of them, and stops before any is out of work: starting is left out. Efficiency is the pace over that of the
first number of workers, for each worker. `cpu_ms` is the workers' processor time a photograph, which other work on the
machine hardly changes; `busy` the share of all cores in use meanwhile, by whomever.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any

WARM, SPARE = 2, 6  # photographs a worker that are not timed: before, and handed out ahead
FASTEST = 12.0  # photographs a second that one worker could at most score, for how many are made


def copies(folder: Path, count: int) -> list[Path]:
    """So many photographs that no two are the same file."""
    examples = Path(str(resources.files("dialtell.evaluate"))) / "examples"
    whole = [path.read_bytes() for path in sorted(examples.glob("p*.jpg"))]
    paths = [folder / f"{index:06}.jpg" for index in range(count)]
    for index, path in enumerate(paths):
        data = whole[index % len(whole)]
        path.write_bytes(data[:2] + b"\xff\xfe\x00\x0a" + f"{index:08}".encode() + data[2:])  # a comment of 8 bytes
    return paths


def _cpu_s() -> float:
    """Processor time of all processes this one has started."""
    import psutil

    times = [process.cpu_times() for process in psutil.Process().children(recursive=True)]
    return float(sum(each.user + each.system for each in times))


def paced(paths: Sequence[Path], table: Path, workers: int, seconds: float) -> dict[str, Any]:
    """What so many workers come to in about so many seconds."""
    import psutil

    from dialtell.evaluate.score.stream import StreamSettings, stream_calls
    from dialtell.model.net.weights_file import load_weights

    settings = StreamSettings()
    began = time.monotonic()
    rows = stream_calls(paths, table, settings, sha256=load_weights(None).sha256, workers=workers)
    first, last, cpu = 0.0, 0.0, 0.0
    count = 0
    for number, (path, error) in enumerate(rows, start=1):
        if error:
            raise RuntimeError(f"{path}: {error}")
        now = time.monotonic()
        if number == WARM * workers:
            first, cpu = now, _cpu_s() if workers > 1 else time.process_time()
            psutil.cpu_percent()
        elif first:
            last, count = now, number - WARM * workers
            if now - first >= seconds or number >= len(paths) - SPARE * workers:
                break
    spent = (_cpu_s() if workers > 1 else time.process_time()) - cpu
    busy = psutil.cpu_percent() / 100
    rows.close()  # type: ignore[attr-defined]
    return {
        "workers": workers, "photographs": count, "a_second": round(count / (last - first), 3),
        "cpu_ms": round(1000 * spent / count, 1), "busy": round(busy, 2), "start_s": round(first - began, 1),
    }  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """One line of JSON for each number of workers, as it is there."""
    parser = argparse.ArgumentParser(prog="python tests/trials speed/cores", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    cores = os.cpu_count() or 1
    parser.add_argument("--workers", type=int, nargs="+", help="(default: 1, 2, 4 ... up to the cores)",
                        default=[2**n for n in range(cores.bit_length()) if 2**n <= cores])  # fmt: skip
    parser.add_argument("--seconds", type=float, default=6, help="each is timed (default: %(default)s)")
    args = parser.parse_args(arguments)
    import torch

    torch.set_num_threads(1)  # one worker is this very process
    one = 0.0
    with tempfile.TemporaryDirectory() as home:
        most = max(args.workers)
        paths = copies(Path(home), most * (WARM + SPARE + 1 + int(FASTEST * args.seconds)))
        for workers in args.workers:
            enough = paths[: workers * (len(paths) // most)]
            found = paced(enough, Path(home, f"calls-{workers}.csv"), workers, args.seconds)
            one = one or found["a_second"] / workers
            print(json.dumps(found | {"efficiency": round(found["a_second"] / workers / one, 3)}), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
