"""The fields of a dial: name, maker, size and the like, as a form gives them and as a dial's row holds them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import INCH_MM, LARGEST_MM, LIGNE_MM, SMALLEST_MM, dial_diameter_mm

TEXTS = ("name", "maker", "serial", "source", "price", "notes")
FIELDS = (*TEXTS, "year", "size_mm", "size_as")
# how a size may be given, and the parameter of `dial_diameter_mm` that takes it
UNITS = {"mm": "diameter_mm", "size": "size", "lignes": "lignes"}
_GIVEN = {"size_mm": "mm", "size": "size", "lignes": "lignes"}
LONGEST_TEXT = 4000  # characters
YEARS = (1000, 2200)


def cells_of(values: Mapping[str, Any]) -> dict[str, str | int | float | None]:
    """Fields as a dial's row holds them, from a form. Raises ParameterError."""
    cells: dict[str, str | int | float | None] = {}
    for name, value in values.items():
        if name in _GIVEN:
            if "size_mm" in cells:
                raise ParameterError("size is given twice; give one of mm, size and lignes")
            cells["size_mm"] = _size(_GIVEN[name], value)
            cells["size_as"] = None if cells["size_mm"] is None else _GIVEN[name]
        else:
            cells[name] = _cell(name, value)
    return cells


def searched(row: Mapping[str, Any]) -> str:
    """What is looked through for a word, in small letters."""
    return "\n".join(str(row[name]) for name in (*TEXTS, "year") if row.get(name) is not None).casefold()


def called(row: Mapping[str, Any]) -> str:
    """What a dial is called: its name, else maker and serial, else its number."""
    given = row["name"] or " ".join(str(row[field]) for field in ("maker", "serial") if row[field])
    return given or f"dial {row['id']}"


def size_given(millimetres: float | None, unit: str | None) -> float | None:
    """A size as it was given, in the trade's measure."""
    if millimetres is None:
        return None
    if unit == "size":
        return round((millimetres / INCH_MM - 1) * 30 - 5, 3)
    return round(millimetres / LIGNE_MM if unit == "lignes" else millimetres, 3)


def _number(value: object) -> float:
    try:
        return float(value) if isinstance(value, str | int | float) else math.nan
    except (ValueError, OverflowError):
        return math.nan


def _size(unit: str, value: object) -> float | None:
    """A dial's diameter in mm. Raises ParameterError."""
    if value is None or value == "":
        return None
    number = _number(value)
    if not math.isfinite(number):
        raise ParameterError(f"size is {value!r}; give a number, such as 44.9 mm, size 16 or 19 lignes")
    if unit == "mm" and not SMALLEST_MM <= number <= LARGEST_MM:
        raise ParameterError(f"size is {value!r}; give mm across the dial, {SMALLEST_MM:g} to {LARGEST_MM:g}")
    return dial_diameter_mm(**{UNITS[unit]: number})


def _cell(name: str, value: object) -> str | int | None:
    """A field's value from a form. Raises ParameterError."""
    if name not in TEXTS and name != "year":
        raise ParameterError(f"field is {name!r}; give one of {', '.join((*TEXTS, 'year', *_GIVEN))}")
    if value is None or value == "":
        return None
    if name == "year":
        number = _number(value)
        if not (YEARS[0] <= number <= YEARS[1] and number == int(number)):
            raise ParameterError(f"year is {value!r}; give a whole year, such as 1884")
        return int(number)
    if not isinstance(value, str) or len(value) > LONGEST_TEXT or "\0" in value:
        raise ParameterError(f"{name} is no text of up to {LONGEST_TEXT} characters; shorten it")
    try:
        value.encode()
    except UnicodeEncodeError as error:
        raise ParameterError(f"{name} holds half a character; type it anew") from error
    return value
