"""How fast everything is, in one table: drawing, scoring, training, laying two dials on each other, the page.

    nice python tests/trials speed/table
    nice python tests/trials speed/table --only drawing plates --n 5 --json

Each figure stands beside a yardstick timed in the same run by the same clock, so that two machines, or one machine on
two days, are compared by the ratio. Processor time is that of one thread; wall time is what a busy machine stretches.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from dialtell.synth.shared.errors import require_range

SCHEMA = "dialtell.speed/1"
SEED = 6_000_101
PRODUCT = "product of two 1024 x 1024 matrices"
DECODE = "Pillow decoding the same JPEG"
PILLOW = "Pillow drawing the same slices at 4 times the size"
SIDE = 1400  # px of a drawn dial
PER_RADIUS = 440.0  # px per radius of dials laid on each other, 20 px/mm on an 18 size dial
STEPS = 3  # training steps a time


@dataclass(frozen=True)
class SpeedRow:
    """One figure: `n` times measured, `seconds` each (median, or mean where one clock ran over all)."""

    part: str
    what: str
    n: int
    clock: str  # "processor" or "wall"
    seconds: float
    yardstick: str
    yardstick_seconds: float

    @property
    def times(self) -> float:
        """As a multiple of the yardstick."""
        return self.seconds / self.yardstick_seconds


def median_of(work: Callable[[int], object], n: int, clock: Callable[[], float] = time.process_time) -> float:
    """Seconds of the n calls work(0), work(1) ..., their median, after one call unclocked."""
    work(0)
    seconds = []
    for index in range(n):
        start = clock()
        work(index)
        seconds.append(clock() - start)
    return statistics.median(seconds)


def product_seconds(clock: Callable[[], float] = time.process_time) -> float:
    """The plainest yardstick of arithmetic: float32, one thread, by torch."""
    import torch

    torch.set_num_threads(1)
    one = torch.ones(1024, 1024)
    return median_of(lambda _: one @ one, 7, clock)


def drawing(n: int) -> list[SpeedRow]:
    """Dials of SIDE px drawn whole, and their strokes rasterised beside Pillow."""
    from trials.speed.drawing import STAGES, each_stage, patches_per_second, time_dials

    yardstick = product_seconds()
    clock, _ = time_dials(n, SIDE)
    each = {stage: ms / 1000 for stage, ms in each_stage(clock, n).items()}
    whole = sum(each.get(stage, 0.0) for stage in STAGES)
    pillow = each["Pillow, one layer"] + each["Pillow, second layer"]
    patch = 1 / patches_per_second(4 * n)
    dial = f"a dial of {SIDE} px"
    return [
        SpeedRow("drawing", f"{dial}: drawn, whole", n, "processor", whole, PRODUCT, yardstick),
        SpeedRow("drawing", f"{dial}: strokes, share and density", n, "processor", each["raster"], PILLOW, pillow),
        SpeedRow("drawing", f"{dial}: camera", n, "processor", each["camera"], PRODUCT, yardstick),
        SpeedRow("drawing", "a close-up of 256 px", 4 * n, "processor", patch, PRODUCT, yardstick),
    ]


def scoring(n: int) -> list[SpeedRow]:
    """A photograph of 12 megapixels, by stage."""
    from trials.speed.scoring_and_page import HEIGHT, WIDTH, pace_of

    found = pace_of(None, n, cores=2, net_threads=1)
    figures = {"whole, warm": found["whole"], "the first, cold": found["first"]} | found["stages"]
    what = f"a photograph of {WIDTH} x {HEIGHT} px"
    return [
        SpeedRow("scoring", f"{what}: {name}", 1 if "first" in name else n, "wall", seconds, DECODE, found["decoding"])
        for name, seconds in figures.items()
    ]


def training(n: int) -> list[SpeedRow]:
    """Twins drawn, read and cut; steps of the desk preset on a CPU."""
    import torch

    from dialtell.train.bags.bags import Bag, twin_bags
    from dialtell.train.run.config import preset
    from dialtell.train.run.loop import Trainer
    from dialtell.train.run.store import BagStore

    config = preset("desk", device="cpu", steps=STEPS)
    groups: list[list[Bag]] = []
    product = product_seconds()
    twins = median_of(lambda index: groups.append(twin_bags(SEED, index, config.scope)), n)
    store = BagStore(torch.device("cpu"), config.window)
    store.add(groups)
    with tempfile.TemporaryDirectory() as folder:
        trainer = Trainer(config, Path(folder))
        step = median_of(lambda _: trainer._train_epoch(store), n) / STEPS
    what = f"a step of {config.batch} x {config.patches} patches, desk net"
    return [
        SpeedRow("training", "twins drawn, read and cut", n, "processor", twins, PRODUCT, product),
        SpeedRow("training", what, n * STEPS, "processor", step, PRODUCT, product),
    ]


def plates(n: int) -> list[SpeedRow]:
    """Two pulls of one plate laid on each other, of 20 px/mm."""
    import numpy as np
    from trials.plates.dial_pairs import Kinship, sample_pair

    from dialtell.evaluate.compare.registration import common_scale, register, sheet_of
    from dialtell.model.reading.steps import Reading, read_at
    from dialtell.synth.scene import DialSpec, Range, render
    from dialtell.train.bags.bags import known_geometry, photo_of

    def reading_of(spec: DialSpec) -> Reading:
        rng = np.random.default_rng([spec.seed, spec.index])
        return read_at(photo_of(render(spec)), known_geometry(spec, rng=rng))

    scope = Range(
        pixels_per_radius=(0.95 * PER_RADIUS, 1.05 * PER_RADIUS), max_side=round(2.4 * PER_RADIUS), tilt=20.0,
        wear=(0.0, 0.3),
    )  # fmt: skip
    pairs = []
    for index in range(n):
        pair = sample_pair(SEED, index, Kinship.ONE_PLATE, scope)
        pairs.append((reading_of(pair.first), reading_of(pair.second)))

    def lay(index: int) -> None:
        first, second = pairs[index]
        scale = common_scale(first, second)
        register(sheet_of(first, scale), sheet_of(second, scale))

    yardstick = product_seconds()
    return [SpeedRow("plates", "one dial laid on another, read", n, "processor", median_of(lay, n), PRODUCT, yardstick)]


def page(n: int) -> list[SpeedRow]:
    """The inspection page of the bundled painted dial: score, maps, measurements, line-ups, a dial drawn both ways."""
    from importlib import resources

    import cv2

    from dialtell.evaluate.inspection.one_photo import inspect_photo
    from dialtell.model.net.weights_file import load_weights

    cv2.setNumThreads(1)
    weights = load_weights()
    with resources.as_file(resources.files("dialtell.evaluate.examples") / "painted.jpg") as photo:
        yardstick = product_seconds()
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "page.html"
            seconds = median_of(lambda _: inspect_photo(photo, out, weights, overwrite=True), n)
    return [SpeedRow("page", "an inspection page of a bundled example", n, "processor", seconds, PRODUCT, yardstick)]


PARTS: dict[str, Callable[[int], list[SpeedRow]]] = {
    "drawing": drawing, "scoring": scoring, "training": training, "plates": plates, "page": page,
}  # fmt: skip


def surroundings() -> dict[str, Any]:
    """Versions, machine, and how busy it was at the start."""
    from dialtell.train.run.loop import versions

    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return {"versions": versions(), "machine": platform.machine(), "cores": os.cpu_count(), "load": load}


def table(rows: Sequence[SpeedRow], about: dict[str, Any]) -> str:
    """The rows as Markdown, ratios with three digits, and what they were measured with."""
    lines = ["| what | n | ms each | clock | times | of |", "|---|---|---|---|---|---|"]
    lines += [
        f"| {row.what} | {row.n} | {1000 * row.seconds:.4g} | {row.clock} | {row.times:.3g} | {row.yardstick} |"
        for row in rows
    ]
    with_what = ", ".join(f"{name} {version}" for name, version in about["versions"].items())
    load = "unknown" if about["load"] is None else f"{about['load']:.1f}"
    said = f"{with_what}; {about['machine']}, {about['cores']} cores, load {load} at the start."
    yards = {row.yardstick: row.yardstick_seconds for row in rows}
    said += (
        " Yardsticks, about: " + "; ".join(f"{name} {1000 * seconds:.3g} ms" for name, seconds in yards.items()) + "."
    )
    return "\n".join([*lines, "", said])


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure the parts asked for, print the table or JSON."""
    parser = argparse.ArgumentParser(prog="python tests/trials speed/table", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--only", nargs="+", choices=tuple(PARTS), metavar="PART", help=f"of {', '.join(PARTS)}")
    parser.add_argument("--n", type=int, default=3, metavar="N", help="times each is measured (default: %(default)s)")
    parser.add_argument("--json", action="store_true", help=f"one JSON document, schema {SCHEMA}, seconds")
    args = parser.parse_args(arguments)
    require_range("n", args.n, 1, 1000)
    about = surroundings()
    rows: list[SpeedRow] = []
    for name in args.only or PARTS:
        start = time.monotonic()
        rows += PARTS[name](args.n)
        print(f"{name}: measured in {time.monotonic() - start:.0f} s", file=sys.stderr)
    if args.json:
        found = [asdict(row) | {"times": row.times} for row in rows]
        print(json.dumps({"schema": SCHEMA, **about, "rows": found}, indent=1))
    else:
        print(table(rows, about))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
