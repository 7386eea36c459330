"""`dialtell speed`: how fast everything is on this machine, as ratios."""

from __future__ import annotations

import argparse

from dialtell.evaluate.cli.flags import whole

DESCRIPTION = """\
Measure how fast dialtell is on this machine: how soon it begins, what scoring a photograph takes and in which steps, a
page, drawing a dial, a step of training, laying one dial on another. Every figure stands beside a yardstick measured in
the same run, because milliseconds change with whatever else the machine does; ratios hold.
"""

EPILOG = """\
examples:
  dialtell speed                                  everything, about a minute on two cores
  dialtell speed --only scoring --n 9
  dialtell speed --only scoring cores --device cuda
  dialtell speed --json > speed.json

The yardsticks: Pillow decoding the same photograph; a product of two matrices, which is what nets consist of; a copy of
memory; Pillow drawing the same strokes. Where it can be told how long a step must take at the least, "times the limit"
says how far off it is. Most is processor time of one thread, which other work on the machine stretches little.
"""
NAMES = ("start", "scoring", "cores", "page", "drawing", "training", "comparing")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument(
        "--only", nargs="+", choices=NAMES, metavar="PART", help=f"of {', '.join(NAMES)} (default: all)"
    )
    parser.add_argument(
        "--n", type=whole(1, 1000), default=3, metavar="N", help="times each is measured (default: %(default)s)"
    )
    parser.add_argument(
        "--device", choices=("auto", "cpu", "cuda", "mps"), default="cpu",
        help="where the nets run that score (default: %(default)s)",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="one JSON document, schema dialtell.speed/2, seconds")


def run(args: argparse.Namespace) -> int:
    """Measure and print; returns the exit status."""
    import logging
    import time

    from dialtell.evaluate.speed.measuring import machine, measure
    from dialtell.evaluate.speed.row import document, table
    from dialtell.evaluate.words.document import json_text

    log = logging.getLogger("dialtell.speed")
    about, rows, began = machine(args.device), [], time.monotonic()
    for name, found in measure(args.only or NAMES, args.n, args.device):
        rows += found
        log.info("%s: measured, %.0f s so far", name, time.monotonic() - began)
    print(json_text(document(rows, about)) if args.json else table(rows, about))
    return 0
