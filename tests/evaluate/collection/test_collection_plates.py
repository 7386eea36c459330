"""Dials of a collection that one plate may have made: proposed, laid on each other, kept; moved ones named."""

import json
import shutil
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.collection.add import add_photos
from dialtell.evaluate.collection.design_mark import alike_designs, scaled_geometry
from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.collection.plates import lay_pairs, propose
from dialtell.evaluate.collection.plates import test_name as name_of_test
from dialtell.evaluate.collection.table import pairs_for_readers
from dialtell.evaluate.score.record import _geometry
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.geometry import DialGeometry

EXAMPLES = Path(str(resources.files("dialtell.evaluate"))) / "examples"


def test_a_documents_geometry_is_read_back_and_scaled():
    geometry = DialGeometry((310.0, 225.0), (200.0, 160.0), 0.7, 2.1)
    points = np.array([[0.0, -1.0], [0.6, 0.2], [-0.3, 0.8]])
    back = scaled_geometry(_geometry(geometry, None), 0.5)
    np.testing.assert_allclose(back.to_photo(points), 0.5 * geometry.to_photo(points), atol=0.05)


def test_like_marks_are_paired_however_many_there_are():
    rng = np.random.default_rng(4)
    marks = rng.standard_normal((60, 28, 180)).astype(np.float32)
    marks[41] = np.roll(marks[7], 2, axis=1) + 0.5 * marks[41]  # the same layout, four degrees off
    marks /= np.linalg.norm(marks, axis=(1, 2), keepdims=True)
    (found,) = alike_designs(list(marks))
    assert found[:2] == (7, 41) and found[2] > 0.8
    assert alike_designs(list(marks[:1])) == []


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("dials")
    photos = [folder / name for name in ("painted.jpg", "printed-transfer.jpg")]
    for photo in photos:
        shutil.copy(EXAMPLES / photo.name, photo)
    with CollectionFile(folder / "dials.collection", create=True) as collection:
        assert all(outcome.outcome == "added" for outcome in add_photos(collection, photos, load_weights(None)))
    return folder / "dials.collection", photos


def test_pairs_are_proposed_laid_once_and_kept(kept):
    with CollectionFile(kept[0]) as collection:
        before = [(entry.path, entry.call) for entry in collection.entries()]
        assert collection.pairs() == []
        pairs, faults = propose(collection.entries())
        assert len(pairs) == 1 and faults == []  # the examples are of one design
        (row,) = lay_pairs(collection, pairs)
        assert row["places"] >= row["matched"] > 25
        assert list(lay_pairs(collection, pairs)) == []  # known by this test
        assert [pair["finding"] for pair in collection.pairs(name_of_test())] == [row["finding"]]
        assert not collection.keep_pair({**row, "finding": "other"})  # nothing is overwritten
        (shown,) = pairs_for_readers(collection.pairs(), collection.entry, all_findings=True)
        assert shown["calls"] == [collection.entry(n).call for n in (row["first"], row["second"])]
        assert [(entry.path, entry.call) for entry in collection.entries()] == before


def test_moved_photographs_are_named_and_the_page_shows_pairs(kept, capsys, tmp_path):
    path, photos = kept
    away = photos[0].rename(tmp_path / "away.jpg")
    assert main(["collection", "plates", str(path), "--all", "--json"]) == 1
    said = capsys.readouterr()
    document = json.loads(said.out)
    assert any("no longer there" in error for error in document["errors"]) and "painted.jpg" in said.err
    assert len(document["pairs"]) == 1  # kept from before
    away.rename(photos[0])
    assert main(["collection", "page", str(path), "--out", str(tmp_path / "page.html")]) == 0
    listed = document["pairs"][0]["finding"] in ("cannot tell", "same design, one plate fits both")
    assert ("Dials that one plate may have made" in (tmp_path / "page.html").read_text()) == listed
