"""From records to photographs in a folder, one after another, each with its licence judged first."""

from __future__ import annotations

import hashlib
import os
import re
import time
import unicodedata
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from dialtell.evaluate.museum.folder import Gathered, NameTaken, Row, key_of
from dialtell.evaluate.museum.image_file import proved_image
from dialtell.evaluate.museum.licence import admit
from dialtell.evaluate.museum.records import Record
from dialtell.evaluate.museum.web import Web
from dialtell.evaluate.museum.web_address import DownloadError, safe_address, target_of
from dialtell.synth.shared.errors import PhotoError, said_in_words

MAX_BYTES = 60_000_000
IMAGE_KINDS = ("image/", "application/octet-stream", "binary/octet-stream")


class Fate(StrEnum):
    """What became of a photograph."""

    FETCHED = "fetched"
    KEPT = "kept"  # was there already, whole
    REFUSED = "refused"  # by its licence
    FAILED = "failed"


@dataclass(frozen=True)
class DownloadOutcome:
    """One photograph's fate: `file` is its name in the folder, or "" with a `reason`."""

    fate: Fate
    record: Record
    url: str
    file: str = ""
    reason: str = ""


def photographs(records: Iterable[Record], *, each: int | None = None) -> list[tuple[Record, str]]:
    """(record, URL) pairs without repetitions, at most `each` of a record; the same URL under two objects counts
    twice."""
    pairs = {(record.museum, record.name, url): (record, url) for record in records for url in record.image_urls[:each]}
    return list(pairs.values())


def gather(
    pairs: Iterable[tuple[Record, str]],
    folder: Gathered,
    web: Web,
    *,
    allowed: Collection[str] = (),
    max_bytes: int = MAX_BYTES,
    max_pixels: int,
) -> Iterator[DownloadOutcome]:
    """Fetch what the folder lacks, telling each photograph's fate as it is known.

    allowed : licences besides the public domain, from `licence.allowed_licences`.
    max_bytes, max_pixels : of one file; more is not kept.
    What goes wrong with one photograph is its fate and no more; OutputError, as for a full disk, ends it all.
    """
    for record, url in pairs:
        admission = admit(record.licence, record.attribution, allowed=allowed)
        if not admission:
            yield DownloadOutcome(Fate.REFUSED, record, url, reason=admission.reason)
            continue
        try:
            row = _row(record, url, admission.licence)
            known = folder.rows.get(key_of(row))
            wanted = record.sha256 if url == record.image_urls[0] else ""
            if known is not None and wanted in ("", known["sha256"]) and folder.holds(known):
                yield DownloadOutcome(Fate.KEPT, record, url, known["file"])
                continue
            twin = folder.twin(url)
            if twin is not None and wanted in ("", twin["sha256"]):
                same = ("file", "sha256", "bytes", "width_px", "height_px", "fetched_from", "retrieved")
                folder.note({**row, **{name: twin[name] for name in same}})
                yield DownloadOutcome(Fate.KEPT, record, url, twin["file"])
                continue
            found = folder.at_hand(wanted) if wanted else None
            source = web if found is None else found
            file = _brought(row, record, folder, source, wanted, max_bytes, max_pixels)
            yield DownloadOutcome(Fate.FETCHED if found is None else Fate.KEPT, record, url, file)
        except (DownloadError, PhotoError, NameTaken) as error:
            yield DownloadOutcome(Fate.FAILED, record, url, reason=str(error))


def _row(record: Record, url: str, licence: str) -> dict[str, str]:
    """The part of a manifest line that is known before the photograph comes."""
    credit = ", ".join(part for part in (record.title, record.museum, record.accession_number) if part)
    return {"licence": licence, "attribution": record.attribution or credit, "image_url": url, **record.facts()}


def _brought(
    row: Row, record: Record, folder: Gathered, source: Web | Path, wanted: str, max_bytes: int, max_pixels: int
) -> str:
    """Fetch one photograph or copy it from a file at hand, prove it and give it its name in the folder, which is
    returned. wanted : the sha256 it must have, "" for any."""
    url = row["image_url"]
    target_of(url)
    stem = stem_of(record, url)
    part = folder.part(stem)
    try:
        with said_in_words(part):
            # O_NOFOLLOW: a link laid here beforehand must not lead the bytes elsewhere
            handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_TRUNC | getattr(os, "O_NOFOLLOW", 0), 0o644)
            with os.fdopen(handle, "w+b") as stream:
                if isinstance(source, Path):
                    stream.write(source.read_bytes())
                    came_from, retrieved = source.name, ""
                else:
                    came_from = source.fetch(url, stream, max_bytes=max_bytes, kinds=IMAGE_KINDS).url
                    retrieved = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(source.now()))
                stream.flush()
                os.fsync(stream.fileno())
                stream.seek(0)
                sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        if wanted and sha256 != wanted:
            raise PhotoError(
                f"{safe_address(url)} is another file than the one on record (sha256 {sha256[:12]}..., not "
                f"{wanted[:12]}...); find that one and lay it in {folder.path} under any name"
            )
        try:
            image = proved_image(part, max_pixels=max_pixels)
        except PhotoError as error:
            raise PhotoError(f"{safe_address(url)} {error}") from error
        file = stem + image.suffix
        filled = {
            "file": file,
            "sha256": sha256,
            "bytes": str(part.stat().st_size),
            "width_px": str(image.width),
            "height_px": str(image.height),
            "fetched_from": came_from,
            "retrieved": retrieved,
        }
        folder.put(part, {**row, **filled})
        return file
    finally:
        part.unlink(missing_ok=True)


def stem_of(record: Record, url: str) -> str:
    """A file name without suffix, from the museum's and the object's name and ten digits of the URL's SHA-256: lower
    case letters, digits, single dots and hyphens only, so it cannot leave the folder, and no two URLs share one."""
    digits = hashlib.sha256(url.encode("utf-8", "surrogatepass")).hexdigest()[:10]
    return f"{_slug(record.museum, 'museum')}-{_slug(record.name, 'object')}-{digits}"


def _slug(text: str, otherwise: str) -> str:
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    plain = re.sub(r"\.{2,}", "-", re.sub(r"[^a-z0-9.]+", "-", plain))
    return plain[:40].strip("-.") or otherwise
