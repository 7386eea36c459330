"""A small run of a command that writes much: what a kind of run must be able to do, and what several share."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

DIALS = 4
RADIUS_PX = ("90", "100")
SIDE_PX = "240"
PAUSE_S = 0.004  # that each picture drawn or judged takes where it is found in memory


class ProgramOutput:
    """What a child says on both its streams, over a pipe: no limit on the size of files touches it."""

    def __init__(self) -> None:
        self._from, self.into = os.pipe()
        self._heard = b""

    def listen(self) -> None:
        """In the parent, once the child is there."""
        os.close(self.into)
        os.set_blocking(self._from, False)

    def text(self) -> str:
        """All that was said so far."""
        try:
            while piece := os.read(self._from, 65536):
                self._heard += piece
        except BlockingIOError:
            pass
        return self._heard.decode("utf-8", "replace")

    def close(self) -> None:
        """Hear no more."""
        os.close(self._from)


class Workload:
    """One command on small input; use as a context manager. `start` runs in a child, the rest in the parent.

    compute : every run draws and judges anew; else that is done once, and found in memory after PAUSE_S.
    """

    name: ClassVar[str]

    refused = ""  # what the last run said when it would not save, and lived on

    def __init__(self, folder: Path, *, compute: bool = False) -> None:
        self.input = folder
        self.compute = compute
        self._own: list[tuple[dict[str, Any], str, Any]] = []
        folder.mkdir()

    def __enter__(self) -> Workload:
        """Make the input, and load what children shall find in memory."""
        import cv2
        import torch

        torch.set_num_threads(1)
        cv2.setNumThreads(1)
        self.prepare()
        return self

    def __exit__(self, *_: object) -> None:
        """End what was begun for the runs."""
        for names, name, value in reversed(self._own):
            names[name] = value

    def put(self, module: Any, name: str, value: Any) -> None:
        """Have a module find `value` under a name of its own, until the runs end."""
        names = vars(module)
        self._own.append((names, name, names[name]))
        names[name] = value

    def prepare(self) -> None:
        """Make the input."""
        raise NotImplementedError

    def start(self, out: Path) -> int:
        """Run, or go on, into `out`; the exit status."""
        raise NotImplementedError

    def drive(self, child: int, out: Path, said: ProgramOutput) -> None:
        """Do the user's part while the child runs."""

    def forget(self) -> None:
        """A run ended whole; the next begins anew."""

    def progress(self, out: Path) -> float:
        """Share done, 0..1, by what lies in `out`."""
        raise NotImplementedError

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        """What a cut off run left that it must not."""
        raise NotImplementedError

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        """How a run that was cut off and gone on with differs from one left alone."""
        raise NotImplementedError


def run_dialtell(*words: object) -> int:
    from dialtell.evaluate.cli.main import main

    return main([str(word) for word in words])


def differences(out: Path, whole: Path) -> list[str]:
    """Files that are not in both folders with the same bytes, drafts included."""
    left, right = ({path.name: path.read_bytes() for path in sorted(folder.iterdir())} for folder in (out, whole))
    names = sorted(left.keys() | right.keys())
    return [f"{name} differs" for name in names if left.get(name) != right.get(name)]


def draw_photographs(folder: Path) -> None:
    from dialtell.synth.scene import Range
    from dialtell.synth.sets.dial_set import DialSet
    from dialtell.synth.sets.manifest import draw_picture

    low, high = (float(text) for text in RADIUS_PX)
    dials = DialSet(count=DIALS, seed=5, scope=Range(pixels_per_radius=(low, high), max_side=int(SIDE_PX)))
    for picture in dials.pictures():
        drawn = draw_picture(dials, picture)
        (folder / f"{picture.index}.png").write_bytes(drawn.files[drawn.line["file"]])


def remembered(function: Callable[..., Any], *inputs: Any) -> Callable[..., Any]:
    """A pure function with its results for these first arguments in memory."""
    results = {one: function(*one) for one in inputs}

    def recall(*words: Any, **_: Any) -> Any:
        time.sleep(PAUSE_S)
        return results[words[: len(inputs[0])]]

    return recall
