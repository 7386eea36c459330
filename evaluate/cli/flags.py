"""Flags that scoring and inspecting share: the photographs, the dial's size, the weights, the largest photograph."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from dialtell.evaluate.cli.flag_values import number, whole
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import LARGEST_MM, SMALLEST_MM, dial_diameter_mm

MAX_PIXELS = 120_000_000


def add_photos(parser: argparse.ArgumentParser) -> None:
    """The photographs, `photos`."""
    parser.add_argument(
        "photos",
        nargs="+",
        metavar="PHOTO",
        help="photograph (JPEG, PNG, TIFF, WebP and others), or a folder to be searched downwards",
    )


def add_size(parser: argparse.ArgumentParser) -> None:
    """Three ways to give the dial's diameter, at most one of them; all set `diameter_mm` (None without)."""
    group = parser.add_argument_group(
        "size of the dial", "With it resolution is also stated in pixels per millimetre; the call does not change."
    )
    one = group.add_mutually_exclusive_group()
    one.add_argument(
        "--size",
        type=_millimetres("size"),
        dest="diameter_mm",
        metavar="N",
        help="Lancashire (American) size of the movement, 0 or above: 18 is 44.873 mm across the pillar plate, 16 is "
        "43.180 mm; the dial is taken to be as wide (true to about 1 %%)",
    )
    one.add_argument(
        "--diameter-mm",
        type=_millimetres("diameter_mm"),
        dest="diameter_mm",
        metavar="MM",
        help=f"diameter in mm, {SMALLEST_MM:g} to {LARGEST_MM:g}",
    )
    one.add_argument(
        "--lignes",
        type=_millimetres("lignes"),
        dest="diameter_mm",
        metavar="N",
        help="size in Paris lignes of 2.2558291 mm: 19 is 42.86 mm",
    )


def add_close_up(parser: argparse.ArgumentParser) -> None:
    """Flags --close-up and --px-per-mm (`close_up`, `pixels_per_mm`; the second is None without)."""
    group = parser.add_argument_group(
        "close-ups",
        "A photograph of a part of a dial. Without these flags one is told by an arc of its minute track and rim.",
    )
    group.add_argument("--close-up", action="store_true", help="the photograph shows only a part of the dial")
    group.add_argument(
        "--px-per-mm",
        type=number(0.5, 2000, "px/mm"),
        dest="pixels_per_mm",
        metavar="N",
        help="its scale, measured on the photograph: px between two points of the dial over the mm between them; "
        "give the dial's size too, if it is known (default: told from the strokes, roughly). Implies --close-up",
    )


def add_reading(parser: argparse.ArgumentParser) -> None:
    """Flags --weights (None: the shipped ones) and --max-pixels."""
    parser.add_argument(
        "--weights",
        type=Path,
        metavar="FILE.safetensors",
        help="weights to judge with, their .json beside them (default: those that come with dialtell)",
    )
    parser.add_argument(
        "--max-pixels",
        type=whole(1),
        default=MAX_PIXELS,
        metavar="N",
        help="refuse photographs of more pixels, before they are decoded (default: %(default)s)",
    )


def _millimetres(name: str) -> Callable[[str], float | None]:
    """Reads a value given as `name` and returns mm; what is wrong with it becomes argparse's usage error."""

    def read(text: str) -> float | None:
        try:
            return dial_diameter_mm(**{name: float(text)})
        except ParameterError as error:
            raise argparse.ArgumentTypeError(str(error)) from error
        except ValueError as error:
            raise argparse.ArgumentTypeError(f"{text!r} is no number") from error

    return read
