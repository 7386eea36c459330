"""The folder photographs are gathered in: whole files only, and a manifest that says where each came from.

A photograph is written as NAME.part, proved, listed in manifest.csv, and only then given its name. Whenever a run
ends, by whatever means, each name stands for a whole photograph and each has its line.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType

from dialtell.evaluate.museum.records import FACTS
from dialtell.synth.shared.errors import OutputError, said_in_words
from dialtell.synth.shared.files import append, content_hash, write_text
from dialtell.synth.shared.locks import alone
from dialtell.synth.shared.tables import rows_text, unguarded

MANIFEST = "manifest.csv"
FILE_FACTS = (
    "file",
    "sha256",
    "bytes",
    "width_px",
    "height_px",
    "licence",
    "attribution",
    "image_url",
    "fetched_from",
    "retrieved",
)
COLUMNS = (*FILE_FACTS, *FACTS)
_KEY = ("image_url", "museum", "object_id", "accession_number", "title")
_PART = re.compile(r"[a-z0-9.-]+-[0-9a-f]{10}\.part")

Row = Mapping[str, str]
Key = tuple[str, ...]


class NameTaken(OutputError):
    """A photograph's name is that of a file which did not come by this command."""


def key_of(row: Row) -> Key:
    """What a line of the manifest is about: one photograph of one object."""
    return tuple(row[name] for name in _KEY)


class Gathered:
    """A folder open for gathering; use as a context manager. OutputError when another run has it or it is not one.

    rows : the manifest's lines by what they are about, the newest of each.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.manifest = path / MANIFEST
        self.rows: dict[Key, Row] = {}
        self._lines = 0  # in the manifest, superseded ones too
        self._held = ExitStack()
        self._whole: dict[str, bool] = {}
        self._at_hand: dict[str, Path] | None = None

    def __enter__(self) -> Gathered:
        with said_in_words(self.path):
            self.path.mkdir(parents=True, exist_ok=True)
        with ExitStack() as held:
            taken = f"another run is gathering into {self.path}; wait for it or give another --out"
            held.enter_context(alone(self.path, taken))
            self._recover()
            for part in self.path.glob("*.part"):  # of a run that was killed
                if _PART.fullmatch(part.name):
                    part.unlink()
            self._held = held.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._held:
            if self._lines > len(self.rows) and not isinstance(error, OutputError):
                write_text(
                    self.manifest, rows_text([COLUMNS, *(row.values() for row in self.rows.values())]), overwrite=True
                )

    def holds(self, row: Row) -> bool:
        """Whether the file a line names is there with the bytes the line states."""
        name = row["file"]
        if name not in self._whole:
            try:
                self._whole[name] = _sha256(self.path / name) == row["sha256"]
            except OSError:  # not to be read, so not to be relied on
                self._whole[name] = False
        return self._whole[name]

    def twin(self, url: str) -> Row | None:
        """A line about the same photograph, of whichever object, whose file is whole."""
        return next((row for row in self.rows.values() if row["image_url"] == url and self.holds(row)), None)

    def at_hand(self, sha256: str) -> Path | None:
        """A file with these bytes that lies in the folder under whatever name, such as one that came by other ways."""
        if self._at_hand is None:
            files = sorted(path for path in self.path.iterdir() if path.is_file() and not path.is_symlink())
            self._at_hand = {content_hash(path): path for path in files}
        return self._at_hand.get(sha256)

    def part(self, stem: str) -> Path:
        """Where a photograph is written until it is proved."""
        return self.path / f"{stem}.part"

    def put(self, part: Path, row: Row) -> None:
        """List a proved photograph and give it its name.

        A file of that name which the manifest states otherwise was changed by someone: it is set aside as
        NAME.SHA.changed. One that the manifest does not know is not replaced: NameTaken.
        """
        place = self.path / row["file"]
        with said_in_words(place):
            found = _sha256(place)
            if found is not None and found != row["sha256"]:
                if all(known["file"] != row["file"] for known in self.rows.values()):
                    raise NameTaken(f"{place} exists and {MANIFEST} does not know it; move it away")
                os.replace(place, place.with_name(f"{place.name}.{found[:8]}.changed"))
        self.note(row)
        with said_in_words(place):
            os.replace(part, place)
        self._whole[row["file"]] = True

    def note(self, row: Row) -> None:
        """Append a line to the manifest; all of it or nothing."""
        line = {name: row[name] for name in COLUMNS}
        with said_in_words(self.manifest):
            header = not self.manifest.exists() or self.manifest.stat().st_size == 0
            text = rows_text([*([COLUMNS] if header else []), line.values()])
            append(self.manifest, text.encode())
        self.rows[key_of(line)] = line
        self._lines += 1

    def _recover(self) -> None:
        """Read the manifest; a last line cut short by a kill is taken off."""
        if self.manifest.is_symlink() or (self.manifest.exists() and not self.manifest.is_file()):
            raise OutputError(f"{self.manifest} is a link or no file; move it away or give another --out")
        if not self.manifest.exists():
            return
        with said_in_words(self.manifest):
            data = self.manifest.read_bytes()
        whole = data.rfind(b"\n") + 1
        strange = OutputError(f"{self.manifest} is no manifest of this command; move it away or give another --out")
        try:
            table = list(csv.reader(io.StringIO(data[:whole].decode(), newline=""), strict=True))
        except (UnicodeDecodeError, csv.Error) as error:
            raise strange from error
        if table and tuple(table[0]) != COLUMNS:
            raise strange
        if not table and not ",".join(COLUMNS).startswith(data.decode(errors="replace")):
            raise strange
        for fields in table[1:]:
            row = dict(zip(COLUMNS, map(unguarded, fields), strict=False))
            if len(fields) != len(COLUMNS) or not re.fullmatch(r"[a-z0-9-][a-z0-9.-]*", row["file"]):
                raise strange
            self.rows[key_of(row)] = row
        self._lines = max(0, len(table) - 1)
        if whole < len(data):
            with said_in_words(self.manifest):
                os.truncate(self.manifest, whole)


def _sha256(path: Path) -> str | None:
    """Of a file's bytes, as hexadecimal digits; None when it is not there, or is a pipe or device."""
    if path.exists() and not path.is_file():
        return None
    try:
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except FileNotFoundError:
        return None
