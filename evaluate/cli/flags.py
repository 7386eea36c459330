"""Flags that verbs share, and readers of their values: a number out of its range is a usage error that names it."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from dialtell.model.reading.known import (
    MAX_PIXELS,
    PER_MM,
    Known,
    MarkedPlace,
    Outline,
    known_for,
    read_outline,
    read_place,
)
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import LARGEST_MM, SMALLEST_MM, dial_diameter_mm
from dialtell.synth.shared.terms import Zone

if TYPE_CHECKING:
    from dialtell.evaluate.score.known_table import KnownTable


def add_photos(parser: argparse.ArgumentParser, *, required: bool = True) -> None:
    """The photographs, `photos`."""
    parser.add_argument(
        "photos",
        nargs="+" if required else "*",
        metavar="PHOTO",
        help="photograph (JPEG, HEIC, PNG, TIFF, WebP, AVIF and others), or a folder to be searched downwards",
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


def add_known(parser: argparse.ArgumentParser, *, table: bool = True) -> None:
    """What is known of a photograph beforehand, but for the size: `close_up`, `pixels_per_mm`, `zone`, `outline`,
    `twelve_deg`, `places` and, with `table`, `known`; see known_of."""
    group = parser.add_argument_group(
        "what is known of the photograph",
        "Where no dial is found, or a wrong one, say where it lies. A photograph of a part of a dial is a close-up; "
        "without these flags one is told by an arc of its minute track and rim.",
    )
    group.add_argument(
        "--outline",
        type=outline_text,
        metavar='"CX CY A B DEGREES"',
        help="where the enamel ends: an ellipse's centre and semi-axes in px of the photograph held upright, and the "
        "angle of the longer one, clockwise from the right (default: looked for)",
    )
    group.add_argument(
        "--twelve",
        type=number(-360, 360, "degrees"),
        dest="twelve_deg",
        metavar="DEGREES",
        help="where 12 o'clock stands in the photograph, clockwise from up: 90 on its right (default: read from the "
        "minute track, within half an hour of up)",
    )
    group.add_argument(
        "--place",
        type=place_text,
        action="append",
        dest="places",
        metavar='"WHAT X Y X Y X Y"',
        help="a place that is not of the design (WHAT: hand, stain, label or reflection), which is left out, or that "
        "belongs to another zone than was read (signature, numerals, minute track, seconds bit, other), with the "
        "corners of its outline in px of the photograph held upright. As often as needed",
    )
    group.add_argument("--close-up", action="store_true", help="the photograph shows only a part of the dial")
    group.add_argument(
        "--px-per-mm",
        type=per_mm,
        dest="pixels_per_mm",
        metavar="N",
        help="scale of a close-up, measured on the photograph: px between two points of the dial over the mm between "
        "them; give the dial's size too, if it is known (default: told from the strokes, roughly). Implies --close-up",
    )
    group.add_argument(
        "--zone",
        choices=tuple(zone.value for zone in Zone),
        help="the zone that a close-up shows, where the photograph does not show it itself. Implies --close-up",
    )
    if table:
        group.add_argument(
            "--known",
            type=Path,
            metavar="LABELS.csv",
            help="a table that says these things of each of several photographs, such as `dialtell label` writes "
            "(columns photo, size_mm, outline, twelve_deg, places, close_up, px_per_mm, zone)",
        )


def add_one_dial(parser: argparse.ArgumentParser) -> None:
    """Flag --one-dial: None without, "" without a name."""
    parser.add_argument(
        "--one-dial",
        nargs="?",
        const="",
        metavar="NAME",
        help="the photographs are of one dial, whole views and close-ups in any order, and become one opinion: each "
        "close-up is laid on the whole view, every place is read from the photograph that resolves it best, and one "
        "that fits nowhere is named and left out. NAME is the dial's (give it after the photographs)",
    )


def known_of(args: argparse.Namespace) -> Known | KnownTable:
    """What the flags of add_size, add_known and add_reading say: of all photographs, or of each by its table.

    Raises ParameterError where an outline is given for several photographs, or flags contradict each other.
    """
    known = Known(
        diameter_mm=args.diameter_mm,
        close_up=args.close_up,
        pixels_per_mm=args.pixels_per_mm,
        zone=None if args.zone is None else Zone(args.zone),
        outline=args.outline,
        twelve_deg=args.twelve_deg,
        places=tuple(args.places or ()),
        max_pixels=args.max_pixels,
    )
    photos = getattr(args, "photos", [])
    several = len(photos) > 1 or any(Path(photo).is_dir() for photo in photos)
    if several and (known.outline is not None or known.places):
        flag = "--place" if known.outline is None else "--outline"
        raise ParameterError(
            f"{flag} is of one photograph, but several are given; give one, or a table of them with --known"
        )
    if getattr(args, "known", None) is None:
        return known
    from dialtell.evaluate.score.known_table import read_known

    return read_known(args.known, known)


def known_of_one(args: argparse.Namespace, photo: str) -> Known:
    """What known_of says of one photograph."""
    return known_for(known_of(args), Path(photo))


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


def outline_text(text: str) -> Outline:
    """Reads an outline; what is wrong with it becomes argparse's usage error."""
    try:
        return read_outline(text)
    except ParameterError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def place_text(text: str) -> MarkedPlace:
    """Reads a marked place, likewise."""
    try:
        return read_place(text)
    except ParameterError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


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


def host_port(text: str) -> tuple[str, int]:
    """Reads HOST:PORT."""
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise argparse.ArgumentTypeError(f"{text!r} is not HOST:PORT, such as 127.0.0.1:8000 or [::1]:8000")
    return host.removeprefix("[").removesuffix("]").lower(), int(port)


def whole(low: int, high: int | None = None) -> Callable[[str], int]:
    """Reads a whole number from low to high (None: no end), in plain digits."""

    def read(text: str) -> int:
        # int() would take "1_000", " 7", other scripts' digits, and thousands of digits only to raise
        value = int(text) if text.isascii() and text.isdecimal() and len(text) < 20 else None
        if value is None or value < low or (high is not None and value > high):
            span = f"from {low} upwards" if high is None else f"from {low} to {high}"
            raise argparse.ArgumentTypeError(f"{text!r} is no whole number {span}")
        return value

    return read


def number(low: float, high: float, unit: str = "") -> Callable[[str], float]:
    """Reads a number from low to high; unit, such as "mm", goes into the message. NaN is out of every range."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is no number from {low:g} to {high:g} {unit}".rstrip())
        return value

    return read


per_mm = number(*PER_MM, "px/mm")
