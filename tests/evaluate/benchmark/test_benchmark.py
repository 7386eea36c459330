"""Figures, groups, misses and claims of a benchmark, on rows made up so that the answer is known by hand."""

import csv
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from benchmark_rows_made import document, row
from sklearn.metrics import brier_score_loss, roc_auc_score

from dialtell.evaluate.benchmark.benchmark import answers_of, compare, confusion, figures
from dialtell.evaluate.benchmark.claims import wholly_right
from dialtell.evaluate.benchmark.rows import JudgedCall, clusters_of, misses, outline_distance
from dialtell.evaluate.benchmark.table import benchmark_table, csv_text
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import Outline
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Zone
from dialtell.train.stats.call_figures import Answers, coverage_curve
from dialtell.train.stats.likelihood_ratio import cllr
from dialtell.train.stats.proportion import wilson


def sample(n=60, seed=0):
    rng = np.random.default_rng(seed)
    return [row(i + 2, ("printed", "painted")[i % 2], float(rng.normal((i % 2) * 2 - 1, 1.0))) for i in range(n)]


def test_figures_agree_with_scikit_learn_and_the_trade_of_counts():
    rows = sample()
    found = figures(answers_of(rows), draws=200)
    truth = np.array([made.truth for made in rows])
    ratio = np.array([made.answer.log10_lr for made in rows])
    chance = 1 / (1 + 10**-ratio)
    assert found["auc"]["value"] == pytest.approx(roc_auc_score(truth, ratio), abs=5e-5)
    assert found["brier"]["value"] == pytest.approx(brier_score_loss(truth, y_proba=chance), abs=5e-5)
    assert found["cllr"]["value"] == pytest.approx(cllr(ratio[truth], ratio[~truth]), abs=5e-5)
    decided = np.abs(ratio) >= math.log10(9)  # a wrong call costs ten undetermined ones
    right = int(((ratio > 0) == truth)[decided].sum())
    assert (found["decided"], found["right"]) == (decided.sum(), right)
    low, high = wilson(right, int(decided.sum()))
    assert (found["accuracy"]["low"], found["accuracy"]["high"]) == pytest.approx((low, high), abs=5e-5)
    assert found["coverage"]["value"] == pytest.approx(decided.mean(), abs=5e-5)
    for name in ("auc", "ece", "brier", "cllr"):
        assert found[name]["low"] <= found[name]["value"] <= found[name]["high"] or name == "ece"


def test_probabilities_that_overstate_show_in_the_error():
    # every dial stated 10 to 1 for the hand, half of them printed: ECE = 10/11 - 1/2 by hand, Brier by hand
    found = figures(Answers(np.arange(40) % 2, np.ones(40), np.ones(40)), draws=100)
    assert found["ece"]["value"] == pytest.approx(10 / 11 - 0.5, abs=5e-5)
    assert found["brier"]["value"] == pytest.approx(((1 / 11) ** 2 + (10 / 11) ** 2) / 2, abs=5e-5)
    assert found["ece"]["value"] > found["ece_if_calibrated"]["point_95"]
    assert found["auc"]["value"] == 0.5


def test_photographs_of_one_source_do_not_narrow_an_interval():
    # each dial photographed six times with the same answer: as one cluster each, nothing is gained
    alone = sample()
    six = [row(100 * i + k, made.photo.dial_process, made.answer.log10_lr, cluster=i)
           for i, made in enumerate(alone) for k in range(6)]  # fmt: skip
    once, clustered = figures(answers_of(alone), draws=200), figures(answers_of(six), draws=200)
    apart = figures(replace(answers_of(six), cluster=None), draws=200)
    for name in ("auc", "coverage", "accuracy", "brier", "cllr"):
        width, wide, narrow = (found[name]["high"] - found[name]["low"] for found in (once, clustered, apart))
        assert wide == pytest.approx(width, rel=0.1) and narrow < 0.6 * wide, name


