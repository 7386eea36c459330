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


# wrongly called since the reader names what every pixel shows; the strokes' net, not the reading, is at fault, and it
# may not be tuned on these photographs (tests/trials/LOG.md, 2026-11-30). Strict: to be taken out once it no longer is.
WRONG = {"stopwatch-dial.jpg": "a painted dial called printed"}


@pytest.mark.parametrize(
    ("name", "label"),
    [
        pytest.param(name, label, marks=pytest.mark.xfail(strict=True, reason=WRONG[name]) if name in WRONG else ())
        for name, label in labels()
    ],
)
def test_photograph_is_scored_and_not_overcalled(name: str, label: str) -> None:
    record = score_photo(PHOTOS / name, load_weights()).record
    check_dial(record)
    if label != "hand-painted":  # strokes not resolved, or no fired enamel
        assert record["call"] == "undetermined", record["reason"]
    else:
        assert record["call"] != "printed", record["reason"]
