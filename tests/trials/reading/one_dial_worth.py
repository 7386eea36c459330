"""What several photographs of one dial are worth: calls of drawn dials against the number of close-ups.

    python tests/trials reading/one_dial_worth --minutes 15 [--weights FILE] [--out FILE.json]

The dials and photographs of reading/one_dial: a whole view of 8 to 25 px/mm, and 0 to 6 fields of 40 to 120 px/mm by
other cameras, laid on it by themselves. With them: how far the ratios of two photographs of the same places differ, and
whether dials whose photographs differ are more often called wrongly, which the rule of trust rests on.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from trials.reading.against_marks import share, share_line
from trials.reading.one_dial import LARGEST_MM, field_spec, timed_parser, whole_spec

from dialtell.synth.making import make
from dialtell.synth.scene import photograph
from dialtell.synth.shared.terms import Process

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

SCHEMA = "dialtell.one-dial-worth/1"
COUNTS = (0, 1, 2, 4, 6)
BINS = (0.0, 0.5, 1.0, 1.5, 2.0, math.inf)


@dataclass
class Judged:
    """One dial. hand : its truth. raw : by number of fields, log10 LR before its cap; call : the call. laid : fields
    that were placed among the first so many. differences : of each field laid, from the whole view at the same places.
    """

    index: int
    hand: bool
    raw: dict[int, float] = field(default_factory=dict)
    call: dict[int, str] = field(default_factory=dict)
    laid: dict[int, int] = field(default_factory=dict)
    differences: list[float] = field(default_factory=list)


def judged_dial(seed: int, index: int, weights: Weights) -> Judged | None:
    """Read and judge one dial; None for those mixed, for clocks, and where the reader found no whole dial."""
    from dialtell.evaluate.one_dial.agreement import agreement
    from dialtell.evaluate.one_dial.dial import opinion
    from dialtell.evaluate.one_dial.placing import field_of, place_field, whole_view
    from dialtell.model.reading.known import Known
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.steps import read_dial, read_within
    from dialtell.train.bags.bags import photo_of

    spec = whole_spec(seed, index)
    processes = set(spec.making.processes)
    if len(processes) > 1 or spec.design.radius_mm > LARGEST_MM:
        return None
    coats = make(spec.design, spec.making)
    own = read_dial(photo_of(photograph(spec, coats)), None, weights.reader)
    if isinstance(own, NoDial) or own.close_up is not None:
        return None
    known = Known(diameter_mm=2 * spec.design.radius_mm)
    view, found = whole_view(own), Judged(index, Process.HAND in processes)
    readings, told, placed = [own], [], []
    for number in range(max(COUNTS)):
        photo = photo_of(photograph(field_spec(spec, number), coats))
        place = place_field(field_of(photo, weights.reader), view)
        placed.append(place.placed)
        if place.placed and place.geometry is not None:
            readings.append(read_within(photo, place.geometry, own, weights.reader))
            told.append(agreement(readings[-1], own, weights))
    found.differences = [one.difference for one in told if one is not None]
    for count in COUNTS:
        inside = sum(placed[:count])
        some = [one for one in told[:inside] if one is not None]
        verdict = opinion(readings[: 1 + inside], weights, known, some).verdict
        found.raw[count] = 0.0 if verdict.explanation is None else verdict.explanation.total
        found.call[count], found.laid[count] = verdict.call, inside
    return found


def figures(dials: Sequence[Judged]) -> dict[str, Any]:
    """By number of fields; and of the differences."""
    from dialtell.train.stats.discrimination import delong

    hand = np.array([one.hand for one in dials])
    rows = []
    for count in COUNTS:
        raw = np.array([one.raw[count] for one in dials])
        known = min(int(hand.sum()), int((~hand).sum())) > 1
        area, interval = delong(hand, raw) if known else (0.5, (0.0, 1.0))
        decided = [one for one in dials if one.call[count] != "undetermined"]
        right = [one for one in decided if (one.call[count] == "hand-painted") == one.hand]
        rows.append(
            {"fields": count, "auc": round(area, 4), "interval_95": [round(float(v), 4) for v in interval],
             "decided": share(len(decided), len(dials)), "right": share(len(right), len(decided)),
             "laid_mean": round(float(np.mean([one.laid[count] for one in dials])), 2) if dials else None}
        )  # fmt: skip
    most = max(COUNTS)
    worst = np.array([max(one.differences, default=0.0) for one in dials])
    wrong = np.array([(one.raw[most] > 0) != one.hand for one in dials])
    every = np.array([value for one in dials for value in one.differences])
    table = [
        {
            "from": low,
            "to": None if math.isinf(high) else high,
            "wrong_side": share(int(wrong[inside].sum()), int(inside.sum())),
        }
        for low, high in pairwise(BINS)
        if (inside := (worst >= low) & (worst < high)).any()
    ]
    quantiles = [round(float(v), 3) for v in np.quantile(every, (0.5, 0.75, 0.9, 0.95))] if len(every) else None
    return {"rows": rows, "differences": {"n": len(every), "quantiles_50_75_90_95": quantiles}, "by_difference": table}


def table(found: dict[str, Any]) -> str:
    """The document for a terminal."""
    own = found["figures"]
    lines = [
        f"{found['dials']} drawn watch dials, seed {found['seed']} from {found['first']}, {found['model']['name']}"
    ]
    for row in own["rows"]:
        low, high = row["interval_95"]
        lines.append(
            f"{row['fields']} fields ({row['laid_mean']} laid): AUC {row['auc']:.3f} ({low:.3f} to {high:.3f})"
        )
        lines += [share_line("  decided", row["decided"]), share_line("  right of those", row["right"])]
    told = own["differences"]
    quantiles = told["quantiles_50_75_90_95"]
    lines.append(f"differences at the same places, log10: 50, 75, 90, 95 % {quantiles}, n {told['n']}")
    lines += [share_line(f"  wrong side, worst {one['from']} to {one['to'] or 'more'}", one["wrong_side"])
              for one in own["by_difference"]]  # fmt: skip
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, lay, judge, print."""
    parser = timed_parser("reading/one_dial_worth", __doc__, minutes=15.0, first=5000)
    parser.add_argument("--weights", type=Path, metavar="FILE.safetensors", help="default: those that come with it")
    args = parser.parse_args(arguments)
    import cv2
    import torch

    from dialtell.evaluate.words.document import json_text
    from dialtell.model.net.weights_file import load_weights

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    weights, end = load_weights(args.weights), time.monotonic() + 60 * args.minutes
    dials: list[Judged] = []
    index = args.first
    while time.monotonic() < end:
        if (one := judged_dial(args.seed, index, weights)) is not None:
            dials.append(one)
        index += 1
        if args.out is not None and dials:
            found = {
                "schema": SCHEMA, "model": weights.identity, "seed": args.seed, "first": args.first,
                "dials": len(dials), "figures": figures(dials), "judged": [vars(one) for one in dials],
            }  # fmt: skip
            args.out.write_text(json_text(found) + "\n", encoding="utf-8")
    print(table({"dials": len(dials), "seed": args.seed, "first": args.first, "model": weights.identity,
                 "figures": figures(dials)}))  # fmt: skip
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
