"""Dials that were taken along brought in: a zip, JSON or a table. What is there already is not doubled or replaced.

Nothing of a file is believed: names lead nowhere, photographs are kept by their own hash, and words and numbers are
checked as those of a form are.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
import uuid
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from dialtell.evaluate.collection.file import LABELS, now
from dialtell.evaluate.examine.fields import FIELDS, TEXTS, UNITS, cells_of
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.record import PLACES
from dialtell.evaluate.examine.taken_along import DIALS, PHOTOGRAPHS, SCHEMA
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.model.reading.known import known_from
from dialtell.synth.shared.errors import ParameterError, PhotoError
from dialtell.synth.shared.tables import parse_table

LARGEST_TEXT = 256 * 2**20  # bytes of a table or JSON
_LARGEST_DIAL = 64 * 2**20
_MOST_PARTS = 500_000  # files in a zip
_IN_MEMORY = 16 * 2**20
_ID, _HASH = re.compile("[0-9a-f]{32}"), re.compile("[0-9a-f]{64}")
_TABLE_ID = uuid.UUID("5f1f0d1e-52a4-4a75-9d0a-1d5f3c6a7b20")  # names lines of tables that name no dial


@dataclass
class Brought:
    """dials, photographs : that were not there. known : dials that were. missing : photographs that did not come
    along. elsewhere : photographs that lie under another dial here. photos, wanted : photographs to look at and
    dials to go through."""

    dials: int = 0
    known: int = 0
    photographs: int = 0
    missing: int = 0
    elsewhere: int = 0
    photos: list[str] = field(default_factory=list)
    wanted: list[int] = field(default_factory=list)


def bring_in(files: KeptFiles, content: IO[bytes], largest_photo: int) -> Brought:
    """Bring in a file. Raises ParameterError where it is none of ours, and OutputError where it cannot be kept; what
    was brought in before stays, and the same file can be brought in again."""
    brought = Brought()
    content.seek(0)
    begin = content.read(4)
    content.seek(0)
    try:
        if begin[:2] == b"PK":
            _from_zip(files, content, largest_photo, brought)
        else:
            text = content.read(LARGEST_TEXT + 1)
            if len(text) > LARGEST_TEXT:
                raise ParameterError("the file is too large for a table or JSON; bring in the zip instead")
            words = text.decode("utf-8-sig")
            dials = _listed(words) if words.lstrip().startswith("{") else _lines(words)
            for dial in dials:
                _keep(files, _checked(dial), {}, brought)
    except UnicodeDecodeError as error:
        raise ParameterError("the file is neither a zip nor text in UTF-8; give one that was taken along") from error
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise ParameterError(f"the zip is damaged or of another kind ({error}); take the dials along anew") from error
    return brought


def _from_zip(files: KeptFiles, content: IO[bytes], largest_photo: int, brought: Brought) -> None:
    with zipfile.ZipFile(content) as archive:
        parts = archive.infolist()
        if len(parts) > _MOST_PARTS:
            raise ParameterError("the zip holds too many files; take fewer dials along")
        if sum(part.file_size for part in parts) > shutil.disk_usage(files.folder).free:
            raise ParameterError("the zip holds more than there is room for; make room first")
        named = {part.filename: part for part in parts}
        photos = {Path(name).stem: part for name, part in named.items() if name.startswith(PHOTOGRAPHS)}
        dials = [part for name, part in named.items() if name.startswith(DIALS) and name.endswith(".json")]
        if not dials:
            raise ParameterError("the zip holds no dials; give one that was taken along")
        for part in dials:
            if part.file_size > _LARGEST_DIAL:
                raise ParameterError(f"{part.filename[:80]} in the zip is too large for a dial")
            dial = _checked(_parsed(archive.read(part).decode("utf-8")))
            kept: dict[str, str] = {}
            for photo in dial["photographs"]:
                found = photos.get(photo["sha256"])
                if found is not None and found.file_size <= largest_photo:
                    kept |= _photo_kept(files, archive, found, photo)
            _keep(files, dial, kept, brought)


def _photo_kept(
    files: KeptFiles, archive: zipfile.ZipFile, part: zipfile.ZipInfo, photo: Mapping[str, Any]
) -> dict[str, str]:
    """The photograph's file by its hash; nothing where its bytes are others."""
    if (there := files.there(photo["sha256"])) is not None:
        return {photo["sha256"]: there}
    with archive.open(part) as source, tempfile.SpooledTemporaryFile(_IN_MEMORY) as copy:
        shutil.copyfileobj(source, copy)  # no more than the zip says it holds
        try:
            sha256, file = files.keep(copy, photo["file"], only=photo["sha256"])
        except PhotoError:
            return {}
    return {sha256: file}


