"""One collection of dials in one SQLite file: photographs by hash, every call ever made, the owner's fields, labels.

Two processes may write at once: each change is one short transaction that waits for the other. Nothing is ever replaced
but the owner's fields and a photograph's path: a new call stands beside the old ones.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from dialtell.synth.shared.errors import OutputError, ParameterError

APPLICATION_ID = 0x6469616C  # "dial", in the file's header
VERSION = 2
WAIT_S = 60.0
FIELDS = ("maker", "serial", "year", "size_mm", "notes")
LABELS = ("painted", "printed", "mixed", "cannot tell")

# each step takes a file of the version before it to its own
STEPS: dict[int, str] = {
    1: """
        CREATE TABLE photo (
            id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL UNIQUE, path TEXT NOT NULL, added_at TEXT NOT NULL,
            maker TEXT, serial TEXT, year INTEGER, size_mm REAL, notes TEXT);
        CREATE TABLE call (
            id INTEGER PRIMARY KEY, photo INTEGER NOT NULL REFERENCES photo(id), weights TEXT NOT NULL,
            weights_sha256 TEXT NOT NULL, made_at TEXT NOT NULL, call TEXT NOT NULL, log10_lr REAL,
            document TEXT NOT NULL, UNIQUE (photo, weights_sha256));
        CREATE TABLE label (
            photo INTEGER NOT NULL REFERENCES photo(id), zone TEXT NOT NULL, label TEXT NOT NULL, basis TEXT NOT NULL,
            labelled_at TEXT NOT NULL, PRIMARY KEY (photo, zone));
    """,
    2: """
        ALTER TABLE photo ADD COLUMN likeness TEXT;
        ALTER TABLE photo ADD COLUMN thumbnail BLOB;
        CREATE INDEX photo_year ON photo(year);
        CREATE INDEX call_photo ON call(photo, made_at);
    """,
}

PAIR_FIELDS = ("first", "second", "test", "finding", "log10_lr", "places", "matched", "stray", "reason")
# made when the first pair is kept: files without pairs stay as they are
_PAIRS = """
    CREATE TABLE IF NOT EXISTS pair (
        id INTEGER PRIMARY KEY, first INTEGER NOT NULL REFERENCES photo(id),
        second INTEGER NOT NULL REFERENCES photo(id), test TEXT NOT NULL, finding TEXT NOT NULL, log10_lr REAL,
        places INTEGER NOT NULL, matched INTEGER NOT NULL, stray REAL, reason TEXT NOT NULL, made_at TEXT NOT NULL,
        UNIQUE (first, second, test))
"""

# likewise, of the first dial of several photographs
_DIALS = (
    """
    CREATE TABLE IF NOT EXISTS dial (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL, weights TEXT NOT NULL, weights_sha256 TEXT NOT NULL,
        made_at TEXT NOT NULL, call TEXT NOT NULL, log10_lr REAL, document TEXT NOT NULL)
    """,
    """
    CREATE TABLE IF NOT EXISTS dial_photo (
        dial INTEGER NOT NULL REFERENCES dial(id), photo INTEGER NOT NULL REFERENCES photo(id), role TEXT NOT NULL,
        PRIMARY KEY (dial, photo))
    """,
)

_LATEST = """
    SELECT photo.*, c.weights, c.weights_sha256, c.made_at, c.call, c.log10_lr, c.document
    FROM photo LEFT JOIN call c ON c.id = (
        SELECT id FROM call WHERE call.photo = photo.id ORDER BY made_at DESC, id DESC LIMIT 1)
