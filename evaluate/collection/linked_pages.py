"""Pages that a collection's page, or its list of plates, links to: inspections and pairs, those missing made."""

from __future__ import annotations

import logging
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from dialtell.evaluate.collection.add import known_of
from dialtell.evaluate.collection.file import CollectionFile, Entry
from dialtell.evaluate.collection.plates import page_name
from dialtell.evaluate.collection.table import pairs_for_readers
from dialtell.evaluate.compare.compare import compare_photos
from dialtell.evaluate.compare.findings import DIFFERENT
from dialtell.evaluate.compare.page import write_comparison
from dialtell.evaluate.inspection.one_photo import inspect_photo
from dialtell.model.net.weights_file import Weights
from dialtell.synth.shared.errors import DialtellError
from dialtell.synth.shared.progress import watched

log = logging.getLogger("dialtell.collection")


def linked_pairs(
    collection: CollectionFile, entries: Sequence[Entry], pages: Path | None, page: Path
) -> list[dict[str, Any]]:
    """Pairs of these dials that were laid on each other, with `link` from `page` where a page of theirs exists.

    pages : folder of pages of pairs, None for no links.
    """
    known = {entry.id: entry for entry in entries}
    pairs = [pair for pair in collection.pairs() if pair["first"] in known and pair["second"] in known]
    rows = pairs_for_readers(pairs, known.__getitem__)
    for row in rows:
        target = None if pages is None else pages / page_name(known[row["first"]], known[row["second"]])
        row["link"] = _link(target, page) if target is not None and target.is_file() else None
    return rows


def inspection_links(
    entries: Sequence[Entry], folder: Path, page: Path, weights: Weights, *, max_pixels: int, quiet: bool
) -> tuple[dict[int, str], int]:
    """Links from `page` to inspection pages in a folder, by entry; makes those missing. Also how many failed."""
    folder.mkdir(parents=True, exist_ok=True)
    links: dict[int, str] = {}
    failed = 0
    for entry in watched(entries, len(entries), quiet=quiet):
        target = folder / f"{entry.sha256[:16]}-{weights.identity['sha256'][:8]}.html"
        try:
            if not target.exists():
                inspect_photo(entry.path, target, weights, known=known_of(entry, max_pixels=max_pixels))
        except DialtellError as error:
            failed += 1
            log.error("%s", error)
            continue
        links[entry.id] = _link(target, page)
    return links, failed


def make_pair_pages(
    rows: Sequence[dict[str, Any]],
    entries: Mapping[int, Entry],
    folder: Path,
    weights: Weights,
    *,
    max_pixels: int,
    quiet: bool,
) -> list[DialtellError]:
    """Makes the pages that are missing in a folder, adds `page` to each row; what could not be made."""
    folder.mkdir(parents=True, exist_ok=True)
    faults = []
    for row in watched(rows, len(rows), quiet=quiet):
        row["page"] = None
        if row["finding"] == DIFFERENT:
            continue
        first, second = entries[row["first"]], entries[row["second"]]
        target = folder / page_name(first, second)
        try:
            if not target.exists():
                known = [known_of(entry, max_pixels=max_pixels) for entry in (first, second)]
                compared = compare_photos(first.path, second.path, weights, known=(known[0], known[1]))
                write_comparison(target, compared)
            row["page"] = str(target)
        except DialtellError as error:
            faults.append(error)
    return faults


def _link(target: Path, page: Path) -> str:
    """From the page to a file, with forward slashes."""
    return os.path.relpath(target, page.parent or ".").replace(os.sep, "/")
