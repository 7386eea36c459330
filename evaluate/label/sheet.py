"""A labels file as a table: read whole, written whole, its cells safe to open in a spreadsheet.

The columns are those of `dialtell.train.photographs.labels`, which reads the finished file for training and
measuring. Here every row is kept as it stands, also rows of photographs that are no longer there and columns of the
user's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.tables import read_table, rows_text
from dialtell.train.photographs.labels import (
    BASES,
    COLUMNS,
    DIAL_LABELS,
    PRINT_LABELS,
    REQUIRED,
    ZONE_COLUMNS,
    ZONE_LABELS,
)

Row = Mapping[str, str]

# the words each column may hold, besides none
WORDS: Mapping[str, tuple[str, ...]] = {
    "dial_process": DIAL_LABELS,
    **dict.fromkeys(ZONE_COLUMNS, ZONE_LABELS),
    "print_process": PRINT_LABELS,
    "basis": BASES,
}


@dataclass(frozen=True)
class LabelSheet:
    """Rows by column. columns : as they are written, those of COLUMNS first. mark : a byte order mark comes first."""

    columns: tuple[str, ...] = COLUMNS
    rows: list[dict[str, str]] = field(default_factory=list)
    mark: bool = False

    def text(self) -> str:
        """The file's text; `read_sheet` reads the same rows back."""
        cells = ([row.get(name, "") for name in self.columns] for row in self.rows)
        return ("\ufeff" if self.mark else "") + rows_text([self.columns, *cells])


def read_sheet(path: Path) -> LabelSheet:
    """Every row of a labels file that is not empty. ParameterError naming the file, the row and the remedy."""
    table = read_table(path, REQUIRED)
    rows = []
    for number, cells in table.rows:
        if table.extra(cells):
            raise ParameterError(
                f"{path}, row {number} has {len(cells)} cells under a head of {len(table.head)}; put cells with a "
                "comma in quotes"
            )
        rows.append(dict.fromkeys(COLUMNS, "") | table.named(cells))
    own = tuple(name for name in table.head if name and name not in COLUMNS)
    return LabelSheet((*COLUMNS, *own), rows, table.mark)
