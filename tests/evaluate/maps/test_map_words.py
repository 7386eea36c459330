"""What pages say of their maps: the weights' own figures, or that there are none."""

import json
import shutil

import pytest
from trials.maps.saliency_truth import note

from dialtell.evaluate.maps.map_words import ODD, PLACES, UNLIKE, UNTESTED, hits_sentence, maps_record
from dialtell.model.net.weights_file import SHIPPED, load_weights
from dialtell.synth.planting import Plant


def rows(hits=(21, 12, 1, 0), n=(40, 40, 38, 39)):
    return [
        {"map": name, "plant": str(plant), "n": many, "hit_rate": [found / many, 0.0, 1.0], "right_sign": 0.9}
        for name in (PLACES, UNLIKE, ODD, "random")
        for plant, found, many in zip(Plant, hits, n, strict=True)
    ]


def test_the_sentence_counts_what_was_found():
    kept = maps_record(rows())
    assert set(kept) == {PLACES, UNLIKE, ODD}  # of the maps pages show
    assert hits_sentence(kept, PLACES) == (
        "On drawn dials its strongest place lay on the one painted figure of a printed dial in 21 of 40, on the one "
        "printed figure of a painted dial in 12 of 40, and on a single faded or overrun stroke in 1 of 77."
    )
    assert "in none of 40, and on a single faded or overrun stroke in none of 77" in hits_sentence(
        maps_record(rows((21, 0, 0, 0))), UNLIKE
    )


@pytest.mark.parametrize(
    "record", [None, {}, {PLACES: {}}, {PLACES: 3}, {PLACES: {str(p): {"n": 0} for p in Plant}}, 7]
)
def test_without_figures_it_says_so(record):
    assert hits_sentence(record, PLACES) == UNTESTED


def test_figures_go_into_the_weights_json_and_the_weights_still_load(tmp_path):
    for file in (SHIPPED, SHIPPED.with_suffix(".json")):
        shutil.copy(file, tmp_path)
    path = tmp_path / SHIPPED.name
    before = json.loads(path.with_suffix(".json").read_text())
    note(path, rows())
    found = load_weights(path)
    assert found.record["maps"] == maps_record(rows()) and found.sha256 == before["sha256"]
    assert {k: v for k, v in found.record.items() if k != "maps"} == {k: v for k, v in before.items() if k != "maps"}


def test_the_shipped_weights_carry_theirs():
    record = load_weights().record["maps"]
    assert UNTESTED not in [hits_sentence(record, name) for name in (PLACES, UNLIKE, ODD)]
    assert all(found["n"] >= 12 for found in record[UNLIKE].values())
