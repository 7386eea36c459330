"""Real photographs with a judgement of ours: one table that gathers them and labels them.

judged.csv holds facts and no picture. Each row is at once a record for `gather` (title, archive page as source, file
address, licence, sha256) and a row of labels for `benchmark` (outline, 12 o'clock, processes of dial and zones, basis
in words under notes). All are in the public domain, those from trade books in the USA at least. Processes were judged
by eye; outlines were fitted to the edge of the white, drawn over the photograph and corrected by eye.
"""

from __future__ import annotations

import importlib.resources
from collections.abc import Mapping
from pathlib import Path

from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.files import write_text
from dialtell.synth.shared.tables import Table, parse_table, read_table, rows_text

TABLE = "judged.csv"
LABELS = "labels.csv"  # beside the photographs


def judged_text() -> str:
    """The table as it comes with dialtell; `museum.records.parse_records` reads it for gathering."""
    return importlib.resources.files(__package__).joinpath(TABLE).read_text(encoding="utf-8")


def require_own_labels(folder: Path) -> None:
    """Raise OutputError when the folder has labels that `write_judged_labels` did not write."""
    place = folder / LABELS
    if place.exists() and not _facts(read_table(place, ("photo",))) <= _facts(_table()):
        raise OutputError(f"{place} holds other labels than {TABLE}; move it away or give another --out")


def write_judged_labels(folder: Path, files: Mapping[str, str]) -> Path | None:
    """Write the labels of photographs that are there beside them; where, or None when none is.

    files : name in the folder by sha256. Call `require_own_labels` first: labels that are there are replaced.
    """
    table = _table()
    rows = [table.named(cells) for _, cells in table.rows]
    kept = [row | {"photo": files[row["sha256"]]} for row in rows if row["sha256"] in files]
    if not kept:
        return None
    write_text(folder / LABELS, rows_text([table.head, *(row.values() for row in kept)]), overwrite=True)
    return folder / LABELS


def _table() -> Table:
    return parse_table(judged_text(), TABLE, ("photo", "sha256"))


def _facts(table: Table) -> set[frozenset[tuple[str, str]]]:
    """Rows without the photographs' names."""
    rows = [table.named(cells) for _, cells in table.rows]
    return {frozenset((name, cell) for name, cell in row.items() if name != "photo") for row in rows}
