"""How long the page of one photograph takes, stage by stage, and how large it is.

    python tests/trials speed/page

Draws a dial of 4000 x 3000 px as `trials.speed.scoring_and_page` does, then in a process of its own held to two cores
scores it and makes its page, in turn, several times over. Prints the median of each stage in milliseconds and as a
multiple of scoring the same photograph in the same run. The first round, with everything cold, is left out.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import multiprocessing
import os
import statistics
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from trials.speed.scoring_and_page import Clock, draw_photograph

from dialtell.evaluate.cli.threads import one_thread_for_small_matrices
from dialtell.synth.shared.workers import follow_parent

GOAL = 15.0  # times scoring, warm
LARGEST_MB = 4.0  # 10^6 bytes of the page
# where the page's makers look a function up, and the stage it is counted for
STAGES = (
    ("score_photo", "scoring"),
    ("examine", "looked into"),  # maps and measurements, then hints of style
    ("dial_view", "dial cut out"),
    ("evidence_table", "evidence table"),
    ("photo_map", "map painted"),
    ("beside_views", "like dial"),
    ("zone_crops", "close views"),
    ("like_strokes", "like strokes"),
    ("write_page", "page written"),
)


@contextlib.contextmanager
def watched(clock: Clock) -> Iterator[None]:
    """The stages of a page put under the clock for the length of a `with`."""
    from dialtell.evaluate.inspection import one_photo

    before = [(name, stage, getattr(one_photo, name)) for name, stage in STAGES]
    try:
        for name, stage, function in before:
            setattr(one_photo, name, clock.timed(stage, function))
        yield
    finally:
        for name, _, function in before:
            setattr(one_photo, name, function)


def measure(place: str, repeats: int, cores: int, net_threads: int) -> dict[str, Any]:
    """Times of one photograph and its page, seconds, medians of the warm rounds: to be run in a process of its own.

    scoring, page : of score_photo alone, and of the page with its own scoring in it. stages : of the page.
    page_mb : 10^6 bytes.
    """
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:cores])
    import cv2
    import torch

    from dialtell.evaluate.inspection.one_photo import inspect_photo
    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.net.weights_file import load_weights

    cv2.setNumThreads(cores)
    torch.set_num_threads(net_threads)
    weights, target = load_weights(), Path(place).with_suffix(".html")
    scoring, pages, stages = [], [], []
    for _ in range(repeats + 1):
        start = time.perf_counter()
        score_photo(place, weights)
        scoring.append(time.perf_counter() - start)
        clock = Clock()
        with watched(clock):
            start = time.perf_counter()
            document = inspect_photo(place, target, weights, overwrite=True)
            pages.append(time.perf_counter() - start)
        stages.append(clock.spent | {"rest": pages[-1] - sum(clock.spent.values())})
    names = [*dict.fromkeys(stage for _, stage in STAGES), "rest"]
    return {
        "found": document["dial"]["geometry"] is not None,
        "repeats": repeats,
        "scoring": statistics.median(scoring[1:]),
        "page": statistics.median(pages[1:]),
        "stages": {name: statistics.median(row.get(name, 0.0) for row in stages[1:]) for name in names},
        "page_mb": target.stat().st_size / 1e6,
    }


def table(found: dict[str, Any]) -> str:
    """One line per stage: milliseconds and times scoring."""
    scoring, mb = found["scoring"], found["page_mb"]
    lines = [f"{'stage':<18}{'ms':>8}{'x score':>10}"]
    for name, seconds in [("score alone", scoring), *found["stages"].items(), ("whole page", found["page"])]:
        lines.append(f"{name:<18}{1000 * seconds:>8.0f}{seconds / scoring:>10.2f}")
    lines.append(f"page of {mb:.2f} MB, goal under {LARGEST_MB:g} MB: {'met' if mb < LARGEST_MB else 'missed'}")
    lines.append(f"goal of {GOAL:g} x scoring, warm: {'met' if found['page'] <= GOAL * scoring else 'missed'}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photo", type=Path, metavar="FILE", help="measure this photograph instead of a drawn one")
    parser.add_argument("--repeats", type=int, default=3, metavar="N", help="warm rounds (default: 3)")
    parser.add_argument("--cores", type=int, default=2, metavar="N", help="held to so many (default: 2)")
    parser.add_argument("--net-threads", type=int, default=1, metavar="N", help="of torch (default: 1)")
    parser.add_argument("--json", action="store_true", help="one JSON document, seconds")
    args = parser.parse_args(arguments)
    one_thread_for_small_matrices()  # as the command line does
    spawn = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "dial.jpg"
        if args.photo:
            place = place.with_suffix(args.photo.suffix)
            place.write_bytes(args.photo.read_bytes())  # the page is written beside it
        else:
            with ProcessPoolExecutor(1, mp_context=spawn, initializer=follow_parent) as pool:
                pool.submit(draw_photograph, place).result()
        with ProcessPoolExecutor(1, mp_context=spawn, initializer=follow_parent) as pool:
            found = pool.submit(measure, str(place), args.repeats, args.cores, args.net_threads).result()
    print(json.dumps(found) if args.json else table(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
