"""A smoke test of the whole line on drawn dials: `python tests/trials outside/smoke --count 400`.

Dials are drawn with a seed no training reaches, half painted and half printed, at 30 px/mm and more, and scored as
photographs are: found, read, judged. It grades the renderer's own dials and proves nothing for photographs.
"""

from __future__ import annotations

import argparse
import json
import os
from functools import partial
from typing import Any

import numpy as np

from dialtell.synth.scene import DialSpec, Range, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.synth.shared.workers import in_order

SEED = 9_000_011
LEAST_PX_PER_MM = 30.0


def spec_of(index: int, scope: Range) -> DialSpec:
    """Dial `index`: even painted, odd printed (transfer, then photographic, in turn)."""
    printed = Process.TRANSFER if index % 4 == 1 else Process.PHOTOGRAPHIC
    return sample_spec(SEED, index, scope, Process.HAND if index % 2 == 0 else printed)


def score_drawn(index: int, scope: Range) -> dict[str, Any]:
    """Render a dial and judge it; truth beside the call."""
    import cv2
    import torch

    from dialtell.model.net.resolution import resolution_of
    from dialtell.model.net.verdict import judge
    from dialtell.model.net.weights_file import load_weights
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.steps import read_dial
    from dialtell.synth.scene import render
    from dialtell.train.bags.bags import photo_of

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    spec = spec_of(index, scope)
    row: dict[str, Any] = {"index": index, "hand": int(index % 2 == 0), "px_per_mm": spec.view.px_per_mm}
    row["process"] = spec.making.processes[0].value
    reading = read_dial(photo_of(render(spec)))
    if isinstance(reading, NoDial):
        return row | {"found": False, "call": "undetermined", "log10_lr": None}
    weights = load_weights()
    resolution = resolution_of(reading, weights.record, 2 * spec.design.radius_mm)
    verdict = judge(reading.patches, weights, withheld=not resolution.carries_strokes)
    return row | {
        "found": True,
        "call": verdict.call,
        "log10_lr": verdict.whole.log10_lr,
        "true_px_per_mm": resolution.true / (2 * spec.design.radius_mm),
    }


def summary(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """AUC with its interval (DeLong), accuracy of calls (Wilson), share undetermined, dials found."""
    from dialtell.model.net.calibration import call_number
    from dialtell.train.stats.call_figures import Answers, call_figures

    ratios = [np.nan if row["log10_lr"] is None else row["log10_lr"] for row in rows]
    calls = [call_number(row["call"]) for row in rows]
    hand = [row["hand"] for row in rows]
    found = call_figures(Answers(np.array(hand, np.int8), np.array(ratios, float), np.array(calls, np.int8)))
    return {
        "dials": found.n, "dial_found": sum(row["found"] for row in rows), "scored": found.judged,
        "auc": found.auc and round(found.auc.value, 4),
        "auc_95": found.auc and found.auc.interval and [round(v, 4) for v in found.auc.interval],
        "decided": found.decided, "right": found.right,
        "accuracy_95": found.accuracy and found.accuracy.interval and [round(v, 4) for v in found.accuracy.interval],
        "undetermined_share": round(1 - found.decided / found.n, 4),
        "median_true_px_per_mm": round(float(np.median([r["true_px_per_mm"] for r in rows if r["found"]])), 1),
    }  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    """Draw, score, print one JSON document."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=400, metavar="N", help="dials, half painted (default: 400)")
    parser.add_argument("--out", metavar="FILE", help="also write every row as JSON lines")
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)), metavar="N")
    args = parser.parse_args(arguments)
    # watch dials only (a clock dial at this scale would not fit the frame), whole in the frame
    radius = 22.5
    scope = Range(
        pixels_per_radius=(LEAST_PX_PER_MM * radius, 50.0 * radius),
        max_side=2600,
        variety=Range().variety.without("clock"),
    )
    rows = list(in_order(partial(score_drawn, scope=scope), range(args.count), args.workers))
    if args.out:
        with open(args.out, "w", encoding="utf-8") as file:
            file.writelines(json.dumps(row) + "\n" for row in rows)
    print(json.dumps(summary(rows)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
