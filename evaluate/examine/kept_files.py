"""The folder of an examination: the collection file, photographs named by their content, and views that can be remade.

A photograph is written whole and is on the disk before anybody is told that it is kept.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from dialtell.evaluate.examine.record import ExaminedDials
from dialtell.synth.shared.errors import PhotoError, said_in_words
from dialtell.synth.shared.files import whole_file
from dialtell.synth.shared.locks import alone

COLLECTION = "dials.collection"
# kept as the photograph's ending; what a file is its content tells
_ENDINGS = frozenset((
    ".jpg", ".jpeg", ".png", ".heic", ".heif", ".tif", ".tiff", ".webp", ".avif", ".jp2", ".gif", ".bmp", ".ppm",
))  # fmt: skip


@dataclass(frozen=True)
class KeptFiles:
    """folder : holds everything, made if missing."""

    folder: Path

    @property
    def collection(self) -> Path:
        """The collection file."""
        return self.folder / COLLECTION

    def prepare(self) -> None:
        """Make folders and tables. Raises OutputError."""
        for place in (self.folder, self.folder / "photographs", self.folder / "views"):
            with said_in_words(place):
                place.mkdir(exist_ok=True)
        with ExaminedDials(self.collection, create=True) as dials:
            dials.prepare()

    def held(self) -> AbstractContextManager[None]:
        """Held against other programs that would examine the same dials. Raises OutputError where one does."""
        refusal = f"{self.folder} is being examined by another program already; close that one, or give another folder"
        return alone(self.folder / ".dialtell-examine.lock", refusal, made=True)

    def opened(self) -> ExaminedDials:
        """The record, for one piece of work."""
        return ExaminedDials(self.collection)

    def photograph(self, file: str) -> Path:
        """Where a photograph lies. file : as kept in the record."""
        return self.folder / "photographs" / Path(file).name

    def view(self, sha256: str) -> Path:
        """Where the JPEG lies that the page shows of a photograph."""
        return self.folder / "views" / f"{sha256}.jpg"

    def full(self, sha256: str) -> Path:
        """Where the JPEG lies that the loupe shows of a photograph."""
        return self.folder / "views" / f"{sha256}-full.jpg"

    def page(self, of: list[object]) -> Path:
        """Where an inspection page lies. of : all that it is made of: numbers of readings, year, name."""
        return self.folder / "views" / f"{hashlib.sha256(json.dumps(of).encode()).hexdigest()}.html"

    def there(self, sha256: str) -> str | None:
        """The file of a photograph that is kept already, under whichever ending it came."""
        found = next((self.folder / "photographs").glob(f"{sha256}.*"), None)
        return None if found is None else found.name

    def keep(self, content: IO[bytes], name: str, *, only: str | None = None) -> tuple[str, str]:
        """Write a photograph under its hash; the hash, and the file's name. only : the hash it must have.

        Raises OutputError, and PhotoError where the hash is another.
        """
        content.seek(0)
        sums = hashlib.sha256()
        for part in iter(lambda: content.read(2**20), b""):
            sums.update(part)
        digest = sums.hexdigest()
        if only not in (None, digest):
            raise PhotoError(f"{name} holds other bytes than it should; take the dials along anew")
        ending = Path(name).suffix.lower()
        place = self.photograph(digest + (ending if ending in _ENDINGS else ".photo"))
        with said_in_words(place):
            if (there := self.there(digest)) is not None:
                place = self.photograph(there)
            else:
                content.seek(0)
                with whole_file(place, synced=True) as target:
                    shutil.copyfileobj(content, target)
        return digest, place.name
