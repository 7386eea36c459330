"""The real photographs, where they are at hand: every one is scored, and none is called that does not carry strokes.

Evaluation only: nothing here or elsewhere is tuned on them.
"""

import csv
import os
from pathlib import Path

import pytest
from score_schema import check_dial

from dialtell.evaluate.score import score_photo
from dialtell.model.store import load_weights

PHOTOS = Path(os.environ.get("DIALTELL_PHOTOS", Path(__file__).parents[2] / "shared" / "photos"))
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
