"""The `dialtell` command: verbs, exit codes, and what goes to which stream.

A verb is a module with `add_arguments(parser)` and `run(args) -> int`, imported only when it is asked for; its
heavy imports (torch, OpenCV) wait until `run`, so that help comes at once.
"""

from __future__ import annotations

import argparse
import importlib
import logging
import os
import sys
from collections.abc import Collection, Sequence
from importlib import metadata

from dialtell.evaluate.cli.threads import one_thread_for_small_matrices
from dialtell.synth.shared.errors import DialtellError

DONE, FAILED, USAGE, INTERRUPTED = 0, 1, 2, 130

# verb: module, what it does
VERBS = {
    "score": ("dialtell.evaluate.cli.score", "say of each photograph: hand-painted, printed or undetermined"),
    "inspect": ("dialtell.evaluate.cli.inspection", "write one page that shows a photograph's call, where and why"),
    "examine": ("dialtell.evaluate.cli.examine", "examine dials on a page: add photographs, mark, look, decide, keep"),
    "draw": ("dialtell.evaluate.cli.draw", "draw synthetic photographs of dials, with what was drawn"),
    "gather": ("dialtell.evaluate.cli.gather", "download public-domain photographs of watches from museums"),
    "label": ("dialtell.evaluate.cli.label", "label photographs by eye on a page, and compare two labellers"),
    "benchmark": ("dialtell.evaluate.cli.benchmark", "hold calls against labels of real photographs"),
    "compare": ("dialtell.evaluate.cli.compare", "lay two dials on each other: does one plate fit both?"),
    "note": ("dialtell.evaluate.cli.note", "describe a dial as a condition report would"),
    "collection": ("dialtell.evaluate.cli.collection", "keep many dials, their calls and their owner's notes"),
    "train": ("dialtell.evaluate.cli.train", "train the net on drawn dials and write its weights"),
    "speed": ("dialtell.evaluate.cli.speed", "measure how fast everything is on this machine, as ratios"),
}

# what brings a package that scoring does without
EXTRAS = dict.fromkeys(("torch", "torchvision"), "train") | dict.fromkeys(
    ("matplotlib", "fontTools", "contourpy", "albumentations"), "pages"
)

DESCRIPTION = """\
Tells from photographs whether the figures, tracks and lettering on a white enamel watch dial were painted by
hand or printed, and shows where and why. "Undetermined" is an answer too.
"""

EPILOG = """\
examples:
  dialtell score watch.jpg                       a short table
  dialtell score photos/ --size 18 --json        every photograph in a folder, as one JSON document
  dialtell inspect watch.jpg --out watch.html    one page to open in a browser

`dialtell VERB --help` explains a verb. Results go to standard output, everything else to standard error.
Exit status: 0 done (whatever the call), 1 something could not be done, 2 wrong usage, 130 interrupted.
"""


def build_parser(verbs: Collection[str] = tuple(VERBS)) -> argparse.ArgumentParser:
    """The parser; flags only of the named verbs, the others are listed with their line of help."""
    parser = argparse.ArgumentParser(
        prog="dialtell",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"dialtell {metadata.version('dialtell')}")
    _add_volume(parser, verbose=0, quiet=False)
    below = parser.add_subparsers(dest="verb", metavar="VERB", title="verbs")
    for name, (module, line) in VERBS.items():
        verb = below.add_parser(
            name,
            help=line,
            description=line[:1].upper() + line[1:] + ".",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        if name in verbs:
            importlib.import_module(module).add_arguments(verb)
            # left out of the namespace unless given, so that a flag before the verb is not undone
            _add_volume(verb, verbose=argparse.SUPPRESS, quiet=argparse.SUPPRESS)
    return parser


def _add_volume(parser: argparse.ArgumentParser, *, verbose: object, quiet: object) -> None:
    volume = parser.add_mutually_exclusive_group()
    volume.add_argument(
        "-v", "--verbose", action="count", default=verbose, help="say more on standard error, with tracebacks"
    )
    volume.add_argument(
        "-q", "--quiet", action="store_true", default=quiet, help="only errors on standard error, no progress bar"
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command line (sys.argv for None); returns the exit status and never raises for a user's mistake."""
    one_thread_for_small_matrices()
    words = sys.argv[1:] if argv is None else list(argv)
    named = next((word for word in words if not word.startswith("-")), None)
    try:
        parser = build_parser([named] if named in VERBS else [])
        args = parser.parse_args(words)
        if args.verb is None:  # a newcomer's first try
            parser.print_help()
            return DONE
        _listen(args)
        code: int = importlib.import_module(VERBS[args.verb][0]).run(args)
        sys.stdout.flush()  # a closed pipe shows here, not at exit
        return code
    except SystemExit as leave:  # argparse: help and version 0, wrong usage 2
        return leave.code if isinstance(leave.code, int) else DONE if leave.code is None else FAILED
    except KeyboardInterrupt:
        print("dialtell: interrupted", file=sys.stderr)
        return INTERRUPTED
    except DialtellError as error:
        print(f"dialtell: error: {_harmless(str(error))}", file=sys.stderr)
        logging.getLogger("dialtell").debug("traceback", exc_info=True)
        return FAILED
    except ModuleNotFoundError as error:
        missing = (error.name or "").partition(".")[0]
        if missing not in EXTRAS:
            raise
        print(
            f"dialtell: error: this needs {missing}, which is not installed; run: "
            f"pip install 'dialtell[{EXTRAS[missing]}]'",
            file=sys.stderr,
        )
        return FAILED
    except BrokenPipeError:  # the reader, such as `head`, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED


def _harmless(text: str) -> str:
    """Lines for a terminal: what a file's name could tell it to do is shown as "?"."""
    from dialtell.evaluate.words.plain import plain_name

    return "\n".join(plain_name(line) for line in text.split("\n"))


class _Lines(logging.Formatter):
    """Notes as they are; warnings and errors named as such, like those of argparse."""

    def format(self, record: logging.LogRecord) -> str:
        text = _harmless(super().format(record))
        return f"dialtell: {record.levelname.lower()}: {text}" if record.levelno >= logging.WARNING else text


def _listen(args: argparse.Namespace) -> None:
    """Send dialtell's log to standard error, as loud as asked."""
    log = logging.getLogger("dialtell")
    for handler in [handler for handler in log.handlers if isinstance(handler.formatter, _Lines)]:
        log.removeHandler(handler)
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Lines())
    log.addHandler(handler)
    log.setLevel(logging.ERROR if args.quiet else logging.DEBUG if args.verbose else logging.INFO)