# --- checking ---


def _parsed(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ParameterError("the file is no JSON, or cut off; take the dials along anew") from error


def _listed(text: str) -> list[Any]:
    found = _parsed(text)
    if found.get("schema") != SCHEMA or not isinstance(found.get("dials"), list):
        raise ParameterError(f"the file is no JSON of schema {SCHEMA}; give one that was taken along")
    return list(found["dials"])


def _lines(text: str) -> Iterator[dict[str, Any]]:
    """Dials of a table: fields alone. A line without an id has one made of what it says."""
    table = parse_table(text, "the table", ())
    known = [name for name in (*TEXTS, "year", "size_mm", "size_as") if name in table.head]
    if not known:
        raise ParameterError(f"the table has none of the columns {', '.join(FIELDS)}; name them in its first line")
    for _, cells in table.rows:
        row = table.named(cells)
        said = {name: row[name] for name in known}
        number = row.get("id") or uuid.uuid5(_TABLE_ID, json.dumps(said, sort_keys=True)).hex
        yield {"schema": SCHEMA, "id": number, **said, "size_as": row.get("size_as") or None}


def _checked(given: Any) -> dict[str, Any]:
    """A dial as it may be kept. Raises ParameterError."""
    try:
        _must(isinstance(given, dict) and given.get("schema") == SCHEMA, f"what is no dial of schema {SCHEMA}")
        _must(isinstance(given.get("id"), str) and _ID.fullmatch(given["id"]) is not None, "a dial without its id")
        unit = given.get("size_as")
        _must(unit is None or unit in UNITS, "a size in an unknown measure")
        cells = cells_of({name: given.get(name) for name in (*TEXTS, "year", "size_mm")})
        if cells["size_mm"] is not None and unit is not None:
            cells["size_as"] = unit
        return {
            "uid": given["id"],
            "cells": cells,
            "blind": given.get("blind") is True,
            "aside": given.get("aside") is True,
            "made_at": _moment(given.get("made_at") or now()),
            "shown_at": None if given.get("shown_at") is None else _moment(given["shown_at"]),
            "photographs": [_photo(one) for one in given.get("photographs", [])],
            "together": [_together(one) for one in given.get("together", [])],
            "opinions": [_opinion(one) for one in given.get("opinions", [])],
        }
    except (TypeError, KeyError, AttributeError, RecursionError) as error:
        raise ParameterError("the file holds a dial of another form; take the dials along anew") from error


def _must(so: bool, what: str) -> None:
    if not so:
        raise ParameterError(f"the file holds {what}; take the dials along anew")


def _moment(text: object) -> str:
    try:
        return datetime.fromisoformat(str(text)).astimezone(UTC).isoformat()
    except (ValueError, OverflowError) as error:
        raise ParameterError("the file holds a moment that is none; take the dials along anew") from error


def _words(text: object, most: int = 4000) -> str:
    _must(isinstance(text, str) and len(text) <= most and "\0" not in text, "words that are too long, or none")
    return str(text).encode("utf-8", "replace").decode()


def _photo(given: Mapping[str, Any]) -> dict[str, Any]:
    _must(_HASH.fullmatch(given["sha256"]) is not None, "a photograph without its hash")
    likeness = given.get("likeness")
    _must(likeness is None or re.fullmatch("[0-9a-f]{1,64}", likeness) is not None, "a photograph of another form")
    return {
        "sha256": given["sha256"],
        "file": _words(given["file"], 200),
        "name": _words(given["name"], 300),
        "added_at": _moment(given["added_at"]),
        "likeness": likeness,
        "marked": known_from(given["marked"]).record(),
        "readings": [{**_judged(one), "marked": known_from(one["marked"]).record()} for one in given["readings"]],
    }


def _judged(given: Mapping[str, Any]) -> dict[str, Any]:
    _must(_HASH.fullmatch(given["weights_sha256"]) is not None, "a reading without its weights")
    return {
        "made_at": _moment(given["made_at"]),
        "weights": _words(given["weights"], 200),
        "weights_sha256": given["weights_sha256"],
        "document": _document(given["document"]),
    }


def _together(given: Mapping[str, Any]) -> dict[str, Any]:
    return {**_judged(given), "readings": [(str(one[0]), _moment(one[1])) for one in given["readings"]]}


def _opinion(given: Mapping[str, Any]) -> tuple[str, str, bool, str]:
    _must(given["zone"] in PLACES and given["label"] in ("", *LABELS), "an opinion of another form")
    return given["zone"], given["label"], bool(given["call_shown"]), _moment(given["noted_at"])


def _finite(*values: object) -> bool:
    return all(isinstance(value, int | float) and abs(value) < 1e9 for value in values)


def _document(given: Any) -> dict[str, Any]:
    """A record as the page and the collection read it. Raises ParameterError."""
    calls = (HAND, PRINTED, UNDETERMINED)
    sound = given["call"] in calls and (given["log10_lr"] is None or _finite(given["log10_lr"]))
    sound = sound and all(isinstance(given[name], str) for name in ("support", "reason"))
    sound = sound and isinstance(given["warnings"], list) and all(isinstance(one, str) for one in given["warnings"])
    shape = given["geometry"]
    if shape is not None:
        sound = sound and len(shape["center_px"]) == len(shape["axes_px"]) == 2
        sound = sound and _finite(
            *shape["center_px"], *shape["axes_px"], shape["ellipse_angle_deg"], shape["rotation_deg"]
        )
    for zone in given["zones"]:
        sound = sound and isinstance(zone["judged"], bool) and zone["call"] in calls and isinstance(zone["zone"], str)
        sound = sound and (not zone["judged"] or _finite(zone["log10_lr"])) and isinstance(zone["reason"], str)
        sound = sound and all(len(point) == 2 and _finite(*point) for point in zone["polygon_px"])
    if (part := given.get("close_up")) is not None:
        sound = sound and isinstance(part["located"], bool)
    for part in given.get("photographs", []):
        sound = sound and isinstance(part["photo"], str) and isinstance(part["role"], str)
        if (place := part.get("place")) is not None:
            sound = sound and len(place["corners_radii"]) == 4
            sound = sound and all(len(point) == 2 and _finite(*point) for point in place["corners_radii"])
    _must(sound, "a reading of another form")
    try:
        json.dumps(given, allow_nan=False)
    except ValueError as error:
        raise ParameterError("the file holds a number that is none; take the dials along anew") from error
    return dict(given)


# --- keeping ---


def _keep(files: KeptFiles, dial: Mapping[str, Any], kept: Mapping[str, str], brought: Brought) -> None:
    """A checked dial into the record. kept : files of its photographs, by hash, that are in the folder now."""
    with files.opened() as dials:
        for photo in dial["photographs"]:  # the collection first, as every reading is kept
            if photo["sha256"] in kept:
                for one in photo["readings"]:
                    name, _, version = one["weights"].rpartition(" ")
                    dials.add(
                        files.photograph(kept[photo["sha256"]]), photo["sha256"], likeness=photo["likeness"],
                        thumbnail=None, document=one["document"],
                        weights={"name": name, "version": version, "sha256": one["weights_sha256"]},
                    )  # fmt: skip
        number, fresh, new, elsewhere = dials.keep_brought(dial, kept)
        there = {photo["sha256"] for photo in dials.rows("SELECT sha256 FROM examined_photo WHERE dial = ?", [number])}
    brought.dials += fresh
    brought.known += not fresh
    brought.photographs += len(new)
    brought.elsewhere += len(elsewhere)
    brought.missing += len({photo["sha256"] for photo in dial["photographs"]} - there - set(elsewhere))
    brought.photos += new
    brought.wanted.append(number)
