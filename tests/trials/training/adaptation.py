"""How many labelled photographs it takes to win back what another camera costs.

    python tests/trials training/adaptation

Dials are drawn and then seen as in an old book (`train.book_scan`). Some of them are labelled by dial alone, as a user
would, split by dial and learnt from (`train.adapt`, as `dialtell train --photos` does); measured is a set of other
dials seen the same way, and the very same dials in ordinary photographs, which is what the adaptation may cost. The
share won back is (after - before) / (ordinary - before), the ordinary being what the weights make of the same dials
before. Accuracy is that of every dial called by the sign of its ratio, painted and printed counting alike. The ratios
of every net are those of the calibration that came with the weights: the drawn twins in each batch hold the scale, and
so few dials as could be drawn here would fit a worse one.

Settings are tried with --tuning, on sets of their own; the curve is then measured once without it.

On a GPU with 30 rendering workers the defaults take under 4 minutes. On one core
`--keep DIR --workers 1 --device cpu --sizes 10,30,100 --repeats 3 --pool 140 --test 110 --steps 60 --patches 24`
`--pairs 30 --watched 40 --calibration 80 --every 15` takes about half an hour, less where DIR holds the dials already.
"""

from __future__ import annotations

import argparse
import json
import logging
import math
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from trials.training.book_scan import drawn, pairs, spread
from trials.training.shifted_line import shifted_line

from dialtell.synth.shared.errors import DialtellError, require_range
from dialtell.train.bags.supply import VALIDATION_SEED
from dialtell.train.photographs.photo_bags import PhotoBag, PhotoSplit, split_by_dial
from dialtell.train.stats.discrimination import auc
from dialtell.train.stats.likelihood_ratio import cllr

if TYPE_CHECKING:
    import torch

    from dialtell.model.net.calibration import Calibration
    from dialtell.model.net.net import StrokeNet
    from dialtell.model.net.output import NetOutput
    from dialtell.model.net.weights_file import Weights
    from dialtell.train.bags.bags import Bag
    from dialtell.train.photographs.adapt import AdaptConfig

log = logging.getLogger("dialtell.train")

POOL_SEED, TEST_SEED = 5_000_011, 6_000_011  # sets nothing trains on
TUNING_SEEDS = 8_000_011, 9_000_011  # pool and test on which settings are tried
CAMERAS = ("book", "ordinary")
PLACES = {"ordinary": 0, "book": 1}  # of each camera in a pair
DRAWS = 1000

Floats = NDArray[np.float64]
Answers = dict[str, Floats]  # log10 LR of the test dials, by camera


