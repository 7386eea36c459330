"""`train --net reader`: flags of the other net are refused, each by name, before anything is begun."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from dialtell.evaluate.cli.main import main


@pytest.mark.parametrize(
    ("flags", "named"),
    [(["--pairs", "4"], "--pairs"), (["--calibration", "4"], "--calibration"), (["--photos", "a.csv"], "--photos"),
     (["--keep", "kept"], "--keep"), (["--tensorboard"], "--tensorboard"), (["--from", "shipped"], "--from")],
)  # fmt: skip
def test_flags_of_the_strokes_are_refused(flags, named, tmp_path, capsys):
    assert main(["train", "--net", "reader", "--out", str(tmp_path / "run"), "--preset", "tiny", *flags]) == 1
    said = capsys.readouterr().err
    assert f"{named} given with --net reader" in said and "leave them out" in said
    assert not (tmp_path / "run").exists()


@pytest.mark.parametrize(
    ("flags", "named"), [(["--minutes", "1"], "--minutes"), (["--backgrounds", "x"], "--backgrounds")]
)
def test_flags_of_the_reader_are_refused(flags, named, tmp_path, capsys):
    assert main(["train", "--out", str(tmp_path / "run"), "--preset", "tiny", *flags]) == 1
    assert f"{named} given with --net strokes" in capsys.readouterr().err
    assert not (tmp_path / "run").exists()


def test_resume_without_a_run_and_backgrounds_without_photographs(tmp_path, capsys):
    assert main(["train", "--net", "reader", "--resume", str(tmp_path)]) == 1
    assert "no run of the reader to go on with" in capsys.readouterr().err
    (tmp_path / "empty").mkdir()
    given = ["--backgrounds", str(tmp_path / "empty"), "--out", str(tmp_path / "run")]
    assert main(["train", "--net", "reader", "--preset", "tiny", *given]) == 1
    assert "no photographs there" in capsys.readouterr().err and not (tmp_path / "run").exists()


def test_backgrounds_are_read_reduced_in_colour(tmp_path):
    from dialtell.evaluate.cli.train_reader import _photographs

    rng = np.random.default_rng(0)
    Image.fromarray(rng.integers(0, 255, (600, 1500, 3), dtype=np.uint8)).save(tmp_path / "wide.png")
    Image.fromarray(rng.integers(0, 255, (90, 120), dtype=np.uint8)).save(tmp_path / "grey.png")
    found = _photographs(tmp_path)
    assert sorted(one.shape for one in found) == [(90, 120, 3), (400, 1000, 3)]
    assert all(one.dtype == np.uint8 for one in found)
