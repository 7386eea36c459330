"""The experiment's figures, of answers made up so that they are known by hand, and the whole of it on a small scale."""

import json
from dataclasses import replace

import numpy as np
import pytest
from trials.training.adaptation import accuracy, chosen, curve_point, figures, interval, main

from dialtell.synth.shared.errors import ParameterError

HAND = np.array([True] * 4 + [False] * 4)


def answers(right_there, right_here=4):
    """So many of each kind's four right in the book, and in the ordinary photographs."""

    def of(right):
        size = np.where(np.arange(4) < right, 1.0, -1.0)
        return np.concatenate([size, -size])

    return {"book": of(right_there), "ordinary": of(right_here)}


def test_share_won_back_and_cost_by_hand():
    """Before: 4/4 ordinary, 2/4 in the book. After: 3/4 in the book, 3/4 ordinary: half won back, a quarter paid."""
    found = figures(HAND, answers(2), answers(3, 3))
    assert (found["accuracy_book"], found["accuracy_ordinary"]) == (0.75, 0.75)
    assert (found["won_back_accuracy"], found["cost_accuracy"]) == (0.5, 0.25)
    assert np.isnan(figures(HAND, answers(4), answers(3))["won_back_accuracy"])  # nothing was lost


def test_accuracy_counts_both_kinds_alike_and_no_opinion_as_half():
    hand = np.array([True] * 9 + [False])
    assert accuracy(hand, np.ones(10)) == 0.5
    assert accuracy(np.array([True, False]), np.array([0.0, -1.0])) == 0.75


def test_a_curve_point_knows_of_other_dials_and_other_repeats():
    one = curve_point(HAND, answers(2), [answers(3)], seed=1)["accuracy_book"]
    assert one["mean"] == 0.75
    # the mean of 4 draws of each kind with p = 3/4: SD sqrt(p (1 - p) / 8), the middle 95 % in steps of an eighth
    assert one["mean"] - one["interval_95"][0] == pytest.approx(1.96 * (0.75 * 0.25 / 8) ** 0.5, rel=0.25)
    point = curve_point(HAND, answers(2), [answers(2), answers(4)], seed=1)
    assert point["accuracy_book"]["mean"] == 0.75 and point["accuracy_book"]["repeats"] == [0.5, 1.0]
    assert point["accuracy_book"]["interval_95"] == [0.0, 1.0]  # a share's interval ends where shares do
    won = point["won_back_accuracy"]  # 0 and 1
    t = 12.706  # at 97.5 % with 1 degree of freedom (tables)
    assert won["interval_95"][1] - won["mean"] >= t * np.std([0.0, 1.0], ddof=1) / 2**0.5 - 1e-3
    same = curve_point(HAND, answers(2), [answers(2)] * 3, seed=1)["won_back_accuracy"]
    assert (same["mean"], same["interval_95"]) == (0.0, [0.0, 0.0])


def test_dials_are_chosen_half_and_half():
    from test_photo_bags import dials

    pool = [
        replace(item, bag=_Sided(item.photo.dial_process)) for item in dials(9, "painted") + dials(9, "printed", 90)
    ]
    found = chosen(pool, 10, rng=np.random.default_rng(1))
    assert [item.bag.dial for item in found] == [1] * 5 + [0] * 5 and len({id(item) for item in found}) == 10
    with pytest.raises(ParameterError, match="of the painted dials is 20; give"):
        chosen(pool, 40, rng=np.random.default_rng(1))


class _Sided:
    def __init__(self, label):
        self.dial = int(label == "painted")


def test_interval_over_repeats():
    """t at 97.5 % with 2 degrees of freedom is 4.303 (tables)."""
    found = interval([0.8, 0.9, 1.0])
    assert found["mean"] == 0.9
    assert found["interval_95"] == pytest.approx([0.9 - 4.303 * 0.1 / 3**0.5, 0.9 + 4.303 * 0.1 / 3**0.5], abs=1e-3)
    assert interval([0.8])["interval_95"] is None
    assert interval([float("nan")])["mean"] is None
    # draws from 0 to 1 in even steps: half their middle 95 %
    assert interval([0.5], list(np.linspace(0, 1, 1001)))["interval_95"] == pytest.approx([0.025, 0.975], abs=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("layers", ["all", "judging", "line"])
def test_the_whole_experiment_small(layers, make_weights, tmp_path, capsys, strict_json):
    words = ["--weights", str(make_weights()), "--sizes", "10", "--repeats", "2", "--pool", "14", "--test", "10"]
    words += ["--pairs", "2", "--watched", "8", "--steps", "20", "--workers", "1", "--device", "cpu", "--tuning"]
    assert main([*words, "--layers", layers, "--keep", str(tmp_path)]) == 0
    record = strict_json(capsys.readouterr().out)
    assert record["schema"] == "dialtell.adaptation/2" and [row["dials"] for row in record["after"]] == [10]
    assert record["sets"] == "tuning" and record["layers"] == layers
    row = record["after"][0]
    assert len(row["auc_book"]["repeats"]) == len(row["kept_at_step"]) == len(row["calls"]) == 2
    json.dumps(record, allow_nan=False)


def test_weights_that_are_not_there(capsys):
    assert main(["--weights", "nowhere.safetensors"]) == 1
    assert "nowhere.safetensors: no such file" in capsys.readouterr().err
