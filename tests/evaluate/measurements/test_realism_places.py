"""The trial that says where real dials lie among drawn ones, on drawn stand-ins for real photographs."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from stand_ins import HEAD, stand_ins
from trials.realism import places
from trials.realism.dials import REPOSITORY, outside, read_list, scope_of
from trials.realism.places import Placed, figures, kind_figures, summary

from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import ParameterError


def row(dial: str, hand: int, own: float, lean: float = 0.0, cluster: str = "") -> Placed:
    painted, printed = (own, 10.0) if hand else (90.0, own)
    return Placed(dial, cluster or dial, hand, "numerals", "measure", own, painted, printed, lean, 1)


def test_lists_of_both_kinds_are_read(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(
        f"{HEAD}\nx.jpg,painted,high,enamel,one\ny.jpg,printed,low,not enamel,one\nz.jpg,cannot tell,,enamel?,two\n"
    )
    x, y, z = read_list(tmp_path / "a.csv")
    assert [one.hand for one in (x, y, z)] == [1, -1, -1]  # a truth that is not sure is not relied on
    assert x.cluster == y.cluster != z.cluster and not y.enamel and z.enamel
    (tmp_path / "b.csv").write_text('file,label,source\np.jpg,hand-painted,"a paper, figure 1"\nq.jpg,x,same paper\n')
    p, q = read_list(tmp_path / "b.csv")
    assert p.hand == 1 and p.cluster == q.cluster and q.hand == -1
    (tmp_path / "c.csv").write_text("file,what\na,b\n")
    with pytest.raises(ParameterError, match=r"c\.csv"):
        read_list(tmp_path / "c.csv")


def test_a_range_is_changed_by_words(capsys: pytest.CaptureFixture[str]) -> None:
    scope = scope_of(["jitter=0.25", "wear=(0.0, 0.1)", "variety.layouts=('clock',)", "not_yet=1"])
    assert scope == replace(Range(), jitter=0.25, wear=(0.0, 0.1), variety=replace(Range().variety, layouts=("clock",)))
    assert "not_yet" in capsys.readouterr().err
    with pytest.raises(ParameterError, match="jitter"):
        scope_of(["jitter"])


def test_nothing_real_gets_into_the_project(tmp_path: Path) -> None:
    assert outside(tmp_path / "a.png") == tmp_path / "a.png"
    with pytest.raises(ParameterError, match="inside the repository"):
        outside(REPOSITORY / "tests" / "a.png")


def test_places_are_summed_up() -> None:
    painted = [row(f"p{k}", 1, 50.0 + k, 0.5) for k in range(9)]
    printed = [row(f"q{k}", 0, 80.0 + k, -0.5) for k in range(8)]
    found = figures([*painted, *printed], [row("d", 1, 47.0)])
    one = found["measure"]
    assert one["painted"]["place"] == 54.0 and one["painted"]["place_among_other"] == 10.0 and one["painted"]["inside"]
    assert one["printed"]["place"] == 83.5 and one["printed"]["inside"] is False
    assert one["auc"] == 1.0 and one["auc_of_value"] == 0.0  # paintings have less
    assert one["drawn painted"] == {"zones": 1, "place": 47.0}
    told = summary(found)
    assert (told["painted"]["inside"], told["printed"]["inside"], told["printed"]["judged"]) == (1, 0, 1)
    few = kind_figures(painted[:3], 1)
    assert few["inside"] is None  # too few dials to be judged by


def test_clusters_widen_the_interval() -> None:
    places_of = [10.0, 12.0, 14.0, 40.0, 42.0, 44.0, 60.0, 62.0, 64.0, 90.0, 92.0, 94.0]
    alone = kind_figures([row(f"p{k}", 1, v) for k, v in enumerate(places_of)], 1)
    linked = kind_figures([row(f"p{k}", 1, v, cluster=f"c{k // 3}") for k, v in enumerate(places_of)], 1)
    width = [span["interval_95"][1] - span["interval_95"][0] for span in (alone, linked)]
    assert width[1] > width[0] and linked["clusters"] == 4


def test_the_trial_runs_on_stand_ins(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photos, table = stand_ins(tmp_path, 4)
    with table.open("a") as more:
        more.write("gone.png,painted,high,enamel,x\n")
    out = tmp_path / "out.json"
    arguments = ["--photos", str(photos), "--list", str(table), "--json", str(out), "--drawn", "2"]
    assert places.main(arguments) == 0
    text = capsys.readouterr().out
    assert "gone.png: not there" in text and "AUC of lean" in text
    found = json.loads(out.read_text())
    assert found["dials"]["painted"] + found["dials"]["printed"] + len(found["left_out"]) == 5
    assert found["measurements"] and all(0 <= each["painted"] <= 100 for each in found["rows"])
    assert places.main(["--photos", str(photos), "--list", str(tmp_path / "none.csv")]) == 1
    bad = tmp_path / "spread.json"
    bad.write_text("{}")
    assert places.main(["--photos", str(photos), "--list", str(table), "--spread", str(bad)]) == 1
