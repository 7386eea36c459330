"""Flags of the ladder, for `dialtell benchmark --ladder` and for the ladder run by itself; quick to import."""

from __future__ import annotations

import argparse

from dialtell.evaluate.cli.flag_values import whole


def add_ladder(parser: argparse._ActionsContainer) -> None:
    """Flags --count, --rungs, --workers and --device; weights and --out are the command's own."""
    parser.add_argument(
        "--count", type=whole(1), default=2000, metavar="N", help="dials a rung (default: %(default)s)"
    )  # fmt: skip
    parser.add_argument("--rungs", metavar="LETTERS", help="some of A to G, such as ACD (default: all)")
    parser.add_argument(
        "--workers", type=whole(0), default=0, metavar="N", help="rendering processes (default: one a core)"
    )
    parser.add_argument(
        "--device", choices=("auto", "cpu", "cuda", "mps"), default="auto", help="where nets run (default: %(default)s)"
    )
