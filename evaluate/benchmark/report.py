"""A benchmark from labelled photographs to its document, and to the folder with page, plots, table and misses."""

from __future__ import annotations

import hashlib
import logging
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from tqdm import tqdm

from dialtell.evaluate.benchmark.benchmark import SCHEMA, SEED, benchmark, compare
from dialtell.evaluate.benchmark.page import page_text
from dialtell.evaluate.benchmark.plots import plots
from dialtell.evaluate.benchmark.rows import BenchmarkRow, judged_rows, misses
from dialtell.evaluate.benchmark.table import csv_text
from dialtell.evaluate.inspection.one_photo import inspect_photo
from dialtell.evaluate.plots.style import write_plots
from dialtell.evaluate.words.document import json_text
from dialtell.model.net.weights_file import Weights
from dialtell.synth.shared.errors import DialtellError, OutputError
from dialtell.synth.shared.files import write_text
from dialtell.train.photographs.labels import LabelledPhoto

FILES = ("benchmark.html", "benchmark.json", "calls.csv", "ratios.png", "reliability.png", "coverage.png")
MISSES = "misses"  # folder of inspection pages
PAGES = "pages"  # the same of every photograph, where asked for
log = logging.getLogger("dialtell.benchmark")


@dataclass(frozen=True)
class BenchmarkSettings:
    """labels : the table. cluster : what counts as one. outlines : "found" or "labelled". draws : of the bootstrap."""

    labels: Path
    cluster: str
    outlines: str
    draws: int
    max_pixels: int


def benchmark_document(
    settings: BenchmarkSettings,
    photos: list[LabelledPhoto],
    problems: tuple[str, ...],
    weights: Weights,
    other: Weights | None = None,
    *,
    quiet: bool = False,
) -> tuple[dict[str, Any], list[BenchmarkRow]]:
    """Judge the photographs; the document of schema dialtell.benchmark/1, and the rows it rests on."""
    hidden = True if quiet or len(photos) < 2 else None
    judged: Callable[[Weights], tuple[list[BenchmarkRow], Iterable[str]]] = partial(
        judged_rows,
        photos,
        by=settings.cluster,
        given_outlines=settings.outlines == "labelled",
        max_pixels=settings.max_pixels,
        watch=partial(tqdm, unit="photo", disable=hidden, leave=False, file=sys.stderr),
    )
    rows, failed = judged(weights)
    caps = (weights.dial_calibration.low, weights.dial_calibration.high)
    document = {
        "schema": SCHEMA,
        "labels": str(settings.labels),
        "settings": {
            "cluster": settings.cluster,
            "outlines": settings.outlines,
            "draws": settings.draws,
            "seed": SEED,
            "labels_sha256": hashlib.sha256(settings.labels.read_bytes()).hexdigest(),
        },
        "problems": [*problems, *failed],
        **benchmark(rows, weights.identity, caps, draws=settings.draws),
        "against": None,
    }
    if other is not None:
        again, _ = judged(other)
        document["against"] = {"model": dict(other.identity), "tests": compare(rows, again)}
    return document, rows


def write_report(
    folder: Path,
    document: dict[str, Any],
    rows: list[BenchmarkRow],
    weights: Weights,
    *,
    max_pixels: int,
    overwrite: bool,
    every: bool = False,
) -> None:
    """Page, plots, JSON, CSV and an inspection page of every miss into a folder; the document learns their places.

    every : a page of every photograph, not of misses alone.
    """
    place = PAGES if every else MISSES
    try:
        (folder / place).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder} cannot be made ({error.strerror}); give another folder") from error
    paged: dict[int, str] = {}
    for row in rows if every else [row for row, _ in misses(rows)]:
        name = f"{place}/{row.photo.sha256[:16]}.html"
        try:
            inspect_photo(
                row.photo.path, folder / name, weights,
                known=row.photo.known(outlines=document["settings"]["outlines"] == "labelled", max_pixels=max_pixels),
                overwrite=overwrite,
            )  # fmt: skip
            paged[row.photo.row] = name
        except DialtellError as error:
            log.error("%s", error)
            document["problems"].append(f"row {row.photo.row}: no inspection page: {error}")
    for entry in (*(document["rows"] if every else ()), *document["misses"]):
        entry["page"] = paged.get(entry["row"])
    drawn = plots(rows)
    write_plots(folder, drawn, overwrite=overwrite)
    write_text(folder / "calls.csv", csv_text(document["rows"]), overwrite=overwrite)
    write_text(folder / "benchmark.json", json_text(document) + "\n", overwrite=overwrite)
    write_text(folder / "benchmark.html", page_text(document, drawn), overwrite=overwrite)
