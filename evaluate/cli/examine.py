"""`dialtell examine`: a page in the browser to add photographs, see where the dial lies, look, and note an opinion."""

from __future__ import annotations

import argparse
from pathlib import Path

from dialtell.evaluate.cli.flags import add_reading, whole

DESCRIPTION = """\
Open a page in the browser, served by this machine to itself only, on which dials are examined: drop photographs, see
them read, put the outline and 12 o'clock right by dragging them, note an opinion of your own zone by zone, see the
call. Everything is kept in FOLDER: one collection file, and the photographs beside it.
"""

EPILOG = """\
examples:
  dialtell examine                 keep dials in the folder "dials"
  dialtell examine ~/watches       in another, made if missing
  dialtell examine --on-my-network take the photographs with your phone
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


def run(args: argparse.Namespace) -> int:
    """Serve the page; returns the exit status. Raises DialtellError."""
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
