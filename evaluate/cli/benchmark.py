"""`dialtell benchmark`: calls against labels on real photographs, with intervals and what they allow one to claim."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.cli.flag_values import whole
from dialtell.evaluate.cli.flags import add_reading
from dialtell.evaluate.cli.ladder_flags import add_ladder

if TYPE_CHECKING:
    from dialtell.evaluate.benchmark.rows import Row
    from dialtell.model.net.weights_file import Weights
    from dialtell.train.photographs.labels import LabelledPhoto

FILES = ("benchmark.html", "benchmark.json", "calls.csv", "ratios.png", "reliability.png", "coverage.png")
MISSES = "misses"

DESCRIPTION = """\
Judge labelled photographs and compare the calls with the labels: by dial and zone, by resolution, process and type of
object, with 95 % intervals over clusters of photographs that belong together, every miss, and in words what so many
photographs allow one to claim.
"""

EPILOG = """\
examples:
  dialtell benchmark labels.csv
  dialtell benchmark labels.csv --out report           page, plots, JSON, CSV, an inspection page of every miss
  dialtell benchmark labels.csv --against old.safetensors
  dialtell benchmark --ladder                          rungs of drawn dials of rising difficulty

Labels are CSV in UTF-8. The columns photo (path relative to the file) and dial_process must be there; others are
sha256, dial, source, object_type, size_mm, labeller, basis, print_process, signature, numerals, minute_track,
seconds_bit, outline, labelled_at and notes. Processes are painted, printed, mixed (dials only) or "cannot tell"; prints
are transfer, photographic or "cannot tell"; basis is "by eye", record or "examined object"; outline is
"cx cy a b degrees" in px. Faulty rows are named and left out.

Photographs with the same dial or the same source count as one cluster; with --cluster dial only those of one dial do,
which is right only where sources (a museum, a seller) have nothing to do with how their dials look or were labelled.

Never choose weights or thresholds by the photographs they are then benchmarked on. Rows of photographs and dials that
the weights were adapted to (`dialtell train --photos`) are named and left out.

Exit status: 0 when every row was used, whatever the calls; 1 when some row or photograph could not be used (the rest
is); 2 wrong usage; 130 interrupted.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("labels", nargs="?", type=Path, metavar="LABELS.csv", help="labels of photographs")
    add_reading(parser)
    how = parser.add_argument_group("how")
    how.add_argument(
        "--against", type=Path, metavar="FILE.safetensors", help="compare with these weights on the same photographs"
    )
    how.add_argument(
        "--cluster", choices=("source", "dial", "photo"), default="source",
        help="what belongs together (default: %(default)s)",
    )  # fmt: skip
    how.add_argument(
        "--outlines", choices=("found", "labelled"), default="found",
        help="judge within the outline found, as for anyone's photograph, or the labelled one (default: %(default)s)",
    )  # fmt: skip
    how.add_argument(
        "--draws", type=whole(100, 100_000), default=2000, metavar="N", help="for intervals (default: %(default)s)"
    )
    out = parser.add_argument_group("output")
    out.add_argument("--out", type=Path, metavar="DIR", help="folder for page, plots, JSON and CSV, made if missing")
    out.add_argument("--overwrite", action="store_true", help="replace these files if they exist (default: refuse)")
    out.add_argument("--json", action="store_true", help="print one JSON document, schema dialtell.benchmark/1")
    ladder = parser.add_argument_group("drawn dials in place of labels")
    ladder.add_argument(
        "--ladder", nargs="*", metavar="WEIGHTS",
        help="judge rungs of drawn dials of rising difficulty with these weights (default: the shipped ones); needs "
        "--out",
    )  # fmt: skip
    add_ladder(ladder)


def run(args: argparse.Namespace) -> int:
    """Benchmark as asked; returns the exit status. Raises DialtellError."""
    from dialtell.synth.shared.errors import ParameterError

    if args.ladder is not None:
        if args.labels is not None:
            raise ParameterError(f"labels ({args.labels}) are given with ladder; give one of the two")
        if args.out is not None:
            _require_free(args.out, ("ladder.json",), overwrite=args.overwrite)
        from dialtell.evaluate.ladder import ladder

        return ladder.run(args)
    if args.labels is None:
        raise ParameterError("labels are missing; give LABELS.csv, or --ladder for drawn dials")
    return _run(args)


