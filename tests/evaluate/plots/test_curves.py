"""Plots show the figures they stand for: what is on the axes is read back, not looked at."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from dialtell.evaluate.plots.curves import draw_coverage, draw_ratios, draw_reliability, draw_roc
from dialtell.evaluate.plots.style import drawn, write_plots
from dialtell.model.net.calibration import threshold
from dialtell.synth.shared.errors import OutputError
from dialtell.train.stats.calibration_error import reliability_table
from dialtell.train.stats.call_figures import Answers, called_by_ratio, coverage_curve
from dialtell.train.stats.discrimination import auc


def answers(n=200, seed=0):
    rng = np.random.default_rng(seed)
    hand = np.arange(n) % 2
    return called_by_ratio(hand, np.clip(rng.normal(2.0 * hand - 1, 1.0), -2, 2))


@pytest.fixture
def axes():
    return Figure().add_subplot()


def test_area_under_the_roc_line_is_the_auc(axes):
    series = {"A": answers(), "B": answers(seed=1)}
    draw_roc(axes, series)
    for line, told in zip(axes.lines[1:], series.values(), strict=True):
        assert np.trapezoid(*line.get_data()[::-1]) == pytest.approx(auc(told.hand, told.ratio))
    assert [line.get_label() for line in axes.lines[1:]] == ["A", "B"]


def test_reliability_marks_stand_where_the_table_says(axes):
    told = answers()
    draw_reliability(axes, {"": told}, bins=5)
    table = reliability_table(told.hand, 1 / (1 + 10.0**-told.ratio), bins=5)
    across, up = axes.containers[0].lines[0].get_data()
    assert across == pytest.approx([row.mean_probability for row in table])
    assert up == pytest.approx([row.share_hand for row in table])
    assert [text.get_text() for text in axes.texts] == [f"n={row.count}" for row in table]


def test_coverage_line_and_mark(axes):
    told = answers()
    draw_coverage(axes, {"": told})
    line, mark = axes.lines[:2]
    assert list(zip(*line.get_data(), strict=True)) == [point[:2] for point in coverage_curve(told)]
    assert mark.get_data()[0][0] == np.mean(np.abs(told.ratio) >= threshold())
    assert mark.get_data()[1][0] == pytest.approx(told.right.sum() / told.decided.sum())


def test_every_judged_dial_has_a_mark_and_uncalled_ones_are_hollow(axes):
    told = answers(40)
    told.ratio[:3] = np.nan
    draw_ratios(axes, told)
    painted, painted_hollow, printed, printed_hollow = axes.collections
    assert sum(len(part.get_offsets()) for part in axes.collections) == 37
    assert len(painted_hollow.get_offsets()) == (told.judged & ~told.decided & (told.hand == 1)).sum()
    assert (painted.get_offsets()[:, 1] > 0.5).all() and (printed.get_offsets()[:, 1] < 0.5).all()
    assert (printed_hollow.get_facecolors() == 1).all()


@pytest.mark.parametrize("draw", [draw_roc, lambda axes, given: draw_reliability(axes, given, bins=5), draw_coverage])
def test_nothing_judged_draws_no_line(axes, draw):
    unjudged = Answers(np.array([1, 0]), np.array([np.nan, np.nan]), np.array([-1, -1]))
    draw(axes, {"A": unjudged, "B": unjudged})
    assert not axes.get_legend_handles_labels()[0]


def test_files_are_the_same_each_time_and_not_written_over(tmp_path):
    made = [drawn(lambda axes: draw_roc(axes, {"A": answers()}), (3, 3), title="t") for _ in range(2)]
    assert made[0] == made[1] and made[0].startswith(b"\x89PNG")
    write_plots(tmp_path, {"roc": made[0]})
    assert (tmp_path / "roc.png").read_bytes() == made[0]
    with pytest.raises(OutputError):
        write_plots(tmp_path, {"roc": made[0]})
    write_plots(tmp_path, {"roc": made[1]}, overwrite=True)
