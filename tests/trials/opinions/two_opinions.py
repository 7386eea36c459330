"""Net and measurements on the same drawn dials: how good each is, how often they agree, how often both are wrong.

    python tests/trials opinions/two_opinions --rung B --count 400 --workers 2

Half of a rung's dials are painted. Outlines are given as in training; the whole rule with withheld calls is applied.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from tqdm import tqdm

from dialtell.evaluate.ladder.rungs import BY_LETTER, rungs_named
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.workers import in_order

CALLS = {"hand-painted": 1, "printed": 0}


@dataclass(frozen=True)
class Pair:
    """What both say of one dial: log10 likelihood ratios, None where there is none. hand : 1 painted, 0 printed.

    call : of the dial, "undetermined" where there is none; the measurements make none.
    """

    hand: int
    cluster: int
    net: float | None
    measured: float | None
    call: str

    @property
    def both(self) -> float | None:
        """The sum of the two, as if they were independent; None without either."""
        return None if self.net is None or self.measured is None else self.net + self.measured


@cache
def _weights() -> Any:
    import cv2
    import torch

    from dialtell.model.net.weights_file import load_weights

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    return load_weights()


def judged(job: tuple[str, int]) -> Pair | None:
    """Dial (letter, index) of a rung, rendered, read and judged by both; None of a mixed one."""
    from dialtell.evaluate.ladder.dials import truth_of
    from dialtell.evaluate.measurements.evidence import gather_evidence
    from dialtell.evaluate.measurements.second_opinion import NO_OPINION, second_opinion
    from dialtell.model.net.resolution import resolution_of
    from dialtell.model.net.verdict import judge
    from dialtell.model.reading.photo import linear_light, luminance
    from dialtell.synth.scene import render
    from dialtell.train.bags.bags import read_spec

    letter, index = job
    rung = BY_LETTER[letter]
    spec, weights = rung.spec(index), _weights()
    hand = truth_of(spec)[1]
    if hand < 0:
        return None
    grey = luminance(linear_light(render(spec)))
    reading = read_spec(spec, grey, rng=np.random.default_rng([spec.seed, spec.index, 77]))
    carries = resolution_of(reading, weights.record, None).carries_strokes
    verdict = judge(reading.patches, weights, withheld=not carries)
    opinion = second_opinion(gather_evidence(reading)) if carries else NO_OPINION
    return Pair(hand, rung.cluster(index), verdict.whole.log10_lr, opinion.log10_lr, verdict.call)


def figures(pairs: Sequence[Pair]) -> dict[str, Any]:
    """Counts, areas under the curve with 95 % intervals, agreement, and how often both lean the wrong way."""
    told = [p for p in pairs if p.measured is not None and p.net is not None]
    right = np.array([[(p.net > 0) == p.hand, (p.measured > 0) == p.hand] for p in told if p.net and p.measured])
    return {
        "dials": len(pairs),
        "painted": sum(p.hand for p in pairs),
        "net": _area(pairs, lambda p: p.net),
        "measurements": _area(pairs, lambda p: p.measured),
        "net_where_both": _area(told, lambda p: p.net),
        "sum_where_both": _area(told, lambda p: p.both),
        "both_lean": len(right),
        "agree": int((right[:, 0] == right[:, 1]).sum()) if len(right) else 0,
        "both_wrong": int((~right.any(axis=1)).sum()) if len(right) else 0,
        "net_alone_wrong": int((~right[:, 0] & right[:, 1]).sum()) if len(right) else 0,
        "measurements_alone_wrong": int((right[:, 0] & ~right[:, 1]).sum()) if len(right) else 0,
        "calls": _calls(pairs),
    }


def _area(pairs: Sequence[Pair], value: Callable[[Pair], float | None]) -> dict[str, Any]:
    from dialtell.train.stats.discrimination import bootstrap_auc

    told = [(p, lr) for p in pairs if (lr := value(p)) is not None]
    hand = np.array([p.hand for p, _ in told])
    if len(set(hand.tolist())) < 2:
        return {"n": len(told), "auc": None}
    ratio = np.array([lr for _, lr in told])
    area, ends = bootstrap_auc(hand, ratio, rng=np.random.default_rng(1), clusters=[p.cluster for p, _ in told])
    return {"n": len(told), "auc": round(area, 4), "auc_95": [round(end, 4) for end in ends]}


def _calls(pairs: Sequence[Pair]) -> dict[str, int]:
    made = [(CALLS[p.call], p.hand) for p in pairs if p.call in CALLS]
    return {"made": len(made), "right": sum(said == hand for said, hand in made)}


def main(arguments: list[str] | None = None) -> int:
    """Draw, judge, print one JSON document."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rung", default="B", metavar="LETTER", help="of the ladder (default: B)")
    parser.add_argument("--count", type=int, default=400, metavar="N", help="dials, half painted (default: 400)")
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)), metavar="N")
    args = parser.parse_args(arguments)
    if args.count < 2:
        raise ParameterError(f"count is {args.count}; give at least 2, a painted dial and a printed one")
    letter = rungs_named(args.rung)[0].letter
    coming = in_order(judged, [(letter, index) for index in range(args.count)], args.workers)
    found = list(tqdm(coming, total=args.count, unit="dial", disable=None, file=sys.stderr))
    document = {"rung": letter, "weights": _weights().identity, **figures([pair for pair in found if pair])}
    print(json.dumps(document, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
