"""What plots of a benchmark there are: ratios by label, reliability, coverage."""

from __future__ import annotations

from collections.abc import Sequence

from dialtell.evaluate.benchmark.benchmark import answers_of
from dialtell.evaluate.benchmark.rows import BenchmarkRow
from dialtell.evaluate.plots.curves import draw_coverage, draw_ratios, draw_reliability
from dialtell.evaluate.plots.style import drawn

RELIABILITY_BINS = 5  # wider than for the ECE: real photographs are few
SQUARE = (4.6, 4.4)


def plots(rows: Sequence[BenchmarkRow]) -> dict[str, bytes]:
    """PNG files by name, without suffix; only those for which there is something to show."""
    answers = answers_of(rows)
    if not answers.judged.any():
        return {}
    callable_ = answers_of(rows, callable_alone=True)
    return {
        "ratios": drawn(lambda axes: draw_ratios(axes, answers), (7.2, 2.6)),
        "reliability": drawn(lambda axes: draw_reliability(axes, {"": answers}, bins=RELIABILITY_BINS), SQUARE),
        "coverage": drawn(lambda axes: draw_coverage(axes, {"": callable_}), SQUARE),
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
