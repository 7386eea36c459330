"""`dialtell inspect`: a photograph in, a page out that shows the call, where and why; or several, with an index."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.cli.flags import (
    add_known,
    add_one_dial,
    add_photos,
    add_reading,
    add_size,
    known_of,
    known_of_one,
)

if TYPE_CHECKING:
    from dialtell.evaluate.inspection.one_photo import PageWishes
    from dialtell.evaluate.period.date_check import Years

DESCRIPTION = """\
Write one self-contained page about a photograph: the dial and zones found, the call and its reason, a map of what each
place adds to the call, and a close view of each zone. It opens in any browser, offline, and asks for nothing. Of
several photographs, or of a folder, each gets its page in a folder, with an index.html that links them in order.
"""

EPILOG = """\
examples:
  dialtell inspect watch.jpg --out watch.html
  dialtell inspect watch.jpg --out watch.html --lignes 19 --overwrite
  dialtell inspect watch.jpg --out watch.html --year 1884 --compare-with known-print.jpg
  dialtell inspect watch.jpg --out watch.html --serial 1250000 --serials my-table.csv
  dialtell inspect watch.jpg --out watch.html --png watch.png --report watch.pdf
  dialtell inspect signature.jpg --out signature.html --close-up --px-per-mm 92 --size 18
  dialtell inspect watch.jpg --out watch.html --outline "1040 812 655 641 12" --twelve 90
  dialtell inspect photos/ more.jpg --out pages
  dialtell inspect whole.jpg name.jpg track.jpg --out dial.html --one-dial "no. 41"

