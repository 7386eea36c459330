"""Nets on photographs of others: what is chosen from tables, and figures of answers that are known by hand."""

import json

import numpy as np
import pytest
from PIL import Image
from trials.training import on_real
from trials.training.on_real import Item, Told, difference, figure, parts, photographs

from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Process


def items(painted, printed):
    return [Item(f"h{n}", True, f"h{n}") for n in range(painted)] + [
        Item(f"p{n}", False, f"p{n}") for n in range(printed)
    ]


def told(answers):
    found = Told(["a"])
    found.logits["dial"] = {name: [value] for name, value in answers.items()}
    return found


def test_a_table_gives_what_is_there_and_known(tmp_path):
    (tmp_path / "there").mkdir()
    for name in "abde":
        (tmp_path / "there" / f"{name}.png").touch()
    table = tmp_path / "list.csv"
    table.write_text(
        "file,truth,certainty,source\na.png,painted,high,one shop\nb.png,printed,low,another\n"
        "c.png,printed,high,not there\nd.png,cannot tell,high,x\ne.png,printed,medium,same shop\n"
    )
    found = photographs([f"{table}={tmp_path / 'there'}"])
    assert [(item.name, item.painted) for item in found] == [("a.png", True), ("e.png", False)]
    assert [item.name for item in photographs([f"{table}={tmp_path / 'there'}"], low=True)] == [
        "a.png",
        "b.png",
        "e.png",
    ]
    with pytest.raises(ParameterError, match=r"nowhere\.csv"):
        photographs([str(tmp_path / "nowhere.csv")])


def test_area_and_difference_by_hand():
    """Three painted against two printed: five pairs of six won, and four."""
    dials = items(3, 2)
    one = told({"h0": 3.0, "h1": 2.0, "h2": 0.0, "p0": 1.0, "p1": -1.0})
    other = told({"h0": 3.0, "h1": 0.0, "h2": 0.0, "p0": 1.0, "p1": -1.0})
    assert figure(one, dials, "dial")["auc"] == pytest.approx(5 / 6, abs=1e-4)
    assert figure(one, dials, "numerals") is None  # nobody judged them
    found = difference(one, other, dials, "dial")
    assert found["difference"] == pytest.approx(1 / 6, abs=1e-4) and found["n"] == 5
    assert found["low"] <= found["difference"] <= found["high"]
    assert difference(one, one, dials, "dial")["high"] == 0.0


def test_only_what_both_judged_is_compared():
    dials = items(3, 2)
    one = told({"h0": 3.0, "h1": 2.0, "h2": 0.0, "p0": 1.0, "p1": -1.0})
    other = told({"h0": 3.0, "h1": 0.0, "h2": None, "p0": 1.0, "p1": -1.0})
    assert difference(one, other, dials, "dial")["n"] == 4
    assert figure(other, dials, "dial")["painted"] == 2


def test_dials_by_other_code_are_set_against_each_print():
    found = parts([*items(1, 1), Item("a", True, "w", "written"), Item("b", False, "f", "type")])
    assert {name: len(own) for name, own in found.items()} == {"real": 2, "other code, type": 2, "other code, all": 2}


def test_photographs_are_read_once_and_a_document_of_another_tree_is_laid_beside(tmp_path, capsys):
    scope = Range(pixels_per_radius=(300.0, 300.0), max_side=760, tilt=2.0, hands_off=1.0, wear=(0.0, 0.0))
    rows = ["file,truth,source"]
    for index in range(4):
        process = (Process.HAND, Process.TRANSFER)[index % 2]
        Image.fromarray(render(sample_spec(31, index, scope, process))).save(tmp_path / f"{index}.png")
        rows.append(f"{index}.png,{'painted' if index % 2 == 0 else 'printed'},drawn {index}")
    Image.fromarray(np.full((90, 120), 128, np.uint8)).save(tmp_path / "grey.png")
    table = tmp_path / "list.csv"
    table.write_text("\n".join([*rows, "grey.png,printed,nobody"]))
    assert on_real.main(["--photos", str(table), "--json"]) == 0
    first = capsys.readouterr().out
    (tmp_path / "first.json").write_text(first)
    record = json.loads(first)
    found = record["figures"]["shipped"]["real"]["dial"]
    assert (found["painted"], found["printed"]) == (2, 2) and found["auc"] >= 0.75
    assert list(record["not read"]) == ["grey.png"]
    words = ["--photos", str(table), "--nets", "again=shipped", "--beside", str(tmp_path / "first.json"), "--json"]
    assert on_real.main(words) == 0
    both = json.loads(capsys.readouterr().out)
    assert both["differences"]["again less shipped"]["real"]["dial"]["difference"] == 0.0
    assert on_real.main(words[:-1]) == 0
    assert "again: 1 net" in capsys.readouterr().out


def test_nothing_to_judge_is_said(capsys):
    assert on_real.main([]) == 1
    assert "give --photos" in capsys.readouterr().err
