"""How long one photograph takes to score, stage by stage, and how much memory.

    python tests/trials speed/scoring_and_page

Draws a dial of 4000 x 3000 px, saves it as a JPEG of quality 90, scores it several times over in a process of its own
held to two cores, and prints the median of each stage in milliseconds and as a multiple of what Pillow takes to decode
the same file in the same run. The first scoring, with everything cold, is shown apart. Start of the command line is
timed against a bare Python.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import json
import multiprocessing
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from dialtell.evaluate.cli.threads import one_thread_for_small_matrices
from dialtell.synth.shared.workers import follow_parent

WIDTH, HEIGHT, RADIUS = 4000, 3000, 1330.0  # px
SEED, INDEX = 6_000_013, 1
STAGES = (
    "decode", "linear light", "looks", "outline", "density", "sharpness", "divisions", "twelve", "zones", "patches",
    "net", "verdict", "rest",
)  # fmt: skip
GOAL = 8.0  # times decoding, warm


class Clock:
    """Seconds by stage; time spent in a stage begun within another counts for the inner one alone."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}
        self._inner: list[float] = []

    def timed(self, stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """The function with its own time added to a stage."""

        @functools.wraps(function)
        def run(*args: Any, **kwargs: Any) -> Any:
            self._inner.append(0.0)
            start = time.perf_counter()
            try:
                return function(*args, **kwargs)
            finally:
                whole = time.perf_counter() - start
                self.spent[stage] = self.spent.get(stage, 0.0) + whole - self._inner.pop()
                if self._inner:
                    self._inner[-1] += whole

        return run


@contextlib.contextmanager
def watched(clock: Clock, net: type) -> Iterator[None]:
    """The stages of scoring put under the clock for the length of a `with`."""
    from dialtell.evaluate.score import score
    from dialtell.model.reading import looks, photo
    from dialtell.model.reading import steps as reading

    stages: list[tuple[Any, str, str]] = [
        (photo, "_decode", "decode"),
        (photo, "grey_light", "linear light"),
        (looks, "_looked", "looks"),
        (reading, "find_outline", "outline"),
        (reading, "optical_density", "density"),
        (reading, "measure_sharpness", "sharpness"),
        (reading, "find_divisions", "divisions"),
        (reading, "find_twelve", "twelve"),
        (reading, "find_zones", "zones"),
        (reading, "cut_patches", "patches"),
        (net, "forward", "net"),
        (score, "judge", "verdict"),
    ]
    before = [getattr(place, name) for place, name, _ in stages]
    try:
        for (place, name, stage), function in zip(stages, before, strict=True):
            setattr(place, name, clock.timed(stage, function))
        yield
    finally:
        for (place, name, _), function in zip(stages, before, strict=True):
            setattr(place, name, function)


def draw_photograph(place: Path) -> None:
    """Write the JPEG: a dial that fills most of the frame."""
    from dataclasses import replace

    from PIL import Image

    from dialtell.synth.scene import Range, render, sample_spec

    spec = sample_spec(SEED, INDEX, Range(variety=Range().variety.without("clock")))
    view = replace(
        spec.view, px_per_mm=RADIUS / spec.design.radius_mm, width_px=WIDTH, height_px=HEIGHT, tilt_deg=8.0,
        centre_x_px=WIDTH / 2 + 60, centre_y_px=HEIGHT / 2 - 20, field="whole",
    )  # fmt: skip
    Image.fromarray(render(replace(spec, view=view))).save(place, quality=90)


def measure(place: str, repeats: int, cores: int, net_threads: int) -> dict[str, Any]:
    """Times of one photograph, seconds: to be run in a process of its own.

    net_threads : of torch; where others use the cores too, its threads wait for one another and one alone is faster.
    decoding : Pillow's, median. first : the first scoring. whole, stages : medians of the warm ones.
    memory_mb : peak of the process, and that before the first scoring.
    """
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:cores])
    import cv2
    import torch
    from PIL import Image

    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.net.weights_file import load_weights

    cv2.setNumThreads(cores)
    torch.set_num_threads(net_threads)
    weights = load_weights()
    before = _peak_mb()
    decoding, wholes, stages = [], [], []
    found = call = None
    for _ in range(repeats + 1):
        start = time.perf_counter()
        with Image.open(place) as image:
            image.load()
        decoding.append(time.perf_counter() - start)
        clock = Clock()
        with watched(clock, type(weights.net)):
            start = time.perf_counter()
            scored = score_photo(place, weights)
            wholes.append(time.perf_counter() - start)
        found, call = scored.reading is not None, scored.record["call"]
        stages.append(clock.spent | {"rest": wholes[-1] - sum(clock.spent.values())})
    return {
        "found": found,
        "call": call,
        "repeats": repeats,
        "decoding": statistics.median(decoding[1:]),
        "first": wholes[0],
        "whole": statistics.median(wholes[1:]),
        "stages": {name: statistics.median(row.get(name, 0.0) for row in stages[1:]) for name in STAGES},
        "memory_mb": {"before": before, "peak": _peak_mb()},
    }


