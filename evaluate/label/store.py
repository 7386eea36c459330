"""The labels file while it is being labelled: one process at a time, saved after every change, every change undoable.

Rows belong to the photograph's content (sha256), or to its path where a row states no sha256, so labels follow a
photograph that is renamed and stay when it is deleted. The file is read again before a change if another program has
written it since, and written under a temporary name, then moved into place.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import NamedTuple

from dialtell.evaluate.label.photos import LabelPhoto, table_path
from dialtell.evaluate.label.rules import FREE, LABELS, changed
from dialtell.evaluate.label.sheet import LabelSheet, read_sheet
from dialtell.model.reading.known import MAX_PIXELS, Known
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.files import write_text
from dialtell.synth.shared.locks import alone
from dialtell.train.photographs.labels import COLUMNS, known_from_cells

SEEN = "[labelled with the call in view]"  # in the notes of labels that were not given blind
_MOST_UNDOS = 1000


class _Step(NamedTuple):
    photo: str
    before: dict[str, str] | None
    column: str  # of a free cell, "" otherwise


class LabelStore:
    """A labels file open for labelling; use as a context manager.

    labeller : who labels; "" for whoever labelled the file before.
    Raises OutputError when another process has the file, ParameterError when it is no labels file or another
    labeller's.
    """

    def __init__(self, path: Path, labeller: str = "") -> None:
        self.path = path
        self.labeller = labeller
        self._target = path.resolve()  # a link to a file stays a link
        self._guard = path.with_name(f".{path.name}.lock")
        self._held = ExitStack()
        self._sheet = LabelSheet()
        self._places: dict[str, int] = {}
        self._stamp: tuple[int, int] | None = None
        self._steps: list[_Step] = []
        self._turn = threading.RLock()
        self._ended = False

    def __enter__(self) -> LabelStore:
        if not self.path.parent.is_dir():
            raise OutputError(f"{self.path} cannot be written, there is no folder {self.path.parent}; make it first")
        if self.path.is_dir():
            raise OutputError(f"{self.path} is a folder; give a file in it with --csv")
        if self.path.exists() and not self.path.is_file():
            raise OutputError(f"{self.path} is a device or a pipe; give a file with --csv")
        with ExitStack() as held:
            taken = f"{self.path} is being labelled by another `dialtell label`; end that one, or give another --csv"
            held.enter_context(alone(self._guard, taken, made=True))
            self._read()
            self.labeller = self._whose()
            if not self._target.exists():
                self._save()  # at once, so that a place that cannot be written is known before the first label
            self._held = held.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._turn:  # a change that is being saved is saved whole; none begins after it
            self._held.close()
            self._ended = True

    def row(self, photo: LabelPhoto) -> dict[str, str]:
        """Its cells as saved, or what is on record of it."""
        with self._turn:
            found = self._find(photo)
            return dict.fromkeys(COLUMNS, "") | dict(photo.known if found is None else self._sheet.rows[found])

    def known(self, photo: LabelPhoto, *, max_pixels: int = MAX_PIXELS) -> Known:
        """What its cells say of the photograph itself: size, outline, where 12 stands, a close-up. Cells that cannot be
        read as such say nothing."""
        cells = self.row(photo)
        try:
            return known_from_cells(cells, max_pixels=max_pixels)
        except ParameterError:
            return Known(max_pixels=max_pixels)

    def labelled(self, photo: LabelPhoto) -> bool:
        """Whether the dial has a label, "cannot tell" included."""
        return bool(self.row(photo)["dial_process"])

    def strays(self, photos: Mapping[str, LabelPhoto]) -> int:
        """How many rows are about photographs that are not among these."""
        with self._turn:
            own = {self._find(photo) for photo in photos.values()}
            return len(self._sheet.rows) - len(own - {None})

    def change(self, photo: LabelPhoto, changes: Mapping[str, str], *, seen: bool = False) -> list[str]:
        """Save new cells of a photograph; returns what else changed with them and what to look at, in words.

        seen : whether the labeller sees the tool's call; a label then given is marked so in the notes.
        Raises ParameterError for a change that cannot be, OutputError when it cannot be saved; nothing is changed then.
        """
        with self._turn:
            self._refresh()
            row, said = changed(self.row(photo), changes)
            if seen and any(column in LABELS for column in changes) and SEEN not in row["notes"]:
                row["notes"] = f"{row['notes']} {SEEN}".strip()
            column = next(iter(changes)) if len(changes) == 1 else ""
            self._put(photo, row, column if column in FREE else "")
            return said + self._doubts(photo, row)

    def set_outline(self, photo: LabelPhoto, text: str) -> None:
        """Save the outline, "cx cy a b degrees", or "" for none. Raises OutputError."""
        with self._turn:
            self._refresh()
            self._put(photo, self.row(photo) | {"outline": text}, "")

    def undo(self) -> str | None:
        """Take the last change back; the id of its photograph, None when there is nothing left. Raises OutputError."""
        with self._turn:
            if not self._steps:
                return None
            self._refresh()
            step, rows = self._steps[-1], list(self._sheet.rows)
            place = self._places.get(step.photo)
            if step.before is None:
                rows = [row for i, row in enumerate(rows) if i != place]
            elif place is None:
                rows.append(step.before)
            else:
                rows[place] = step.before
            self._commit(rows)
            self._steps.pop()
            return step.photo

    def _put(self, photo: LabelPhoto, row: dict[str, str], column: str) -> None:
        row |= {
            "photo": table_path(photo.path, self.path),
            "sha256": photo.id,
            "labeller": self.labeller,
            "labelled_at": datetime.now(UTC).isoformat(timespec="seconds"),
        }
        rows, place = list(self._sheet.rows), self._find(photo)
        before = None if place is None else rows[place] | {"sha256": photo.id}  # so that undoing finds the row
        if place is None:
            rows.append(row)
        else:
            rows[place] = row
        self._commit(rows)
        last = self._steps[-1] if self._steps else None
        if not (column and last and (last.photo, last.column) == (photo.id, column)):  # typing is one step
            self._steps = [*self._steps[1 - _MOST_UNDOS :], _Step(photo.id, before, column)]

    def _doubts(self, photo: LabelPhoto, row: Mapping[str, str]) -> list[str]:
        """Other photographs of the same dial that are labelled otherwise."""
        if not row["dial"] or row["dial_process"] in ("", "cannot tell"):
            return []
        others = [
            other
            for other in self._sheet.rows
            if (other["source"], other["dial"]) == (row["source"], row["dial"])
            and other["dial_process"] not in ("", "cannot tell", row["dial_process"])
        ]
        if not others:
            return []
        return [
            f"The same dial is labelled {others[0]['dial_process']} in {others[0]['photo']}; one dial has one label."
        ]

    def _find(self, photo: LabelPhoto) -> int | None:
        found = self._places.get(photo.id)
        return self._places.get(table_path(photo.path, self.path)) if found is None else found

    def _whose(self) -> str:
        names = sorted({row["labeller"] for row in self._sheet.rows if row["labeller"]})
        if not self.labeller:
            if len(names) > 1:
                raise ParameterError(
                    f"{self.path} holds labels by {', '.join(names)}; say which you are with --labeller"
                )
            return names[0] if names else ""
        if names and self.labeller not in names:
            raise ParameterError(
                f"{self.path} holds labels by {', '.join(names)}; give {self.labeller} a file of their own, such as "
                f"--csv {self.path.with_stem(self.path.stem + '-2')}"
            )
        return self.labeller

    # --- the file ---

    def _read(self) -> None:
        if self._target.exists():
            self._adopt(read_sheet(self._target))
        self._stamp = self._stamped()

    def _adopt(self, sheet: LabelSheet) -> None:
        """Hold these rows, and know where the row of each sha256, or path without one, is; the first counts."""
        self._sheet = sheet
        self._places = {}
        for place, row in enumerate(sheet.rows):
            self._places.setdefault(row["sha256"].lower() or row["photo"], place)

    def _refresh(self) -> None:
        """Take in what another program wrote since; a file that was taken away is written anew."""
        stamp = self._stamped()
        if stamp is not None and stamp != self._stamp:
            self._read()

    def _save(self) -> None:
        write_text(self._target, self._sheet.text(), overwrite=True)
        self._stamp = self._stamped()

    def _commit(self, rows: list[dict[str, str]]) -> None:
        """Hold and save these rows, or have those from before."""
        if self._ended:
            raise OutputError(f"{self.path} is no longer open; start `dialtell label` again")
        before = self._sheet
        self._adopt(replace(before, rows=rows))
        try:
            self._save()
        except BaseException:
            self._adopt(before)
            raise

    def _stamped(self) -> tuple[int, int] | None:
        try:
            found = self._target.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size