--json prints one document. For one photograph its schema is dialtell.inspect/1: the page's path, the dial as `dialtell
score` gives it, what its ratio is the sum of (explanation, in log10 units: "base", where every dial starts, and what
each of "places" and of "pairs" of like strokes adds, together "total", the ratio before its cap; "ways" parts what they
add into what strokes show looked at one by one and what comparing them shows), and style_hints, which the call does not
use. For several it is dialtell.inspections/1: the index's path, those documents under
"inspections", and what could not be inspected under "errors".

Exit status: 0 when every page was written, whatever the call; 1 when one was not (the others are all the same); 2 wrong
usage; 130 interrupted.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    add_photos(parser)
    add_one_dial(parser)
    add_size(parser)
    add_known(parser)
    add_reading(parser)
    beside = parser.add_argument_group("beside the strokes")
    beside.add_argument(
        "--compare-with", default="auto", metavar="PHOTO",
        help="photograph of another dial, shown beside each close view (default: auto, a like dial drawn both ways)",
    )  # fmt: skip
    date = beside.add_mutually_exclusive_group()
    date.add_argument("--year", type=float, metavar="YEAR", help="the movement was made; adds a check of the date")
    date.add_argument("--serial", type=int, metavar="N", help="of the movement; its year is read from --serials")
    beside.add_argument("--serials", type=Path, metavar="TABLE.csv", help="your own table, columns serial and year")
    out = parser.add_argument_group("output")
    out.add_argument(
        "--out", type=Path, required=True, metavar="FILE.html",
        help="the page; for several photographs or a folder: a folder of pages, made if there is none",
    )  # fmt: skip
    out.add_argument(
        "--png", type=Path, metavar="FILE.png",
        help="a still too, for print or e-mail, 1600 px wide; for several photographs: a folder of stills",
    )  # fmt: skip
    out.add_argument(
        "--report", type=Path, metavar="FILE.pdf",
        help="a report of three pages A4 too, for a client or a file; for several photographs: a folder of reports",
    )  # fmt: skip
    out.add_argument("--overwrite", action="store_true", help="replace what exists (default: refuse)")
    out.add_argument("--json", action="store_true", help="print one JSON document for the table")


def run(args: argparse.Namespace) -> int:
    """Inspect as asked; returns the exit status."""
    if args.one_dial is not None:
        return _one_dial(args)
    several = len(args.photos) > 1 or Path(args.photos[0]).is_dir()
    return _several(args) if several else _one(args)


def _one(args: argparse.Namespace) -> int:
    import logging

    from dialtell.evaluate import inspect_photo
    from dialtell.evaluate.inspection.one_photo import require_targets
    from dialtell.evaluate.words.document import json_text
    from dialtell.model import load_weights

    _require_forms(args)
    photo, targets = Path(args.photos[0]), _targets(args)
    known, wishes = known_of_one(args, args.photos[0]), wishes_of(args)
    require_targets(targets, [photo], wishes)  # before the weights are read
    document = inspect_photo(
        photo, args.out, load_weights(args.weights), known=known, still=args.png, years=wishes.years,
        compare_with=wishes.compare_with, report=args.report, overwrite=wishes.overwrite,
    )  # fmt: skip
    if args.json:
        print(json_text(document))
        return 0
    print(_table([document["dial"]], []))
    for target in targets:
        logging.getLogger("dialtell.inspect").info("wrote %s", target)
    return 0


def _one_dial(args: argparse.Namespace) -> int:
    """One page of all photographs as of one dial."""
    import logging
    from dataclasses import replace

    from dialtell.evaluate.inspection.one_photo import inspect_scored, require_targets
    from dialtell.evaluate.one_dial.beside import beside
    from dialtell.evaluate.one_dial.dial import score_one_dial
    from dialtell.evaluate.words.document import json_text
    from dialtell.model import load_weights

    _require_forms(args)
    log, wishes, targets = (
        logging.getLogger("dialtell.inspect"),
        replace(wishes_of(args), report=args.report),
        _targets(args),
    )
    require_targets(targets, [Path(photo) for photo in args.photos if Path(photo).is_file()], wishes)
    weights = load_weights(args.weights)
    dial, document = score_one_dial(args.photos, weights, known=known_of(args), name=args.one_dial or None)
    errors = [(entry["photo"], entry["error"]) for entry in document["errors"]]
    for _, message in errors:
        log.error("%s", message)
    if dial is None:
        return 1
    wishes = replace(wishes, photographs=beside(dial))
    inspection = inspect_scored(dial.scored, args.out, args.png, weights, wishes)
    if args.json:
        print(json_text(inspection.document))
    else:
        print(_table([inspection.document["dial"]], errors))
        for target in targets:
            log.info("wrote %s", target)
    return 1 if errors else 0


def _targets(args: argparse.Namespace) -> list[Path]:
    """What is to be written of one dial."""
    return [target for target in (args.out, args.png, args.report) if target is not None]


def _require_forms(args: argparse.Namespace) -> None:
    """Refuse targets of a wrong form, before any work."""
    from dialtell.synth.shared.errors import ParameterError
    from dialtell.synth.shared.files import PAGE, require_form

    if args.png is not None and args.png.suffix.lower() != ".png":
        raise ParameterError(f"--png is {args.png}; the still is a PNG, give FILE.png")
    if args.report is not None and args.report.suffix.lower() != ".pdf":
        raise ParameterError(f"--report is {args.report}; the report is a PDF, give FILE.pdf")
    require_form(args.out, PAGE)
    if args.png is not None and args.png.resolve() == args.out.resolve():
        raise ParameterError(f"--png and --out are both {args.out}; give each a file of its own")


def _several(args: argparse.Namespace) -> int:
    import logging

    from dialtell.evaluate.inspection.photos import inspect_photos
    from dialtell.evaluate.words.document import json_text
    from dialtell.model import load_weights

    log = logging.getLogger("dialtell.inspect")
    document = inspect_photos(
        args.photos, args.out, args.png, load_weights(args.weights), known=known_of(args), wishes=wishes_of(args),
        reports=args.report, progress=not args.quiet,
    )  # fmt: skip
    errors = [(entry["photo"], entry["error"]) for entry in document["errors"]]
    if args.json:
        print(json_text(document))
        for _, message in errors:  # the table already lists them
            log.error("%s", message)
    else:
        print(_table([inspection["dial"] for inspection in document["inspections"]], errors))
        log.info("wrote %s", document["index"])
    return 1 if errors else 0


def wishes_of(args: argparse.Namespace) -> PageWishes:
    """What the page shall hold besides the call."""
    from dialtell.evaluate.inspection.one_photo import PageWishes

    return PageWishes(
        years=years_asked(args),
        compare_with=None if args.compare_with == "auto" else args.compare_with,
        overwrite=args.overwrite,
    )


def _table(dials: list[dict[str, Any]], errors: list[tuple[str, str]]) -> str:
    import sys

    from dialtell.evaluate.score.table import call_table
    from dialtell.evaluate.words.plain import terminal_width

    return call_table(
        dials, errors, width=terminal_width(), cut=sys.stdout.isatty(), encoding=sys.stdout.encoding or "utf-8"
    )


def years_asked(args: argparse.Namespace) -> Years | None:
    """When the movement was made, from --year or --serial with --serials; ParameterError when one lacks the other."""
    from dialtell.evaluate.period.date_check import Years
    from dialtell.evaluate.period.serials import read_serials
    from dialtell.synth.shared.errors import ParameterError

    if args.serial is not None:
        if args.serials is None:
            raise ParameterError("--serial needs your table of serials; give --serials TABLE.csv, or --year")
        return read_serials(args.serials).years_of(args.serial)
    if args.serials is not None:
        raise ParameterError("--serials is given without --serial; give the movement's number")
    return None if args.year is None else Years(args.year, args.year, args.year, "as stated")
