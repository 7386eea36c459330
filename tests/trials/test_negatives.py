"""Pictures that show no dial get no call, whatever round light things with strokes are in them."""

from pathlib import Path

import pytest
from trials.outside import negatives
from trials.outside.negative_pictures import KINDS, draw_negative
from trials.outside.negatives import THING, NegativeOutcome, bundled, drawn, score_negative, table, things

from dialtell.model.net.weights_file import Weights, load_weights


@pytest.fixture(scope="module")
def weights() -> Weights:
    return load_weights()


def test_drawn_negatives_get_no_call(weights: Weights, tmp_path: Path) -> None:
    # 900 px: large enough for a call, over 310 px across, were it a dial
    outcomes = [score_negative(kind, place, weights) for kind, place in drawn(tmp_path, 2, 900)]
    assert len(outcomes) == 2 * len(KINDS)
    assert [outcome for outcome in outcomes if outcome.called] == []
    # round light things with lettering or a pattern round them are read as dials, 7 of these; none is understood
    assert sum(outcome.found for outcome in outcomes) <= len(outcomes) // 4
    assert all(len(outcome.reason) > 30 for outcome in outcomes)


def test_things_of_the_renderer_are_of_many_kinds_and_the_same_again(tmp_path: Path) -> None:
    (tmp_path / "again").mkdir()
    files = [file for kind, file in things(tmp_path, 12, 240) if kind == THING]
    again = [file for _, file in things(tmp_path / "again", 12, 240)]
    assert [file.read_bytes() for file in files] == [file.read_bytes() for file in again]
    kinds = {file.name.rsplit("-", 1)[0] for file in files}
    assert len(files) == 12 and len(kinds) > 4


def test_bundled_photographs_get_no_call(weights: Weights, tmp_path: Path) -> None:
    pytest.importorskip("skimage")
    outcomes = [score_negative(kind, place, weights) for kind, place in bundled(tmp_path)]
    names = {outcome.name for outcome in outcomes}
    # a wall clock smeared by motion, and faces, text and coins as they come with scikit-image
    assert {"clock_motion.png", "astronaut.png", "page.png", "coins.png", "faces.png"} <= names
    assert [outcome for outcome in outcomes if outcome.called] == []
    assert sum(outcome.found for outcome in outcomes) <= 4


@pytest.mark.slow
def test_many_negatives_get_no_call(capsys: pytest.CaptureFixture[str]) -> None:
    assert negatives.main(["--each", "6", "--things", "20"]) == 0
    assert capsys.readouterr().out.splitlines()[-1].split()[-1] == "0"


def test_same_rng_same_picture_and_kinds_differ() -> None:
    import numpy as np

    pictures = [draw_negative(kind, rng=np.random.default_rng(3), side=120) for kind in KINDS]
    again = [draw_negative(kind, rng=np.random.default_rng(3), side=120) for kind in KINDS]
    assert all(np.array_equal(a, b) for a, b in zip(pictures, again, strict=True))
    assert len({picture.tobytes() for picture in pictures}) == len(KINDS)


def test_table_counts_by_kind() -> None:
    outcomes = [
        NegativeOutcome("coin", "a.png", False, False, "No dial was found: plain."),
        NegativeOutcome("coin", "b.png", True, True, "called"),
        NegativeOutcome("map", "c.png", True, False, "No call is made."),
    ]
    lines = table(outcomes).splitlines()
    assert lines[1].split()[:4] == ["coin", "2", "1", "1"]
    assert lines[-1].split() == ["all", "3", "2", "1"]
