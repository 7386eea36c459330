"""`dialtell label`: a page in the browser to label photographs by eye, and how far two labellers agree."""

from __future__ import annotations

import argparse
from pathlib import Path

from dialtell.evaluate.cli.flags import add_reading, whole

LABELS = "labels.csv"

DESCRIPTION = """\
Open a page in the browser, served by this machine to itself only, that shows the photographs of a folder one by one
under a magnifier. Say of each dial and its zones whether they are painted or printed, on what basis, and mark the
dial's outline where it was not found. Each change is saved at once in a table (CSV) beside the photographs.
With --beside, compare two labellers' tables instead.
"""

EPILOG = """\
examples:
  dialtell label photographs                                    labels in photographs/labels.csv
  dialtell label photographs --labeller "B. Example" --csv photographs/labels-b.csv
  dialtell label photographs --beside photographs/labels-b.csv  Cohen's kappa, and where the two differ

The tool's own call is kept back until the dial has its label, so that the label is not swayed by it; then the page
can show it. A label given with the call in view is marked so in its notes.

The page needs no mouse: its keys stand on its buttons. Every change can be undone while the program runs. What
`dialtell gather` knows of a photograph (dial, source, kind of object) is filled in. Rows of photographs that are gone
stay in the table. Each labeller has a table of their own; only one program may label into a table.

The table opens in a spreadsheet. A cell that a spreadsheet would run as a formula, as it begins with = + - @ or a
tab, stands there with an apostrophe before it, which is taken off when the table is read. Save it as CSV in UTF-8
with commas.

Exit status: 0 when ended with Ctrl-C, everything saved, and after --beside; 1 when something could not be done; 2
wrong usage.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder of photographs, searched downwards")
    parser.add_argument(
        "--csv", type=Path, metavar="FILE", help=f"table of labels, made if missing (default: {LABELS} in DIR)"
    )
    parser.add_argument(
        "--labeller", default="", metavar="NAME", help="who labels (default: whoever labelled the table before)"
    )
    parser.add_argument(
        "--show-calls", action="store_true", help="show the tool's call before the label is given (default: after)"
    )
    serving = parser.add_argument_group("the page")
    serving.add_argument(
        "--port", type=whole(0, 65535), default=0, metavar="N", help="port to serve on (default: any free one)"
    )
    serving.add_argument("--no-browser", action="store_true", help="print the address and open no browser")
    comparing = parser.add_argument_group("comparing")
    comparing.add_argument(
        "--beside",
        type=Path,
        metavar="OTHER.csv",
        help="compare with this table of a second labeller, and serve no page",
    )
    comparing.add_argument(
        "--json", action="store_true", help="with --beside: print one JSON document, schema dialtell.agreement/1"
    )
    add_reading(parser)


def run(args: argparse.Namespace) -> int:
    """Label or compare as asked; returns the exit status. Raises DialtellError."""
    from dialtell.evaluate.museum.records import plain
    from dialtell.synth.shared.errors import ParameterError

    table = args.csv if args.csv is not None else args.folder / LABELS
    if args.beside is not None:
        return _compare(table, args.beside, as_json=args.json)
    if args.json:
        raise ParameterError("json is given without beside; a page has no JSON, so leave it out or add --beside")
    if plain(args.labeller) != args.labeller or len(args.labeller) > 100:
        raise ParameterError("labeller is no name of up to 100 characters on one line; give another")
    return _serve(args, table)


def _compare(table: Path, other: Path, *, as_json: bool) -> int:
    from dialtell.evaluate.label.agreement import agreement, agreement_text
    from dialtell.evaluate.label.sheet import read_sheet
    from dialtell.evaluate.words.document import json_text

    document = agreement(read_sheet(table).rows, read_sheet(other).rows, (str(table), str(other)))
    print(json_text(document) if as_json else agreement_text(document))
    return 0


def _serve(args: argparse.Namespace, table: Path) -> int:
    import logging

    from dialtell.evaluate.label.app import Labelling, label_page
    from dialtell.evaluate.label.photos import PhotoFolder
    from dialtell.evaluate.label.store import LabelStore
    from dialtell.evaluate.label.views import LabelViews
    from dialtell.evaluate.serving.doors import HOST
    from dialtell.evaluate.serving.server import listening, run
    from dialtell.evaluate.words.plain import plain_name

    log = logging.getLogger("dialtell.label")
    folder = PhotoFolder(args.folder)
    for path, why in folder.left_out:
        log.warning("%s %s", plain_name(path), why)

    def ready(url: str) -> None:
        print(url, flush=True)
        log.info("labels go to %s; Ctrl-C ends, everything is saved", table)
        if not args.no_browser:
            import webbrowser

            webbrowser.open(url)

    with LabelStore(table, args.labeller) as store, listening(HOST, args.port) as listener:
        strays = store.strays(folder.photos)
        if strays:
            log.info("%d rows of %s are about photographs that are not here; they are kept", strays, table)
        desk = Labelling(folder, store, LabelViews(args.weights, args.max_pixels), show_calls=args.show_calls)
        try:
            run(label_page(desk, port=listener.getsockname()[1]), listener, ready)
        except KeyboardInterrupt:
            done = sum(store.labelled(photo) for photo in folder)
            log.info("ended; %d of %d photographs are labelled in %s", done, len(folder.photos), table)
    return 0
