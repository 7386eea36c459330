"""The clock adds up what stages take, and the table says whether the goal was met."""

import json
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from trials.speed import scoring_and_page as pace
from trials.speed.scoring_and_page import STAGES, Clock, table, watched

from dialtell.model.reading import steps as reading


def test_inner_stage_counts_once() -> None:
    clock = Clock()
    inner = clock.timed("inner", lambda: time.sleep(0.02))
    outer = clock.timed("outer", lambda: inner())
    start = time.perf_counter()
    outer()
    outer()
    whole = time.perf_counter() - start
    assert clock.spent["inner"] >= 0.04
    assert sum(clock.spent.values()) <= whole
    assert clock.spent["outer"] < clock.spent["inner"]


def test_watching_ends_and_puts_everything_back() -> None:
    before = reading.find_outline
    with pytest.raises(RuntimeError), watched(Clock(), type("Net", (), {"forward": None})):
        assert reading.find_outline is not before
        raise RuntimeError
    assert reading.find_outline is before


def test_measures_a_photograph_of_ones_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "noise.jpg"
    Image.fromarray(np.random.default_rng(0).integers(0, 255, (200, 300, 3), dtype=np.uint8)).save(place)
    assert pace.main(["--photo", str(place), "--repeats", "1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert tuple(found["stages"]) == STAGES and found["found"] is False
    assert found["decoding"] > 0 and found["memory_mb"]["peak"] >= found["memory_mb"]["before"] > 10
    lines = table(found).splitlines()
    assert any(line.startswith("outline") for line in lines) and "goal of 8 x decode" in lines[-1]
