"""How far what is said of a drawn dial hangs on how its photograph is handed in, by one net or several.

    python tests/trials reading/handed_in --count 60 [--weights FILE ...] [--workers 2] [--json]

Whole drawn dials as training has them, of a seed nothing else uses, each read in the ten ways of `ways` by the whole
line. Beside the spread stands how much is said: a net that says nothing is as steady as a stone.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from tqdm import tqdm
from trials.reading.ways import ways_of

from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.model.net.verdict import judge
from dialtell.model.net.weights_file import SHIPPED, Weights, load_weights
from dialtell.model.reading.outline import NoDial
from dialtell.model.reading.steps import read_dial
from dialtell.synth.scene import render, sample_spec
from dialtell.synth.shared.errors import DialtellError
from dialtell.synth.shared.workers import in_order
from dialtell.train.bags.bags import photo_of, truth_of
from dialtell.train.run.config import SCOPE
from dialtell.train.stats.discrimination import auc

SEED = 8_880_001
LEAST_WAYS = 5  # read, of fewer there is no spread
WHOLE = replace(SCOPE, part=0.0, near=0.0, mixed=0.0)


@dataclass(frozen=True)
class Heard:
    """What one net says of one dial. painted : truth. ratios : log10 LR before the cap, of each way read. calls."""

    index: int
    painted: bool
    ratios: tuple[float, ...]
    calls: tuple[str, ...]


def heard(index: int, nets: Sequence[Weights], *, seed: int = SEED) -> list[Heard]:
    """Of each net what it says of dial `index` in every way; empty where the dial is not read as it is."""
    spec = sample_spec(seed, index, WHOLE)
    pixels = render(spec)
    as_is = read_dial(photo_of(pixels))
    if isinstance(as_is, NoDial) or as_is.close_up is not None:
        return []
    ratios: list[list[float]] = [[] for _ in nets]
    calls: list[list[str]] = [[] for _ in nets]
    for way in ways_of(Image.fromarray(pixels), as_is.geometry):
        file = io.BytesIO()
        way.picture.save(file, "JPEG", quality=way.quality)
        reading = read_dial(photo_of(np.asarray(Image.open(file).convert("RGB"))))
        if isinstance(reading, NoDial) or reading.close_up is not None:
            continue
        for place, net in enumerate(nets):
            verdict = judge(reading.patches, net)
            if verdict.explanation is not None:
                ratios[place].append(verdict.explanation.total)
                calls[place].append(verdict.call)
    painted = bool(truth_of(spec)[1])
    return [Heard(index, painted, tuple(r), tuple(c)) for r, c in zip(ratios, calls, strict=True)]


def figures(dials: Sequence[Heard]) -> dict[str, Any]:
    """Spread over the ways, log10, and how much is said; of dials read in LEAST_WAYS ways and more."""
    told = [one for one in dials if len(one.ratios) >= LEAST_WAYS]
    if not told:
        return {"dials": 0}
    spread = np.array([np.std(one.ratios, ddof=1) for one in told])
    mean = np.array([np.mean(one.ratios) for one in told])
    painted = np.array([one.painted for one in told], dtype=int)
    called = [call for one in told for call in one.calls]
    wrong = [call == (PRINTED if one.painted else HAND) for one in told for call in one.calls]
    return {
        "dials": len(told), "sd_median": float(np.median(spread)), "sd_rms": float(np.sqrt(np.mean(spread**2))),
        "sd_worst": float(spread.max()), "opposite": sum({HAND, PRINTED} <= set(one.calls) for one in told),
        "ways": len(called), "with_call": sum(call != UNDETERMINED for call in called), "wrong": sum(wrong),
        "said": float(np.abs(mean).mean()),
        "auc_of_means": None if painted.min() == painted.max() else float(auc(painted, mean)),
    }  # fmt: skip


_worker: dict[str, list[Weights]] = {}


def _start(paths: list[Path]) -> None:
    import torch

    torch.set_num_threads(1)
    _worker["nets"] = [load_weights(path) for path in paths]


def _heard(index: int) -> list[Heard]:
    return heard(index, _worker["nets"])


def main(argv: list[str] | None = None) -> int:
    """The command; a line for each net, or one JSON document."""
    parser = argparse.ArgumentParser(prog="python tests/trials reading/handed_in", description=__doc__)
    parser.add_argument("--count", type=int, default=60, help="dials drawn (default: %(default)s)")
    parser.add_argument("--first", type=int, default=0, help="number of the first (default: %(default)s)")
    parser.add_argument("--weights", type=Path, nargs="+", default=[SHIPPED], help="default: the shipped ones")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args(argv)
    found: list[list[Heard]] = [[] for _ in args.weights]
    jobs = range(args.first, args.first + args.count)
    try:
        done = in_order(_heard, jobs, workers=args.workers, start=_start, arguments=(args.weights,))
        for dial in tqdm(done, total=len(jobs), disable=None):
            for own, one in zip(found, dial, strict=False):
                own.append(one)
    except DialtellError as error:
        print(error, file=sys.stderr)
        return 1
    rows = {str(path): figures(own) for path, own in zip(args.weights, found, strict=True)}
    if args.json:
        print(json.dumps(rows, allow_nan=False))
        return 0
    for name, row in rows.items():
        said = ", ".join(
            f"{key} {value:.3f}" if isinstance(value, float) else f"{key} {value}" for key, value in row.items()
        )
        print(f"{name}: {said}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
