"""Nets of several seeds on the same pictures: what is drawn can be narrowed, and training ends in its time box."""

import csv
import json

import pytest
from trials.training import renderers
from trials.training.renderers import narrowed, overridden, shortened

from dialtell.model.net.weights_file import find_weights, load_weights
from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import ParameterError


def test_fields_are_read_as_what_they_hold_and_unknown_ones_are_named():
    scope, missing = narrowed(
        Range(), ["jitter=0.25", "wear=0,0.2", "max_side=600", "nowhere=1"], ["marks=tick,dot", "nothing=0"]
    )
    assert (scope.jitter, scope.wear, scope.max_side, scope.variety.marks) == (0.25, (0.0, 0.2), 600, ("tick", "dot"))
    assert isinstance(scope.max_side, int) and missing == ["nowhere", "nothing"]
    assert narrowed(Range(), [], []) == (Range(), [])


def test_a_switch_is_turned_off_by_a_word():
    from dataclasses import dataclass

    @dataclass(frozen=True)
    class Coats:
        coated: bool = True

    assert overridden(Coats(), ["coated=false"])[0] == Coats(False)
    assert overridden(Coats(False), ["coated=1"])[0] == Coats(True)
    with pytest.raises(ParameterError, match="coated is 'perhaps'"):
        overridden(Coats(), ["coated=perhaps"])


@pytest.mark.parametrize("word", ["jitter", "jitter=much", "wear=0.1", "max_side=1.5"])
def test_what_cannot_be_read_is_refused(word):
    with pytest.raises(ParameterError, match=word.split("=")[0]):
        overridden(Range(), [word])


def test_epochs_that_do_not_fit_are_left_out():
    assert shortened(1, 12, [80.0], 100.0) == 12  # the first epoch compiles: nothing is known yet
    assert shortened(1, 12, [80.0], -1.0) == 1
    assert shortened(3, 12, [80.0, 10.0, 10.0], 45.0) == 7
    assert shortened(3, 12, [80.0, 10.0, 10.0], 450.0) == 12
    assert shortened(3, 12, [80.0, 10.0, 10.0], 5.0) == 3


def test_two_seeds_share_pictures_and_give_weights_of_their_own(tmp_path, capsys):
    words = [
        "--preset",
        "tiny",
        "--seeds",
        "1,5",
        "--workers",
        "1",
        "--device",
        "cpu",
        "--range",
        "hands_off=1",
        "gone=0",
    ]
    assert renderers.main([*words, "--out", str(tmp_path / "a"), "--keep", str(tmp_path / "pictures")]) == 0
    assert len(list((tmp_path / "pictures").glob("*-twins-*.npz"))) == 2  # an epoch each
    told = capsys.readouterr()
    record = json.loads(told.out)
    assert [member["seed"] for member in record["members"]] == [1, 5]
    assert record["config"]["scope"]["hands_off"] == 1.0 and record["config"]["seed"] == 1
    ends = []
    for name in ("strokes-1", "strokes-5"):
        weights = load_weights(find_weights(str(tmp_path / "a" / name)))
        ends.append(weights.sha256)
        with (tmp_path / "a" / name / "metrics.csv").open() as file:
            assert len(list(csv.DictReader(file))) == 2
        about = json.loads((tmp_path / "a" / name / "config.json").read_text())
        assert about["pictures_seed"] == 1
    assert ends[0] != ends[1]
    assert renderers.main([*words, "--out", str(tmp_path / "a")]) == 1  # it holds a study already
    assert "holds a run already" in capsys.readouterr().err


def test_a_time_box_ends_training_early_and_the_rate_still_falls(tmp_path):
    words = ["--preset", "tiny", "--seeds", "1", "--workers", "1", "--device", "cpu", "--epochs", "400"]
    assert renderers.main([*words, "--out", str(tmp_path / "a"), "--minutes", "0.08"]) == 0
    with (tmp_path / "a" / "strokes-1" / "metrics.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert 1 <= len(rows) < 100
    assert find_weights(str(tmp_path / "a" / "strokes-1")).is_file()
    if len(rows) > 3:
        assert float(rows[-1]["rate"]) < 0.5 * max(float(row["rate"]) for row in rows)
