"""The folder a set is drawn into: whole files only, a manifest in order, and going on after an interruption.

The folder holds set.json (the settings), manifest.jsonl and the pictures. A file is written under a hidden name and
moved to its own name when whole; its line is appended after that. Line k belongs to picture k of the set.
"""

from __future__ import annotations

import json
import os
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType

import cv2
import numpy as np

from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.sets.dial_set import DialSet
from dialtell.synth.sets.manifest import (
    MANIFEST,
    Drawn,
    Line,
    as_text,
    files_of,
    read_manifest,
    sha256,
    sha256_of_file,
)
from dialtell.synth.shared.errors import OutputError, said_in_words
from dialtell.synth.shared.files import append, write_whole
from dialtell.synth.shared.locks import alone
from dialtell.synth.shared.record import to_record

SETTINGS = "set.json"
SCHEMA = "dialtell.dial-set/1"


class SetFolder:
    """A folder open for drawing one set; use as a context manager.

    lines : what is finished, in the order of the pictures.
    """

    def __init__(self, path: Path, dials: DialSet, *, overwrite: bool = False) -> None:
        self.path = path
        self.dials = dials
        self.overwrite = overwrite
        self.lines: list[Line] = []
        self._held = ExitStack()

    def __enter__(self) -> SetFolder:
        """Take the folder; OutputError when it holds something else or another run is drawing into it."""
        with said_in_words(self.path):
            self.path.mkdir(parents=True, exist_ok=True)
        if self.overwrite:
            self._clear()
        self._check_settings()
        manifest = self.path / MANIFEST
        if manifest.exists() and not manifest.is_file():
            raise OutputError(f"{manifest} is no file; move it away or give another --out")
        with said_in_words(manifest):
            manifest.touch()
        with ExitStack() as held:
            taken = f"another run is drawing into {self.path}; wait for it or give another --out"
            held.enter_context(alone(manifest, taken))
            self._recover()
            self._held = held.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._held.close()

    def missing(self) -> list[int]:
        """Numbers of the pictures that are still to be drawn, or whose files are gone or damaged."""
        return [number for number in range(len(self.dials)) if not self._whole(number)]

    def put(self, number: int, picture: Drawn) -> None:
        """Write picture `number`: its files, then its line. Pictures that have no line yet come in order."""
        listed = number < len(self.lines)
        if listed and self.lines[number] != picture.line:
            raise OutputError(
                f"{picture.line['file']} in {self.path} comes out otherwise than before: other versions of the "
                "libraries drew it; add --overwrite to draw the set anew"
            )
        for name in reversed(picture.files):  # the picture itself last
            write_whole(self.path / name, picture.files[name], overwrite=self.overwrite or listed)
        if not listed:
            self._append(picture.line)

    def _settings(self) -> dict[str, object]:
        return {"schema": SCHEMA, "version": RENDERER_VERSION, **to_record(self.dials)}

    def _check_settings(self) -> None:
        path, wanted = self.path / SETTINGS, self._settings()
        if path.exists():
            try:
                found = json.loads(path.read_text("utf-8"))
                found.pop("libraries", None)
            except (OSError, ValueError, AttributeError) as error:
                raise OutputError(
                    f"{path} cannot be read as the settings of a set; move it away, give another --out or --overwrite"
                ) from error
            if found != wanted:
                wrong = _differences(found, wanted)
                raise OutputError(
                    f"{self.path} holds a set drawn with other settings ({'; '.join(wrong)}); give another --out, the "
                    "same settings, or --overwrite to draw it anew"
                )
            return
        if (self.path / MANIFEST).exists():
            raise OutputError(
                f"{self.path} holds a {MANIFEST} but no {SETTINGS}, so it is not a set that can be gone on with; give "
                "another --out or --overwrite"
            )
        libraries = {"numpy": np.__version__, "opencv": cv2.__version__}
        text = json.dumps({**wanted, "libraries": libraries}, indent=1, ensure_ascii=False) + "\n"
        write_whole(path, text.encode(), overwrite=False)

    def _recover(self) -> None:
        """Read what is finished; a last line cut short by an interruption is taken off."""
        path = self.path / MANIFEST
        with said_in_words(path):
            data = path.read_bytes()
            whole = data.rfind(b"\n") + 1
            if whole < len(data):
                os.truncate(path, whole)
        self.lines = read_manifest(path) if whole else []
        order = [picture.index for picture in self.dials.pictures()]
        if [line["index"] for line in self.lines] != order[: len(self.lines)]:
            raise OutputError(f"the lines of {path} are not in the order of the set; add --overwrite to draw it anew")

    def _whole(self, number: int) -> bool:
        if number >= len(self.lines):
            return False
        return all(self._as_drawn(name, found) for name, found in files_of(self.lines[number]).items())

    def _as_drawn(self, name: str, found: str) -> bool:
        place = self.path / name
        with said_in_words(place):
            return place.is_file() and sha256_of_file(place) == found

    def _append(self, line: Line) -> None:
        path = self.path / MANIFEST
        with said_in_words(path):
            append(path, as_text(line).encode())
        self.lines.append(line)

    def _clear(self) -> None:
        """Take away an older set: what its manifest lists and is still as drawn, its manifest and its settings."""
        manifest, settings = self.path / MANIFEST, self.path / SETTINGS
        with said_in_words(self.path):
            if manifest.exists() and settings.exists():
                for line in read_manifest(manifest) if manifest.stat().st_size else []:
                    for name, found in files_of(line).items():
                        if self._as_drawn(name, found):
                            (self.path / name).unlink()
            manifest.unlink(missing_ok=True)
            settings.unlink(missing_ok=True)


def digest(folder: Path) -> str:
    """sha256 of the manifest, which holds the hash of every file: equal for equal sets."""
    return sha256((folder / MANIFEST).read_bytes())


def _differences(found: object, wanted: object, name: str = "") -> list[str]:
    """What differs between two records, in words."""
    if isinstance(found, dict) and isinstance(wanted, dict):
        keys = [key for key in {**wanted, **found} if found.get(key) != wanted.get(key)]
        return [text for key in keys for text in _differences(found.get(key), wanted.get(key), key)]
    return [f"{name} {found}, now {wanted}"]
