"""What one change does to a photograph's labels, so that a labels file never contradicts itself.

A printed zone on a painted dial makes the dial mixed, and the other way round; a way of printing belongs to printed
and mixed dials only (these are also the rules of `dialtell.train.photographs.labels`).
"""

from __future__ import annotations

from collections.abc import Mapping

from dialtell.evaluate.label.sheet import WORDS, Row
from dialtell.evaluate.museum.records import plain
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import LARGEST_MM, SMALLEST_MM
from dialtell.train.photographs.labels import MIXED, PAINTED, PRINTED, ZONE_COLUMNS

LABELS = ("dial_process", *ZONE_COLUMNS, "print_process")
FREE = ("dial", "source", "object_type", "size_mm", "notes")
LONGEST = 1000  # characters of a free cell
_OPPOSED = {PAINTED: PRINTED, PRINTED: PAINTED}


def changed(row: Row, changes: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """The row after the changes, and what else changed with them, in words.

    changes : new values of columns in WORDS and FREE; "" empties one.
    Raises ParameterError for a column or value that cannot be, and for a dial label its zones contradict.
    """
    new, said = dict(row), []
    for column, value in changes.items():
        if column in WORDS:
            if value and value not in WORDS[column]:
                raise ParameterError(f"{column} is {value!r}; give {', '.join(WORDS[column])}, or empty it")
            new[column] = value
        elif column in FREE:
            new[column] = _free(column, value)
        else:
            raise ParameterError(f"{column!r} is no column that can be labelled")
    dial = new["dial_process"]
    odd = [column for column in ZONE_COLUMNS if new[column] and new[column] == _OPPOSED.get(dial)]
    if odd and "dial_process" in changes:
        named = " and ".join(column.replace("_", " ") for column in odd)
        raise ParameterError(
            f"{named} labelled {new[odd[0]]}: then the dial is mixed; change the zone first if it is not"
        )
    if odd:
        new["dial_process"] = MIXED
        said.append(f"{odd[0].replace('_', ' ')} {new[odd[0]]} on a {dial} dial: the dial is now mixed.")
    if new["print_process"] and new["dial_process"] not in (PRINTED, MIXED):
        if "print_process" in changes:
            raise ParameterError("a way of printing belongs to a printed or mixed dial; label the dial first")
        new["print_process"] = ""
        said.append("The way of printing was emptied.")
    if not new["basis"] and any(new[column] for column in LABELS):
        new["basis"] = "by eye"
    return new, said


def _free(column: str, value: str) -> str:
    text = plain(value)
    if len(text) > LONGEST:
        raise ParameterError(f"{column} has {len(text)} characters; give at most {LONGEST}")
    if column == "size_mm" and text:
        text = text.replace(",", ".")
        try:
            fits = SMALLEST_MM <= float(text) <= LARGEST_MM
        except ValueError:
            fits = False
        if not fits:
            raise ParameterError(f"size_mm is {text!r}; give a diameter from {SMALLEST_MM:g} to {LARGEST_MM:g} mm")
    return text