def pace_of(photo: str | None, repeats: int, cores: int, net_threads: int) -> dict[str, Any]:
    """What `measure` finds of a photograph (None: one drawn for it), in a process of its own.

    The drawing has another process, so that its memory is not counted.
    """
    one_thread_for_small_matrices()  # as the command line does
    spawn = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(photo) if photo else Path(folder) / "dial.jpg"
        if not photo:
            with ProcessPoolExecutor(1, mp_context=spawn, initializer=follow_parent) as pool:
                pool.submit(draw_photograph, place).result()
        with ProcessPoolExecutor(1, mp_context=spawn, initializer=follow_parent) as pool:
            return pool.submit(measure, str(place), repeats, cores, net_threads).result()


def _peak_mb() -> float:
    unit = 1 if sys.platform == "darwin" else 1024  # bytes there, kB elsewhere
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def start_times(repeats: int) -> dict[str, float]:
    """Seconds until `dialtell --help` and a bare Python have run, the least of several."""
    commands = {
        "help": [sys.executable, "-c", "from dialtell.evaluate.cli.main import main; main(['--help'])"],
        "python": [sys.executable, "-c", "pass"],
    }
    found = {}
    for name, command in commands.items():
        seconds = []
        for _ in range(repeats):
            start = time.perf_counter()
            subprocess.run(command, check=True, capture_output=True)
            seconds.append(time.perf_counter() - start)
        found[name] = min(seconds)
    return found


def table(found: dict[str, Any]) -> str:
    """One line per stage: milliseconds and times decoding."""
    decoding = found["decoding"]
    lines = [f"{'stage':<16}{'ms':>8}{'x decode':>10}"]
    rows = [("Pillow decode", decoding), *found["stages"].items(), ("whole, warm", found["whole"])]
    for name, seconds in [*rows, ("whole, first", found["first"])]:
        lines.append(f"{name:<16}{1000 * seconds:>8.0f}{seconds / decoding:>10.2f}")
    memory = found["memory_mb"]
    lines.append(f"peak memory {memory['peak']:.0f} MB, of which {memory['before']:.0f} MB before the first photograph")
    if "start" in found:
        start = found["start"]
        lines.append(f"dialtell --help {start['help']:.3f} s, a bare Python {start['python']:.3f} s")
    goal = "met" if found["whole"] <= GOAL * decoding else "missed"
    lines.append(f"goal of {GOAL:g} x decode, warm: {goal}; call: {found['call']}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photo", metavar="FILE", help="measure this JPEG instead of a drawn one")
    parser.add_argument("--repeats", type=int, default=5, metavar="N", help="warm scorings (default: 5)")
    parser.add_argument("--cores", type=int, default=2, metavar="N", help="held to so many (default: 2)")
    parser.add_argument("--net-threads", type=int, default=1, metavar="N", help="of torch (default: 1)")
    parser.add_argument("--json", action="store_true", help="one JSON document, seconds")
    args = parser.parse_args(arguments)
    found = pace_of(args.photo, args.repeats, args.cores, args.net_threads)
    found["start"] = start_times(args.repeats)
    print(json.dumps(found) if args.json else table(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
