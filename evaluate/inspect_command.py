"""`dialtell inspect`: one photograph in, one page out that shows the call, where and why."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from dialtell.evaluate.flags import add_reading, add_size

if TYPE_CHECKING:
    from dialtell.evaluate.period import Years

DESCRIPTION = """\
Write one self-contained page about a photograph: the dial and zones found, the call and its reason, a map of what
moved the call, and a close view of each zone. It opens in any browser, offline, and asks for nothing.
"""

EPILOG = """\
examples:
  dialtell inspect watch.jpg --out watch.html
  dialtell inspect watch.jpg --out watch.html --lignes 19 --overwrite
  dialtell inspect watch.jpg --out watch.html --year 1884 --compare-with known-print.jpg
  dialtell inspect watch.jpg --out watch.html --serial 1250000 --serials my-table.csv

--json prints a document of schema dialtell.inspect/1: the page's path, the dial as `dialtell score` gives it, and how
nearly the map adds up (completeness_error, in units of the net's logit).

Exit status: 0 when the page was written, whatever the call; 1 when it was not; 2 wrong usage; 130 interrupted.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("photo", metavar="PHOTO", help="photograph (JPEG, PNG, TIFF, WebP and others)")
    add_size(parser)
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
    out.add_argument("--out", type=Path, required=True, metavar="FILE.html", help="the page; required")
    out.add_argument("--overwrite", action="store_true", help="replace the page if it exists (default: refuse)")
    out.add_argument("--json", action="store_true", help="print one JSON document for the table")


def run(args: argparse.Namespace) -> int:
    """Inspect as asked; returns the exit status."""
    import logging
    import shutil
    import sys

    from dialtell.evaluate.call_table import call_table
    from dialtell.evaluate.inspect_page import inspect_photo
    from dialtell.evaluate.output import json_text, require_free
    from dialtell.model.store import load_weights

    require_free(args.out, overwrite=args.overwrite)
    years = years_asked(args)
    document = inspect_photo(
        args.photo,
        args.out,
        load_weights(args.weights),
        diameter_mm=args.diameter_mm,
        max_pixels=args.max_pixels,
        overwrite=args.overwrite,
        years=years,
        compare_with=None if args.compare_with == "auto" else args.compare_with,
    )
    if args.json:
        print(json_text(document))
    else:
        width = min(max(shutil.get_terminal_size((100, 24)).columns, 60), 140)
        print(call_table([document["dial"]], width=width, encoding=sys.stdout.encoding or "utf-8"))
        logging.getLogger("dialtell.inspect").info("wrote %s", args.out)
    return 0


def years_asked(args: argparse.Namespace) -> Years | None:
    """When the movement was made, from --year or --serial with --serials; ParameterError when one lacks the other."""
    from dialtell.evaluate.period import Years
    from dialtell.evaluate.serials import read_serials
    from dialtell.synth.errors import ParameterError

    if args.serial is not None:
        if args.serials is None:
            raise ParameterError("--serial needs your table of serials; give --serials TABLE.csv, or --year")
        return read_serials(args.serials).years_of(args.serial)
    if args.serials is not None:
        raise ParameterError("--serials is given without --serial; give the movement's number")
    return None if args.year is None else Years(args.year, args.year, args.year, "as stated")
