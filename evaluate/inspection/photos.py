"""Several photographs inspected: a page each, stills if wished, and an index that links them in order."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from tqdm import tqdm

from dialtell.evaluate.inspection.one_photo import PageWishes, inspect, require_targets
from dialtell.evaluate.inspection.page_names import page_names
from dialtell.evaluate.pages import pictures, templates
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import plain_name
from dialtell.evaluate.words.stated import stated_ratio
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.known import UNKNOWN, Known, KnownOf, known_for
from dialtell.model.reading.photo import Bytes, walk_photos
from dialtell.synth.shared.errors import DialtellError, OutputError, fault_of_ours, said_in_words
from dialtell.synth.shared.files import write_text

SCHEMA = "dialtell.inspections/1"
INDEX = "index.html"
THUMB_PX = 260
PLAIN = PageWishes()
log = logging.getLogger("dialtell.inspect")


def inspect_photos(
    photos: Iterable[str | Path],
    pages: Path,
    stills: Path | None,
    weights: Weights,
    *,
    known: Known | KnownOf = UNKNOWN,
    wishes: PageWishes = PLAIN,
    reports: Path | None = None,
    progress: bool = False,
) -> dict[str, Any]:
    """Inspect photographs and all photographs in folders; a document of schema dialtell.inspections/1.

    known : of all of them, or a function that says it of each path. pages, stills, reports : folders, made if
    there are none; each file is named after its photograph (page_names).
    One bad photograph never stops the others: it becomes an entry under "errors". The index lists what was inspected in
    the order given. Raises OutputError before any work when a file is in the way and wishes.overwrite is false.
    """
    files, missing = walk_photos(photos)
    names = page_names(files)
    targets = [pages / f"{name}.html" for name in names]
    pictured = [None if stills is None else stills / f"{name}.png" for name in names]
    told = [None if reports is None else reports / f"{name}.pdf" for name in names]
    for folder in {pages, stills, reports} - {None}:
        _require_folder(folder)
    asked = [target for target in (*pictured, *told) if target is not None]
    require_targets([pages / INDEX, *targets, *asked], files, wishes)
    errors = [{"photo": str(path), "error": str(error)} for path, error in missing]
    documents: list[dict[str, Any]] = []
    entries: list[dict[str, Any]] = []
    work = list(zip(files, targets, pictured, told, strict=True))
    try:
        for photo, page, still, report in tqdm(work, unit="photo", disable=None if progress else True, leave=False):
            try:
                own = replace(wishes, report=report)
                document, view, _ = inspect(photo, page, still, weights, known_for(known, photo), own)
            except DialtellError as error:
                errors.append({"photo": str(photo), "error": str(error)})
            except Exception as error:  # a fault of ours on one photograph must not lose the others
                log.debug("%s: traceback", photo, exc_info=True)
                errors.append({"photo": str(photo), "error": f"{photo}: {fault_of_ours(error)}"})
            else:
                documents.append(document)
                entries.append(_entry(document, page, view.picture))
    finally:  # interrupted, the index lists what was done
        write_text(pages / INDEX, _index(entries, errors), overwrite=wishes.overwrite)
    return {
        "schema": SCHEMA,
        "model": weights.identity,
        "reader": weights.reader.identity,
        "index": str(pages / INDEX),
        "inspections": documents,
        "errors": errors,
    }


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
    dial = document["dial"]
    ratio = stated_ratio(dial)
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
