"""`dialtell examine`: a page in the browser to add photographs, see where the dial lies, look, and note an opinion."""

from __future__ import annotations

import argparse
from pathlib import Path

from dialtell.evaluate.cli.flags import add_reading, whole
from dialtell.synth.shared.errors import ParameterError

DESCRIPTION = """\
Open a page in the browser, served by this machine to itself only, on which dials are examined: drop photographs, see
them read, put the outline and 12 o'clock right by dragging them, draw round a hand or a stain that is to be left out,
note an opinion of your own zone by zone, see the call. Everything is kept in FOLDER: one collection file, and the
photographs beside it.
"""

EPILOG = """\
examples:
  dialtell examine                 keep dials in the folder "dials"
  dialtell examine ~/watches       in another, made if missing
  dialtell examine --on-my-network take the photographs with your phone
  dialtell examine watches --take-along watches.zip
  dialtell examine watches --write-labels labels.csv
  dialtell examine elsewhere --bring-in watches.zip
  dialtell collection list ~/watches/dials.collection

With --on-my-network a phone can add photographs to a dial, and nothing else: the page shows a code, which lets one
phone in, within five minutes, for half an hour.

A call can be kept back until you have noted your own opinion of the dial; both stay in the record.

Everything is saved at once: the program may be ended at any moment, and goes on with what was left unread when it is
started again. Only one may have a folder open.

Exit status: 0 when ended with Ctrl-C; 1 when something could not be done; 2 wrong usage.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument(
        "folder", nargs="?", type=Path, default=Path("dials"), metavar="FOLDER",
        help="where dials are kept, made if missing (default: %(default)s)",
    )  # fmt: skip
    parser.add_argument(
        "--port", type=whole(0, 65535), default=0, metavar="N", help="port to serve on (default: any free one)"
    )
    parser.add_argument(
        "--on-my-network", action="store_true", help="let a phone on the same network add photographs, by a code that "
        "the page shows when it is asked for; photographs then cross that network unencrypted (default: off)",
    )  # fmt: skip
    parser.add_argument("--no-browser", action="store_true", help="print the address and open no browser")
    parser.add_argument(
        "--workers", type=whole(1, 256), metavar="N", help="processes that read photographs, at most one a core "
        "(default: one a core, at most 4)",
    )  # fmt: skip
    add_reading(parser)
    group = parser.add_argument_group("without the page", "Done at once; no page is opened. One at a time.")
    one = group.add_mutually_exclusive_group()
    one.add_argument(
        "--take-along", type=Path, metavar="FILE", help="write all dials to FILE: .zip with the photographs, .json all "
        "that is noted, .csv a table; calls that are kept back are left out",
    )  # fmt: skip
    one.add_argument(
        "--bring-in", type=Path, metavar="FILE", help="bring in dials that were taken along, or a table with columns "
        "such as maker, serial and year; what is there already is not doubled",
    )  # fmt: skip
    one.add_argument(
        "--write-labels", type=Path, metavar="FILE", help="write your opinions, outlines and what you marked on the "
        "photographs to FILE, a labels table (CSV) for `benchmark`, `label` and `train --photos`, without the calls",
    )  # fmt: skip
    one.add_argument(
        "--agreement", action="store_true", help="print how far your opinions and the calls agree, of dials of which "
        "you noted yours before you saw the call",
    )  # fmt: skip
    group.add_argument(
        "--overwrite", action="store_true", help="with --take-along or --write-labels: replace FILE if it exists"
    )
    group.add_argument("--json", action="store_true", help="with --bring-in or --agreement: print JSON")


def run(args: argparse.Namespace) -> int:
    """Serve the page, or do one thing at once; returns the exit status. Raises DialtellError."""
    if args.agreement or any(given is not None for given in (args.take_along, args.bring_in, args.write_labels)):
        return _at_once(args)
    if args.json or args.overwrite:
        raise ParameterError(
            "json and overwrite are for --take-along, --write-labels, --bring-in and --agreement; leave them out"
        )
    return _serve(args)


def _at_once(args: argparse.Namespace) -> int:
    import contextlib
    import json
    import logging
    from dataclasses import asdict

    from dialtell.evaluate.examine.agreement import agreement_text, collection_agreement
    from dialtell.evaluate.examine.brought_in import bring_in
    from dialtell.evaluate.examine.kept_files import KeptFiles
    from dialtell.evaluate.examine.labels_along import write_labels
    from dialtell.evaluate.examine.receiving import LARGEST_PHOTO
    from dialtell.evaluate.examine.taken_along import write_along

    log = logging.getLogger("dialtell.examine")
    files = KeptFiles(args.folder)
    if args.bring_in is None and not files.collection.is_file():
        raise ParameterError(f"{args.folder} holds no dials; give the folder of an examination")
    files.prepare()
    if args.take_along is not None:
        write_along(files, args.take_along, overwrite=args.overwrite)
        log.info("%s is written", args.take_along)
    elif args.write_labels is not None:
        write_labels(files, args.write_labels, overwrite=args.overwrite)
        log.info("%s is written", args.write_labels)
    elif args.bring_in is not None:
        with contextlib.ExitStack() as held:
            try:
                content = held.enter_context(args.bring_in.open("rb"))
            except OSError as error:
                raise ParameterError(f"{args.bring_in} cannot be read ({error.strerror}); check the path") from error
            held.enter_context(files.held())
            told = asdict(bring_in(files, content, LARGEST_PHOTO))
        told = {name: told[name] for name in ("dials", "known", "photographs", "missing", "elsewhere")}
        print(
            json.dumps(told) if args.json else "\n".join(f"{_BROUGHT[name]}: {count}" for name, count in told.items())
        )
    else:
        with files.opened() as dials:
            parts = collection_agreement(dials)
        print(json.dumps({"agreement": parts}) if args.json else agreement_text(parts))
    return 0


_BROUGHT = {
    "dials": "new dials", "known": "dials that were here", "photographs": "new photographs",
    "missing": "photographs that did not come along", "elsewhere": "photographs that lie under another dial here",
}  # fmt: skip


def _serve(args: argparse.Namespace) -> int:
    import logging
    import os
    import webbrowser

    from dialtell.evaluate.examine.serve import serve
    from dialtell.model.net.weights_file import load_weights

    log = logging.getLogger("dialtell.examine")
    if args.weights is not None:
        load_weights(args.weights)  # what is wrong with them is said before anything is read
    cores = os.cpu_count() or 1

    def ready(url: str) -> None:
        print(url, flush=True)
        log.info("dials are kept in %s; Ctrl-C ends, everything is saved", args.folder)
        if not args.no_browser:
            webbrowser.open(url)

    try:
        serve(
            args.folder,
            port=args.port,
            workers=min(args.workers or 4, cores),
            weights=args.weights,
            max_pixels=args.max_pixels,
            network=args.on_my_network,
            ready=ready,
        )
    except KeyboardInterrupt:
        log.info("ended; everything is kept in %s", args.folder)
    return 0
