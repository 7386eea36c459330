"""The trial that reads drawn photographs: its counting, and that it runs."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from seen_maps import names_of
from trials.reading import drawn
from trials.reading.drawn import Read, figures, overlaps, reliability

from dialtell.model.reader.net import SIDE
from dialtell.model.reading.looks import Look
from dialtell.synth.shared.terms import SEEN, Make, Seen


def test_counts() -> None:
    read = [
        Read(0, True, 1.0, 90.0, Make.ENAMEL, True, off=0.005, outline=0.97, turned=1.0, twelve=0.9,
             told="fired enamel"),
        Read(1, True, 1.0, 90.0, Make.METAL, True, off=0.05, outline=0.97, turned=90.0, twelve=0.9, told="metal",
             other=True),
        Read(2, True, 0.6, 90.0, Make.PAPER, False),
        Read(3, False, 0.0, float("nan"), Make.NONE, True, "printed", outline=0.3),
        Read(4, False, 0.0, float("nan"), Make.NONE),
    ]  # fmt: skip
    found = figures(read)
    shares = {name: (one["count"], one["of"]) for name, one in found["shares"].items()}
    assert shares["dials found"] == (2, 3) and shares["dials found, whole in the frame"] == (2, 2)
    assert shares["outline within 1 %, of found whole"] == (1, 2)
    assert shares["12 within 3 degrees, of those within 2 %"] == (1, 1)
    assert shares["off by more than 2 %, no warning, of all found"] == (1, 2)
    assert shares["pictures without a dial in which one was found"] == (1, 2)
    assert shares["pictures without a dial with a call"] == (1, 2)
    assert shares["other makes so named"] == (1, 1) and shares["make told, of all found"] == (2, 2)
    rows = {row["from"]: (row["right"]["count"], row["right"]["of"]) for row in found["outline_certainty"]}
    assert rows[0.95] == (1, 2) and rows[0.2] == (0, 1) and rows[0.99] == (0, 0)


def test_a_certainty_of_one_has_a_row() -> None:
    read = [Read(0, True, 1.0, 90.0, Make.ENAMEL, True, off=0.001, outline=1.0)]
    assert reliability(read, lambda one: one.outline, lambda one: one.right)[-1]["right"]["count"] == 1


def test_an_outline_whose_certainty_is_not_stated_was_warned_of() -> None:
    """A close-up whose course is assumed: a remark says so, and no range of certainty has it."""
    wrong = Read(0, True, 0.3, 90.0, Make.ENAMEL, True, close_up=True, off=0.08, outline=None)
    found = figures([wrong, replace(wrong, off=0.01)])
    shares = {name: (one["count"], one["of"]) for name, one in found["shares"].items()}
    assert shares["off by more than 2 %, no warning, of all found"] == (0, 2)
    assert shares["right to 2 %, warned for nothing, of all found"] == (1, 2)
    assert shares["dials read as close-ups"] == (2, 2)
    assert all(row["right"]["of"] == 0 and row["mean"] is None for row in found["outline_certainty"])


def test_overlap_is_whole_where_truth_is_seen() -> None:
    rng = np.random.default_rng(4)
    seen = np.repeat(np.repeat(rng.integers(0, len(SEEN), (SIDE // 8, SIDE // 8)), 8, 0), 8, 1).astype(np.uint8)
    none = np.zeros((1, 1), np.float32)
    look = Look(np.eye(2, 3), names_of(seen), none, none, {}, None)
    met, joined = overlaps(look, seen)
    assert np.array_equal(met, joined) and joined.sum() == SIDE * SIDE
    # a look of twice the photograph's size, shifted
    larger = Look(
        np.array([[2.0, 0.0, -100.0], [0.0, 2.0, -60.0]]), names_of(np.zeros_like(seen)), none, none, {}, None
    )
    rows, columns = (np.floor((np.arange(SIDE) + 0.5 + by) / 2).astype(int) for by in (60, 100))
    expected = seen[np.ix_(rows, columns)]
    met, joined = overlaps(larger, seen)
    assert (
        met[0] == (expected == 0).sum() and joined[SEEN.index(Seen.HAND)] == (expected == SEEN.index(Seen.HAND)).sum()
    )


def test_the_trial_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out.json"
    assert drawn.main(["--count", "3", "--out", str(out)]) == 0
    found = json.loads(out.read_text())
    assert found["figures"]["shares"]["dials found"]["of"] <= 3
    assert "overlap in the square look" in capsys.readouterr().out
