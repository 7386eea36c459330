"""How many labelled photographs it takes to win back what another camera costs: `python -m dialtell.train.adaptation`.

Dials are drawn and then seen as in an old book: soft, grey, of hard contrast, with grain and a lifted black, more so
than anything the renderer draws. Some of them are labelled by dial alone, as a user would, split by dial and learnt
from (`train.adapt`); measured is a set of other dials seen the same way, and the very same dials in ordinary
photographs, which is what the adaptation may cost. The share won back is
(after - before) / (ordinary - before), the ordinary being what the weights make of the same dials before.

On a GPU with 30 rendering workers this takes under 4 minutes; --pool 40 --test 40 --sizes 10,30 --repeats 2 --steps 60
is a trial for two cores.
"""

from __future__ import annotations

import argparse
import json
import logging
import math
import multiprocessing
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dialtell.model.photo import linear_light, luminance
from dialtell.model.reading import read_at
from dialtell.synth.errors import DialtellError, require_range
from dialtell.synth.scene import DialSpec, Range, render, sample_spec
from dialtell.synth.terms import Process
from dialtell.train.bags import FEWEST_PATCHES, Bag, known_geometry
from dialtell.train.holdout import TRAINING
from dialtell.train.labels import PAINTED, PRINTED, LabelledPhoto
from dialtell.train.photographs import PhotoBag, photo_bag, split_by_dial

if TYPE_CHECKING:
    import torch

    from dialtell.model.net import StrokeNet

log = logging.getLogger("dialtell.train")

POOL_SEED, TEST_SEED = 5_000_011, 6_000_011  # sets nothing trains on
SCOPE = Range(pixels_per_radius=(260.0, 700.0), variety=TRAINING)
Codes = NDArray[np.uint8]


@dataclass(frozen=True)
class BookScan:
    """One page of the book. Codes are sRGB codes over 255.

    blur_px : 0..6, SD. middle : 0.2..0.8, code at which the hard contrast is steepest; hardness : 1..20, its slope.
    black : 0..0.5, code of the darkest ink. grain : 0..0.2, SD of the paper's and emulsion's grain, grain_px : 0.3..4,
    its size.
    """

    blur_px: float
    middle: float
    hardness: float
    black: float
    grain: float
    grain_px: float
    seed: int

    def __post_init__(self) -> None:
        for name, low, high in (("blur_px", 0, 6), ("middle", 0.2, 0.8), ("hardness", 1, 20), ("black", 0, 0.5),
                                ("grain", 0, 0.2), ("grain_px", 0.3, 4)):  # fmt: skip
            require_range(name, getattr(self, name), low, high)


def sample_scan(*, rng: np.random.Generator) -> BookScan:
    """Draw a page: all of one book's look, each a little different."""
    return BookScan(
        blur_px=float(rng.uniform(1.4, 2.2)),
        middle=float(rng.uniform(0.45, 0.6)),
        hardness=float(rng.uniform(7.0, 11.0)),
        black=float(rng.uniform(0.15, 0.3)),
        grain=float(rng.uniform(0.02, 0.05)),
        grain_px=float(rng.uniform(0.8, 1.6)),
        seed=int(rng.integers(2**31)),
    )


def scan(page: BookScan, pixels: Codes) -> Codes:
    """(H, W, 3) uint8 sRGB as the book shows it, the same shape."""
    grey = _blurred(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255.0, page.blur_px)
    bright = float(np.percentile(grey, 95))
    curve = 1.0 / (1.0 + np.exp(-page.hardness * (grey / max(bright, 0.05) - page.middle)))
    noise = np.random.default_rng(page.seed).standard_normal(grey.shape).astype(np.float32)
    noise = _blurred(noise, page.grain_px)
    noise *= page.grain / max(float(noise.std()), 1e-6)
    seen = page.black + (0.92 - page.black) * curve + noise
    codes: Codes = np.round(255 * np.clip(seen, 0.0, 1.0)).astype(np.uint8)
    return np.repeat(codes[..., None], 3, axis=2)