def test_too_little_is_said_and_not_measured():
    found = figures(answers_of([row(2, "painted", 2.0), row(3, "painted", 1.5)]))
    assert found["auc"] is None and found["note"].startswith("too few ratios of both kinds")
    assert found["accuracy"] == {
        "value": 1.0, "low": round(wilson(2, 2).low, 4), "high": 1.0, "n": 2, "clusters": 2, "method": "wilson"
    }  # fmt: skip
    assert figures(answers_of([]))["coverage"] is None


def test_zones_bands_processes_and_types_hold_their_own():
    rows = [
        row(2, "painted", 2.0, zones={Zone.NUMERALS: "painted"}, answers={Zone.NUMERALS: JudgedCall(HAND, 1.5)}),
        row(3, "mixed", 0.1, zones={Zone.NUMERALS: "printed"}, answers={Zone.NUMERALS: JudgedCall(HAND, 1.2)}),
        row(4, "printed", -2.0, print_process="transfer", object_type="clock", px_per_mm=9.0,
            zones={Zone.NUMERALS: "printed"}),
        row(5, "printed", None, found=False, zones={Zone.NUMERALS: "cannot tell"}),
    ]  # fmt: skip
    made = document(rows)
    numerals = next(group for group in made["zones"] if group["group"] == "numerals")
    assert (numerals["n"], numerals["decided"], numerals["right"]) == (3, 2, 1)
    assert {group["group"]: group["n"] for group in made["bands"]} == {
        "below 7 px/mm": 0, "7 to 15 px/mm": 1, "15 to 29 px/mm": 0, "29 px/mm and above": 1, "no dial found": 1
    }  # fmt: skip
    assert [(group["group"], group["n"]) for group in made["processes"]] == [
        ("painted against transfer print", 2), ("painted against photographic print", 0),
        ("painted against print of unknown process", 2),
    ]  # fmt: skip
    assert {group["group"]: group["n"] for group in made["object_types"]} == {"not said": 2, "clock": 1}
    assert made["confusion"][1] == {
        "label": "printed", HAND: 0, PRINTED: 1, UNDETERMINED: 0, "no dial found": 1
    }  # fmt: skip


def test_every_call_that_should_not_have_been_is_a_miss():
    rows = [
        row(2, "painted", 2.0),
        row(3, "painted", -1.2),
        row(4, "printed", 1.1),
        row(5, "printed", 1.9),
        row(6, "mixed", 1.5),
        row(7, "cannot tell", -1.5),
        row(8, "", 2.0),
        row(9, "printed", 0.2),
    ]
    found = [(made.photo.row, kind) for made, kind in misses(rows)]
    assert found == [
        (3, "painted, called printed"),
        (5, "printed, called hand-painted"),
        (4, "printed, called hand-painted"),
        (6, "mixed, called hand-painted as a whole"),
        (7, "called printed where the labeller could not tell"),
    ]
    assert sum(line[HAND] + line[PRINTED] for line in confusion(rows)) == 7


def test_claims_name_what_so_many_photographs_support():
    # perfect separation of n a side supports an LR of n (Vergeer et al. 2016), whatever the weights state
    rows = [row(i, "painted", 3.0) for i in range(20)]
    rows += [row(i, "printed", -3.0, print_process="transfer") for i in range(20, 40)]
    made = document(rows, caps=(-3.0, 3.0))
    said = " ".join(made["claims"])
    assert made["likelihood_ratio_bounds"]["measured"] == pytest.approx([-math.log10(20), math.log10(20)])
    assert "at most 20 for hand painting and 20 for printing" in said
    assert "The weights state ratios up to 1 000 and 1 000. Those above 20 for hand painting" in said
    assert "No wrong call was seen" in said and "35 calls from 35 independent dials" in said
    # 40 of 40, Wilson 95 %
    assert f"compatible with {100 * wilson(40, 40).low:.0f} % to 100 % right" in said
    assert "No photographic print is among the printed dials" in said and "40 not said" in said
    honest = document(rows, caps=(-1.0, 1.0))["claims"]
    assert "The weights state no ratio beyond what these photographs support." in honest


