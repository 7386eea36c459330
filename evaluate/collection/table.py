"""A collection as a table: which entries, which columns, as text, CSV or JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dialtell.evaluate.collection.file import FIELDS, CollectionFile, Entry
from dialtell.evaluate.collection.near_duplicates import ALIKE, distance
from dialtell.evaluate.compare.findings import DIFFERENT, SEPARATE
from dialtell.evaluate.words.plain import plain_name
from dialtell.evaluate.words.stated import stated_ratio
from dialtell.evaluate.words.support import support_words
from dialtell.synth.shared.tables import rows_text
from dialtell.synth.shared.terms import ZONES

SCHEMA = "dialtell.collection/1"
SAME_PHOTOGRAPH = "the photographs look the same: perhaps one dial"
COLUMNS = ("id", "photo", "sha256", *FIELDS, "call", "log10_lr", "support", "weights", "added_at", "labels")


@dataclass(frozen=True)
class Choice:
    """Which entries to take; None takes all.

    call : of the dial, or of `zone` if that is given. decade : first year of it. least_support : smallest size of the
    log10 likelihood ratio. words : found in maker, serial, notes or path, in any case.
    """

    call: str | None = None
    zone: str | None = None
    decade: int | None = None
    least_support: float | None = None
    words: str | None = None

    def takes(self, entry: Entry) -> bool:
        """Whether a dial is among those asked for."""
        call, ratio = call_of(entry, self.zone)
        year = entry.fields["year"]
        if self.call is not None and call != self.call:
            return False
        if self.decade is not None and (year is None or year // 10 * 10 != self.decade):
            return False
        if self.least_support is not None and (ratio is None or abs(ratio) < self.least_support):
            return False
        if self.words is None:
            return True
        text = " ".join(str(part) for part in (entry.path, *entry.fields.values()) if part is not None)
        return self.words.casefold() in text.casefold()


def call_of(entry: Entry, zone: str | None = None) -> tuple[str | None, float | None]:
    """Call and log10 LR of the dial, or of one zone of it, as a reader is shown them: no ratio of a withheld call."""
    if entry.document is None:
        return entry.call, entry.log10_lr
    if zone is None:
        return entry.call, stated_ratio(entry.document)
    for part in entry.document["zones"]:
        if part["zone"] == zone and part["judged"]:
            return part["call"], stated_ratio(entry.document, part)
    return None, None


def record_of(entry: Entry, collection: CollectionFile | None = None) -> dict[str, Any]:
    """One entry as JSON; with the collection also its history and labels."""
    record: dict[str, Any] = {
        "id": entry.id,
        "photo": str(entry.path),
        "sha256": entry.sha256,
        **entry.fields,
        "call": entry.call,
        "log10_lr": entry.log10_lr,
        "support": _support(entry),
        "weights": entry.weights,
        "added_at": entry.added_at,
        "zones": [] if entry.document is None else [
            {key: zone[key] for key in ("zone", "judged", "call", "log10_lr")} for zone in entry.document["zones"]
        ],
    }  # fmt: skip
    if collection is not None:
        record["history"] = collection.history(entry.id)
        record["labels"] = collection.labels(entry.id)
    return record


def _support(entry: Entry) -> str:
    if entry.document is not None:
        return str(entry.document["support"])
    return "" if entry.log10_lr is None else support_words(entry.log10_lr, capped=False)


def csv_text(entries: Iterable[Entry], collection: CollectionFile) -> str:
    """Entries as CSV that opens in a spreadsheet; text that a spreadsheet would run gets an apostrophe."""
    zones = tuple(zone.value.replace(" ", "_") for zone in ZONES)
    rows: list[list[object]] = [[*COLUMNS, *(f"{zone}_call" for zone in zones)]]
    for entry in entries:
        record = record_of(entry, collection)
        record["labels"] = "; ".join(f"{label['zone']}: {label['label']}" for label in record["labels"])
        cells = [_cell(record[name]) for name in COLUMNS]
        calls = {str(zone["zone"]).replace(" ", "_"): zone["call"] for zone in record["zones"] if zone["judged"]}
        rows.append([*cells, *(_cell(calls.get(zone)) for zone in zones)])
    return rows_text(rows, floats="g")


def _cell(value: object) -> object:
    return value if value is None or isinstance(value, int | float) else plain_name(value)


def list_text(entries: Iterable[Entry], *, width: int | None = 100) -> str:
    """A short table: id, year, call, log10 LR, maker and serial, photograph. width : None cuts no line."""
    lines = [f"{'id':>6}  {'year':>4}  {'call':<12}  {'log10 LR':>8}  what"]
    for entry in entries:
        year = "" if entry.fields["year"] is None else str(entry.fields["year"])
        stated = call_of(entry)[1]
        ratio = "" if stated is None else f"{stated:+.2f}"
        owner = " ".join(plain_name(entry.fields[name]) for name in ("maker", "serial") if entry.fields[name])
        what = f"{owner}  " if owner else ""
        line = f"{entry.id:>6}  {year:>4}  {entry.call or '':<12}  {ratio:>8}  {what}{plain_name(entry.path.name)}"
        lines.append(line if width is None or len(line) <= width else line[: width - 3] + "...")
    return "\n".join(lines)


def pairs_for_readers(
    pairs: Sequence[dict[str, Any]], entry_of: Callable[[int], Entry], *, all_findings: bool = False
) -> list[dict[str, Any]]:
    """Pairs with what a reader needs beside the finding; those drawn separately or differently only if
    `all_findings`.

    Adds to each: photos (their paths), calls, and note, which says when the two photographs look the same.
    """
    rows = []
    for pair in pairs:
        if pair["finding"] in (DIFFERENT, SEPARATE) and not all_findings:
            continue
        two = (entry_of(pair["first"]), entry_of(pair["second"]))
        marks = [entry.likeness for entry in two]
        same = bool(marks[0] and marks[1]) and distance(str(marks[0]), str(marks[1])) <= ALIKE
        rows.append({
            **pair, "photos": [str(entry.path) for entry in two], "calls": [entry.call for entry in two],
            "note": SAME_PHOTOGRAPH if same else "",
        })  # fmt: skip
    return rows


def pairs_text(rows: Sequence[dict[str, Any]], laid: int) -> str:
    """Pairs of dials laid on each other, as pairs_for_readers gives them, as lines; laid : how many just now."""
    lines = [f"{laid} pairs laid on each other now, {len(rows)} listed."]
    for row in rows:
        ratio = "" if row["log10_lr"] is None else f"  log10 LR {row['log10_lr']:+.2f}"
        lines.append(f"{row['first']:>6} and {row['second']:<6} {row['finding']}{ratio}")
        for photo, call in zip(row["photos"], row["calls"], strict=True):
            lines.append(f"        {plain_name(Path(photo).name)}: {call or 'never scored'}")
        if row["note"]:
            lines.append(f"        {row['note']}")
        if row.get("page"):
            lines.append(f"        {plain_name(row['page'])}")
    if any(row["log10_lr"] is not None for row in rows):
        lines.append("log10 LR above 0 speaks for one plate, below 0 for separate drawing.")
    return "\n".join(lines)
