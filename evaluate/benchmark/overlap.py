"""Photographs that weights were adapted to: measured on those, weights flatter themselves, so they are left out.

`dialtell train --photos` writes beside the weights which photographs were learnt from and which were held out to choose
the moment to stop (photographs.csv); the weights themselves carry counts only. A photograph is known again by its
content, and a dial by its name within its source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.words.plain import plain_name
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.tables import parse_table
from dialtell.train.photographs.labels import LabelledPhoto

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

USED_FILE = "photographs.csv"  # as train.adapt_run writes it
_HOW = {"learnt": "was learnt from", "held out": "was held out to choose when to stop"}


def unseen(
    photos: Sequence[LabelledPhoto], weights: Weights, path: Path | None, labels_sha256: str
) -> tuple[list[LabelledPhoto], list[str], list[str]]:
    """(photographs the weights were not adapted to, what is wrong with the others by row, what cannot be checked).

    path : of the weights' file, None for the shipped ones. labels_sha256 : of the table the photographs stand in.
    Raises ParameterError when the weights were adapted to that very table and nothing says which of its rows they saw.
    """
    adapted = weights.record.get("training", {}).get("photographs")
    if not adapted or path is None:
        return list(photos), [], []
    name = plain_name(path)
    place = path.parent / USED_FILE
    try:
        used = _used(place)
    except OSError:
        if adapted.get("labels_sha256") == labels_sha256:
            raise ParameterError(
                f"{name} was adapted to this very table, and {plain_name(place)} is not there to say which rows it "
                "saw; label other photographs, or put that file back beside the weights"
            ) from None
        count = adapted["learnt"]["photographs"] + adapted["held_out"]["photographs"]
        return list(photos), [], [
            f"{name} was adapted to {count} labelled photographs; {USED_FILE} is not beside it, so whether any of them "
            "is measured here could not be checked."
        ]  # fmt: skip
    by_photo = {row["sha256"]: row for row in used if row["sha256"]}
    by_dial = {(row["source"], row["dial"]): row for row in used if row["dial"]}
    kept, problems = [], []
    for photo in photos:
        same = by_photo.get(photo.sha256)
        dial = by_dial.get((photo.source, photo.dial)) if photo.dial else None
        if same is not None:
            problems.append(f"row {photo.row}: {photo.name} {_HOW[same['used']]} when {name} was adapted")
        elif dial is not None:
            problems.append(
                f"row {photo.row}: {photo.name} shows dial {photo.dial}, of which {dial['photo']} {_HOW[dial['used']]} "
                f"when {name} was adapted"
            )
        else:
            kept.append(photo)
    return kept, problems, []


def _used(place: Path) -> list[Mapping[str, Any]]:
    """Rows of photographs learnt from or held out. Raises OSError, or ParameterError for a file that is not one."""
    text = place.read_bytes().decode("utf-8", "replace")
    table = parse_table(text, plain_name(place), ())
    named = {"photo", "sha256", "source", "dial", "used"} <= set(table.head)
    if table.rows and not (named and all(len(cells) >= len(table.head) for _, cells in table.rows)):
        raise ParameterError(
            f"{plain_name(place)} lacks one of the columns photo, sha256, source, dial and used; adapt the weights anew"
        )
    rows = (table.named(cells) for _, cells in table.rows)
    return [row for row in rows if row["used"] in _HOW]