def test_claims_on_painted_dials_alone_say_nothing_of_printed_ones():
    said = " ".join(document([row(2, "painted", 2.0, basis="examined object"), row(3, "cannot tell", 0.0)])["claims"])
    assert "There is no printed dial here" in said and "no likelihood ratio is validated" in said
    assert "Basis of the labels: 1 examined object." in said and "by eye" not in said
    nothing = " ".join(document([row(3, "cannot tell", 0.0)])["claims"])
    assert "nothing can be measured" in nothing


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9, 0.95, 0.99])
def test_how_many_right_calls_a_claim_needs(share):
    n = wholly_right(share)
    assert wilson(n, n).low >= share > (wilson(n - 1, n - 1).low if n > 1 else 0.0)


def test_clusters_by_source_dial_or_photograph():
    names = [("1", "x"), ("2", "x"), ("1", "y"), ("1", "y"), ("", "")]
    photos = [row(i, "painted", 1.0, dial=dial, source=source).photo for i, (dial, source) in enumerate(names)]
    assert clusters_of(photos, "source") == [0, 0, 1, 1, 2]
    assert clusters_of(photos, "dial") == [0, 1, 2, 2, 3]
    assert clusters_of(photos, "photo") == [0, 1, 2, 3, 4]
    with pytest.raises(ParameterError, match="cluster is 'maker'"):
        clusters_of(photos, "maker")


def test_distance_between_outlines_is_in_dial_radii():
    label = Outline(100.0, 80.0, 50.0, 40.0, 0.0)
    assert outline_distance(DialGeometry((100.0, 80.0), (50.0, 40.0)), label) == pytest.approx(0.0, abs=1e-12)
    assert outline_distance(DialGeometry((100.0, 80.0), (55.0, 44.0)), label) == pytest.approx(0.1)
    assert outline_distance(DialGeometry((105.0, 80.0), (50.0, 40.0)), label) == pytest.approx(0.1, abs=1e-3)


def test_two_weights_on_the_same_photographs():
    first = sample(40)
    same = compare(first, first)
    assert [test["statistic"] for test in same] == ["cost of calls", "auc", "brier", "cllr"]
    assert all(test["difference"] == 0 and test["p"] == 1 for test in same)
    # the second calls every dial wrongly and surely
    worse = [row(made.photo.row, made.photo.dial_process, -3.0 if made.truth else 3.0) for made in first]
    tests = {test["statistic"]: test for test in compare(first, worse, draws=199)}
    assert tests["cost of calls"]["second"] == 10.0 and tests["auc"]["second"] == 0.0
    assert all(test["p"] == 1 / 200 for test in tests.values())
    assert tests["auc"]["n"] == 40


def test_what_is_withheld_is_never_called():
    # however large its ratio: it counts only among the labelled
    rows = [row(2, "painted", 2.0), row(3, "painted", 2.0, call=UNDETERMINED, withheld=True)]
    assert [point[:2] for point in coverage_curve(answers_of(rows, callable_alone=True))] == [(0.5, 1.0)]
    assert answers_of(rows).judged.all()


def test_table_and_csv_show_everything_and_guard_formulas():
    rows = [*sample(20), row(90, "painted", -1.5, source="=HYPERLINK(1)", dial="a,b", zones={Zone.NUMERALS: "painted"},
                             answers={Zone.NUMERALS: JudgedCall(PRINTED, -1.1)})]  # fmt: skip
    made = document(rows)
    made["problems"] = ["row 7: none.png cannot be read\x1b[31m"]
    text = benchmark_table(made, width=80)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "row 90, 90.png: painted, called printed, log10 LR -1.50" in text
    assert "row 7: none.png cannot be read?[31m" in text  # a terminal's escape is not passed on
    lines = list(csv.DictReader(io.StringIO(csv_text(made["rows"]))))
    assert (lines[-1]["source"], lines[-1]["dial"], lines[-1]["numerals_call"]) == ("'=HYPERLINK(1)", "a,b", PRINTED)
    json.dumps(made, allow_nan=False)
