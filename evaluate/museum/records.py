"""Museum records of watches: what a table states of each object, its licence and where its photographs are.

The table that comes with dialtell (records.csv) holds facts from the museums' published metadata. By their dates most
of those dials are painted, but a first photograph may show the case: which view shows a dial, and what that dial is,
a person must say.
"""

from __future__ import annotations

import importlib.resources
import os
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.tables import parse_table, rows_text, table_text

# what a manifest repeats of the object, in the order of the columns
FACTS = (
    "museum",
    "object_id",
    "accession_number",
    "title",
    "object_type",
    "date_text",
    "year_begin",
    "year_end",
    "medium",
    "dial_mentioned",
    "dial_replaced_in_text",
    "source",
)
COLUMNS = (*FACTS, "licence", "attribution", "image_url", "more_image_urls", "sha256")
_YEARS = ("year_begin", "year_end")


@dataclass(frozen=True)
class Record:
    """One object and its photographs.

    year_begin, year_end : years of making, None when undated.
    dial_mentioned : what the record says of the dial, in its words.
    dial_replaced_in_text : the record says that the dial was replaced.
    source : page or data the facts come from.
    licence, attribution : of the photographs, as stated; attribution "" when none is asked for.
    image_urls : the museum's first photograph first; may be empty.
    sha256 : of the first photograph's file, 64 hexadecimal digits; "" when any file will do.
    """

    museum: str
    licence: str
    image_urls: tuple[str, ...]
    object_id: str = ""
    accession_number: str = ""
    title: str = ""
    object_type: str = ""
    date_text: str = ""
    year_begin: int | None = None
    year_end: int | None = None
    medium: str = ""
    dial_mentioned: str = ""
    dial_replaced_in_text: bool = False
    source: str = ""
    attribution: str = ""
    sha256: str = ""

    @property
    def name(self) -> str:
        """What to call the object in a message and in file names: accession number, else id, else title."""
        return self.accession_number or self.object_id or self.title or "unnamed"

    def facts(self) -> dict[str, str]:
        """The columns of FACTS as text."""
        return {name: _text(getattr(self, name)) for name in FACTS}


def shipped_records() -> list[Record]:
    """The records that come with dialtell."""
    text = importlib.resources.files(__package__).joinpath("records.csv").read_text(encoding="utf-8")
    return parse_records(text, "records.csv")


def read_records(path: str | os.PathLike[str]) -> list[Record]:
    """Read a table of records: CSV in UTF-8 with a header, columns as in COLUMNS, others ignored.

    Only `licence` and `image_url` are required columns. Raises ParameterError naming file, line and remedy.
    """
    return parse_records(table_text(path), os.fspath(path))


def parse_records(text: str, name: str) -> list[Record]:
    """Records from the text of a table; `name` stands for it in messages."""
    table = parse_table(text, name, ("licence", "image_url"))
    if not table.head:
        raise ParameterError(f"{name} is empty; give a table with the columns {', '.join(COLUMNS)}")
    records = []
    for number, cells in table.rows:
        if not table.even(cells):
            raise ParameterError(
                f"{name}, row {number}: {len(cells)} cells under {len(table.head)} columns; put cells with commas in "
                "double quotes"
            )
        records.append(_record(table.named(cells), f"{name}, row {number}"))
    return records


def records_text(records: Iterable[Record]) -> str:
    """A table that `read_records` reads back; what a museum states may begin as a formula does."""
    rows: list[Sequence[str]] = [COLUMNS]
    for record in records:
        first, *more = record.image_urls or ("",)
        cells = [*record.facts().values(), record.licence, record.attribution, first, " ".join(more), record.sha256]
        rows.append([plain(cell) for cell in cells])
    return rows_text(rows)


def _record(row: dict[str, str], where: str) -> Record:
    values: dict[str, Any] = {}
    for name in (field.name for field in fields(Record) if field.name != "image_urls"):
        values[name] = plain(row.get(name, ""))
    for name in _YEARS:
        if values[name] and not re.fullmatch(r"-?\d{1,4}", values[name]):
            raise ParameterError(f"{where}: {name} is {values[name]!r}; give a year such as 1885, or leave it empty")
        values[name] = int(values[name]) if values[name] else None
    replaced = values["dial_replaced_in_text"]
    if replaced not in ("", "0", "1"):
        raise ParameterError(f"{where}: dial_replaced_in_text is {replaced!r}; give 1, 0 or leave it empty")
    values["dial_replaced_in_text"] = replaced == "1"
    if not re.fullmatch(r"(?:[0-9a-f]{64})?", values["sha256"]):
        raise ParameterError(
            f"{where}: sha256 is {values['sha256']!r}; give 64 hexadecimal digits (0-9, a-f), or leave it empty"
        )
    urls = [row["image_url"].strip(), *re.split(r"\s*;\s*(?=\w+://)|\s+", row.get("more_image_urls", ""))]
    return Record(image_urls=tuple(dict.fromkeys(url for url in urls if url)), **values)


def plain(text: str) -> str:
    """Composed Unicode (NFC) on one line: no control characters, no doubled white space."""
    kept = "".join(" " if unicodedata.category(mark) in ("Cc", "Cs", "Zl", "Zp") else mark for mark in text)
    return " ".join(unicodedata.normalize("NFC", kept).split())


def _text(value: object) -> str:
    return "" if value is None else str(int(value)) if isinstance(value, bool) else str(value)
