"""What plots of a ladder there are: ROC, reliability and coverage of every rung, and AUC against px/mm."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from dialtell.evaluate.ladder.dials import RungCalls
from dialtell.evaluate.ladder.figures import Truth, dials_of, zones_of
from dialtell.evaluate.plots.curves import Series, draw_coverage, draw_reliability, draw_roc
from dialtell.evaluate.plots.style import SOFT, drawn, line_look, mark_look
from dialtell.train.stats.call_figures import joined

if TYPE_CHECKING:
    from matplotlib.axes import Axes

RELIABILITY_BINS = 10
FEWEST_CALLED = 20
FEWEST_IN_BIN = 5
SIZE = (6.4, 5.2)


def plots(
    document: Mapping[str, Any],
    truths: Mapping[str, Truth],
    told: Mapping[str, Sequence[RungCalls]],
    names: Sequence[str],
    kinds: Mapping[str, Sequence[str]],
) -> dict[str, bytes]:
    """PNG files by name: roc, reliability, coverage of the first kind on every rung; resolution of every kind on D."""
    first, members = next(iter(kinds.items()))
    rows = [list(names).index(name) for name in members]
    answers = {}
    for letter, truth in truths.items():
        gathered, name = (zones_of, f"{letter} (zones)") if letter == "F" else (dials_of, letter)
        answers[name] = joined([gathered(truth, told[letter][row]) for row in rows])
    title = first if len(members) == 1 else f"{first}, {len(members)} seeds pooled"
    curves: dict[str, Callable[[Axes, Series], None]] = {
        "roc": draw_roc,
        "reliability": partial(draw_reliability, bins=RELIABILITY_BINS, least=FEWEST_IN_BIN),
        "coverage": partial(draw_coverage, least=FEWEST_CALLED),
    }
    found = {
        name: drawn(lambda axes, draw=draw: draw(axes, answers), SIZE, title=title)  # type: ignore[misc]
        for name, draw in curves.items()
    }
    if "D" in document["rungs"]:
        areas = {kind: part["curve"] for kind, part in document["rungs"]["D"]["kinds"].items()}
        title = "how close to go: AUC against px/mm (rung D)"
        found["resolution"] = drawn(partial(_draw_resolution, curves=areas), SIZE, title=title)
    return found


def _draw_resolution(axes: Axes, curves: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    for number, (kind, rows) in enumerate(curves.items()):
        if not rows:
            continue
        x = np.array([np.sqrt(row["px_per_mm"][0] * row["px_per_mm"][1]) for row in rows])
        value, low, high = np.array([row["auc"] for row in rows]).T
        axes.plot(x, value, label=kind, **mark_look(number) | line_look(number))
        axes.fill_between(x, low, high, color=line_look(number)["color"], alpha=0.15, linewidth=0)
    axes.set_xscale("log")
    ticks = [4, 8, 15, 30, 60, 120]
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.minorticks_off()
    axes.axhline(0.5, color=SOFT, linewidth=0.8)
    axes.set_xlabel("px/mm of the photograph at the dial")
    axes.set_ylabel("AUC, 95 % band over dials")
