"""Plots of a ladder as PNG: ROC, reliability, coverage against accuracy, and AUC against px/mm. Line styles and marks
tell kinds and rungs apart without colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dialtell.evaluate.ladder.dials import Told
from dialtell.evaluate.ladder.figures import Answers, Truth, dials_of, joined, share, zones_of
from dialtell.model.net.calibration import probability as probability_of
from dialtell.train.stats.calibration_error import bin_of, reliability_table
from dialtell.train.stats.discrimination import roc

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, SOFT = "#1e1c19", "#6b675d"
COLOURS = ("#b4531f", "#1f5fa8", "#3f7d4e", "#7a4a8c", "#8a7a1f", "#4b8a94", "#a03050")
STYLES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (8, 2)), (0, (1, 1)))
MARKS = ("o", "s", "^", "D", "v", "P", "X")
DPI = 120
RELIABILITY_BINS = 10
FEWEST_CALLED = 20
FEWEST_IN_BIN = 5

Told_ = Mapping[str, Sequence[Told]]


def write_plots(
    out: Path,
    document: Mapping[str, Any],
    truths: Mapping[str, Truth],
    told: Told_,
    names: Sequence[str],
    kinds: Mapping[str, Sequence[str]],
) -> None:
    """roc.png, reliability.png, coverage.png of the first kind on every rung; resolution.png of every kind on D."""
    first, members = next(iter(kinds.items()))
    rows = [list(names).index(name) for name in members]
    answers = {}
    for letter, truth in truths.items():
        gathered = zones_of if letter == "F" else dials_of
        answers[letter] = joined([gathered(truth, told[letter][row]) for row in rows])
    title = first if len(members) == 1 else f"{first}, {len(members)} seeds pooled"
    for name, draw in (("roc", _roc), ("reliability", _reliability), ("coverage", _coverage)):
        _save(out / f"{name}.png", draw, answers, title)
    if "D" in document["rungs"]:
        found = {kind: part["curve"] for kind, part in document["rungs"]["D"]["kinds"].items()}
        _save(out / "resolution.png", _resolution, found, "how close to go: AUC against px/mm (rung D)")


def _save(path: Path, draw: Any, shown: Mapping[str, Any], title: str) -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.4, 5.2), dpi=DPI, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.set_title(title, color=INK, fontsize=11, loc="left")
    axes.grid(color="#e4e0d8", linewidth=0.6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    draw(axes, shown)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(fontsize=8, frameon=False)
    figure.savefig(path, format="png")


def _look(number: int) -> dict[str, Any]:
    return {"color": COLOURS[number % len(COLOURS)], "linestyle": STYLES[number % len(STYLES)], "linewidth": 1.6}


def _name(letter: str) -> str:
    return f"{letter} (zones)" if letter == "F" else letter


def _judged(answers: Answers) -> Answers | None:
    """Judged items, None unless both kinds are among them."""
    seen = answers.chosen(np.isfinite(answers.ratio))
    return seen if len(seen.hand) and 0 < seen.hand.sum() < len(seen.hand) else None


def _roc(axes: Axes, answers: Mapping[str, Answers]) -> None:
    axes.plot([0, 1], [0, 1], color=SOFT, linewidth=0.8)
    for number, (letter, found) in enumerate(answers.items()):
        if (seen := _judged(found)) is not None:
            points = roc(seen.hand, seen.ratio)
            axes.plot([p.false_hand for p in points], [p.true_hand for p in points], label=_name(letter),
                      **_look(number))  # fmt: skip
    axes.set_xlabel("share of printed dials taken for painted")
    axes.set_ylabel("share of painted dials taken for painted")


def _reliability(axes: Axes, answers: Mapping[str, Answers]) -> None:
    axes.plot([0, 1], [0, 1], color=SOFT, linewidth=0.8)
    for number, (letter, found) in enumerate(answers.items()):
        if (seen := _judged(found)) is None:
            continue
        probability = np.array([probability_of(ratio) for ratio in seen.ratio])
        table = reliability_table(seen.hand, probability, bins=RELIABILITY_BINS)
        place = bin_of(probability, RELIABILITY_BINS)
        bins = [b for b, row in enumerate(table) if row.count >= FEWEST_IN_BIN]
        x = np.array([table[b].mean_probability for b in bins], float)
        y, *ends = (
            np.array([share(seen.hand[place == b] == 1, seen.cluster[place == b]) for b in bins]).reshape(-1, 3).T
        )
        axes.errorbar(x, y, yerr=np.abs(np.array(ends) - y), marker=MARKS[number % len(MARKS)], markersize=4, capsize=2,
                      elinewidth=0.7, label=_name(letter), **_look(number))  # fmt: skip
    axes.set_xlabel("probability of hand painting at even odds")
    axes.set_ylabel("share painted (95 % over dials)")


def _coverage(axes: Axes, answers: Mapping[str, Answers]) -> None:
    """Accuracy of the surest calls as more are made; the mark is the rule in use."""
    for number, (letter, found) in enumerate(answers.items()):
        if (seen := _judged(found)) is None:
            continue
        order = np.argsort(-np.abs(seen.ratio), kind="stable")
        right = np.cumsum((seen.ratio[order] > 0) == (seen.hand[order] == 1))
        called = np.arange(1, len(order) + 1)
        at = called >= min(FEWEST_CALLED, len(order))
        axes.plot(called[at] / len(found.hand), right[at] / called[at], label=_name(letter), **_look(number))
        decided = found.call >= 0
        if decided.any():
            value, low, high = share((found.call == found.hand)[decided], found.cluster[decided]) or (0.0, 0.0, 1.0)
            axes.errorbar([decided.mean()], [value], yerr=[[value - low], [high - value]], capsize=2, markersize=6,
                          color=COLOURS[number % len(COLOURS)], marker=MARKS[number % len(MARKS)])  # fmt: skip
    axes.set_xlabel("share of dials called (mark: the rule in use)")
    axes.set_ylabel("share of calls that are right")


def _resolution(axes: Axes, curves: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    for number, (kind, rows) in enumerate(curves.items()):
        if not rows:
            continue
        x = np.array([np.sqrt(row["px_per_mm"][0] * row["px_per_mm"][1]) for row in rows])
        value, low, high = np.array([row["auc"] for row in rows]).T
        axes.plot(x, value, marker=MARKS[number % len(MARKS)], markersize=4, label=kind, **_look(number))
        axes.fill_between(x, low, high, color=COLOURS[number % len(COLOURS)], alpha=0.15, linewidth=0)
    axes.set_xscale("log")
    ticks = [4, 8, 15, 30, 60, 120]
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.minorticks_off()
    axes.axhline(0.5, color=SOFT, linewidth=0.8)
    axes.set_xlabel("px/mm of the photograph at the dial")
    axes.set_ylabel("AUC, 95 % band over dials")