"""


@dataclass(frozen=True)
class Entry:
    """One photograph with its newest call. document : the dial of schema dialtell.score/1, None if never scored."""

    id: int
    sha256: str
    path: Path
    added_at: str
    fields: dict[str, Any]
    likeness: str | None
    thumbnail: bytes | None
    weights: str | None
    call: str | None
    log10_lr: float | None
    document: dict[str, Any] | None


class CollectionFile:
    """An open collection; use as a context manager.

    Raises OutputError when the file is damaged, foreign, newer than this program, or locked for over a minute.
    """

    def __init__(self, path: Path, *, create: bool = False) -> None:
        self.path = path
        if path.is_dir():
            raise OutputError(f"{path} is a folder; give a file, such as {path / 'dials.collection'}")
        if path.exists() and not path.is_file():
            raise OutputError(f"{path} is a device or a pipe; give a file, such as dials.collection")
        fresh = not path.exists() or path.stat().st_size == 0
        if fresh and not create:
            raise OutputError(f"{path} does not exist; make it with `dialtell collection add {path} PHOTOS`")
        if fresh and not path.parent.is_dir():
            raise OutputError(f"{path} cannot be written, there is no folder {path.parent}; make it first")
        try:
            self._base = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
            self._base.row_factory = sqlite3.Row
            self._base.execute("PRAGMA foreign_keys = ON")
            self._base.execute("PRAGMA synchronous = FULL")
            self._base.execute("PRAGMA trusted_schema = OFF")  # the file may have come from someone else
            self._open(fresh)
        except sqlite3.DatabaseError as error:
            self._close()
            raise self._refusal(error) from error
        except BaseException:
            self._close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _close(self) -> None:
        if hasattr(self, "_base"):
            self._base.close()

    def _open(self, fresh: bool) -> None:
        marks = [self._base.execute(f"PRAGMA {name}").fetchone()[0] for name in ("application_id", "user_version")]
        if marks == [APPLICATION_ID, VERSION]:  # which most often is so, and then nobody need be waited for
            return
        with self._change():  # two processes may both find the file empty
            kind = self._base.execute("PRAGMA application_id").fetchone()[0]
            version = self._base.execute("PRAGMA user_version").fetchone()[0]
            empty = self._base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
            if not (empty and fresh) and kind != APPLICATION_ID:
                raise OutputError(f"{self.path} is a database of something else; give another file")
            if version > VERSION:
                raise OutputError(
                    f"{self.path} has schema {version}, this program knows up to {VERSION}; use a newer dialtell"
                )
            for step in range(version + 1, VERSION + 1):
                for statement in STEPS[step].split(";"):
                    if statement.strip():
                        self._base.execute(statement)
            if version < VERSION:
                self._base.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                self._base.execute(f"PRAGMA user_version = {VERSION}")

    def _refusal(self, error: sqlite3.DatabaseError) -> OutputError:
        said = str(error)
        if "locked" in said:
            return OutputError(f"{self.path} has been held by another program for {WAIT_S:.0f} s; try again later")
        if "full" in said or "disk I/O" in said:
            return OutputError(
                f"{self.path} cannot be written ({said}); free some space, what was added before is safe"
            )
        if "readonly" in said:
            return OutputError(f"{self.path} is read-only; make it writable or copy it elsewhere")
        return OutputError(f"{self.path} is damaged or no collection ({said}); restore a copy, or give another file")

    @contextmanager
    def _change(self) -> Iterator[sqlite3.Connection]:
        """One transaction that holds the file for writing from its start."""
        try:
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield self._base
                self._base.execute("COMMIT")
            except BaseException:
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
                raise
        except sqlite3.DatabaseError as error:
            raise self._refusal(error) from error

    def _all(self, query: str, values: tuple[Any, ...] = ()) -> list[sqlite3.Row]:
        try:
            return self._base.execute(query, values).fetchall()
        except sqlite3.DatabaseError as error:
            raise self._refusal(error) from error

    # --- writing ---

    def add(
        self,
        path: Path,
        sha256: str,
        *,
        likeness: str | None,
        thumbnail: bytes | None,
        weights: Mapping[str, Any],
        document: Mapping[str, Any],
    ) -> bool:
        """Add a photograph and its call in one step; False when both were there. A moved photograph gets its new path.

        weights : name, version and sha256, as in a document of schema dialtell.score/1.
        """
        with self._change() as base:
            known = base.execute("SELECT id FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
            if known is None:
                number = base.execute(
                    "INSERT INTO photo (sha256, path, added_at, likeness, thumbnail) VALUES (?, ?, ?, ?, ?)",
                    (sha256, _path_cell(path), now(), likeness, thumbnail),
                ).lastrowid
            else:
                number = known["id"]
                base.execute(
                    "UPDATE photo SET path = ?, likeness = coalesce(likeness, ?), thumbnail = coalesce(thumbnail, ?) "
                    "WHERE id = ?",
                    (_path_cell(path), likeness, thumbnail, number),
                )
            done = base.execute(
                "INSERT OR IGNORE INTO call (photo, weights, weights_sha256, made_at, call, log10_lr, document) "
                "VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    number,
                    f"{weights['name']} {weights['version']}",
                    weights["sha256"],
                    now(),
                    document["call"],
                    document["log10_lr"],
                    json.dumps(document, allow_nan=False),
                ),
            )
            return known is None or done.rowcount > 0

    def set_fields(self, number: int, values: Mapping[str, Any]) -> None:
        """Set the owner's fields of one photograph; None empties one."""
        unknown = [name for name in values if name not in FIELDS]
        if unknown:
            raise ParameterError(f"field is {unknown[0]!r}; give one of {', '.join(FIELDS)}")
        for name, value in values.items():
            if isinstance(value, str) and not _is_text(value):
                raise ParameterError(f"{name} is {value!r}, which holds bytes that are no text; leave them out")
        assigned = ", ".join(f"{name} = ?" for name in values)
        self.entry(number)
        with self._change() as base:
            base.execute(f"UPDATE photo SET {assigned} WHERE id = ?", (*values.values(), number))

    def set_label(self, number: int, zone: str, label: str, basis: str) -> None:
        """A person's label of the dial (zone "dial") or of a zone."""
        if label not in LABELS:
            raise ParameterError(f"label is {label!r}; give one of {', '.join(LABELS)}")
        self.entry(number)
        with self._change() as base:
            base.execute("INSERT OR REPLACE INTO label VALUES (?, ?, ?, ?, ?)", (number, zone, label, basis, now()))

    def keep_pair(self, pair: Mapping[str, Any]) -> bool:
        """Keep what laying two photographs on each other found; False when this test of this pair was there already.

        pair : first and second (ids, first < second), test (its name), finding, log10_lr, places, matched, stray
        (dial radii, None if not measured), reason. Older findings by other tests stay.
        """
        with self._change() as base:
            base.execute(_PAIRS)
            values = tuple(pair[name] for name in PAIR_FIELDS)
            marks = ", ".join("?" * (len(values) + 1))
            query = f"INSERT OR IGNORE INTO pair ({', '.join(PAIR_FIELDS)}, made_at) VALUES ({marks})"
            return base.execute(query, (*values, now())).rowcount > 0

    def keep_dial(
        self, name: str, roles: Mapping[str, str], weights: Mapping[str, Any], document: Mapping[str, Any]
    ) -> None:
        """Keep the one opinion of several photographs of a dial, which are there already; older ones stay.

        roles : what each photograph was to it, by sha256.
        """
        if not _is_text(name):
            raise ParameterError(f"the dial's name is {name!r}, which holds bytes that are no text; leave them out")
        with self._change() as base:
            for statement in _DIALS:
                base.execute(statement)
            version = f"{weights['name']} {weights['version']}"
            number = base.execute(
                "INSERT INTO dial (name, weights, weights_sha256, made_at, call, log10_lr, document) "
                "VALUES (?, ?, ?, ?, ?, ?, ?)",
                (name, version, weights["sha256"], now(), document["call"], document["log10_lr"],
                 json.dumps(document, allow_nan=False)),
            ).lastrowid  # fmt: skip
            for sha256, role in roles.items():
                base.execute(
                    "INSERT OR IGNORE INTO dial_photo SELECT ?, id, ? FROM photo WHERE sha256 = ?",
                    (number, role, sha256),
                )

    # --- reading ---

    def dials(self) -> list[dict[str, Any]]:
        """The newest opinion of each dial of several photographs, by name: name, weights, made_at, call, log10_lr,
        photographs (ids with their roles). OutputError when one holds what this program never wrote."""
        if not self._all("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'dial'"):
            return []
        rows = self._all(
            "SELECT id, name, weights, made_at, call, log10_lr FROM dial "
            "WHERE id IN (SELECT max(id) FROM dial GROUP BY name) ORDER BY name"
        )
        found = []
        for row in rows:
            members = self._all("SELECT photo, role FROM dial_photo WHERE dial = ? ORDER BY photo", (row["id"],))
            texts = [row["name"], row["weights"], row["made_at"], row["call"], *(one["role"] for one in members)]
            if not (all(isinstance(text, str) for text in texts) and _is_number(row["log10_lr"])):
                raise OutputError(f"{self.path} is damaged: a dial; restore a copy, or give another file")
            values = {name: row[name] for name in ("name", "weights", "made_at", "call", "log10_lr")}
            found.append({**values, "photographs": [dict(one) for one in members]})
        return found

    def known(self, sha256: str, weights_sha256: str | None = None) -> bool:
        """Whether the photograph is there, and with a call of these weights if they are given."""
        if weights_sha256 is None:
            return bool(self._all("SELECT 1 FROM photo WHERE sha256 = ?", (sha256,)))
        query = "SELECT 1 FROM call JOIN photo ON photo.id = call.photo WHERE sha256 = ? AND weights_sha256 = ?"
        return bool(self._all(query, (sha256, weights_sha256)))

    def entry(self, number: int) -> Entry:
        """One photograph; ParameterError without it."""
        known = 0 < number < 2**63  # what SQLite can hold
        rows = self._all(f"{_LATEST} WHERE photo.id = ?", (number,)) if known else []
        if not rows:
            raise ParameterError(f"no photograph {number} in {self.path}; `dialtell collection list` shows them")
        return self._entry(rows[0])

    def entries(self) -> Iterator[Entry]:
        """All photographs by year (unknown last), then in the order added."""
        for row in self._all(f"{_LATEST} ORDER BY photo.year IS NULL, photo.year, photo.id"):
            yield self._entry(row)

    def history(self, number: int) -> list[dict[str, Any]]:
        """Every call of one photograph, oldest first: weights, weights_sha256, made_at, call, log10_lr."""
        query = "SELECT weights, weights_sha256, made_at, call, log10_lr FROM call WHERE photo = ? ORDER BY made_at, id"
        return [dict(row) for row in self._all(query, (number,))]

    def labels(self, number: int) -> list[dict[str, Any]]:
        """Labels of one photograph: zone, label, basis, labelled_at."""
        return [dict(r) for r in self._all("SELECT * FROM label WHERE photo = ? ORDER BY zone", (number,))]

    def pairs(self, test: str | None = None) -> list[dict[str, Any]]:
        """Pairs of photographs laid on each other, the likeliest of one plate first.

        test : only those judged by it; None takes the newest of each pair.
        OutputError when one holds what this program never wrote.
        """
        if not self._all("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'pair'"):
            return []
        newest = "pair.id = (SELECT max(p.id) FROM pair p WHERE p.first = pair.first AND p.second = pair.second)"
        where, values = (newest, ()) if test is None else ("test = ?", (test,))
        names = (*PAIR_FIELDS, "made_at")
        rows = self._all(
            f"SELECT {', '.join(names)} FROM pair WHERE {where} "
            "ORDER BY log10_lr IS NULL, log10_lr DESC, first, second",
            values,
        )
        for row in rows:
            numbers = all(isinstance(row[name], int) for name in ("first", "second", "places", "matched"))
            texts = all(isinstance(row[name], str) for name in ("finding", "reason", "test", "made_at"))
            if not (numbers and texts and _is_number(row["log10_lr"]) and _is_number(row["stray"])):
                raise OutputError(f"{self.path} is damaged: a pair of dials; restore a copy, or give another file")
        return [dict(row) for row in rows]

    def counts(self) -> dict[str, int]:
        """Photographs, calls and labels in the file."""
        tables = {"photographs": "photo", "calls": "call", "labels": "label"}
        return {name: self._all(f"SELECT count(*) FROM {table}")[0][0] for name, table in tables.items()}

    def _entry(self, row: sqlite3.Row) -> Entry:
        """A row as an Entry. OutputError when it holds what this program never wrote: SQLite takes anything."""
        try:
            for name, kinds in _KINDS.items():
                if row[name] is not None and not isinstance(row[name], kinds):
                    raise ValueError(f"a {name} of another kind")
            if not _is_number(row["log10_lr"]) or not _is_number(row["size_mm"]):
                raise ValueError("a number out of range")
            if row["year"] is not None and row["year"] not in _YEARS:
                raise ValueError("a year out of range")
            if row["likeness"] is not None:
                int(row["likeness"], 16)
            document = _document(row["document"])
        except (ValueError, RecursionError) as error:
            raise OutputError(
                f"{self.path} is damaged: photograph {row['id']} holds {error}; restore a copy, or give another file"
            ) from error
        return Entry(
            id=row["id"],
            sha256=row["sha256"],
            path=Path(os.fsdecode(row["path"])),
            added_at=row["added_at"],
            fields={name: row[name] for name in FIELDS},
            likeness=row["likeness"],
            thumbnail=row["thumbnail"],
            weights=row["weights"],
            call=row["call"],
            log10_lr=row["log10_lr"],
            document=document,
        )

    def faults(self) -> list[str]:
        """What SQLite's own integrity check and the foreign keys find; empty when all is well."""
        said = [row[0] for row in self._all("PRAGMA integrity_check") if row[0] != "ok"]
        return said + [f"{row[0]} row {row[1]} belongs to nothing" for row in self._all("PRAGMA foreign_key_check")]


