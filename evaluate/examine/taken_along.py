"""Dials as files to take along: a table, JSON, or everything with the photographs in one zip, made as it is sent.

What is kept back of a dial goes along in none of them: it is read anew where the dial is opened.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from dialtell.evaluate.examine.fields import FIELDS
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.labels_along import labels_along
from dialtell.evaluate.examine.record import PLACES, ExaminedDials
from dialtell.evaluate.words.plain import plain_name
from dialtell.synth.shared.errors import OutputError, said_in_words
from dialtell.synth.shared.files import require_free, whole_file
from dialtell.synth.shared.tables import rows_text

SCHEMA = "dialtell.examined/1"
TABLE, LABELS, DIALS, PHOTOGRAPHS = "dials.csv", "labels.csv", "dials/", "photographs/"
COLUMNS = (
    "id", *FIELDS, "photographs", *(f"{place.replace(' ', '_')}_call" for place in PLACES),
    *(f"{place.replace(' ', '_')}_opinion" for place in PLACES),
)  # fmt: skip
_PART = 2**18  # bytes


def dial_along(dials: ExaminedDials, number: int) -> dict[str, Any]:
    """All of a dial, without numbers or places of this machine."""
    row = dials.dial(number)
    hidden = dials.kept_back(row)
    readings: dict[int, list[str]] = {}
    photos = []
    for photo in dials.rows(
        "SELECT p.*, c.likeness FROM examined_photo p LEFT JOIN photo c ON c.sha256 = p.sha256 WHERE p.dial = ? "
        "ORDER BY p.added_at, p.sha256",
        [number],
    ):
        names = ("sha256", "file", "name", "added_at", "likeness")
        found = [] if hidden else dials.rows(
            "SELECT * FROM examined_reading WHERE sha256 = ? ORDER BY id", [photo["sha256"]]
        )  # fmt: skip
        readings |= {one["id"]: [photo["sha256"], one["made_at"]] for one in found}
        said = [{**_judged(one), "marked": json.loads(one["marked"])} for one in found]
        photos.append({**{name: photo[name] for name in names}, "marked": json.loads(photo["marked"]),
                       "readings": said})  # fmt: skip
    together = [] if hidden else dials.rows("SELECT * FROM examined_together WHERE dial = ? ORDER BY id", [number])
    return {
        "schema": SCHEMA,
        "id": row["uid"],
        **{name: row[name] for name in ("made_at", *FIELDS, "shown_at")},
        "blind": bool(row["blind"]),
        "aside": bool(row["aside"]),
        "photographs": photos,
        "together": [
            {**_judged(one), "readings": [readings[each] for each in json.loads(one["readings"])]} for one in together
        ],
        "opinions": dials.rows(
            "SELECT zone, label, call_shown, noted_at FROM examined_opinion WHERE dial = ? ORDER BY id", [number]
        ),
    }


def _judged(row: Mapping[str, Any]) -> dict[str, Any]:
    document = json.loads(row["document"])
    if "photo" in document:
        document["photo"] = Path(document["photo"]).name
    for part in document.get("photographs", ()):
        part["photo"] = Path(part["photo"]).name
    return {**{name: row[name] for name in ("made_at", "weights", "weights_sha256")}, "document": document}


def table_along(dials: ExaminedDials) -> str:
    """One line a dial, for a spreadsheet."""
    lines: list[list[object]] = [list(COLUMNS)]
    calls: dict[tuple[int, str], str] = {
        (row["dial"], row["zone"]): row["call"] for row in dials.rows("SELECT * FROM examined_standing", [])
    }
    for row in dials.rows(
        "SELECT d.*, (SELECT count(*) FROM examined_photo p WHERE p.dial = d.id) AS photographs FROM examined_dial d "
        "ORDER BY d.id",
        [],
    ):
        number, hidden, opinions = row["id"], dials.kept_back(row), dials.opinions(row["id"])
        told = ["kept back" if hidden else calls.get((number, place), "") for place in PLACES]
        said = [opinions.get(place, {}).get("label", "") for place in PLACES]
        fields = [plain_name(row[name]) if isinstance(row[name], str) else row[name] for name in FIELDS]
        lines.append([row["uid"], *fields, row["photographs"], *told, *said])
    return rows_text(lines, floats=".10g")


def numbers(files: KeptFiles) -> list[int]:
    """Of all dials."""
    with files.opened() as dials:
        return [row["id"] for row in dials.rows("SELECT id FROM examined_dial ORDER BY id", [])]


def _text(files: KeptFiles, number: int) -> tuple[dict[str, Any], bytes]:
    with files.opened() as dials:
        found = dial_along(dials, number)
    return found, json.dumps(found, ensure_ascii=False, allow_nan=False).encode("utf-8", "backslashreplace")


def json_along(files: KeptFiles) -> Iterator[bytes]:
    """All dials as one JSON document, in parts."""
    yield b'{"schema": "%s", "dials": [' % SCHEMA.encode()
    for place, number in enumerate(numbers(files)):
        yield (b",\n" if place else b"\n") + _text(files, number)[1]
    yield b"\n]}\n"


class _Sent:
    """What a zip is written to: kept until it is taken."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, content: bytes, /) -> int:
        """Keep some bytes; their number."""
        self._parts.append(bytes(content))
        return len(content)

    def flush(self) -> None:
        """Nothing is held back."""

    def close(self) -> None:
        """Nothing is held open."""

    def taken(self) -> bytes:
        """All that was written since last asked."""
        parts, self._parts = self._parts, []
        return b"".join(parts)


def zip_along(files: KeptFiles) -> Iterator[bytes]:
    """A zip of the table, labels, a JSON file a dial and the photographs as they came, in parts."""
    sent = _Sent()
    with zipfile.ZipFile(sent, "w") as archive:
        with files.opened() as dials:
            archive.writestr(TABLE, table_along(dials))
            archive.writestr(LABELS, labels_along(dials, lambda file: PHOTOGRAPHS + files.photograph(file).name))
        yield sent.taken()
        for number in numbers(files):
            found, text = _text(files, number)
            archive.writestr(f"{DIALS}{found['id']}.json", text, zipfile.ZIP_DEFLATED)
            yield sent.taken()
            for photo in found["photographs"]:
                place = files.photograph(photo["file"])
                if not place.is_file():
                    continue  # taken away by someone's hand; the dial still goes along
                with (
                    place.open("rb") as source,
                    archive.open(zipfile.ZipInfo(PHOTOGRAPHS + place.name), "w", force_zip64=True) as target,
                ):
                    while part := source.read(_PART):
                        target.write(part)
                        yield sent.taken()
    yield sent.taken()


def table_parts(files: KeptFiles) -> Iterator[bytes]:
    """All dials as a table, in one part."""
    with files.opened() as dials:
        yield table_along(dials).encode()


FORMS = {"zip": zip_along, "json": json_along, "csv": table_parts}


def write_along(files: KeptFiles, target: Path, *, overwrite: bool) -> None:
    """Write all dials to a file, in the form that its name ends in. Raises OutputError."""
    parts = FORMS.get(target.suffix.lower().removeprefix("."))
    if parts is None:
        raise OutputError(f"{target} ends in none of .zip, .json and .csv; give a name that does")
    require_free(target, overwrite=overwrite)
    with said_in_words(target), whole_file(target, synced=True) as file:
        for part in parts(files):
            file.write(part)
