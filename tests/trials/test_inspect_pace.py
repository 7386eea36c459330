"""The stages of a page under the clock, and what the table makes of the figures."""

import json

import pytest
from PIL import Image
from trials.speed import page as inspect_pace
from trials.speed.page import STAGES, table, watched
from trials.speed.scoring_and_page import Clock

from dialtell.evaluate.inspection import one_photo


def test_watching_ends_and_puts_everything_back():
    before = {name: getattr(one_photo, name) for name, _ in STAGES}
    with pytest.raises(RuntimeError), watched(Clock()):
        assert all(getattr(one_photo, name) is not function for name, function in before.items())
        raise RuntimeError
    assert all(getattr(one_photo, name) is function for name, function in before.items())


def test_measures_a_photograph_of_ones_own(tmp_path, capsys):
    place = tmp_path / "wall.png"
    Image.new("L", (200, 150), 90).save(place)
    assert inspect_pace.main(["--photo", str(place), "--repeats", "1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["found"] is False and found["page_mb"] > 0.01
    # a stage begun within another counts once, so that the stages make up the page
    assert sum(found["stages"].values()) == pytest.approx(found["page"], rel=1e-6)
    assert 0 < found["stages"]["scoring"] <= found["page"]
    assert list(tmp_path.iterdir()) == [place]


@pytest.mark.parametrize(("page", "mb", "said"), [(14.9, 5.9, ["met", "met"]), (15.1, 6.1, ["missed", "missed"])])
def test_table_says_whether_the_goals_were_met(page, mb, said):
    found = {"scoring": 1.0, "page": page, "page_mb": mb, "stages": {"scoring": 1.0, "rest": page - 1.0}}
    lines = table(found).splitlines()
    assert [line.rpartition(" ")[2] for line in lines[-2:]] == said
    assert lines[1].split() == ["score", "alone", "1000", "1.00"]
