"""A labels file as a table: read whole, written whole, its cells safe to open in a spreadsheet.

The columns are those of `dialtell.train.labels`, which reads the finished file for training and measuring. Here every
row is kept as it stands, also rows of photographs that are no longer there and columns of the user's own.

A spreadsheet runs a cell that begins with = + - @ or a tab as a formula; such a cell is written with an apostrophe
before it, and the apostrophe is taken off on reading.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from dialtell.synth.errors import ParameterError
from dialtell.train.labels import (
    BASES,
    COLUMNS,
    DIAL_LABELS,
    PRINT_LABELS,
    REQUIRED,
    ZONE_COLUMNS,
    ZONE_LABELS,
    guarded,
    unguarded,
)

Row = Mapping[str, str]

_LONGEST_FIELD = 200_000  # characters

# the words each column may hold, besides none
WORDS: Mapping[str, tuple[str, ...]] = {
    "dial_process": DIAL_LABELS,
    **dict.fromkeys(ZONE_COLUMNS, ZONE_LABELS),
    "print_process": PRINT_LABELS,
    "basis": BASES,
}


@dataclass(frozen=True)
class Sheet:
    """Rows by column. columns : as they are written, those of COLUMNS first. mark : a byte order mark comes first."""

    columns: tuple[str, ...] = COLUMNS
    rows: list[dict[str, str]] = field(default_factory=list)
    mark: bool = False

    def text(self) -> str:
        """The file's text; `read_sheet` reads the same rows back."""
        out = io.StringIO(newline="")
        table = csv.writer(out, lineterminator="\n")
        table.writerow(self.columns)
        whole = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
        for row in self.rows:
            cells = [guarded(row.get(name, "")) for name in self.columns]
            # a bare carriage return is left unquoted otherwise, and begins a row for whoever reads it
            (whole if any("\r" in cell for cell in cells) else table).writerow(cells)
        return ("\ufeff" if self.mark else "") + out.getvalue()


def read_sheet(path: Path) -> Sheet:
    """Every row of a labels file that is not empty. ParameterError naming the file, the row and the remedy."""
    try:
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise ParameterError(f"{path} is not UTF-8 at byte {error.start}; save it as CSV in UTF-8") from error
    except OSError as error:
        raise ParameterError(f"{path} cannot be read ({error.strerror or error}); check the path") from error
    mark, text = text.startswith("\ufeff"), text.removeprefix("\ufeff")
    csv.field_size_limit(_LONGEST_FIELD)
    try:
        table = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise ParameterError(f"{path} is no CSV table ({error}); save it as CSV again") from error
    if not table:
        return Sheet(mark=mark)
    head = [cell.strip() for cell in table[0]]
    _require_head(path, head)
    rows = []
    for number, line in enumerate(table[1:], start=2):
        cells = [unguarded(cell) for cell in line]
        if any(cells[len(head) :]):
            raise ParameterError(
                f"{path}, row {number} has {len(cells)} cells under a head of {len(head)}; put cells with a comma in "
                "quotes"
            )
        if any(cells):
            rows.append(dict.fromkeys(COLUMNS, "") | dict(zip(head, cells, strict=False)))
    own = tuple(name for name in head if name and name not in COLUMNS)
    return Sheet((*COLUMNS, *own), rows, mark)


def _require_head(path: Path, head: Sequence[str]) -> None:
    missing = [name for name in REQUIRED if name not in head]
    if missing:
        remedy = "save it with commas between the cells" if any(";" in name for name in head) else "mend its first row"
        raise ParameterError(f"{path} has no column {' and no column '.join(missing)}; {remedy}")
    twice = sorted({name for name in head if name and head.count(name) > 1})
    if twice:
        raise ParameterError(f"{path} has the column {' and '.join(twice)} more than once; keep one of each")
