"""Plots of a benchmark as PNG: ratios by label, reliability, coverage. Readable without colour: shapes tell too."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dialtell.evaluate.benchmark.benchmark import Item
from dialtell.model.net.calibration import HAND, UNDETERMINED, probability, threshold
from dialtell.synth.shared.files import write_bytes
from dialtell.train.stats.calibration_error import bin_of, reliability_table
from dialtell.train.stats.clustered import clustered_share

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HAND_COLOUR, PRINT_COLOUR, INK, SOFT = "#b4531f", "#1f5fa8", "#1e1c19", "#6b675d"
RELIABILITY_BINS = 5  # wider than for the ECE: real photographs are few
DPI = 120


def plots(items: Sequence[Item]) -> dict[str, bytes]:
    """PNG files by name, without suffix; only those for which there is something to show."""
    rated = [item for item in items if item.log10_lr is not None]
    if not rated:
        return {}
    return {
        "ratios": _drawn(_ratios, rated, (7.2, 2.6)),
        "reliability": _drawn(_reliability, rated, (4.6, 4.4)),
        "coverage": _drawn(_coverage, items, (4.6, 4.4)),
    }


CAPTIONS = {
    "ratios": "Each mark is one photograph: its log10 likelihood ratio, painted dials (circles) above, printed ones "
    "(squares) below. Right of the middle speaks for hand painting, left for printing; between the dashed lines no "
    "call is made. Hollow marks got no call.",
    "reliability": "Of the dials given a probability within a bin, the share that is labelled painted, with a 95 % "
    "interval (Wilson at the effective number of clusters); n under each. On the diagonal probabilities mean what "
    "they say.",
    "coverage": "If only the surest ratios were called: share of all labelled dials called (across) against the share "
    "of those calls that are right (up), with its 95 % interval as a band. The diamond is the threshold in use. "
    "The line ends before 100 % where some photographs are too coarse for any call, or show no dial.",
}


def write_plots(folder: Path, drawn: Mapping[str, bytes], *, overwrite: bool = False) -> None:
    """Write NAME.png of each, whole or not at all. Raises OutputError."""
    for name, content in drawn.items():
        write_bytes(folder / f"{name}.png", content, overwrite=overwrite)


def coverage_curve(items: Sequence[Item]) -> list[tuple[float, float, float, float]]:
    """(share called, share right, low, high) as the threshold falls, of dials not withheld; ties are taken together."""
    sized = sorted(
        (
            (abs(item.log10_lr), (item.log10_lr > 0) == item.hand, item.cluster)
            for item in items
            if item.log10_lr and not item.withheld
        ),
        key=lambda row: -row[0],
    )
    curve = []
    for count, (size, _, _) in enumerate(sized, start=1):
        if count == len(sized) or sized[count][0] < size:
            chosen = sized[:count]
            share = clustered_share([right for _, right, _ in chosen], [cluster for _, _, cluster in chosen])
            low, high = share.interval or (0.0, 1.0)
            curve.append((count / len(items), share.value, low, high))
    return curve


def _drawn(draw: Any, items: Sequence[Item], size: tuple[float, float]) -> bytes:
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with rc_context({"font.family": "DejaVu Sans", "font.size": 9.0, "axes.edgecolor": SOFT}):
        figure = Figure(figsize=size, layout="constrained", facecolor="white")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        axes.spines[["top", "right"]].set_visible(False)
        draw(axes, items)
        stream = io.BytesIO()
        figure.savefig(stream, format="png", dpi=DPI, metadata={"Software": None})
    return stream.getvalue()


def _ratios(axes: Axes, rated: Sequence[Item]) -> None:
    spread = np.random.default_rng(0)  # marks that would lie on each other, apart
    for hand, level, marker, colour in ((True, 1.0, "o", HAND_COLOUR), (False, 0.0, "s", PRINT_COLOUR)):
        for called in (True, False):
            chosen = [item for item in rated if item.hand is hand and (item.call != UNDETERMINED) is called]
            across = [item.log10_lr or 0.0 for item in chosen]
            up = level + spread.uniform(-0.22, 0.22, len(chosen))
            axes.scatter(across, up, s=26, marker=marker, edgecolors=colour, facecolors=colour if called else "white")
    for edge in (-threshold(), threshold()):
        axes.axvline(edge, color=SOFT, linewidth=0.9, linestyle="--")
    axes.axvline(0.0, color=SOFT, linewidth=0.6)
    reach = max([1.5, *(abs(item.log10_lr or 0.0) + 0.2 for item in rated)])
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-0.5, 1.5)
    axes.set_yticks([0.0, 1.0], ["labelled printed", "labelled painted"])
    axes.set_xlabel("log10 likelihood ratio")


def _reliability(axes: Axes, rated: Sequence[Item]) -> None:
    chance = np.array([probability(item.log10_lr or 0.0) for item in rated])
    hand = np.array([item.hand for item in rated])
    cluster = np.array([item.cluster for item in rated])
    axes.plot([0, 1], [0, 1], color=SOFT, linewidth=0.9, linestyle="--")
    place = bin_of(chance, RELIABILITY_BINS)
    for index, row in enumerate(reliability_table(hand.astype(int), chance, bins=RELIABILITY_BINS)):
        if row.mean_probability is None:
            continue
        inside = place == index
        share = clustered_share(hand[inside], cluster[inside])
        low, high = share.interval or (0.0, 1.0)
        reach = [[max(share.value - low, 0.0)], [max(high - share.value, 0.0)]]
        axes.errorbar([row.mean_probability], [share.value], reach, fmt="o", color=INK, capsize=3, markersize=6)
        axes.annotate(f"n={row.count}", (row.mean_probability, low), (0, -11), textcoords="offset points", ha="center")
    axes.set_xlim(-0.03, 1.03)
    axes.set_ylim(-0.12, 1.05)
    axes.set_xlabel("probability of hand painting stated (prior 1:1)")
    axes.set_ylabel("share labelled painted")


def _coverage(axes: Axes, items: Sequence[Item]) -> None:
    curve = coverage_curve(items)
    if curve:
        called, right, low, high = map(np.array, zip(*curve, strict=True))
        axes.fill_between(called, low, high, color="#d9d4c7", step=None)
        axes.plot(called, right, color=INK, marker=".", linewidth=1.2)
    decided = [item for item in items if item.call != UNDETERMINED]
    if decided:
        share = sum((item.call == HAND) == item.hand for item in decided) / len(decided)
        axes.plot([len(decided) / len(items)], [share], marker="D", markersize=9, color=HAND_COLOUR, linestyle="none")
    axes.axhline(0.5, color=SOFT, linewidth=0.6, linestyle=":")
    axes.set_xlim(0, 1.03)
    axes.set_ylim(0, 1.05)
    axes.set_xlabel("share of labelled dials called")
    axes.set_ylabel("share of calls right")
