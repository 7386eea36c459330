"""What a benchmark of so many photographs allows one to claim, and what not, in words."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from scipy import stats

from dialtell.evaluate.benchmark.rows import BenchmarkRow
from dialtell.evaluate.words.support import ratio_words
from dialtell.synth.shared.terms import Process
from dialtell.train.photographs.labels import BASES
from dialtell.train.stats.clustered import FEW, kish
from dialtell.train.stats.likelihood_ratio import validated_bounds
from dialtell.train.stats.proportion import wilson

AIM = 0.9  # share right that a reader would ask about
_SURE = 9.0  # log10 LR that separates perfectly


def claims(
    rows: Sequence[BenchmarkRow], whole: Mapping[str, Any], bounds: Sequence[float] | None, caps: tuple[float, float]
) -> list[str]:
    """Sentences, each one claim or one limit.

    whole : the dials' figures, see benchmark.figures. bounds : (low, high) log10 LR that these photographs support, or
    None. caps : those that the weights state up to.
    """
    known = [row for row in rows if row.truth is not None]
    return [*_sample(known), *_calls(whole), *_ratios(known, bounds, caps), *_gaps(known)]


def _sample(known: Sequence[BenchmarkRow]) -> list[str]:
    if not known:
        return ["No photograph is labelled painted or printed: nothing can be measured."]
    sizes = Counter(row.cluster for row in known)
    painted = sum(row.truth is True for row in known)
    said = [
        f"{_count(len(known), 'photograph')} ({painted} painted, {len(known) - painted} printed) in "
        f"{_count(len(sizes), 'cluster')} of what belongs together; the largest holds {max(sizes.values())}. If all "
        f"in a cluster answered alike they would be worth {kish([row.cluster for row in known]):.1f} independent ones."
    ]
    fewest = min((len({row.cluster for row in known if row.truth is truth}) for truth in (True, False)), default=0)
    if 0 < fewest < FEW:
        said.append(
            f"The rarer kind comes from {_count(fewest, 'cluster')}. Below {FEW} the intervals of ECE, Brier score and "
            "Cllr are too narrow and only a rough guide; those of shares and of the AUC allow for it."
        )
    return said


def _calls(whole: Mapping[str, Any]) -> list[str]:
    accuracy = whole["accuracy"]
    if accuracy is None:
        return ["No call was made of a painted or printed dial: nothing can be said of how often calls are right."]
    decided, wrong = whole["decided"], whole["wrong"]
    needed = wholly_right(AIM)
    said = [
        f"Of {_count(decided, 'call')} {whole['right']} {'was' if whole['right'] == 1 else 'were'} right. This is "
        f"compatible with {_percent(accuracy['low'])} to {_percent(accuracy['high'])} right on dials like these (95 %)."
    ]
    if wrong == 0:
        said.append(
            f"No wrong call was seen, which does not mean that there are none: up to {_percent(1 - accuracy['low'])} "
            f"wrong would fit. To claim at least {_percent(AIM)} right, {needed} calls from {needed} independent "
            "dials, all right, would be needed."
        )
    elif accuracy["low"] < AIM:
        said.append(f"That at least {_percent(AIM)} of calls are right cannot be claimed.")
    return said


def wholly_right(share: float) -> int:
    """Independent calls, all right, from which Wilson's 95 % interval starts at `share` or above: n / (n + z^2)."""
    z2 = float(stats.norm.ppf(0.975)) ** 2
    n = max(math.ceil(share * z2 / (1 - share) - 1e-9), 1)
    return n if wilson(n, n).low >= share else n + 1


def _ratios(known: Sequence[BenchmarkRow], bounds: Sequence[float] | None, caps: tuple[float, float]) -> list[str]:
    rated = [row for row in known if row.answer.log10_lr is not None]
    n_hand = sum(row.truth is True for row in rated)
    n_printed = len(rated) - n_hand
    if bounds is None or not n_hand or not n_printed:
        return [
            "Without ratios of both painted and printed dials no likelihood ratio is validated by these photographs; "
            "the ratios stated rest on drawn dials alone."
        ]
    best = validated_bounds([_SURE] * n_hand, [-_SURE] * n_printed)
    said = [
        f"{n_hand} painted and {n_printed} printed dials could, perfectly separated, support a likelihood ratio of at "
        f"most {ratio_words(best.high)} for hand painting and {ratio_words(best.low)} for printing. As measured they "
        f"support up to {_times(bounds[1])} and {_times(bounds[0])} (photographs counted as independent, so at most)."
    ]
    over = [
        f"above {_times(measured)} {side}"
        for measured, stated, side in ((bounds[1], caps[1], "for hand painting"), (bounds[0], caps[0], "for printing"))
        if abs(stated) > abs(measured) + 1e-9
    ]
    if over:
        said.append(
            f"The weights state ratios up to {ratio_words(caps[1])} and {ratio_words(caps[0])}. "
            f"Those {' and '.join(over)} rest on drawn dials; these photographs do not vouch for them."
        )
    else:
        said.append("The weights state no ratio beyond what these photographs support.")
    return said


def _gaps(known: Sequence[BenchmarkRow]) -> list[str]:
    said = []
    kinds = {row.truth for row in known}
    if known and len(kinds) == 1:
        missing = "printed" if True in kinds else "painted"
        said.append(f"There is no {missing} dial here, so nothing is shown about {missing} ones.")
    prints = Counter(row.photo.print_process for row in known if row.truth is False)
    for process in (Process.TRANSFER, Process.PHOTOGRAPHIC):
        if prints and not prints[process.value]:
            said.append(f"No {process.value} print is among the printed dials, so nothing is shown about those.")
    bases = Counter(row.photo.basis or "not said" for row in known)
    if known:
        listed = ", ".join(f"{bases[basis]} {basis}" for basis in (*BASES, "not said") if bases[basis])
        said.append(
            f"Basis of the labels: {listed}. Labels by eye share the mistakes an eye makes on photographs, so "
            "agreement with them is not proof."
            if bases["by eye"] or bases["not said"]
            else f"Basis of the labels: {listed}."
        )
    unsized = sum(row.photo.size_mm is None for row in known)
    if unsized:
        said.append(f"{unsized} of {len(known)} have no diameter; their px/mm are those of an 18 size dial.")
    return said


def _times(log10_lr: float) -> str:
    return "1 (no support)" if abs(log10_lr) < 1e-9 else ratio_words(log10_lr)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"
