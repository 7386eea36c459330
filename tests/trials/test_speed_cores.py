"""Photographs a second by workers: as many files as asked for, no two alike, of few pictures; one line each."""

import json

import numpy as np
import pytest
from PIL import Image
from trials.speed.cores import copies, main


def test_copies_are_other_files_of_the_same_pictures(tmp_path):
    paths = copies(tmp_path, 12)
    assert len({path.read_bytes() for path in paths}) == 12
    pictures = {np.asarray(Image.open(path)).tobytes() for path in paths}
    assert 1 < len(pictures) < 12


def test_one_worker_is_what_others_are_held_to(capsys):
    pytest.importorskip("psutil")
    assert main(["--workers", "1", "--seconds", "0.5"]) == 0
    (found,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert found["workers"] == 1 and found["efficiency"] == pytest.approx(1.0, abs=1e-3)
    assert found["photographs"] >= 1 and found["a_second"] > 0 and found["cpu_ms"] > 0
