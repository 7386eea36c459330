"""Labels of real photographs: a CSV that says of each dial, and of its zones, how it was made and on what basis.

One row per photograph. The columns photo and dial_process must be there, the others may be left out or left empty:

    photo          path, relative to the folder of the CSV
    sha256         of the file, 64 hexadecimal digits; checked when given
    dial           one name for all photographs of one dial
    source         one name for all dials from one book, museum, seller or owner
    object_type    such as "pocket watch"
    size_mm        diameter of the dial in mm
    labeller       who labelled it
    basis          by eye, record or examined object
    dial_process   painted, printed, mixed or cannot tell
    print_process  transfer, photographic or cannot tell; only of printed and mixed dials
    signature, numerals, minute_track, seconds_bit    painted, printed or cannot tell; empty: not labelled
    outline        "cx cy a b degrees": centre, semi-axes a >= b (photo px, the photograph held upright) and the angle
                   of the major axis from +x towards +y
    twelve_deg     where 12 o'clock stands in the photograph, degrees clockwise from up
    places         "hand x y x y x y; signature x y x y x y": what lies over the design (hand, stain, label, reflection)
                   or which zone a place belongs to, each with the corners of its outline (photo px, as above)
    close_up       yes, where it shows only a part of the dial
    px_per_mm      scale of a close-up
    zone           which zone a close-up shows: signature, numerals, minute track, seconds bit or other
    labelled_at, notes

A sheet may put an apostrophe before a cell that begins with = + - or @, so that it is not run as a formula; it is
taken off again. Rows with a fault are named by their number in the sheet (the head is row 1) and never used.
"""

from __future__ import annotations

import hashlib
import math
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from dialtell.model.reading.known import MAX_PIXELS, PER_MM, UNKNOWN, Known, Outline, read_outline, read_places
from dialtell.synth.shared.errors import DialtellError, ParameterError
from dialtell.synth.shared.sizes import LARGEST_MM, SMALLEST_MM
from dialtell.synth.shared.tables import read_table
from dialtell.synth.shared.terms import Process, Zone

PAINTED, PRINTED, MIXED, CANNOT_TELL = "painted", "printed", "mixed", "cannot tell"
DIAL_LABELS = (PAINTED, PRINTED, MIXED, CANNOT_TELL)
ZONE_LABELS = (PAINTED, PRINTED, CANNOT_TELL)
PRINT_LABELS = (Process.TRANSFER.value, Process.PHOTOGRAPHIC.value, CANNOT_TELL)
BASES = ("by eye", "record", "examined object")
ZONE_COLUMNS = {
    "signature": Zone.SIGNATURE,
    "numerals": Zone.NUMERALS,
    "minute_track": Zone.MINUTE_TRACK,
    "seconds_bit": Zone.SECONDS_BIT,
}
COLUMNS = (
    "photo", "sha256", "dial", "source", "object_type", "size_mm", "labeller", "basis", "dial_process",
    "print_process", *ZONE_COLUMNS, "outline", "twelve_deg", "places", "close_up", "px_per_mm", "zone", "labelled_at",
    "notes",
)  # fmt: skip
REQUIRED = ("photo", "dial_process")
ZONE_NAMES = tuple(zone.value for zone in Zone)

_SHOWN = 10  # problems in one message
_EXTRA = "\0"  # no column's name: marks a row with more cells than columns


