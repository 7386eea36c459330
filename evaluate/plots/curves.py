"""ROC, reliability, coverage and ratios of calls against truth, drawn on axes.

A series is a name with its answers. One alone is drawn in ink, with what there is room for then; several have a line
style and a mark each.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from dialtell.evaluate.plots.style import BAND, HAND_COLOUR, INK, PRINT_COLOUR, SOFT, line_look, mark_look
from dialtell.model.net.calibration import threshold
from dialtell.train.stats.calibration_error import bin_of, reliability_table
from dialtell.train.stats.call_figures import Answers, coverage_curve, probabilities
from dialtell.train.stats.clustered import clustered_share
from dialtell.train.stats.discrimination import roc

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Series = Mapping[str, Answers]


def _judged(series: Series, *, kinds: int = 1) -> Iterator[tuple[int, str, Answers]]:
    """(number, name, judged items) of each series that has judged items of so many kinds."""
    for number, (name, answers) in enumerate(series.items()):
        seen = answers.chosen(answers.judged)
        if len(np.unique(seen.hand)) >= kinds:
            yield number, name, seen


def draw_roc(axes: Axes, series: Series) -> None:
    """Painted dials against printed ones taken for painted, as the threshold falls."""
    axes.plot([0, 1], [0, 1], color=SOFT, linewidth=0.9, linestyle="--")
    for number, name, seen in _judged(series, kinds=2):
        points = roc(seen.hand, seen.ratio)
        axes.plot([p.false_hand for p in points], [p.true_hand for p in points], label=name, **line_look(number))
    axes.set_xlabel("share of printed dials taken for painted")
    axes.set_ylabel("share of painted dials taken for painted")


def draw_reliability(axes: Axes, series: Series, *, bins: int, least: int = 1) -> None:
    """Share painted against the probability stated, by bin, with 95 % intervals.

    least : items below which a bin is left out. One series alone has n under each mark.
    """
    alone = len(series) == 1
    axes.plot([0, 1], [0, 1], color=SOFT, linewidth=0.9, linestyle="--")
    for number, name, seen in _judged(series):
        chance = probabilities(seen.ratio)
        place = bin_of(chance, bins)
        across, up, below, above = [], [], [], []
        for index, row in enumerate(reliability_table(seen.hand, chance, bins=bins)):
            if row.mean_probability is None or row.count < least:
                continue
            share = clustered_share(seen.hand[place == index] == 1, seen.clusters[place == index])
            low, high = share.interval or (0.0, 1.0)
            across.append(row.mean_probability)
            up.append(share.value)
            below.append(max(share.value - low, 0.0))
            above.append(max(high - share.value, 0.0))
            if alone:
                at = (row.mean_probability, low)
                axes.annotate(f"n={row.count}", at, (0, -11), textcoords="offset points", ha="center")
        if alone:
            axes.errorbar(across, up, [below, above], fmt="o", color=INK, capsize=3, markersize=6)
        else:
            look = mark_look(number) | line_look(number)
            axes.errorbar(across, up, [below, above], capsize=2, elinewidth=0.7, label=name, **look)
    axes.set_xlim(-0.03, 1.03)
    axes.set_ylim(-0.12 if alone else -0.03, 1.05)
    axes.set_xlabel("probability of hand painting stated (prior 1:1)")
    axes.set_ylabel("share that is painted")


def draw_coverage(axes: Axes, series: Series, *, least: int = 1) -> None:
    """Share of calls right as ever less sure ratios are called, and as a mark the threshold in use.

    A ratio that no threshold would let be called is NaN. least : calls from which a line begins. One series alone has
    its 95 % interval as a band, of several each mark has one.
    """
    alone = len(series) == 1
    for number, (name, answers) in enumerate(series.items()):
        curve = coverage_curve(answers, least=least)
        if curve:
            called, right, low, high = map(np.array, zip(*curve, strict=True))
            if alone:
                axes.fill_between(called, low, high, color=BAND)
                axes.plot(called, right, color=INK, marker=".", linewidth=1.2)
            else:
                axes.plot(called, right, label=name, **line_look(number))
        decided = answers.decided
        if not decided.any():
            continue
        share = clustered_share(answers.right[decided], answers.clusters[decided])
        if alone:
            at = decided.mean(), share.value
            axes.plot([at[0]], [at[1]], marker="D", markersize=9, color=HAND_COLOUR, linestyle="none")
        else:
            ends = share.interval or (0.0, 1.0)
            reach = [[max(share.value - ends[0], 0.0)], [max(ends[1] - share.value, 0.0)]]
            axes.errorbar([decided.mean()], [share.value], reach, capsize=2, **mark_look(number) | {"markersize": 6})
    if alone:
        axes.axhline(0.5, color=SOFT, linewidth=0.6, linestyle=":")
        axes.set_ylim(0, 1.05)
    axes.set_xlim(0, 1.03)
    axes.set_xlabel("share of dials called (large mark: the threshold in use)")
    axes.set_ylabel("share of calls right")


def draw_ratios(axes: Axes, answers: Answers) -> None:
    """Each judged item by its ratio, painted above and printed below; hollow where it is not called."""
    spread = np.random.default_rng(0)  # marks that would lie on each other, apart
    for hand, level, marker, colour in ((1, 1.0, "o", HAND_COLOUR), (0, 0.0, "s", PRINT_COLOUR)):
        for called in (True, False):
            across = answers.ratio[answers.judged & (answers.hand == hand) & (answers.decided == called)]
            up = level + spread.uniform(-0.22, 0.22, len(across))
            face = colour if called else "white"
            axes.scatter(across, up, s=26, marker=marker, edgecolors=colour, facecolors=face, zorder=2.0)
    for edge in (-threshold(), threshold()):
        axes.axvline(edge, color=SOFT, linewidth=0.9, linestyle="--")
    axes.axvline(0.0, color=SOFT, linewidth=0.6)
    reach = max([1.5, *(np.abs(answers.ratio[answers.judged]) + 0.2)])
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-0.5, 1.5)
    axes.set_yticks([0.0, 1.0], ["labelled printed", "labelled painted"])
    axes.set_xlabel("log10 likelihood ratio")
