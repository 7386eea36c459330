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
from typing import TYPE_CHECKING, Any

import numpy as np
from tqdm import tqdm

from dialtell.evaluate.ladder.rungs import BY_LETTER, rungs_named
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.workers import in_order

if TYPE_CHECKING:
    from dialtell.train.stats.call_figures import Answers


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


def both_opinions(job: tuple[str, int]) -> Pair | None:
    """Dial (letter, index) of a rung, rendered, read and judged by both; None of a mixed one."""
    from dialtell.evaluate.measurements.evidence import gather_evidence
    from dialtell.evaluate.measurements.second_opinion import NO_OPINION, second_opinion
    from dialtell.model.net.resolution import resolution_of
    from dialtell.model.net.verdict import judge
    from dialtell.synth.scene import render
    from dialtell.train.bags.bags import read_spec, reading_rng, truth_of

    letter, index = job
    rung = BY_LETTER[letter]
    spec, weights = rung.spec(index), _weights()
    hand = truth_of(spec)[1]
    if hand < 0:
        return None
    reading = read_spec(spec, render(spec), rng=reading_rng(spec))
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
        "net": _area(_answers(pairs, lambda p: p.net)),
        "measurements": _area(_answers(pairs, lambda p: p.measured)),
        "net_where_both": _area(_answers(told, lambda p: p.net)),
        "sum_where_both": _area(_answers(told, lambda p: p.both)),
        "both_lean": len(right),
        "agree": int((right[:, 0] == right[:, 1]).sum()) if len(right) else 0,
        "both_wrong": int((~right.any(axis=1)).sum()) if len(right) else 0,
        "net_alone_wrong": int((~right[:, 0] & right[:, 1]).sum()) if len(right) else 0,
        "measurements_alone_wrong": int((right[:, 0] & ~right[:, 1]).sum()) if len(right) else 0,
        "calls": _calls(_answers(pairs, lambda p: p.net, lambda p: p.call)),
    }


def _answers(
    pairs: Sequence[Pair], value: Callable[[Pair], float | None], call: Callable[[Pair], str] | None = None
) -> Answers:
    from dialtell.model.net.calibration import UNDETERMINED, call_number
    from dialtell.train.stats.call_figures import Answers

    ratios = [value(pair) for pair in pairs]
    return Answers(
        hand=np.array([pair.hand for pair in pairs], np.int8),
        ratio=np.array([np.nan if ratio is None else ratio for ratio in ratios], np.float64),
        call=np.array([call_number(call(pair) if call else UNDETERMINED) for pair in pairs], np.int8),
        cluster=np.array([pair.cluster for pair in pairs], np.int64),
    )


def _area(answers: Answers) -> dict[str, Any]:
    from dialtell.train.stats.call_figures import Resampling, call_figures

    found = call_figures(answers, resampling=Resampling(2000, 1, 1))
    if found.auc is None or found.auc.interval is None:
        return {"n": found.judged, "auc": None}
    return {"n": found.judged, "auc": round(found.auc.value, 4), "auc_95": [round(v, 4) for v in found.auc.interval]}


def _calls(answers: Answers) -> dict[str, int]:
    return {"made": int(answers.decided.sum()), "right": int(answers.right.sum())}


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
    coming = in_order(both_opinions, [(letter, index) for index in range(args.count)], args.workers)
    found = list(tqdm(coming, total=args.count, unit="dial", disable=None, file=sys.stderr))
    document = {"rung": letter, "weights": _weights().identity, **figures([pair for pair in found if pair])}
    print(json.dumps(document, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
