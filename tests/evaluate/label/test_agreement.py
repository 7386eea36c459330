"""Cohen's kappa against published and other implementations' values, and what two files differ in."""

from __future__ import annotations

import argparse
import json

import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score

from dialtell.evaluate.cli import label as label_command
from dialtell.evaluate.label.agreement import agreement, agreement_text, cohen_kappa
from dialtell.evaluate.label.sheet import read_sheet
from dialtell.synth.shared.errors import ParameterError


def test_published_example_with_its_interval():
    # SAS PROC FREQ's printout for this table, as kept in statsmodels' tests of cohens_kappa (test_inter_rater.py):
    # kappa 0.4842, ASE 0.1380, 95 % limits 0.2137 and 0.7547
    found = cohen_kappa(np.array([[0, 4, 1], [0, 8, 0], [0, 1, 5]]))
    assert found == pytest.approx((0.4842, 0.2137, 0.7547), abs=5e-5)
    assert (found.high - found.low) / (2 * 1.959964) == pytest.approx(0.1380, abs=5e-5)


def test_two_by_two_of_another_program():
    # R package blorr, infer_mcnemar_test: kappa 0.4454, ASE 0.075, 95 % limits 0.2984 to 0.5923
    assert cohen_kappa(np.array([[135, 21], [18, 26]])) == pytest.approx((0.4454, 0.2984, 0.5923), abs=1e-4)


def test_kappa_is_scikit_learns():
    rng = np.random.default_rng(5)
    for _ in range(30):
        first = rng.integers(0, 4, 40)
        second = np.where(rng.random(40) < 0.6, first, rng.integers(0, 4, 40))
        table = np.zeros((4, 4), dtype=np.int64)
        np.add.at(table, (first, second), 1)
        assert cohen_kappa(table).value == pytest.approx(cohen_kappa_score(first, second), abs=1e-12)
        assert cohen_kappa(table.T) == pytest.approx(cohen_kappa(table))


def test_interval_holds_its_level_on_drawn_labellers():
    rng = np.random.default_rng(6)
    true = np.array([[0.35, 0.05, 0.05], [0.04, 0.25, 0.03], [0.06, 0.02, 0.15]])
    rows, columns = true.sum(axis=1), true.sum(axis=0)
    kappa = (np.trace(true) - rows @ columns) / (1 - rows @ columns)
    tables = rng.multinomial(120, true.ravel(), 2000).reshape(-1, 3, 3)
    inside = np.mean([low <= kappa <= high for _, low, high in map(cohen_kappa, tables)])
    assert 0.93 < inside < 0.97


def test_kappa_where_there_is_little_to_say():
    assert cohen_kappa(np.diag([3, 4])) == (1.0, None, None)
    assert cohen_kappa(np.array([[5, 0], [0, 0]])) == (None, None, None)
    assert cohen_kappa(np.array([[0, 5], [5, 0]])).value == pytest.approx(-1)
    assert cohen_kappa(np.array([[0, 1], [0, 0]])) == (0.0, None, None)
    for table in (np.zeros((2, 2)), np.ones((2, 3)), np.array([[-1, 2], [3, 4]])):
        with pytest.raises(ParameterError):
            cohen_kappa(table)


HEAD = "photo,sha256,dial_process,signature,labeller,notes\n"


@pytest.fixture
def two(tmp_path):
    digests = [f"{number:064x}" for number in range(4)]
    (tmp_path / "labels.csv").write_text(
        HEAD + f"a.png,{digests[0]},painted,painted,A,\nb.png,{digests[1]},printed,,A,blurred\n"
        f"c.png,,mixed,cannot tell,A,\nonly.png,{digests[2]},printed,,A,\n"
    )
    (tmp_path / "second.csv").write_text(
        HEAD + f"x/a2.png,{digests[0].upper()},painted,printed,B,\nb.png,{digests[1]},painted,printed,B,\n"
        f"c.png,{digests[3]},mixed,cannot tell,B,\nonly.png,{digests[3][:-1]}f,printed,,B,\n"
    )
    return tmp_path


def test_files_are_paired_by_content_and_their_differences_listed(two):
    files = [read_sheet(two / name).rows for name in ("labels.csv", "second.csv")]
    document = agreement(*files, ("labels.csv", "second.csv"))
    assert document["photographs"] == 3  # only.png has other content
    dial, signature, *rest = document["labels"]
    assert (dial["n"], dial["alike"], signature["n"], signature["alike"]) == (3, 2, 2, 1)
    assert dial["kappa"] == pytest.approx(
        cohen_kappa_score(["painted", "printed", "mixed"], ["painted", "painted", "mixed"]), abs=1e-4
    )
    assert [part["remark"] for part in rest] == ["not labelled by both"] * 3
    said = [(d["photo"], d["label"], d["first"], d["second"]) for d in document["differences"]]
    assert said == [("a.png", "signature", "painted", "printed"), ("b.png", "dial_process", "printed", "painted")]
    text = agreement_text(document)
    assert "b.png, dial: printed / painted (blurred)" in text and "painted against printed: 2" in text
    assert "fewer than 30 photographs" in text and "labels.csv (A), second: second.csv (B)" in text


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("a,,hand,,,\n", "says 'hand' for dial_process of a; give painted"),
        ("a,,,,,\na,,printed,,,\n", "more than one row"),
    ],
)
def test_files_that_cannot_be_compared_are_refused(two, rows, said):
    (two / "labels.csv").write_text(HEAD + rows)
    files = [read_sheet(two / name).rows for name in ("labels.csv", "second.csv")]
    with pytest.raises(ParameterError, match=said):
        agreement(*files, ("labels.csv", "second.csv"))


def parsed(*words):
    parser = argparse.ArgumentParser()
    label_command.add_arguments(parser)
    return parser.parse_args([str(word) for word in words])


def test_command_compares_without_serving(two, capsys):
    assert label_command.run(parsed(two, "--beside", two / "second.csv", "--json")) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "dialtell.agreement/1" and document["first"]["labellers"] == ["A"]
    assert label_command.run(parsed(two, "--beside", two / "second.csv")) == 0
    assert capsys.readouterr().out.startswith("first: ")
    with pytest.raises(ParameterError, match="json is given without beside"):
        label_command.run(parsed(two, "--json"))
    with pytest.raises(ParameterError, match=r"none.csv cannot be read"):
        label_command.run(parsed(two, "--beside", two / "none.csv"))
