"""The verb draw where the system itself refuses: files may not grow, the manifest's line does not fit."""

from __future__ import annotations

import errno
import subprocess
import sys
from io import FileIO
from pathlib import Path
from typing import Any

import pytest

from dialtell.evaluate.cli.draw import add_arguments, run
from dialtell.synth.shared.errors import OutputError

pytest.importorskip("resource")

WORDS = ["--count", "3", "--max-side", "420", "--pixels-per-radius", "120", "180", "--seed", "43", "--workers", "1"]
CODE = """
import argparse, resource, sys
from dialtell.evaluate.cli.draw import add_arguments, run
from dialtell.synth.shared.errors import OutputError
limit = int(sys.argv[1])
if limit:
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
parser = argparse.ArgumentParser()
add_arguments(parser)
try:
    raise SystemExit(run(parser.parse_args(sys.argv[2:])))
except OutputError as error:
    print(error, file=sys.stderr)
    raise SystemExit(1)
"""


def draw(folder: Path, limit: int = 0) -> subprocess.CompletedProcess[str]:
    words = [sys.executable, "-c", CODE, str(limit), *WORDS, "--out", str(folder)]
    return subprocess.run(words, capture_output=True, text=True, check=False)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_files_that_may_not_grow_are_named_and_leave_nothing_half_written(tmp_path: Path) -> None:
    """RLIMIT_FSIZE makes the kernel refuse the bytes past it, as a quota or a full disk does."""
    limited, free = tmp_path / "limited", tmp_path / "free"
    refused = draw(limited, limit=60_000)  # set.json fits, no picture does
    assert refused.returncode == 1
    assert "cannot be written" in refused.stderr and "000000-" in refused.stderr and "Traceback" not in refused.stderr
    assert not [path for path in limited.iterdir() if path.suffix == ".png" or path.name.startswith(".")]
    assert draw(limited).returncode == 0 == draw(free).returncode
    assert contents(limited) == contents(free)


def test_a_line_that_does_not_fit_is_taken_off_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The picture is whole, its line is cut off by a full disk: the next run finds the manifest of whole lines."""
    import argparse

    def words(folder: Path) -> argparse.Namespace:
        parser = argparse.ArgumentParser()
        add_arguments(parser)
        return parser.parse_args([*WORDS, "--out", str(folder)])

    class Full(FileIO):
        """A file whose disk is full after 100 bytes of the second line."""

        def write(self, data: bytes) -> int:
            if not self.tell():
                return super().write(data)
            super().write(data[:100])
            raise OSError(errno.ENOSPC, "No space left on device")

    folder, opened = tmp_path / "set", Path.open

    def full(path: Path, mode: str = "r", *rest: Any, **more: Any) -> Any:
        return Full(path, "a") if mode == "ab" else opened(path, mode, *rest, **more)

    monkeypatch.setattr(Path, "open", full)
    with pytest.raises(OutputError, match=r"manifest.jsonl cannot be written: the disk is full"):
        run(words(folder))
    monkeypatch.undo()
    assert (folder / "manifest.jsonl").read_bytes().count(b"\n") == 1
    assert (folder / "manifest.jsonl").read_bytes().endswith(b"}\n")
    assert run(words(folder)) == 0
    assert run(words(tmp_path / "other")) == 0
    assert contents(folder) == contents(tmp_path / "other")