def _run(args: argparse.Namespace) -> int:
    import hashlib
    import logging
    import sys

    from dialtell.evaluate.benchmark.overlap import unseen
    from dialtell.evaluate.benchmark.table import benchmark_table
    from dialtell.evaluate.score.table import terminal_width
    from dialtell.model.net.weights_file import load_weights
    from dialtell.synth.shared.errors import OutputError
    from dialtell.synth.shared.files import json_text
    from dialtell.train.photographs.labels import LabelsError, check_labels

    log = logging.getLogger("dialtell.benchmark")
    if args.out is not None:
        _require_free(args.out, (*FILES, MISSES), overwrite=args.overwrite)
    weights = load_weights(args.weights)
    other = None if args.against is None else load_weights(args.against)
    photos, problems = check_labels(args.labels)
    unchecked: list[str] = []
    digest = hashlib.sha256(args.labels.read_bytes()).hexdigest()
    for path, judge in ((args.weights, weights), (args.against, other)):
        if judge is not None:
            photos, seen, unsure = unseen(photos, judge, path, digest)
            problems, unchecked = (*problems, *seen), [*unchecked, *unsure]
    if not photos:
        raise LabelsError(f"{args.labels} has no row that can be used: {'; '.join(problems[:3]) or 'it is empty'}")
    document, rows = benchmark_document(args, photos, problems, weights, other)
    document["claims"] += unchecked
    for problem in document["problems"]:
        log.error("%s", problem)
    if args.out is not None:
        try:
            (args.out / MISSES).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(f"{args.out} cannot be made ({error.strerror}); give another folder") from error
        write_report(args, document, rows, weights)
        log.info("wrote %s", args.out / FILES[0])
    if args.json:
        print(json_text(document))
    else:
        print(benchmark_table(document, width=terminal_width(120), encoding=sys.stdout.encoding or "utf-8"))
    return 1 if document["problems"] else 0


def benchmark_document(
    args: argparse.Namespace,
    photos: list[LabelledPhoto],
    problems: tuple[str, ...],
    weights: Weights,
    other: Weights | None = None,
) -> tuple[dict[str, Any], list[Row]]:
    """Judge the photographs; the document of schema dialtell.benchmark/1, and the rows it rests on."""
    import hashlib
    import sys
    from functools import partial

    from tqdm import tqdm

    from dialtell.evaluate.benchmark.benchmark import SCHEMA, SEED, benchmark, compare
    from dialtell.evaluate.benchmark.rows import judged_rows

    quiet = True if args.quiet or len(photos) < 2 else None
    judged = partial(
        judged_rows,
        photos,
        by=args.cluster,
        given_outlines=args.outlines == "labelled",
        max_pixels=args.max_pixels,
        watch=partial(tqdm, unit="photo", disable=quiet, leave=False, file=sys.stderr),
    )
    rows, failed = judged(weights)
    settings = {
        "cluster": args.cluster,
        "outlines": args.outlines,
        "draws": args.draws,
        "seed": SEED,
        "labels_sha256": hashlib.sha256(args.labels.read_bytes()).hexdigest(),
    }
    caps = (weights.dial_calibration.low, weights.dial_calibration.high)
    document = {
        "schema": SCHEMA,
        "labels": str(args.labels),
        "settings": settings,
        "problems": [*problems, *failed],
        **benchmark(rows, weights.identity, caps, draws=args.draws),
        "against": None,
    }
    if other is not None:
        again, _ = judged(other)
        document["against"] = {"model": dict(other.identity), "tests": compare(rows, again)}
    return document, rows


def write_report(args: argparse.Namespace, document: dict[str, Any], rows: list[Row], weights: Weights) -> None:
    """Page, plots, JSON, CSV and an inspection page of every miss into args.out; the document learns their places."""
    import logging

    from dialtell.evaluate.benchmark.benchmark import items_of
    from dialtell.evaluate.benchmark.page import page_text
    from dialtell.evaluate.benchmark.plots import plots, write_plots
    from dialtell.evaluate.benchmark.rows import misses
    from dialtell.evaluate.benchmark.table import csv_text
    from dialtell.evaluate.inspection.one_photo import inspect_photo
    from dialtell.synth.shared.errors import DialtellError
    from dialtell.synth.shared.files import json_text, write_text

    log = logging.getLogger("dialtell.benchmark")
    for miss, (row, _) in zip(document["misses"], misses(rows), strict=True):
        name = f"{MISSES}/{row.photo.sha256[:16]}.html"
        try:
            inspect_photo(
                row.photo.path, args.out / name, weights, diameter_mm=row.photo.size_mm,
                max_pixels=args.max_pixels, overwrite=args.overwrite,
            )  # fmt: skip
            miss["page"] = name
        except DialtellError as error:
            log.error("%s", error)
            document["problems"].append(f"row {row.photo.row}: no inspection page: {error}")
    drawn = plots(items_of(rows))
    write_plots(args.out, drawn, overwrite=args.overwrite)
    write_text(args.out / "calls.csv", csv_text(document["rows"]), overwrite=args.overwrite)
    write_text(args.out / "benchmark.json", json_text(document) + "\n", overwrite=args.overwrite)
    write_text(args.out / "benchmark.html", page_text(document, drawn), overwrite=args.overwrite)


def _require_free(folder: Path, files: tuple[str, ...], *, overwrite: bool) -> None:
    """Raise OutputError when the folder cannot take the report, before any work is done."""
    from dialtell.synth.shared.errors import OutputError

    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is no folder; give a folder, made if missing")
    if folder.is_dir():
        for name in files:
            if (folder / name).exists() and not overwrite:
                raise OutputError(
                    f"{folder / name} exists; give another folder, or --overwrite to replace what is there"
                )
    elif not folder.parent.is_dir():
        raise OutputError(f"{folder} cannot be made, there is no folder {folder.parent}; make it first")
