"""One photograph or several inspected: pages, stills if wished, and for several an index that links them in order."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from tqdm import tqdm

from dialtell.evaluate.inspection.examine import Examined, examine
from dialtell.evaluate.inspection.one_photo import Inspection, inspect_examined
from dialtell.evaluate.inspection.page_names import page_names
from dialtell.evaluate.inspection.stated import as_shown, scaled, stated_model
from dialtell.evaluate.inspection.still import still_png, write_still
from dialtell.evaluate.pages import pictures, templates
from dialtell.evaluate.period.date_check import Years
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.known import MAX_PIXELS
from dialtell.model.reading.photo import Bytes, walk_photos
from dialtell.synth.shared.errors import DialtellError, OutputError, fault_of_ours, said_in_words
from dialtell.synth.shared.files import require_free, write_text

SCHEMA = "dialtell.inspections/1"
INDEX = "index.html"
THUMB_PX = 260
log = logging.getLogger("dialtell.inspect")


@dataclass(frozen=True)
class Asked:
    """What is asked of every photograph; see score_photo and inspect_photo."""

    diameter_mm: float | None = None
    max_pixels: int = MAX_PIXELS
    close_up: bool = False
    pixels_per_mm: float | None = None
    years: Years | None = None
    compare_with: str | None = None
    overwrite: bool = False


def inspect_one(
    photo: Path, page: Path, still: Path | None, weights: Weights, asked: Asked
) -> tuple[dict[str, Any], Bytes]:
    """Write the page of a photograph and its still, if one is wished; the document of schema dialtell.inspect/1 with
    `style_hints` and `still`, and the photograph as shown.

    Raises PhotoError for the photograph and OutputError for what is written, the latter before any work is done.
    """
    targets = [target for target in (page, still) if target is not None]
    require_targets(targets, [photo], asked)
    examined = examine(
        photo, weights, diameter_mm=asked.diameter_mm, max_pixels=asked.max_pixels, close_up=asked.close_up,
        pixels_per_mm=asked.pixels_per_mm,
    )  # fmt: skip
    inspection = inspect_examined(
        examined, page, weights, max_pixels=asked.max_pixels, overwrite=asked.overwrite, years=asked.years,
        compare_with=asked.compare_with,
    )  # fmt: skip
    document = inspection.document
    document["style_hints"] = [hint.record for hint in examined.hints]
    document["still"] = None if still is None else str(still)
    if still is not None:
        write_still(still, _still(inspection, examined, weights), overwrite=asked.overwrite)
    return document, inspection.shown


def _still(inspection: Inspection, examined: Examined, weights: Weights) -> bytes:
    record, shown = as_shown(inspection.document), inspection.shown
    if record["geometry"] is not None:
        record = scaled(record, shown.shape[1] / examined.scored.photo.pixels.shape[1])
    return still_png(shown, record, inspection.saliency, stated_model(weights))


def inspect_photos(
    photos: Iterable[str | Path], pages: Path, stills: Path | None, weights: Weights, asked: Asked, *, progress: bool
) -> dict[str, Any]:
    """Inspect photographs and all photographs in folders; a document of schema dialtell.inspections/1.

    pages, stills : folders, made if there are none; each file is named after its photograph (page_names).
    One bad photograph never stops the others: it becomes an entry under "errors". The index lists what was inspected in
    the order given. Raises OutputError before any work when a file is in the way and asked.overwrite is false.
    """
    files, missing = walk_photos(photos)
    names = page_names(files)
    targets = [pages / f"{name}.html" for name in names]
    pictured = [None if stills is None else stills / f"{name}.png" for name in names]
    for folder in {pages, stills} - {None}:
        _require_folder(folder)
    require_targets([pages / INDEX, *targets, *(still for still in pictured if still is not None)], files, asked)
    errors = [{"photo": str(path), "error": str(error)} for path, error in missing]
    documents: list[dict[str, Any]] = []
    entries: list[dict[str, Any]] = []
    work = list(zip(files, targets, pictured, strict=True))
    try:
        for photo, page, still in tqdm(work, unit="photo", disable=None if progress else True, leave=False):
            try:
                document, shown = inspect_one(photo, page, still, weights, asked)
            except DialtellError as error:
                errors.append({"photo": str(photo), "error": str(error)})
            except Exception as error:  # a fault of ours on one photograph must not lose the others
                log.debug("%s: traceback", photo, exc_info=True)
                errors.append({"photo": str(photo), "error": f"{photo}: {fault_of_ours(error)}"})
            else:
                documents.append(document)
                entries.append(_entry(document, page, shown))
    finally:  # interrupted, the index lists what was done
        write_text(pages / INDEX, _index(entries, errors), overwrite=asked.overwrite)
    return {
        "schema": SCHEMA,
        "model": weights.identity,
        "index": str(pages / INDEX),
        "inspections": documents,
        "errors": errors,
    }


def require_targets(targets: Sequence[Path], photos: Sequence[Path], asked: Asked) -> None:
    """Raise OutputError when a file to be written is in the way, or is a photograph that is read: --overwrite is not
    for those."""
    read = [*photos, *([] if asked.compare_with is None else [Path(asked.compare_with)])]
    kept = {photo.resolve() for photo in read}
    for target in targets:
        if target.resolve() in kept:
            raise OutputError(f"{target} is a photograph that is read; give another place for what is written")
        require_free(target, overwrite=asked.overwrite)


def _require_folder(folder: Path | None) -> None:
    """Make the folder if there is none."""
    if folder is None:
        return
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file; several photographs need a folder, give another path")
    with said_in_words(folder):
        folder.mkdir(parents=True, exist_ok=True)


def _entry(document: Mapping[str, Any], page: Path, shown: Bytes) -> dict[str, Any]:
    """What the index shows of a photograph."""
    dial = as_shown(document)
    ratio = dial["log10_lr"]
    return {
        "name": plain_name(Path(dial["photo"]).name),
        "link": quote(page.name),
        "picture": pictures.jpeg_uri(pictures.fitted(shown, THUMB_PX), 80),
        "call": dial["call"],
        "support": plain_name(dial["support"]),
        "ratio": "" if ratio is None else f"{ratio:+.2f}".replace("-", "−"),
        "reason": plain_name(dial["reason"]),
        "warnings": len(dial["warnings"]),
    }


def _index(entries: Sequence[Mapping[str, Any]], errors: Sequence[Mapping[str, str]]) -> str:
    failed = [(plain_name(entry["photo"]), plain_name(entry["error"])) for entry in errors]
    return templates.filled("inspections", entries=entries, errors=failed, cautions=CAUTIONS)