def now() -> str:
    """This moment, ISO 8601 in UTC to the microsecond."""
    return datetime.now(UTC).isoformat()


def _path_cell(path: Path) -> str | bytes:
    """The path as a cell holds it: text, or its bytes where they are no text."""
    text = str(path.resolve())
    return text if _is_text(text) else os.fsencode(text)


def _is_text(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _document(text: object) -> dict[str, Any] | None:
    """A call's document, checked for what is read of it; ValueError for anything else."""
    if text is None:
        return None
    found = json.loads(str(text))
    sound = isinstance(found, dict) and isinstance(found.get("zones"), list) and isinstance(found.get("support"), str)
    for zone in found["zones"] if sound else ():
        sound = (
            sound
            and isinstance(zone, dict)
            and isinstance(zone.get("zone"), str)
            and isinstance(zone.get("judged"), bool)
            and isinstance(zone.get("call", ""), str)
            and _is_number(zone.get("log10_lr"))
        )
    if not sound:
        raise ValueError("a call that is no result of a score")
    return dict(found)


def _is_number(value: object) -> bool:
    """Whether it is a finite number, or nothing."""
    return value is None or (isinstance(value, int | float) and abs(value) < _LARGEST)


_LARGEST = 1e9
_YEARS = range(1000, 2201)
# what a cell of the file may hold, beside nothing
_KINDS: dict[str, tuple[type, ...]] = {
    "id": (int,), "sha256": (str,), "path": (str, bytes), "added_at": (str,), "maker": (str,), "serial": (str,),
    "year": (int,), "size_mm": (float, int), "notes": (str,), "likeness": (str,), "thumbnail": (bytes,),
    "weights": (str,), "call": (str,), "log10_lr": (float, int),
}  # fmt: skip
