"""What worker processes do: look at a photograph, read it, read several of one dial together, write a page of one, lay
dials on each other.

Each function is given plain values and returns them, so that it can run in another process; the weights are loaded once
in each, by `begin`.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from dialtell.evaluate.examine.kept_files import KeptFiles
    from dialtell.model.net.weights_file import Weights
    from dialtell.model.reading.known import Known
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.photo import Photo
    from dialtell.model.reading.steps import Reading

VIEW_PX = 1600  # about the longer side of what the page shows; the loupe shows all
_ROWS = 16  # of a view made at once: what it is made of stays in the processor's cache
_HOLD_PIXELS = 30_000_000  # of a photograph that stays open until the next: it is looked at, then read, then marked
_QUALITY = 90
_held: dict[str, Weights] = {}
_place: dict[str, Path | None] = {}
_open: dict[tuple[Path, int], Photo] = {}  # the last photograph opened
_read: dict[tuple[Path, Known], list[Reading] | NoDial] = {}  # what was made of it last, without marked places


class Looked(NamedTuple):
    """thumbnail : JPEG. width, height : of the photograph upright, px."""

    thumbnail: bytes
    width: int
    height: int


class ReadPhoto(NamedTuple):
    """document : the record of schema dialtell.score/1. likeness : for near duplicates. weights : who judged."""

    document: dict[str, Any]
    likeness: str
    weights: dict[str, Any]


def begin(weights: Path | None) -> None:
    """Once in each process: which weights judge."""
    _place["weights"] = weights


def _weights() -> Weights:
    if "weights" not in _held:
        from dialtell.model.net.weights_file import load_weights

        _held["weights"] = load_weights(_place["weights"])
    return _held["weights"]


def _opened(path: Path, max_pixels: int) -> Photo:
    """A photograph; one that was opened last need not be opened anew, as files here never change. Raises PhotoError."""
    from dialtell.model.reading.photo import read_photo

    photo = _open.get((path, max_pixels))
    if photo is None:
        _open.clear()
        _read.clear()
        photo = read_photo(path, max_pixels=max_pixels)
        if photo.pixels.shape[0] * photo.pixels.shape[1] <= _HOLD_PIXELS:
            _open[path, max_pixels] = photo
    return photo


def look(path: Path, view: Path, max_pixels: int) -> Looked:
    """Write the JPEG that the page shows, and return the thumbnail. Raises PhotoError."""
    from dialtell.evaluate.collection.add import thumbnail

    photo = _opened(path, max_pixels)
    height, width = photo.codes.shape[:2]
    light = _reduced(photo, max(1, int(max(height, width) / VIEW_PX + 0.5)))
    _write_jpeg(light, view)
    return Looked(thumbnail(light), width, height)


def _reduced(photo: Photo, by: int) -> NDArray[np.float32]:
    """(H // by, W // by, 3) linear light, each px the mean of by x by of the photograph's, which takes half the time of
    reducing all of its light to a given size. Less than `by` px at the right and below are left out."""
    import cv2
    import numpy as np

    from dialtell.model.reading.photo import linear_light

    plain = photo.colour is None and photo.cover is None and photo.codes.ndim == 3
    height, width = (max(side // by, 1) for side in photo.codes.shape[:2])
    reduced = np.empty((height, width, 3), np.float32)
    for top in range(0, height, _ROWS):
        bottom = min(top + _ROWS, height)
        rows = slice(top * by, bottom * by)
        light = linear_light(photo.codes[rows]) if plain else photo.pixels[rows]
        size = (width, bottom - top)
        cv2.resize(light[:, : width * by], size, dst=reduced[top:bottom], interpolation=cv2.INTER_AREA)
    return reduced


def write_full(path: Path, view: Path, max_pixels: int) -> None:
    """Write a photograph in full resolution, upright, as a JPEG that any browser shows. Raises PhotoError."""
    _write_jpeg(_opened(path, max_pixels).pixels, view)


def _write_jpeg(light: NDArray[np.float32], view: Path) -> None:
    import io

    from PIL import Image

    from dialtell.model.reading.photo import display
    from dialtell.synth.shared.files import write_whole

    stream = io.BytesIO()
    Image.fromarray(display(light)).save(stream, "JPEG", quality=_QUALITY, subsampling=0)
    write_whole(view, stream.getvalue(), overwrite=True)


def read(path: Path, known: Known) -> ReadPhoto:
    """Score one photograph; where only the places marked on it are others than last, it is not looked at anew. Raises
    PhotoError."""
    from dataclasses import replace

    from dialtell.evaluate.collection.near_duplicates import likeness
    from dialtell.evaluate.score.score import score_opened
    from dialtell.model.reading.steps import read_unmarked

    weights = _weights()
    photo, bare = _opened(path, known.max_pixels), replace(known, places=())
    found = _read.get((path, bare))
    if found is None:
        found = read_unmarked(photo, bare, weights.reader)
        _read.clear()
        if _open:
            _read[path, bare] = found
    scored = score_opened(photo, weights, known=known, unmarked=found)
    return ReadPhoto(scored.record, likeness(scored.photo.grey), weights.identity)


def read_together(photos: list[tuple[Path, Known]], name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """One opinion of photographs of one dial, and whose it is. Raises PhotoError."""
    from dialtell.evaluate.one_dial.dial import score_dial
    from dialtell.evaluate.score.score import score_photo

    weights = _weights()
    alone = [score_photo(path, weights, known=known) for path, known in photos]
    return score_dial(alone, weights, name=name).scored.record, weights.identity


def write_inspection(
    photos: list[tuple[Path, Known]], page: Path, name: str, year: int | None, names: dict[str, str]
) -> None:
    """Write the inspection page of a dial from its photographs, and its report beside it. name, year : of the dial; a
    year is held against the call. names : of the photographs' files, which are named by their hashes, as the person
    calls them. Raises PhotoError, OutputError."""
    from dataclasses import replace

    from dialtell.evaluate.examine.shown import named
    from dialtell.evaluate.inspection.one_photo import PageWishes, inspect_scored
    from dialtell.evaluate.one_dial.beside import beside
    from dialtell.evaluate.one_dial.dial import score_dial
    from dialtell.evaluate.period.date_check import EARLIEST, LATEST, Years
    from dialtell.evaluate.score.score import score_photo

    weights = _weights()
    alone = [score_photo(path, weights, known=known) for path, known in photos]
    dial = None if len(alone) == 1 else score_dial(alone, weights, name=name)
    scored = alone[0] if dial is None else dial.scored
    photographs = None if dial is None else beside(dial, names)
    years = Years(year, year, year, "as stated") if year is not None and EARLIEST <= year <= LATEST else None
    hashes = [(names[path.name], path.stem) for path, _ in photos]
    names = {str(path): names[path.name] for path, _ in photos} | names
    scored = replace(scored, record=named(scored.record, names))
    report = page.with_suffix(".pdf")
    wishes = PageWishes(years=years, photographs=photographs, report=report, overwrite=True, hashes=hashes)
    inspect_scored(scored, page, None, weights, wishes)


def plate_pairs(files: KeptFiles, chosen: list[int] | None) -> tuple[list[tuple[int, int]], list[str]]:
    """Pairs of photographs that are still to be laid on each other, and what is wrong, in words; see plates.like_pairs.
    Raises OutputError."""
    from dialtell.evaluate.examine.plates import like_pairs

    with files.opened() as dials:
        return like_pairs(dials, files, chosen)


def lay_on(files: KeptFiles, pairs: list[tuple[int, int]], max_pixels: int) -> list[str]:
    """Lay photographs of the collection on each other and keep what is found; what is wrong, in words. Raises
    OutputError."""
    from dialtell.evaluate.collection.plates import Proposed, lay_pairs
    from dialtell.evaluate.examine.plates import here, named
    from dialtell.synth.shared.errors import DialtellError

    with files.opened() as dials:
        entries = {number: here(dials, files, number) for pair in pairs for number in pair}
        proposed = [Proposed(entries[first], entries[second], 1.0) for first, second in pairs]
        done = lay_pairs(dials, proposed, max_pixels=max_pixels, reader=_weights().reader)
        return [named(dials, found, entries.values()) for found in done if isinstance(found, DialtellError)]
