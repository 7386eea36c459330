"""Photographs into a collection: each is hashed, scored unless these weights have called it before, and kept."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from dialtell.evaluate.collection.file import CollectionFile, Entry
from dialtell.evaluate.collection.near_duplicates import likeness
from dialtell.evaluate.one_dial.dial import score_dial
from dialtell.evaluate.score.score import ScoredPhoto, score_photo
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.known import MAX_PIXELS, UNKNOWN, Known, KnownOf, known_for, known_from
from dialtell.model.reading.photo import Pixels, display
from dialtell.synth.shared.errors import DialtellError, PhotoError

THUMBNAIL_PX = 240
ADDED, KNOWN, FAILED = "added", "known", "failed"


@dataclass(frozen=True)
class AddedPhoto:
    """What became of one photograph. outcome : added (or scored anew), known, failed. error : "" or why it failed."""

    path: Path
    outcome: str
    error: str = ""


def add_photos(
    collection: CollectionFile,
    paths: Sequence[Path],
    weights: Weights,
    *,
    known: Known | KnownOf = UNKNOWN,
) -> Iterator[AddedPhoto]:
    """Add photographs one by one; yields what became of each. A bad one stops nothing.

    known : of all of them, or a function that says it of each path; kept with the call.
    """
    for path in paths:
        try:
            yield AddedPhoto(path, _add(collection, path, weights, known_for(known, path)))
        except PhotoError as error:
            yield AddedPhoto(path, FAILED, str(error))


def add_dial(
    collection: CollectionFile, paths: Sequence[Path], weights: Weights, name: str, *, known: Known | KnownOf = UNKNOWN
) -> list[AddedPhoto]:
    """Add photographs of one dial, each with its own call, and the one opinion of them all under the dial's name."""
    outcomes, alone, digests = [], [], []
    for path in paths:
        try:
            digest = file_hash(path)
            scored = score_photo(path, weights, known=known_for(known, path))
        except PhotoError as error:
            outcomes.append(AddedPhoto(path, FAILED, str(error)))
            continue
        new = _kept(collection, path, digest, scored, weights)
        outcomes.append(AddedPhoto(path, ADDED if new else KNOWN))
        alone.append(scored)
        digests.append(digest)
    if alone:
        record = score_dial(alone, weights, name=name).scored.record
        roles = {digest: part["role"] for digest, part in zip(digests, record["photographs"], strict=True)}
        collection.keep_dial(name, roles, weights.identity, record)
    return outcomes


def rescore(collection: CollectionFile, weights: Weights, *, max_pixels: int = MAX_PIXELS) -> Iterator[AddedPhoto]:
    """A call by `weights` for every photograph that has none; older calls stay. A moved or changed file is named."""
    for entry in list(collection.entries()):
        if collection.known(entry.sha256, weights.identity["sha256"]):
            yield AddedPhoto(entry.path, KNOWN)
            continue
        try:
            if not entry.path.is_file():
                raise PhotoError(
                    f"{entry.path} is no longer there; add it again from its new place, its history is kept"
                )
            if file_hash(entry.path) != entry.sha256:
                raise PhotoError(f"{entry.path} was changed since it was added; add it again to take it as a new one")
            _add(collection, entry.path, weights, known_of(entry, max_pixels=max_pixels))
            yield AddedPhoto(entry.path, ADDED)
        except DialtellError as error:
            yield AddedPhoto(entry.path, FAILED, str(error))


def known_of(entry: Entry, *, max_pixels: int = MAX_PIXELS) -> Known:
    """What was known of a photograph when it was last scored, with the size that its owner has set since."""
    said = known_from((entry.document or {}).get("known") or {}, max_pixels=max_pixels)
    size = entry.fields["size_mm"]
    return said if size is None else replace(said, diameter_mm=size)


def file_hash(path: Path) -> str:
    """SHA-256 of a file's bytes; PhotoError when it cannot be read."""
    if path.exists() and not path.is_file():
        raise PhotoError(f"{path} is no file; give a photograph, or a folder of them")
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise PhotoError(f"{path} cannot be read ({error.strerror}); check the path and its permissions") from error


def thumbnail(light: Pixels) -> bytes:
    """A small JPEG of a photograph in linear light, (H, W, 3), its longer side at most THUMBNAIL_PX."""
    height, width = light.shape[:2]
    scale = min(1.0, THUMBNAIL_PX / max(height, width))
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    small = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    stream = io.BytesIO()
    Image.fromarray(display(small)).save(stream, "JPEG", quality=80)
    return stream.getvalue()


def _add(collection: CollectionFile, path: Path, weights: Weights, known: Known) -> str:
    digest = file_hash(path)
    identity: dict[str, Any] = weights.identity
    if collection.known(digest, identity["sha256"]):
        return KNOWN
    new = _kept(collection, path, digest, score_photo(path, weights, known=known), weights)
    return ADDED if new else KNOWN


def _kept(collection: CollectionFile, path: Path, digest: str, scored: ScoredPhoto, weights: Weights) -> bool:
    """Whether a photograph or its call was new."""
    return collection.add(
        path,
        digest,
        likeness=likeness(scored.photo.grey),
        thumbnail=thumbnail(scored.photo.pixels),
        weights=weights.identity,
        document=scored.record,
    )
