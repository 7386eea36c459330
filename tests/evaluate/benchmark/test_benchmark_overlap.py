"""Weights are not measured on photographs, or further photographs of dials, that they were adapted to."""

from pathlib import Path
from types import SimpleNamespace

import pytest
from benchmark_rows_made import row

from dialtell.evaluate.benchmark.overlap import USED_FILE, unseen
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.photographs import adapt_run
from dialtell.train.photographs.photo_bags import PhotoBag, PhotoSplit, dial_key

BAG = SimpleNamespace(zone=[0] * 9)


def photo(number, **said):
    return row(number, "painted", 1.0, **said).photo


def item(number, **said):
    made = photo(number, **said)
    return PhotoBag(made, dial_key(made), BAG)


def weights(count=2, digest="t"):
    used = {"learnt": {"photographs": count}, "held_out": {"photographs": 1}, "labels_sha256": digest}
    return SimpleNamespace(record={"training": {"photographs": used}})


@pytest.fixture
def adapted(tmp_path):
    """Path of adapted weights, beside which stands what adapt_run writes."""
    split = PhotoSplit(
        learnt=(item(2), item(3, dial="7", source="x")), held_out=(item(4, dial="8", source="x"),), unread=("row 9: a",)
    )
    adapt_run._write_split(tmp_path / USED_FILE, split)
    return tmp_path / "mine.safetensors"


def test_what_was_seen_is_named_by_row_and_not_used(adapted):
    photos = [
        photo(2),
        photo(10, dial="7", source="x"),
        photo(11, dial="8", source="x"),
        photo(12, dial="7", source="y"),  # another collection's number 7
        photo(9),  # was left out when the weights were adapted
    ]
    kept, problems, unsure = unseen(photos, weights(), adapted, "other")
    assert [one.row for one in kept] == [12, 9] and unsure == []
    assert problems[0] == f"row 2: 2.png was learnt from when {adapted} was adapted"
    assert problems[1].startswith("row 10: 10.png shows dial 7, of which 3.png was learnt from when ")
    assert "row 11: 11.png shows dial 8, of which 4.png was held out to choose when to stop" in problems[2]


def test_weights_that_saw_no_photograph_are_measured_on_all():
    photos = [photo(2), photo(3)]
    never = SimpleNamespace(record={"training": {}})
    assert unseen(photos, never, Path("w.safetensors"), "t") == (photos, [], [])
    assert unseen(photos, weights(), None, "other") == (photos, [], [])


def test_what_cannot_be_checked_is_said(tmp_path):
    photos, path = [photo(2)], tmp_path / "w.safetensors"
    kept, problems, (said,) = unseen(photos, weights(), path, "other")
    assert kept == photos and problems == []
    assert "was adapted to 3 labelled photographs; photographs.csv is not beside it" in said
    with pytest.raises(ParameterError, match=r"was adapted to this very table, and .*photographs\.csv is not there"):
        unseen(photos, weights(), path, "t")
    (tmp_path / USED_FILE).write_text("row,photo,dial,used\n2,2.png,,learnt\n")
    with pytest.raises(ParameterError, match="lacks one of the columns photo, sha256"):
        unseen(photos, weights(), path, "other")
