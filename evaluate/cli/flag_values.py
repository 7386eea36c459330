"""Readers of a flag's value, for argparse's `type`: a number out of its range is a usage error that names the range."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable


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
