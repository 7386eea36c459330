"""CSV tables as spreadsheets open and save them: read strictly, with cells that no spreadsheet runs as a formula.

A spreadsheet runs a cell that begins with = + - @ or a tab as a formula; such a cell is written with an apostrophe
before it, and the apostrophe is taken off on reading.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from dialtell.synth.shared.errors import ParameterError

FORMULA_MARKS = ("=", "+", "-", "@", "\t", "\r")
LONGEST_FIELD = 200_000  # characters


@dataclass(frozen=True)
class Table:
    """head : the first row's cells. rows : number in the sheet (the head is row 1) and cells as they are meant, of each
    row that is not empty. mark : whether a byte order mark comes first."""

    head: tuple[str, ...] = ()
    rows: tuple[tuple[int, tuple[str, ...]], ...] = ()
    mark: bool = False

    def even(self, cells: tuple[str, ...]) -> bool:
        """Whether a row holds just as many cells as there are columns."""
        return len(cells) == len(self.head)

    def extra(self, cells: tuple[str, ...]) -> bool:
        """Whether a row holds more than there are columns."""
        return any(cells[len(self.head) :])

    def named(self, cells: tuple[str, ...]) -> dict[str, str]:
        """A row's cells by column, "" where it is too short."""
        short = ("",) * (len(self.head) - len(cells))
        return dict(zip(self.head, (*cells, *short), strict=False))


def read_table(path: str | os.PathLike[str], required: tuple[str, ...]) -> Table:
    """Read a table that must have the `required` columns; a file without a single row has none and is let through.

    Raises ParameterError naming the file, what is wrong and the remedy.
    """
    return parse_table(table_text(path), path, required)


def table_text(path: str | os.PathLike[str]) -> str:
    """The text of a table, a byte order mark left in. ParameterError for a file that cannot be read or is not UTF-8."""
    place = Path(path)
    try:
        return place.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise ParameterError(f"{place} is not UTF-8 at byte {error.start}; save it as CSV in UTF-8") from error
    except OSError as error:
        raise ParameterError(f"{place} cannot be read ({error.strerror or error}); check the path") from error


def parse_table(text: str, place: str | os.PathLike[str], required: tuple[str, ...]) -> Table:
    """A table from its text; `place` stands for it in messages. See read_table."""
    mark, text = text.startswith("\ufeff"), text.removeprefix("\ufeff")
    csv.field_size_limit(LONGEST_FIELD)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise ParameterError(f"{place} is no CSV table ({error}); save it as CSV again") from error
    if not lines:
        return Table(mark=mark)
    head = tuple(cell.strip() for cell in lines[0])
    _require_head(place, head, required)
    rows = ((number, tuple(map(unguarded, line))) for number, line in enumerate(lines[1:], start=2))
    return Table(head, tuple((number, cells) for number, cells in rows if any(cells)), mark)


def _require_head(place: str | os.PathLike[str], head: tuple[str, ...], required: tuple[str, ...]) -> None:
    if missing := [name for name in required if name not in head]:
        semicolons = any(";" in name for name in head)
        remedy = "save it with commas between the cells" if semicolons else f"its columns are {', '.join(head)}"
        raise ParameterError(f"{place} has no column {' and no column '.join(missing)}; {remedy}")
    if twice := sorted({name for name in head if name and head.count(name) > 1}):
        raise ParameterError(f"{place} has the column {' and '.join(twice)} more than once; keep one of each")


def rows_text(rows: Iterable[Iterable[object]], floats: str = "") -> str:
    """Rows as CSV: words guarded, numbers as they are (`floats` formats those with a point), None an empty cell."""
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\n")
    whole = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    for row in rows:
        cells = [_written(cell, floats) for cell in row]
        # a bare carriage return is left unquoted otherwise, and begins a row for whoever reads it
        (whole if any("\r" in cell for cell in cells) else table).writerow(cells)
    return out.getvalue()


def _written(cell: object, floats: str) -> str:
    if isinstance(cell, str):
        return guarded(cell)
    return "" if cell is None else format(cell, floats) if isinstance(cell, float) else str(cell)


def guarded(cell: str) -> str:
    """A cell as it is written: an apostrophe before one that a spreadsheet would run, or that looks guarded."""
    return "'" + cell if cell.lstrip("'").startswith(FORMULA_MARKS) else cell


def unguarded(cell: str) -> str:
    """A cell as it is meant, white space around it left out."""
    cell = cell.strip()
    return cell[1:] if cell.startswith("'") and cell.lstrip("'").startswith(FORMULA_MARKS) else cell
