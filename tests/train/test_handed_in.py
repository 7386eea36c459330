"""The trial that hands drawn photographs in in ten ways: its counting, and that it runs."""

from __future__ import annotations

import json

import pytest
from trials.reading.handed_in import Heard, figures, main


def test_counts() -> None:
    none, hand, printed = "undetermined", "hand-painted", "printed"
    dials = [
        Heard(0, True, (1.0, 1.2, 0.8, 1.0, 1.0), (none, hand, none, none, none)),
        Heard(1, False, (-2.0,) * 5, (printed,) * 5),
        Heard(2, False, (0.1, -0.1, 0.1, -0.1, 0.0), (hand, printed, none, none, none)),
        Heard(3, True, (5.0, 0.0), (hand, none)),  # too few ways
    ]
    row = figures(dials)
    assert row["dials"] == 3 and row["ways"] == 15 and row["with_call"] == 8
    assert row["sd_worst"] == pytest.approx(0.02**0.5) and row["sd_median"] == pytest.approx(0.1)
    assert row["opposite"] == 1 and row["wrong"] == 1 and row["auc_of_means"] == 1.0
    assert row["said"] == pytest.approx(1.0)
    assert figures(dials[3:]) == {"dials": 0}


@pytest.mark.slow
def test_it_runs(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--count", "3", "--json"]) == 0
    (row,) = json.loads(capsys.readouterr().out).values()
    assert row["dials"] >= 1 and row["sd_median"] > 0.0