class LabelsError(DialtellError):
    """A labels file that cannot be read, or has faulty rows. problems : one line each, naming the row."""

    def __init__(self, message: str, problems: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


@dataclass(frozen=True)
class LabelledPhoto:
    """One photograph with its labels; "" and None mean: not said.

    row : in the sheet, the head being row 1. name : path as the sheet has it. path : resolved against its folder.
    sha256 : of the file as it is. zones : only labelled ones. said : of the photograph itself.
    """

    row: int
    name: str
    path: Path
    sha256: str
    dial_process: str
    zones: Mapping[Zone, str] = field(default_factory=dict)
    print_process: str = ""
    dial: str = ""
    source: str = ""
    object_type: str = ""
    labeller: str = ""
    basis: str = ""
    said: Known = UNKNOWN
    labelled_at: str = ""
    notes: str = ""

    @property
    def size_mm(self) -> float | None:
        """Diameter of the dial, None if not said."""
        return self.said.diameter_mm

    @property
    def outline(self) -> Outline | None:
        """The outline that was drawn, if one was."""
        return self.said.outline

    def known(self, *, outlines: bool = True, max_pixels: int = MAX_PIXELS) -> Known:
        """What the row says of the photograph itself; without its outline, where 12 stands and places unless
        `outlines`."""
        said = replace(self.said, max_pixels=max_pixels)
        return said if outlines else replace(said, outline=None, twelve_deg=None, places=())


def read_labels(path: str | os.PathLike[str]) -> list[LabelledPhoto]:
    """All rows of a labels file; LabelsError with every problem unless all are sound."""
    photos, problems = check_labels(path)
    if problems:
        more = f"\n  and {len(problems) - _SHOWN} more" if len(problems) > _SHOWN else ""
        listed = "".join(f"\n  {problem}" for problem in problems[:_SHOWN])
        raise LabelsError(f"{path} has {len(problems)} faulty rows; mend or strike them out:{listed}{more}", problems)
    return photos


def check_labels(
    path: str | os.PathLike[str], *, required: Sequence[str] = REQUIRED
) -> tuple[list[LabelledPhoto], tuple[str, ...]]:
    """The sound rows of a labels file, and what is wrong with each of the others.

    required : columns that must be there.

    A photograph with two rows (by path or by content), and a dial with two labels, lose both: nothing says which is
    meant.
    Raises LabelsError when the file cannot be read, or lacks a column.
    """
    place = Path(path)
    photos: list[LabelledPhoto] = []
    problems: dict[int, str] = {}
    for row, cells in _rows(place, required):
        try:
            photos.append(_photo(row, cells, place.parent))
        except _Fault as fault:
            problems[row] = str(fault)
    seen: dict[str, list[LabelledPhoto]] = {}
    for photo in photos:
        seen.setdefault(photo.sha256, []).append(photo)
    for same in seen.values():
        for photo in same if len(same) > 1 else ():
            others = ", ".join(f"row {other.row} ({other.name})" for other in same if other is not photo)
            problems[photo.row] = f"{photo.name} is the same photograph as {others}; keep one row of it"
    by_dial: dict[tuple[str, str], list[LabelledPhoto]] = {}
    for photo in photos:
        if photo.dial and photo.dial_process in (PAINTED, PRINTED, MIXED):
            by_dial.setdefault((photo.source, photo.dial), []).append(photo)
    for same in by_dial.values():
        for photo in same:
            other = next((one for one in same if one.dial_process != photo.dial_process), None)
            if other is not None:
                problems.setdefault(
                    photo.row,
                    f"dial {photo.dial} is {photo.dial_process} here but {other.dial_process} in row {other.row}; "
                    "one dial has one label",
                )
    sound = [photo for photo in photos if photo.row not in problems]
    return sound, tuple(f"row {row}: {problems[row]}" for row in sorted(problems))


def known_from_cells(cells: Mapping[str, str], *, max_pixels: int = MAX_PIXELS) -> Known:
    """What the cells of one row say of the photograph itself. Raises ParameterError for cells that cannot be."""
    try:
        shows = _word(cells, "zone", ZONE_NAMES)
        return Known(
            diameter_mm=_number(cells, "size_mm", SMALLEST_MM, LARGEST_MM, "mm", "a diameter"),
            close_up=_word(cells, "close_up", ("yes", "no")) == "yes",
            pixels_per_mm=_number(cells, "px_per_mm", *PER_MM, "px/mm"),
            zone=Zone(shows) if shows else None,
            outline=_outline(cells.get("outline", "")),
            twelve_deg=_number(cells, "twelve_deg", -360.0, 360.0, "degrees"),
            places=read_places(cells.get("places", "")),
            max_pixels=max_pixels,
        )
    except _Fault as fault:
        raise ParameterError(str(fault)) from None


class _Fault(Exception):
    """What is wrong with one row."""


def _rows(place: Path, required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """Number and cells of each row that is not empty."""
    try:
        table = read_table(place, tuple(required))
    except ParameterError as error:
        raise LabelsError(str(error)) from error
    if not table.head:
        raise LabelsError(f"{place} is empty; it needs the columns {' and '.join(required)}")
    return [
        (number, table.named(cells) | ({_EXTRA: "yes"} if table.extra(cells) else {})) for number, cells in table.rows
    ]


def _photo(row: int, cells: Mapping[str, str], folder: Path) -> LabelledPhoto:
    if _EXTRA in cells:
        raise _Fault("has more cells than there are columns; put cells with a comma in quotes")
    if not cells["photo"]:
        raise _Fault("photo is empty; give the path of the photograph, relative to this file")
    zones = {zone: _word(cells, column, ZONE_LABELS) for column, zone in ZONE_COLUMNS.items()}
    print_process = _word(cells, "print_process", PRINT_LABELS)
    dial_process = _word(cells, "dial_process", DIAL_LABELS)
    if print_process and dial_process not in (PRINTED, MIXED):
        raise _Fault(
            f"print_process is {print_process!r} but dial_process {dial_process!r}; "
            "give print_process only for printed and mixed dials"
        )
    odd = [zone for zone, label in zones.items() if {label, dial_process} == {PAINTED, PRINTED}]
    if odd:
        raise _Fault(f"dial_process is {dial_process!r} but {odd[0]} {zones[odd[0]]!r}; then the dial is mixed")
    path = folder / cells["photo"]
    try:
        said = known_from_cells(cells)
    except ParameterError as error:
        raise _Fault(str(error)) from None
    return LabelledPhoto(
        row=row,
        name=cells["photo"],
        path=path,
        sha256=_digest(path, cells.get("sha256", "")),
        dial_process=dial_process,
        zones={zone: label for zone, label in zones.items() if label},
        print_process=print_process,
        basis=_word(cells, "basis", BASES),
        said=said,
        dial=cells.get("dial", ""),
        source=cells.get("source", ""),
        object_type=cells.get("object_type", ""),
        labeller=cells.get("labeller", ""),
        labelled_at=cells.get("labelled_at", ""),
        notes=cells.get("notes", ""),
    )


def _word(cells: Mapping[str, str], column: str, allowed: tuple[str, ...]) -> str:
    word = cells.get(column, "")
    if word and word not in allowed:
        raise _Fault(f"{column} is {word!r}; give {', '.join(allowed[:-1])} or {allowed[-1]}, or leave it empty")
    return word


def _outline(text: str) -> Outline | None:
    try:
        return read_outline(text) if text else None
    except ParameterError as error:
        raise _Fault(str(error)) from None


def _number(
    cells: Mapping[str, str], column: str, low: float, high: float, unit: str, what: str = "a number"
) -> float | None:
    text = cells.get(column, "")
    try:
        value = float(text) if text else None
    except ValueError:
        value = math.nan
    if value is not None and not low <= value <= high:
        raise _Fault(f"{column} is {text!r}; give {what} from {low:g} to {high:g} {unit}")
    return value


def _digest(path: Path, said: str) -> str:
    if said and not re.fullmatch(r"[0-9a-fA-F]{64}", said):
        raise _Fault(f"sha256 is {said!r}; give 64 hexadecimal digits, or leave it empty")
    try:
        if str(path).startswith(("//", "\\\\")):  # asking for it would tell another machine who asks
            raise _Fault(f"{path} is on another machine; copy the photograph here")
        if path.exists() and not path.is_file():  # a pipe or device may never end
            raise _Fault(f"{path} is no file; give the path of a photograph")
        with path.open("rb") as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise _Fault(f"{path} cannot be read ({reason}); put the photograph there or mend the path") from error
    if said and said.lower() != found:
        raise _Fault(f"{path} has sha256 {found[:12]}... but {said[:12].lower()}... was labelled; it has changed since")
    return found
