"""How long the command takes to begin: processor time of commands run in processes of their own."""

from __future__ import annotations

import statistics
import subprocess
import sys
from importlib import resources

from dialtell.evaluate.speed.row import SpeedRow

PYTHON = "a bare Python"
_COMMAND = "from dialtell.evaluate.cli.main import main; main({words!r})"


def start(n: int, device: str) -> list[SpeedRow]:
    """Help, the imports, and the first call of a small photograph, beside a bare Python."""
    with resources.as_file(resources.files("dialtell.evaluate.examples") / "painted.jpg") as photo:
        commands = {
            "dialtell --help": _COMMAND.format(words=["--help"]),
            "import onnxruntime": "import onnxruntime",
            "the first call: dialtell score PHOTO": _COMMAND.format(
                words=["score", str(photo), "--quiet", "--device", device]
            ),
        }
        # in turn, so that all meet the same machine
        found: dict[str, list[float]] = {name: [] for name in ("", *commands)}
        for _ in range(n + 1):
            for name, program in {"": "pass", **commands}.items():
                found[name].append(_processor_seconds(program))
    middle = {name: statistics.median(seconds[1:]) for name, seconds in found.items()}
    return [SpeedRow("start", name, n, "processor", middle[name], PYTHON, middle[""]) for name in commands]


def _processor_seconds(program: str) -> float:
    """Of a Python program in a process of its own, of all its threads."""
    timed = (
        f"import time\n{program}\nimport sys\nsys.stdout.flush()\n"
        "print(f'\\nseconds {time.process_time()!r}', file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", timed], check=True, capture_output=True, text=True)
    return float(done.stderr.rpartition("seconds ")[2])
