"""`dialtell inspect`: one photograph in, one page out that shows the call, where and why."""

from __future__ import annotations

import argparse
from pathlib import Path

from dialtell.evaluate.flags import add_reading, add_size

DESCRIPTION = """\
Write one self-contained page about a photograph: the dial and zones found, the call and its reason, a map of what
moved the call, and a close view of each zone. It opens in any browser, offline, and asks for nothing.
"""

EPILOG = """\
examples:
  dialtell inspect watch.jpg --out watch.html
  dialtell inspect watch.jpg --out watch.html --lignes 19 --overwrite

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
    document = inspect_photo(
        args.photo,
        args.out,
        load_weights(args.weights),
        diameter_mm=args.diameter_mm,
        max_pixels=args.max_pixels,
        overwrite=args.overwrite,
    )
    if args.json:
        print(json_text(document))
    else:
        width = min(max(shutil.get_terminal_size((100, 24)).columns, 60), 140)
        print(call_table([document["dial"]], width=width, encoding=sys.stdout.encoding or "utf-8"))
        logging.getLogger("dialtell.inspect").info("wrote %s", args.out)
    return 0