def chosen(pool: Sequence[PhotoBag], size: int, *, rng: np.random.Generator) -> list[PhotoBag]:
    """`size` dials, half painted and half printed."""
    sides = [[item for item in pool if item.bag.dial == which] for which in (1, 0)]
    for which, side in zip(("painted", "printed"), sides, strict=True):
        require_range(f"size / 2 of the {which} dials", size // 2, 1, len(side))
    return [side[int(at)] for side in sides for at in rng.permutation(len(side))[: size // 2]]


def accuracy(hand: NDArray[np.bool_], ratio: Floats) -> float:
    """Share right when each dial is called by the sign of its ratio, painted and printed counting alike; 0 is half."""
    right = np.where(ratio == 0, 0.5, (ratio > 0) == hand)
    return float((right[hand].mean() + right[~hand].mean()) / 2)


def _cost(hand: NDArray[np.bool_], ratio: Floats) -> float:
    return cllr(ratio[hand], ratio[~hand])


MEASURES: dict[str, Callable[[NDArray[np.bool_], Floats], float]] = {"accuracy": accuracy, "auc": auc, "cllr": _cost}


def figures(hand: NDArray[np.bool_], before: Answers, after: Answers) -> dict[str, float]:
    """Everything of one adaptation, of the dials given: MEASURE_CAMERA, cost_MEASURE (ordinary, before minus after),
    won_back_MEASURE (nan where nothing was lost)."""
    found = {}
    for name, measure in MEASURES.items():
        lost = measure(hand, before["ordinary"]) - measure(hand, before["book"])
        for camera in CAMERAS:
            found[f"{name}_{camera}"] = measure(hand, after[camera])
        won = found[f"{name}_book"] - measure(hand, before["book"])
        found[f"won_back_{name}"] = won / lost if lost else math.nan
        found[f"cost_{name}"] = measure(hand, before["ordinary"]) - found[f"{name}_ordinary"]
    return found


def curve_point(
    hand: NDArray[np.bool_], before: Answers, after: Sequence[Answers], *, seed: int, draws: int = DRAWS
) -> dict[str, dict[str, Any]]:
    """Means over repeats of `figures`, each with a 95 % interval for other labelled dials and other test dials.

    The two vary independently, so their variances add: Student's t over the repeats, and a bootstrap over the test
    dials, drawn by kind. With one repeat the interval is that of the test dials alone.
    """
    each = [figures(hand, before, one) for one in after]
    rng = np.random.default_rng([seed, 85])
    sides = [np.flatnonzero(hand), np.flatnonzero(~hand)]
    drawn_means: dict[str, list[float]] = {name: [] for name in each[0]}
    for _ in range(draws):
        at = np.concatenate([rng.choice(side, len(side)) for side in sides])
        picked = {camera: values[at] for camera, values in before.items()}
        told = [figures(hand[at], picked, {camera: one[camera][at] for camera in CAMERAS}) for one in after]
        for name, values in drawn_means.items():
            values.append(float(np.mean([one[name] for one in told])))
    return {
        name: interval([one[name] for one in each], drawn_means[name], share=name.startswith(("accuracy", "auc")))
        for name in each[0]
    }


def interval(values: Sequence[float], draws: Sequence[float] = (), *, share: bool = False) -> dict[str, Any]:
    """Mean over repeats with its 95 % interval; None where neither repeats nor draws say anything.

    share : whether the figure lies in 0..1, and its interval with it.
    draws : bootstrap means over test dials; their spread is half of what their middle 95 % span, which a few wild
    ratios do not stretch.
    """
    if not np.isfinite(values).all():
        return {"mean": None, "interval_95": None, "repeats": []}
    mean, square = float(np.mean(values)), 0.0
    if len(values) > 1:
        t = float(stats.t.ppf(0.975, len(values) - 1))
        square += t**2 * float(np.var(values, ddof=1)) / len(values)
    finite = np.asarray(draws, dtype=np.float64)
    finite = finite[np.isfinite(finite)]
    if len(finite):
        ends = np.quantile(finite, [0.025, 0.975])
        square += float(ends[1] - ends[0]) ** 2 / 4
    half = math.sqrt(square)
    low, high = (max(mean - half, 0.0), min(mean + half, 1.0)) if share else (mean - half, mean + half)
    known = len(values) > 1 or len(finite) > 0
    return {
        "mean": round(mean, 4),
        "interval_95": [round(low, 4), round(high, 4)] if known else None,
        "repeats": [round(value, 4) for value in values],
    }


def logits_of(outputs: Iterable[NetOutput]) -> Floats:
    """Raw logits of dials."""
    found: Floats = np.concatenate([output.dial.cpu().numpy() for output in outputs]).astype(np.float64)
    return found


def ratios(logits: Floats, calibration: Calibration) -> Floats:
    """log10 LR without caps."""
    line = replace(calibration, low=-6.0, high=6.0)
    return np.array([line.log10_lr(float(logit))[0] for logit in logits])


class Bench:
    """The dials of an experiment, ready to be learnt from and measured on: whole, as codes, or as logits."""

    def __init__(
        self,
        weights: Weights,
        pool: Sequence[PhotoBag],
        test: Sequence[tuple[PhotoBag, PhotoBag]],
        twins: Sequence[Sequence[Bag]],
        watched: Sequence[Bag],
        how: str,
        device: torch.device,
    ) -> None:
        from dialtell.train.photographs.adapt_codes import coded
        from dialtell.train.run.loop import evaluate_bags

        self._weights, self._twins, self._watched, self._device, self._how = weights, twins, watched, device, how
        self._test = {camera: [both[place].bag for both in test] for camera, place in PLACES.items()}
        net = weights.net.to(device)
        if how == "judging":
            # the encoder stays as it is, so each bag goes through it once for all sizes and repeats
            self._codes = dict(zip(map(id, pool), coded(net, [item.bag for item in pool], device), strict=True))
            self._coded_twins = [coded(net, group, device) for group in twins]
            self._coded_watched = coded(net, watched, device)
            self._coded_test = {camera: coded(net, bags, device) for camera, bags in self._test.items()}
        elif how == "line":
            read = {camera: logits_of(evaluate_bags(net, bags, device)) for camera, bags in self._test.items()}
            self._logits = read
            known = logits_of(evaluate_bags(net, [item.bag for item in pool], device))
            self._known = dict(zip(map(id, pool), known, strict=True))

    def before(self) -> Answers:
        """What the weights say of the test dials."""
        return self._answers(self._weights.net.to(self._device))

    def after(self, split: PhotoSplit, config: AdaptConfig) -> tuple[Answers, int]:
        """What they say once adapted, and the step that was kept; a line uses the held-out dials too."""
        from dialtell.train.photographs.adapt import adapt, adapt_coded

        net, device = self._weights.net, self._device
        if self._how == "line":
            dials = [*split.learnt, *split.held_out]
            line = shifted_line(
                self._weights.dial_calibration,
                np.array([self._known[id(item)] for item in dials]),
                np.array([float(item.bag.dial) for item in dials]),
            )
            return {camera: ratios(logit, line) for camera, logit in self._logits.items()}, 0
        if self._how == "judging":
            known, left = ([self._codes[id(item)] for item in part] for part in (split.learnt, split.held_out))
            net, looks = adapt_coded(net, known, left, self._coded_twins, self._coded_watched, config, device)
        else:
            learnt, held_out = ([item.bag for item in part] for part in (split.learnt, split.held_out))
            net, looks = adapt(net, learnt, held_out, self._twins, self._watched, config, device)
        return self._answers(net), max(look.step for look in looks if look.kept)

    def _answers(self, net: StrokeNet) -> Answers:
        from dialtell.train.photographs.adapt_codes import judge_coded
        from dialtell.train.run.loop import evaluate_bags

        found = {}
        for camera, bags in self._test.items():
            if self._how == "line":
                logits = self._logits[camera]
            elif self._how == "judging":
                logits = logits_of(output for _, output in judge_coded(net, self._coded_test[camera]))
            else:
                logits = logits_of(evaluate_bags(net, bags, self._device))
            found[camera] = ratios(logits, self._weights.dial_calibration)
        return found


def experiment(args: argparse.Namespace) -> dict[str, Any]:
    """Everything, as one record."""
    from dialtell.model.net.device import pick_device
    from dialtell.model.net.weights_file import find_weights, load_weights
    from dialtell.train.photographs.adapt import AdaptConfig
    from dialtell.train.photographs.adapt_run import TWINS_SEED, ratio_figures
    from dialtell.train.run.config import TrainConfig
    from dialtell.train.run.loop import versions

    sizes = [int(size) for size in args.sizes.split(",")]
    config = AdaptConfig(
        seed=args.seed, steps=args.steps, every=args.every, pairs=args.pairs, watched=args.watched,
        patches=args.patches, rate=args.rate, layers="all" if args.layers == "line" else args.layers,
    )  # fmt: skip
    weights = load_weights(find_weights(args.weights))
    device, _ = pick_device(args.device)
    workers = args.workers or len(os.sched_getaffinity(0))
    keep = None if args.keep is None else Path(args.keep)
    pool_seed, test_seed = TUNING_SEEDS if args.tuning else (POOL_SEED, TEST_SEED)
    pool = [book for _, book in pairs(pool_seed, args.pool, workers, keep)]
    test = pairs(test_seed, args.test, workers, keep)
    scope = TrainConfig().scope
    twins = [group for group in spread(partial(drawn, TWINS_SEED, scope, True, keep), config.pairs, workers) if group]
    singles = spread(partial(drawn, VALIDATION_SEED, scope, False, keep), config.watched, workers)
    watched = [bag for group in singles for bag in group]
    bench = Bench(weights, pool, test, twins, watched, args.layers, device)
    hand = np.array([book.bag.dial == 1 for _, book in test])
    before = bench.before()
    at_first = {
        camera: _measured(hand, before[camera], args.seed) | {"calls": ratio_figures(hand, before[camera])}
        for camera in CAMERAS
    }
    log.info("before, %d dials: %s", len(test), json.dumps(at_first))
    rows = []
    for size in sizes:
        after, calls, steps = [], [], []
        for repeat in range(args.repeats):
            rng = np.random.default_rng([args.seed, size, repeat, 84])
            split = split_by_dial(chosen(pool, size, rng=rng), seed=repeat)
            found, step = bench.after(split, replace(config, seed=repeat))
            after.append(found)
            steps.append(step)
            calls.append({camera: ratio_figures(hand, after[-1][camera]) for camera in CAMERAS})
            told = figures(hand, before, after[-1])
            log.info("%d dials, repeat %d, kept at step %d: %s", size, repeat, steps[-1], json.dumps(told))
        point = curve_point(hand, before, after, seed=args.seed)
        rows.append({"dials": size, **point, "kept_at_step": steps, "calls": calls})
    return {
        "schema": "dialtell.adaptation/2", "weights": weights.identity, "config": asdict(config),
        "layers": args.layers, "sets": "tuning" if args.tuning else "reported",
        "pool": len(pool), "test_dials": len(test),
        "repeats": args.repeats, "device": str(device), "versions": versions(),
        "before": at_first, "after": rows,
    }  # fmt: skip


def _measured(hand: NDArray[np.bool_], ratio: Floats, seed: int) -> dict[str, Any]:
    """Each measure of one camera before any adaptation, with its interval over the test dials."""
    rng = np.random.default_rng([seed, 86])
    sides = [np.flatnonzero(hand), np.flatnonzero(~hand)]
    picks = [np.concatenate([rng.choice(side, len(side)) for side in sides]) for _ in range(DRAWS)]
    return {
        name: interval([measure(hand, ratio)], [measure(hand[at], ratio[at]) for at in picks], share=name != "cllr")
        for name, measure in MEASURES.items()
    }


COLUMNS = (
    ("accuracy_book", "accuracy in the book"),
    ("won_back_accuracy", "won back of accuracy"),
    ("auc_book", "AUC in the book"),
    ("won_back_auc", "won back of AUC"),
    ("accuracy_ordinary", "accuracy ordinary"),
    ("cost_accuracy", "cost in accuracy"),
    ("cost_auc", "cost in AUC"),
)


def table(record: dict[str, Any]) -> str:
    """The curve as Markdown."""
    before = record["before"]
    told = ", ".join(
        f"{name} {_cell(before['ordinary'][name])} ordinary and {_cell(before['book'][name])} in the book"
        for name in MEASURES
    )
    lines = [
        f"{record['test_dials']} test dials ({record['sets']} set), {record['repeats']} repeats; before: {told}",
        "",
        f"| dials labelled | {' | '.join(name for _, name in COLUMNS)} |",
        "|---" * (len(COLUMNS) + 1) + "|",
    ]
    for row in record["after"]:
        lines.append(f"| {row['dials']} | {' | '.join(_cell(row[name]) for name, _ in COLUMNS)} |")
    return "\n".join(lines)


def _cell(value: dict[str, Any]) -> str:
    if value["mean"] is None:
        return "-"
    ends = value["interval_95"]
    return f"{value['mean']:.3f}" + ("" if ends is None else f" ({ends[0]:.3f} to {ends[1]:.3f})")


def parser() -> argparse.ArgumentParser:
    """The flags of the module."""
    made = argparse.ArgumentParser(prog="python tests/trials training/adaptation", description=__doc__,
                                   formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    made.add_argument("--weights", default="shipped", help="as of dialtell train --from (default: shipped)")
    made.add_argument("--sizes", default="10,30,100", help="dials labelled, comma between (default: 10,30,100)")
    made.add_argument("--repeats", type=int, default=5, help="draws of those dials from the pool (default: 5)")
    made.add_argument("--pool", type=int, default=200, help="dials to draw from; the repeats overlap (default: 200)")
    made.add_argument("--test", type=int, default=300, help="dials to measure on (default: 300)")
    made.add_argument("--pairs", type=int, default=120, help="drawn twins for the batches (default: 120)")
    made.add_argument("--watched", type=int, default=120, help="drawn dials to watch forgetting on (default: 120)")
    made.add_argument("--steps", type=int, default=400, help="at most, of each adaptation (default: 400)")
    made.add_argument("--every", type=int, default=20, help="steps between looks (default: 20)")
    made.add_argument("--patches", type=int, default=48, help="of each dial a step (default: 48)")
    made.add_argument("--rate", type=float, default=1.5e-4, help="learning rate (default: 1.5e-4)")
    made.add_argument("--layers", choices=("all", "judging", "line"), default="all",
                      help="what learns; line: only the calibration's two numbers (default: all)")  # fmt: skip
    made.add_argument("--tuning", action="store_true", help="other pool and test, for trying settings")
    made.add_argument("--keep", metavar="DIR", help="keep what was rendered and read here, and take it from here")
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
