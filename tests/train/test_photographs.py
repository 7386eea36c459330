"""The real photographs, where they are at hand: every one is scored, and none is called that does not carry strokes.

Evaluation only: nothing here or elsewhere is tuned on them.
"""

import csv

import pytest
from checkout import PHOTOS
from score_schema import check_dial

from dialtell.evaluate.score.score import score_photo
from dialtell.model.net.weights_file import load_weights

pytestmark = pytest.mark.skipif(
    not (PHOTOS / "manifest.csv").is_file(), reason="no evaluation photographs beside the checkout"
)


def labels() -> list[tuple[str, str]]:
    """File and label of each photograph."""
    if not (PHOTOS / "manifest.csv").is_file():
        return []
    with (PHOTOS / "manifest.csv").open(encoding="utf-8", newline="") as file:
        return [(row["file"], row["label"]) for row in csv.DictReader(file)]


@pytest.mark.parametrize(("name", "label"), labels())
def test_photograph_is_scored_and_not_overcalled(name: str, label: str) -> None:
    record = score_photo(PHOTOS / name, load_weights()).record
    check_dial(record)
    if label != "hand-painted":  # strokes not resolved, or no fired enamel
        assert record["call"] == "undetermined", record["reason"]
    else:
        assert record["call"] != "printed", record["reason"]
