import json

import numpy as np
import pytest
from trials.opinions import joined
from trials.opinions.joined_cost import KINDS, costs
from trials.opinions.joined_fit import CHOSEN, NET, Table, answers, difference, forms_of, judged, left_out, single
from trials.opinions.joined_rows import GROUPS, append_rows, jobs_of, judged_row, loaded, made_with, read_rows, spec_of

from dialtell.evaluate.measurements.gathering import MEASURES
from dialtell.evaluate.measurements.spread import spread_of
from dialtell.model.net.calibration import Calibration
from dialtell.train.bags.bags import truth_of
from dialtell.train.run.holdout import HELD_OUT

CAPS = Calibration(low=-2.0, high=2.0)
TOLD = "numerals|unlikeness of like strokes"


@pytest.fixture(autouse=True)
def few_draws(monkeypatch):
    monkeypatch.setattr("trials.opinions.joined_fit.DRAWS", 200)
    monkeypatch.setattr("trials.opinions.joined_fit.STRENGTHS", (0.1, 1.0))


def made(told: float, each: int = 120, seed: int = 1) -> list[dict]:
    """Rows of every group: a net that leans by 0.4 SDs, and one measurement that leans by `told`."""
    rng = np.random.default_rng(seed)
    rows = []
    for group in GROUPS:
        for index in range(each):
            side = 0.5 - index % 2
            rows.append({
                "group": group, "index": index, "hand": 1 - index % 2, "cluster": f"{group} {index}", "zones": [],
                "scale": 400.0, "net": float(0.8 * side + 0.5 * rng.normal()), "seconds": None,
                "values": {TOLD: float(np.exp(-1 + told * side + rng.normal()))},
            })  # fmt: skip
    return rows


def table_of(rows):
    return Table(rows, spread_of(made(2.0, 400, seed=7), "of this test"))


def test_a_measurement_that_tells_betters_and_one_that_does_not_tell_does_not():
    found = judged(table_of(made(2.0)), CAPS)
    assert found["net and likeness"]["betters"] and found["net and likeness"]["groups"]["families"]["auc_gain"] > 0.03
    assert not found["net and ticks"]["betters"]  # none was measured
    assert found["net and ticks"]["groups"]["outside"]["auc_gain"] == 0
    assert found[CHOSEN]["chosen"] == ["unlikeness of like strokes"] and found[CHOSEN]["columns"] == 2


def test_noise_betters_nothing():
    assert not any(one["betters"] for one in judged(table_of(made(0.0, 40)), CAPS).values())


def test_every_measurement_is_of_one_kind():
    names = [name for kind in KINDS.values() for name in kind]
    assert sorted(names) == sorted(MEASURES)


def test_columns_are_sums_of_leans():
    table = table_of(made(2.0, 40))
    lean = np.array([each[TOLD] for each in table.leans])
    columns = forms_of(table, [])["net and likeness"]
    assert np.allclose(columns[:, 0] / columns[0, 0], table.net / table.net[0]) and np.allclose(columns[:, 1], lean)
    found = single(table)["unlikeness of like strokes"]["fit"]
    assert found["n"] == 40 and found["auc"][0] > 0.75


def test_no_dial_is_judged_by_a_fit_it_took_part_in():
    # a column that names each dial is worth nothing on parts left out
    rng = np.random.default_rng(0)
    hand = np.arange(100).astype(np.int8) % 2
    columns = np.eye(100)[rng.permutation(100)]
    ratio, cost, _ = left_out(columns, hand, np.arange(100))
    assert cost == pytest.approx(1.0, abs=0.02) and np.abs(ratio).max() < 0.3


def test_the_difference_of_known_ratios():
    hand = np.array([1, 1, 0, 0] * 5, np.int8)
    good, none = np.where(hand == 1, 1.0, -1.0), np.zeros(20)
    found = difference(hand, good, none, np.arange(20))
    # all right against all tied; log2(1 + 1/10) bits against 1
    assert (found["auc_gain"], found["auc_gain_95"]) == (0.5, [0.5, 0.5])
    assert found["cllr_change"] == pytest.approx(np.log2(1.1) - 1, abs=1e-4)


def test_a_call_that_a_zone_contradicts_is_none():
    rows = made(1.0, 4)
    rows[0]["zones"], rows[1]["zones"] = ["printed", "undetermined"], ["printed", "undetermined"]
    table = table_of(rows)
    seen = answers(table, np.arange(4), np.array([1.5, -1.5, 1.5, 0.5]))
    assert seen.call.tolist() == [-1, 0, 1, -1]


def test_rows_are_gone_on_with(tmp_path, monkeypatch):
    path = tmp_path / "rows.jsonl"
    monkeypatch.setattr("trials.opinions.joined_rows.judged_row", lambda group, index, _: {"group": group, "i": index})
    alike = made_with(loaded(None))
    jobs = jobs_of({"fit": 4, "outside": 2})
    assert jobs == [("fit", 0), ("outside", 0), ("fit", 1), ("fit", 2), ("outside", 1), ("fit", 3)]  # in step
    rows = list(append_rows(path, jobs[:3], None, 1))
    with path.open("a") as file:
        file.write(json.dumps({"group": "fit", "weights": "others", "renderer": "0"}) + '\n{"group": "cut o')
    assert read_rows(path, alike) == rows and path.read_text().count("\n") == 4
    assert path.read_text().endswith("\n")


def test_drawn_dials_are_what_their_group_says():
    assert [truth_of(spec_of("families", index))[1] for index in range(4)] == [1, 0, 1, 0]
    for index in range(6):
        chapter = spec_of("families", index).design.chapter
        assert chapter is None or chapter.letterform not in ("roman-heavy", "roman-full", "arabic-modern")
    assert "playfair-display" in HELD_OUT.families


def test_a_dial_by_other_code_is_judged_by_both(make_weights):
    row = judged_row("outside", 0, loaded(str(make_weights(9.0, 9.0))))
    assert row["hand"] == 1 and row["net"] > 3.0  # not held to the cap of 2
    assert row["values"] and row["seconds"][1] > 0


def test_too_few_dials_are_refused(tmp_path, capsys):
    path = tmp_path / "rows.jsonl"
    path.write_text("")
    assert joined.main(["--rows", str(path), "--no-draw", "--repeats", "0"]) == 1
    assert "give a larger --count" in capsys.readouterr().err


def test_the_table_is_printed(tmp_path, capsys):
    path = tmp_path / "rows.jsonl"
    alike = made_with(loaded(None))
    path.write_text("".join(json.dumps(row | alike) + "\n" for row in made(1.0, 40)))
    assert joined.main(["--rows", str(path), "--no-draw", "--repeats", "0"]) == 0
    text = capsys.readouterr().out
    assert NET in text and "outside: 40 judged, 20 painted" in text
    assert joined.main(["--rows", str(path), "--no-draw", "--repeats", "0", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["forms"][NET]["groups"]["fit"]["n"] == 40


@pytest.mark.slow
def test_what_measuring_costs():
    found = costs(loaded(None), 1)
    assert found["all measurements"] > found["sheet"] > 0 and found["strokes"] > 0
