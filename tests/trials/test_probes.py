"""The probes see a planted difference, stay silent without one, and find nothing but strokes that tells."""

import json
import sys
from dataclasses import replace

import numpy as np
import pytest
from trials.training import probes

from dialtell.synth.scene import render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Process

pytest.importorskip("sklearn")


def noise(count, width, seed=0):
    rng = np.random.default_rng(seed)
    rows = [{f"f{i}": float(v) for i, v in enumerate(rng.standard_normal(width))} for _ in range(count)]
    return (rng.random(count) < 0.5).astype(int).tolist(), rows


def test_a_planted_difference_is_found_and_named():
    labels, rows = noise(300, 40)
    rows = [row | {"f7": row["f7"] + 1.0 * label} for label, row in zip(labels, rows, strict=True)]
    finding = probes.judge("planted", labels, rows)
    assert not finding.clean and finding.low > 0.5
    assert finding.worst[0][0] == "f7" and finding.worst[0][2] < 0.01
    assert "OUTSIDE" in probes.report(finding)


def test_the_interval_holds_half_when_nothing_tells():
    """Over labels that mean nothing, the 95 % interval misses 0.5 about one time in twenty; 8 of 40 has p < 0.001."""
    missed, areas = 0, []
    for seed in range(40):
        finding = probes.judge("noise", *noise(200, 30, seed))
        missed += not finding.clean
        areas.append(finding.auc)
    assert missed < 8
    assert abs(np.mean(areas) - 0.5) < 0.03  # standard error 0.0065


def test_a_dial_is_scored_by_a_model_that_saw_only_earlier_folds():
    labels, rows = noise(200, 20)
    _, values = probes.table(rows)
    truth, fold = np.array(labels), np.arange(200) % probes.FOLDS
    before = probes.forward_scores(truth, values)
    np.testing.assert_array_equal(np.isnan(before), fold == 0)
    after = probes.forward_scores(np.where(fold == 4, 1 - truth, truth), values)
    np.testing.assert_array_equal(after[fold <= 4], before[fold <= 4])
    assert not np.array_equal(after[fold > 4], before[fold > 4])


def test_plain_values_of_a_record_become_numbers():
    record = {"a": {"seed": 9, "x": 2, "on": True}, "ink": "black", "text": "Doth", "list": [1.5], "gone": None}
    assert dict(probes.flat(record)) == {
        "a.x": 2.0, "a.on": 1.0, "ink=black": 1.0, "text.length": 4.0, "list.count": 1.0, "list.0": 1.5,
        "gone=none": 1.0,
    }  # fmt: skip


def test_the_picture_without_strokes_does_not_depend_on_the_process():
    spec = sample_spec(5, 2, probes.SMALL)
    assert not np.array_equal(render(spec), render(probes.bare(spec)))
    first, *others = (render(probes.bare(spec.as_process(process))) for process in Process)
    for other in others:
        np.testing.assert_array_equal(first, other)


@pytest.mark.parametrize("index", range(4))
def test_without_deviation_the_processes_draw_the_same_picture(index):
    """Twins as the second probe draws them, grey levels of 255; as usually drawn they differ far more."""
    spec = sample_spec(5, index, probes.CLOSE)
    plain = [render(probes.without_deviation(spec).as_process(process)).astype(int) for process in Process]
    usual = sample_spec(5, index, replace(probes.CLOSE, jitter=1.0, scatter=(0.0, 1.0)))
    usual = [render(usual.as_process(process)).astype(int) for process in Process]
    for other, as_usual in zip(plain[1:], usual[1:], strict=True):
        apart = np.abs(plain[0] - other).mean()
        assert apart < 0.5  # of an eighth to a quarter of ink; the edges of 2000 such dials tell nothing (see the log)
        assert apart < 0.25 * np.abs(usual[0] - as_usual).mean()


def test_profiles_lie_on_the_strokes():
    """Across ticks the middle is darker than what is 6 px away, on every dial that shows enough of them."""
    seen = 0
    for index in range(8):
        _, found = probes.edges_row(index, 5)
        if "tick profile 0" in found:
            seen += 1
            assert found["tick profile 0"] < found["tick profile -6"]
            assert found["tick profile 0"] < found["tick profile 6"]
    assert seen >= 4


def test_results_do_not_depend_on_workers():
    assert probes.run("edges", dials=54, seed=5, workers=1) == probes.run("edges", dials=54, seed=5, workers=2)


def test_too_few_dials_are_refused():
    with pytest.raises(ParameterError, match="dials is 10"):
        probes.judge("few", *noise(10, 3))


def test_without_scikit_learn_it_says_so(monkeypatch, capsys):
    monkeypatch.setattr(probes, "find_spec", lambda name: None)
    assert probes.main([]) == 2
    assert "pip install scikit-learn" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.parametrize("probe", ["surroundings", "edges"])
def test_nothing_but_strokes_tells(probe):
    finding = probes.run(probe, dials=2000, seed=4101, workers=2)
    print(probes.report(finding))  # shown by -rA
    assert finding.clean, probes.report(finding)
    assert finding.worst[0][2] > 0.01, probes.report(finding)


@pytest.mark.slow
def test_the_probe_of_edges_tells_strokes_as_usually_drawn(capsys):
    assert probes.main(["--probe", "control", "--dials", "400", "--workers", "2", "--json"]) == 0
    (finding,) = json.loads(capsys.readouterr().out)
    assert finding["low"] > 0.6
    assert sys.modules["sklearn"]
