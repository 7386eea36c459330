"""A benchmark on labelled photographs: from judged rows to figures with intervals, groups, misses and claims.

The document has schema dialtell.benchmark/1. A figure is {value, low, high, n, clusters, method}, low and high null
where too little was there for an interval. Accuracy is the share right of those called, coverage the share called
of all painted and printed ones; AUC, ECE, Brier score and Cllr take every ratio stated, called or not, and the
probability at prior odds 1:1.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.benchmark.claims import claims
from dialtell.evaluate.benchmark.rows import BANDS, NO_DIAL, BenchmarkRow, JudgedCall, misses, truth_of
from dialtell.evaluate.words.support import rounded
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED, WRONG_CALL_COST, call_number
from dialtell.synth.shared.terms import Process
from dialtell.train.photographs import labels
from dialtell.train.stats.calibration_error import brier, error_if_calibrated
from dialtell.train.stats.call_figures import Answers, Resampling, call_figures, probabilities
from dialtell.train.stats.clustered import ClusteredFigure
from dialtell.train.stats.discrimination import auc
from dialtell.train.stats.likelihood_ratio import cllr, validated_bounds
from dialtell.train.stats.paired_permutation import paired_permutation

SCHEMA = "dialtell.benchmark/1"
SEED = 20_261_125
DRAWS = 2000
LEAST_RATIOS = 2  # of a kind, for figures of both kinds

Floats = NDArray[np.float64]


def answers_of(rows: Iterable[BenchmarkRow], *, callable_alone: bool = False) -> Answers:
    """Dials labelled painted or printed. callable_alone : without the ratios of those withheld from any call."""
    return _answers(
        (row.truth, row.answer if not (callable_alone and row.answer.withheld) else JudgedCall(row.answer.call), row)
        for row in rows
    )


def zone_answers(rows: Iterable[BenchmarkRow], zone: Any) -> Answers:
    """Zones labelled painted or printed; one that was not read counts as undetermined."""
    unread = JudgedCall(UNDETERMINED)
    return _answers((truth_of(row.photo.zones.get(zone, "")), row.zones.get(zone, unread), row) for row in rows)


def _answers(found: Iterable[tuple[bool | None, JudgedCall, BenchmarkRow]]) -> Answers:
    known = [item for item in found if item[0] is not None]
    return Answers(
        hand=np.array([truth for truth, _, _ in known], dtype=np.int8),
        ratio=np.array([np.nan if said.log10_lr is None else said.log10_lr for _, said, _ in known], dtype=np.float64),
        call=np.array([call_number(said.call) for _, said, _ in known], dtype=np.int8),
        cluster=np.array([row.cluster for _, _, row in known], dtype=np.int64),
    )


def figures(answers: Answers, *, draws: int = DRAWS, seed: int = SEED) -> dict[str, Any]:
    """All figures of one group."""
    found = call_figures(answers, fewest=LEAST_RATIOS, resampling=Resampling(draws, seed, seed))
    expected = None
    if found.ece is not None:
        chance = probabilities(answers.ratio[answers.judged])
        mean, most = error_if_calibrated(chance, rng=np.random.default_rng(seed), draws=draws)
        expected = {"mean": round(mean, 4), "point_95": round(most, 4)}
    return {
        "n": found.n,
        "painted": found.painted,
        "printed": found.n - found.painted,
        "clusters": found.clusters,
        "decided": found.decided,
        "right": found.right,
        "wrong": found.decided - found.right,
        "rated": found.judged,
        "coverage": entry(found.coverage),
        "accuracy": entry(found.accuracy),
        "auc": entry(found.auc),
        "ece": entry(found.ece),
        "ece_if_calibrated": expected,
        "brier": entry(found.brier),
        "cllr": entry(found.cllr),
        "note": "" if found.auc else "too few ratios of both kinds for AUC, ECE, Brier and Cllr",
    }


def entry(measured: ClusteredFigure | None) -> dict[str, Any] | None:
    """A figure as the document holds it."""
    if measured is None:
        return None
    low, high = measured.interval or (None, None)
    return {
        "value": round(measured.value, 4),
        "low": None if low is None else round(low, 4),
        "high": None if high is None else round(high, 4),
        "n": measured.n,
        "clusters": measured.clusters,
        "method": measured.method,
    }


def benchmark(
    rows: Sequence[BenchmarkRow],
    model: Mapping[str, Any],
    caps: tuple[float, float],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> dict[str, Any]:
    """The document's part about one set of weights.

    model : identity of the weights. caps : (low, high) log10 LR beyond which those weights state no dial's ratio.
    """
    dials = answers_of(rows)
    whole = figures(dials, draws=draws, seed=seed)
    hand, printed = (dials.ratio[dials.judged & (dials.hand == kind)] for kind in (1, 0))
    bounds = list(map(float, validated_bounds(hand, printed))) if len(hand) and len(printed) else None

    def group(name: str, chosen: Answers) -> dict[str, Any]:
        return {"group": name, **figures(chosen, draws=draws, seed=seed)}

    def of(condition: Callable[[BenchmarkRow], bool]) -> Answers:
        return answers_of(row for row in rows if condition(row))

    bands = [name for name, _, _ in BANDS] + [NO_DIAL]
    types = sorted({row.photo.object_type for row in rows})
    document = {
        "model": dict(model),
        "dial": whole,
        "zones": [group(zone.value, zone_answers(rows, zone)) for zone in labels.ZONE_COLUMNS.values()],
        "bands": [group(band, of(lambda row, band=band: row.band == band)) for band in bands],  # type: ignore[misc]
        "processes": [group(name, chosen) for name, chosen in _by_process(rows)],
        "object_types": [
            group(kind or "not said", of(lambda row, kind=kind: row.photo.object_type == kind))  # type: ignore[misc]
            for kind in types
        ],
        "confusion": confusion(rows),
        "print_calls": print_calls(rows),
        "misses": [_missed(row, kind) for row, kind in misses(rows)],
        "likelihood_ratio_bounds": {"measured": bounds, "stated": list(caps)},
        "rows": [record_of(row) for row in rows],
    }
    return document | {"claims": claims(rows, whole, bounds, caps)}


def _by_process(rows: Sequence[BenchmarkRow]) -> list[tuple[str, Answers]]:
    painted = [row for row in rows if row.truth is True]
    found = []
    for process in (Process.TRANSFER.value, Process.PHOTOGRAPHIC.value, labels.CANNOT_TELL):
        name = "print of unknown process" if process == labels.CANNOT_TELL else f"{process} print"
        prints = [row for row in rows if row.truth is False and (row.photo.print_process or "cannot tell") == process]
        found.append((f"painted against {name}", answers_of([*painted, *prints] if prints else [])))
    return found


def confusion(rows: Iterable[BenchmarkRow]) -> list[dict[str, Any]]:
    """By dial label: how many were called what; no dial found is a column of its own."""
    table = []
    rows = list(rows)
    for label in (*labels.DIAL_LABELS, ""):
        of = [row for row in rows if row.photo.dial_process == label]
        counts = Counter(row.answer.call if row.found else NO_DIAL for row in of)
        if of or label in (labels.PAINTED, labels.PRINTED):
            columns = {call: counts[call] for call in (HAND, PRINTED, UNDETERMINED, NO_DIAL)}
            table.append({"label": label or "not labelled", **columns})
    return table


def print_calls(rows: Iterable[BenchmarkRow]) -> list[dict[str, Any]]:
    """Of dials labelled printed and called printed, how many were called a transfer or a photographic print."""
    called = [row for row in rows if row.truth is False and row.answer.call == PRINTED and row.printing is not None]
    table = []
    for label in labels.PRINT_LABELS:
        of = [row for row in called if (row.photo.print_process or labels.CANNOT_TELL) == label]
        counts = Counter(row.printing.call for row in of if row.printing is not None)
        if of:
            table.append({"label": label, **{call: counts[call] for call in labels.PRINT_LABELS}})
    return table


def _missed(row: BenchmarkRow, kind: str) -> dict[str, Any]:
    return {"kind": kind, **record_of(row)}


def record_of(row: BenchmarkRow) -> dict[str, Any]:
    """One photograph, flat but for its zones."""
    photo = row.photo
    return {
        "row": photo.row,
        "photo": photo.name,
        "sha256": photo.sha256,
        "dial": photo.dial,
        "source": photo.source,
        "object_type": photo.object_type,
        "basis": photo.basis,
        "cluster": row.cluster,
        "label": photo.dial_process,
        "print_process": photo.print_process,
        "call": row.answer.call,
        "log10_lr": rounded(row.answer.log10_lr),
        "capped": row.answer.capped,
        "withheld": row.answer.withheld,
        "print_call": None if row.printing is None else row.printing.call,
        "px_per_mm": rounded(row.px_per_mm),
        "size_mm": photo.size_mm,
        "band": row.band,
        "outline_off": rounded(row.off),
        "why": row.answer.why,
        "zones": {
            zone.value: {
                "label": photo.zones.get(zone, ""),
                "call": answer.call,
                "log10_lr": rounded(answer.log10_lr),
            }
            for zone, answer in row.zones.items()
        },
        "page": None,
    }


def compare(
    first: Sequence[BenchmarkRow], second: Sequence[BenchmarkRow], *, seed: int = SEED, draws: int = 4999
) -> list[dict[str, Any]]:
    """Paired permutation tests of two weights on the photographs that both judged; the first line is the main one.

    The main statistic is the mean cost of a dial: 0 called rightly, 1 undetermined, WRONG_CALL_COST called wrongly.
    The others take ratios, so only dials to which both gave one; they are not corrected for being several.
    """
    others = {row.photo.row: row for row in second}
    pairs = [(row, others[row.photo.row]) for row in first if row.truth is not None and row.photo.row in others]
    rated = [(a, b) for a, b in pairs if a.answer.log10_lr is not None and b.answer.log10_lr is not None]
    lines = []
    if pairs:
        cost = [[_cost(row) for row in side] for side in zip(*pairs, strict=True)]
        lines.append(_compared("cost of calls", lambda x: float(x.mean()), cost, pairs, seed, draws))
    hand = np.array([a.truth for a, _ in rated], dtype=bool)
    if min(hand.sum(), (~hand).sum()) >= LEAST_RATIOS:
        ratio = [[row.answer.log10_lr or 0.0 for row in side] for side in zip(*rated, strict=True)]
        statistics: tuple[tuple[str, Callable[[Floats], float]], ...] = (
            ("auc", lambda x: auc(hand, x)),
            ("brier", lambda x: brier(hand, 1 / (1 + 10.0**-x))),
            ("cllr", lambda x: cllr(x[hand], x[~hand])),
        )
        lines += [_compared(name, statistic, ratio, rated, seed, draws) for name, statistic in statistics]
    return lines


def _cost(row: BenchmarkRow) -> float:
    return 1.0 if row.right is None else 0.0 if row.right else WRONG_CALL_COST


def _compared(
    name: str,
    statistic: Callable[[Floats], float],
    answers: Sequence[Sequence[float]],
    pairs: Sequence[tuple[BenchmarkRow, BenchmarkRow]],
    seed: int,
    draws: int,
) -> dict[str, Any]:
    clusters = [row.cluster for row, _ in pairs]
    first, second = (np.array(side, dtype=np.float64) for side in answers)
    test = paired_permutation(statistic, first, second, clusters, rng=np.random.default_rng(seed), draws=draws)
    return {
        "statistic": name,
        "first": round(statistic(first), 4),
        "second": round(statistic(second), 4),
        "difference": round(test.difference, 4),
        "p": round(test.p, 5),
        "n": len(pairs),
        "clusters": test.clusters,
        "swaps": test.swaps,
        "exact": test.exact,
    }
