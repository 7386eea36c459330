"""`dialtell benchmark`: calls against labels on real photographs, with intervals and what they allow one to claim."""

from __future__ import annotations

import argparse
from pathlib import Path

from dialtell.evaluate.cli.flags import add_ladder, add_reading, whole

DESCRIPTION = """\
Judge labelled photographs and compare the calls with the labels: by dial and zone, by resolution, process and type of
object, with 95 % intervals over clusters of photographs that belong together, every miss, and in words what so many
photographs allow one to claim.
"""

EPILOG = """\
examples:
  dialtell benchmark labels.csv
  dialtell benchmark labels.csv --out report           page, plots, JSON, CSV, an inspection page of every miss
  dialtell benchmark labels.csv --out report --pages all      an inspection page of every photograph
  dialtell benchmark labels.csv --against old.safetensors
  dialtell benchmark --ladder                          rungs of drawn dials of rising difficulty

Labels are CSV in UTF-8. The columns photo (path relative to the file) and dial_process must be there; others are
sha256, dial, source, object_type, size_mm, labeller, basis, print_process, signature, numerals, minute_track,
seconds_bit, outline, places, labelled_at and notes. Processes are painted, printed, mixed (dials only) or "cannot
tell"; prints are transfer, photographic or "cannot tell"; basis is "by eye", record or "examined object"; outline is
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
        help="judge within the outline found, as for anyone's photograph, or the labelled one, with the places "
        "marked as not of the design or of another zone (default: %(default)s)",
    )  # fmt: skip
    how.add_argument(
        "--draws", type=whole(100, 100_000), default=2000, metavar="N", help="for intervals (default: %(default)s)"
    )
    out = parser.add_argument_group("output")
    out.add_argument("--out", type=Path, metavar="DIR", help="folder for page, plots, JSON and CSV, made if missing")
    out.add_argument(
        "--pages", choices=("misses", "all"), default="misses",
        help="which photographs get an inspection page in --out (default: %(default)s)",
    )  # fmt: skip
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
    from dialtell.synth.shared.files import require_free_folder

    if args.ladder is not None:
        if args.labels is not None:
            raise ParameterError(f"labels ({args.labels}) are given with ladder; give one of the two")
        if args.out is not None:
            require_free_folder(args.out, ("ladder.json",), overwrite=args.overwrite)
        return _climb(args)
    if args.labels is None:
        raise ParameterError("labels are missing; give LABELS.csv, or --ladder for drawn dials")
    return _judge(args)


def _judge(args: argparse.Namespace) -> int:
    import hashlib
    import logging
    import sys

    from dialtell.evaluate.benchmark.overlap import unseen
    from dialtell.evaluate.benchmark.report import (
        FILES,
        MISSES,
        PAGES,
        BenchmarkSettings,
        benchmark_document,
        write_report,
    )
    from dialtell.evaluate.benchmark.table import benchmark_table
    from dialtell.evaluate.words.document import json_text
    from dialtell.evaluate.words.plain import terminal_width
    from dialtell.model.net.weights_file import load_weights
    from dialtell.synth.shared.errors import ParameterError
    from dialtell.synth.shared.files import require_free_folder
    from dialtell.train.photographs.labels import LabelsError, check_labels

    log = logging.getLogger("dialtell.benchmark")
    if args.pages == "all" and args.out is None:
        raise ParameterError("pages is all but out is missing; give a folder for the pages")
    if args.out is not None:
        require_free_folder(args.out, (*FILES, PAGES if args.pages == "all" else MISSES), overwrite=args.overwrite)
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
    settings = BenchmarkSettings(args.labels, args.cluster, args.outlines, args.draws, args.max_pixels)
    document, rows = benchmark_document(settings, photos, problems, weights, other, quiet=args.quiet)
    document["claims"] += unchecked
    for problem in document["problems"]:
        log.error("%s", problem)
    if args.out is not None:
        write_report(
            args.out,
            document,
            rows,
            weights,
            max_pixels=args.max_pixels,
            overwrite=args.overwrite,
            every=args.pages == "all",
        )
        log.info("wrote %s", args.out / FILES[0])
    if args.json:
        print(json_text(document))
    else:
        print(benchmark_table(document, width=terminal_width(120), encoding=sys.stdout.encoding or "utf-8"))
    return 1 if document["problems"] else 0


def _climb(args: argparse.Namespace) -> int:
    """The ladder of drawn dials: args.ladder holds the weights (the shipped ones if empty)."""
    from dialtell.evaluate.ladder.ladder import run_ladder, summary
    from dialtell.evaluate.words.document import json_text
    from dialtell.synth.shared.errors import ParameterError

    if args.out is None:
        raise ParameterError("out is missing; give a folder for the ladder's files")
    document = run_ladder(
        args.ladder or [None], out=args.out, count=args.count, workers=args.workers, rungs=args.rungs,
        device=args.device,
    )  # fmt: skip
    print(json_text(document) if args.json else summary(document))
    return 0
