"""The photographs of a folder that can be labelled: each known by its content, with what is already on record of it.

A photograph is asked for by the SHA-256 of its bytes, never by a path, and is read only while it lies in the folder
and still has those bytes.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dialtell.evaluate.museum.folder import MANIFEST
from dialtell.evaluate.museum.records import plain
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.reading.photo import walk_photos
from dialtell.synth.shared.errors import ParameterError, PhotoError
from dialtell.synth.shared.files import content_hash
from dialtell.synth.shared.tables import read_table
from dialtell.train.photographs.labels import COLUMNS


@dataclass(frozen=True)
class LabelPhoto:
    """A photograph. id : SHA-256 of its bytes. name : below the folder, safe to show. known : cells on record."""

    id: str
    path: Path
    name: str
    known: Mapping[str, str] = field(default_factory=dict)


class PhotoFolder:
    """The photographs below a folder, in order of their names; copies of one photograph count once.

    photos : by id. left_out : paths that cannot be labelled, and why.
    Raises ParameterError when there is no such folder or nothing in it can be labelled.
    """

    def __init__(self, root: Path) -> None:
        if not root.is_dir():
            raise ParameterError(f"{root} is no folder; give the folder with the photographs")
        self.root = root.resolve()
        self.photos: dict[str, LabelPhoto] = {}
        self.left_out: list[tuple[Path, str]] = []
        records = _records(self.root / MANIFEST)
        for path in walk_photos([self.root])[0]:
            why = self._objection(path)
            digest = "" if why else content_hash(path)
            if why or not digest:
                self.left_out.append((path, why or "cannot be read; check its permissions"))
            elif digest in self.photos:
                self.left_out.append((path, f"is a copy of {self.photos[digest].name}, which is shown once"))
            else:
                below = path.relative_to(self.root).as_posix()
                known = records.get(digest) or records.get(below) or {}
                self.photos[digest] = LabelPhoto(digest, path, plain_name(below), known)
        if not self.photos:
            raise ParameterError(f"{root} holds no photographs that can be labelled; give another folder")

    def __iter__(self) -> Iterator[LabelPhoto]:
        return iter(self.photos.values())

    def checked(self, number: str) -> LabelPhoto:
        """The photograph of this id, still in its place with the same bytes. Raises KeyError, PhotoError."""
        photo = self.photos[number]
        why = self._objection(photo.path)
        if why:
            raise PhotoError(f"{photo.name} {why}")
        if content_hash(photo.path) != number:
            raise PhotoError(f"{photo.name} was changed or taken away; start `dialtell label` again")
        return photo

    def _objection(self, path: Path) -> str:
        """Why a photograph cannot be labelled; empty when it can."""
        if not path.resolve().is_relative_to(self.root):
            return "is a link out of the folder, which is not followed; copy the photograph there"
        if not path.name.isprintable() or not str(path.relative_to(self.root)).isprintable():
            return "has a name that a table cannot hold; rename it"
        return ""


def table_path(photo: Path, table: Path) -> str:
    """The photograph's path as the column photo has it: from the table's folder, with forward slashes."""
    text = os.path.relpath(photo, table.parent.resolve()).replace(os.sep, "/")
    # white space at an end would be stripped, and an apostrophe may be taken for a guard
    return f"./{text}" if text != text.strip() or text.startswith("'") else text


def _records(manifest: Path) -> dict[str, dict[str, str]]:
    """Cells known from the manifest of `dialtell gather`, by sha256 and by file name; empty without one."""
    try:
        table = read_table(manifest, ())
    except ParameterError:
        return {}
    found = {}
    for _, line in table.rows:  # later lines take the place of earlier ones
        row = table.named(line)
        cells = {name: plain(row.get(name) or "") for name in ("museum", "object_type", "source", "file", "sha256")}
        number = plain(row.get("accession_number") or row.get("object_id") or "")
        dial = " ".join(part for part in (cells["museum"], number) if part) if number else ""
        known = {"dial": dial, "source": cells["museum"] or cells["source"], "object_type": cells["object_type"]}
        for key in (cells["sha256"], cells["file"]):
            if key:
                found[key] = {name: value for name, value in known.items() if value and name in COLUMNS}
    return found