def _blurred(image: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    return cv2.GaussianBlur(image, (0, 0), sigma).astype(np.float32) if sigma > 0 else image


def pair(seed: int, index: int) -> tuple[PhotoBag, PhotoBag] | None:
    """Dial `index` in an ordinary photograph and in the book, labelled by dial; None where either cannot be read.

    Even ones are painted, odd ones printed (two by transfer, then one photographic).
    """
    cv2.setNumThreads(1)
    printed = Process.PHOTOGRAPHIC if index // 2 % 3 == 2 else Process.TRANSFER
    spec = sample_spec(seed, index, SCOPE, Process.HAND if index % 2 == 0 else printed)
    rng = np.random.default_rng([seed, index, 82])
    pixels = render(spec)
    bags = [_bag(spec, shown, seed, index) for shown in (pixels, scan(sample_scan(rng=rng), pixels))]
    if bags[0] is None or bags[1] is None:
        return None
    return bags[0], bags[1]


def _bag(spec: DialSpec, pixels: Codes, seed: int, index: int) -> PhotoBag | None:
    rng = np.random.default_rng([seed, index, 83])
    reading = read_at(luminance(linear_light(pixels)), known_geometry(spec, rng=rng))
    if len(reading.patches) < FEWEST_PATCHES:
        return None
    label = PRINTED if spec.making.processes[0].printed else PAINTED
    name = f"dial {seed}-{index}"
    photo = LabelledPhoto(row=index + 2, name=name, path=Path(name), sha256=name, dial_process=label, dial=name)
    bag = photo_bag(photo, reading, index=-1 - index)
    return PhotoBag(photo, name, bag)


def pairs(seed: int, count: int, workers: int) -> list[tuple[PhotoBag, PhotoBag]]:
    """The first `count` dials of a set that can be read, rendered by `workers` processes."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        return [found for found in pool.map(partial(pair, seed), range(count), chunksize=2) if found]


def chosen(pool: Sequence[PhotoBag], size: int, *, rng: np.random.Generator) -> list[PhotoBag]:
    """`size` dials, half painted and half printed."""
    sides = [[item for item in pool if item.bag.dial == which] for which in (1, 0)]
    for which, side in zip(("painted", "printed"), sides, strict=True):
        require_range(f"size / 2 of the {which} dials", size // 2, 1, len(side))
    return [side[int(at)] for side in sides for at in rng.permutation(len(side))[: size // 2]]


def interval(values: Sequence[float]) -> dict[str, Any]:
    """Mean over repeats with its 95 % interval by Student's t; None for the interval of one."""
    mean = float(np.mean(values))
    if len(values) < 2:
        return {"mean": round(mean, 4), "interval_95": None, "repeats": [round(v, 4) for v in values]}
    half = float(stats.t.ppf(0.975, len(values) - 1)) * float(np.std(values, ddof=1)) / math.sqrt(len(values))
    return {
        "mean": round(mean, 4),
        "interval_95": [round(mean - half, 4), round(mean + half, 4)],
        "repeats": [round(v, 4) for v in values],
    }


def area(net: StrokeNet, bags: Sequence[Bag], device: torch.device) -> tuple[float, float]:
    """(AUC over dials, cross entropy in nats with both sides counting alike)."""
    from dialtell.train.adapt import balanced_loss
    from dialtell.train.discrimination import auc
    from dialtell.train.loop import evaluate_bags
    from dialtell.train.store import HeldOut

    logits = np.concatenate([output.dial.cpu().numpy() for output in evaluate_bags(net, bags, device)])
    return auc(np.array([bag.dial for bag in bags]), logits), balanced_loss(net, HeldOut(bags, device))


def experiment(args: argparse.Namespace) -> dict[str, Any]:
    """Everything, as one record."""
    from dialtell.model.store import find_weights, load_weights
    from dialtell.train.adapt import AdaptConfig, adapt
    from dialtell.train.config import TrainConfig
    from dialtell.train.loop import pick_device, versions
    from dialtell.train.supply import VALIDATION_SEED, Supply, collect_singles, collect_twins

    sizes = [int(size) for size in args.sizes.split(",")]
    config = AdaptConfig(seed=args.seed, steps=args.steps, pairs=args.pairs, watched=args.watched)
    weights = load_weights(find_weights(args.weights))
    device, _ = pick_device(args.device)
    workers = args.workers or len(os.sched_getaffinity(0))
    pool = [book for _, book in pairs(POOL_SEED, args.pool, workers)]
    test = pairs(TEST_SEED, args.test, workers)
    with Supply(workers) as supply:
        scope = TrainConfig().scope
        orders = (
            supply.order_twins(900_001, 0, config.pairs, scope),
            supply.order_singles(VALIDATION_SEED, config.watched, scope),
        )
        twins, watched = list(collect_twins(orders[0])), collect_singles(orders[1])
    ordinary, book = [one.bag for one, _ in test], [other.bag for _, other in test]
    old = weights.net.to(device)
    before = {"ordinary": area(old, ordinary, device), "book": area(old, book, device)}
    log.info(
        "before: AUC %.4f ordinary, %.4f in the book (n = %d)", before["ordinary"][0], before["book"][0], len(book)
    )
    rows = []
    for size in sizes:
        found: dict[str, list[float]] = {}
        for repeat in range(args.repeats):
            rng = np.random.default_rng([args.seed, size, repeat, 84])
            split = split_by_dial(chosen(pool, size, rng=rng), seed=repeat)
            learnt, held = ([item.bag for item in part] for part in (split.learnt, split.held_out))
            net, looks = adapt(weights.net, learnt, held, twins, watched, replace(config, seed=repeat), device)
            (there, there_loss), (here, here_loss) = area(net, book, device), area(net, ordinary, device)
            lost = before["ordinary"][0] - before["book"][0]
            lost_loss = before["book"][1] - before["ordinary"][1]
            values = {
                "auc_book": there, "loss_book": there_loss, "auc_ordinary": here, "loss_ordinary": here_loss,
                "won_back_auc": (there - before["book"][0]) / lost if lost > 0 else math.nan,
                "won_back_loss": (before["book"][1] - there_loss) / lost_loss if lost_loss > 0 else math.nan,
                "stopped_at": float(max(look.step for look in looks if look.kept)),
            }  # fmt: skip
            for name, value in values.items():
                found.setdefault(name, []).append(value)
            log.info("%d dials, repeat %d: AUC %.4f in the book, %.4f ordinary", size, repeat, there, here)
        rows.append({"dials": size} | {name: interval(values) for name, values in found.items()})
    return {
        "schema": "dialtell.adaptation/1", "weights": weights.identity, "config": asdict(config),
        "pool": len(pool), "test_dials": len(test), "device": str(device), "versions": versions(),
        "before": {name: {"auc": round(a, 4), "loss": round(b, 4)} for name, (a, b) in before.items()},
        "after": rows,
    }  # fmt: skip


def table(record: dict[str, Any]) -> str:
    """The curve as Markdown."""
    before = record["before"]
    lines = [
        f"{record['test_dials']} test dials; before: AUC {before['ordinary']['auc']:.3f} ordinary, "
        f"{before['book']['auc']:.3f} in the book; loss {before['ordinary']['loss']:.3f} and "
        f"{before['book']['loss']:.3f} nats",
        "",
        "| dials labelled | AUC in the book | won back of AUC | loss in the book | won back of loss | AUC ordinary |",
        "|---|---|---|---|---|---|",
    ]
    for row in record["after"]:
        cells = [_cell(row[name]) for name in
                 ("auc_book", "won_back_auc", "loss_book", "won_back_loss", "auc_ordinary")]  # fmt: skip
        lines.append(f"| {row['dials']} | {' | '.join(cells)} |")
    return "\n".join(lines)


def _cell(value: dict[str, Any]) -> str:
    ends = value["interval_95"]
    return f"{value['mean']:.3f}" + ("" if ends is None else f" ({ends[0]:.3f}..{ends[1]:.3f})")


def parser() -> argparse.ArgumentParser:
    made = argparse.ArgumentParser(prog="python -m dialtell.train.adaptation", description=__doc__,
                                   formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    made.add_argument("--weights", default="shipped", help="as of dialtell train --from (default: shipped)")
    made.add_argument("--sizes", default="10,30,100", help="dials labelled, comma between (default: 10,30,100)")
    made.add_argument("--repeats", type=int, default=5, help="draws of those dials from the pool (default: 5)")
    made.add_argument("--pool", type=int, default=200, help="dials to draw from; the repeats overlap (default: 200)")
    made.add_argument("--test", type=int, default=300, help="dials to measure on (default: 300)")
    made.add_argument("--pairs", type=int, default=120, help="drawn twins for the batches (default: 120)")
    made.add_argument("--watched", type=int, default=120, help="drawn dials to watch forgetting on (default: 120)")
    made.add_argument("--steps", type=int, default=400, help="at most, of each adaptation (default: 400)")
    made.add_argument("--seed", type=int, default=1)
    made.add_argument("--device", default="auto", choices=("auto", "cpu", "cuda", "mps"))
    made.add_argument("--workers", type=int, default=0, help="rendering processes (default: one per core)")
    made.add_argument("--out", help="write the JSON here (default: standard output)")
    return made


def main(words: Sequence[str] | None = None) -> int:
    """Run the experiment; the table goes to standard error, the JSON to standard output or --out."""
    args = parser().parse_args(words)
    logging.basicConfig(level=logging.INFO, format="%(message)s", stream=sys.stderr)
    try:
        record = experiment(args)
    except DialtellError as error:
        print(f"error: {error}", file=sys.stderr)
        return 1
    print(table(record), file=sys.stderr)
    text = json.dumps(record, indent=1)
    if args.out:
        Path(args.out).write_text(text + "\n", encoding="utf-8")
    else:
        print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())
