"""Text for readers: names from outside made harmless, zones in the examiner's order, lines that fit a terminal."""

from __future__ import annotations

import shutil
import textwrap
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

from dialtell.evaluate.words.cautions import CLOSING
from dialtell.synth.shared.terms import ZONES, Zone

INDENT = "    "
REST = "Rest of the dial"  # the zone "other"


def plain_name(text: object) -> str:
    """Text from outside, such as a file name, safe to show: control and direction marks become a "?"."""
    shown = str(text).encode("utf-8", "backslashreplace").decode("utf-8")
    return "".join("?" if unicodedata.category(mark).startswith(("C", "Zl", "Zp")) else mark for mark in shown)


def capital(text: object) -> str:
    """Text with a capital first letter, the rest as it is."""
    words = str(text)
    return words[:1].upper() + words[1:]


def zone_heading(zone: str) -> str:
    """A zone's name at the head of a line."""
    return REST if zone == Zone.OTHER else capital(zone)


def print_words(record: Mapping[str, Any]) -> str:
    """How a print was made and why that is said, from an entry of `print_process`."""
    return plain_name(f"process of print: {record['call']}. {record['reason']}")


def in_order(zones: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Zones in the order an examiner looks at them; unknown names last, in the order given."""
    place = {zone.value: index for index, zone in enumerate(ZONES)}
    return sorted(zones, key=lambda zone: place.get(str(zone["zone"]), len(place)))


def terminal_width(most: int = 140) -> int:
    """Columns of the terminal that standard output goes to, held to 60..`most`; 100 where it is none."""
    return min(max(shutil.get_terminal_size((100, 24)).columns, 60), most)


def closing_text(width: int) -> str:
    """The cautions that close a table."""
    return "\n".join(wrapped(CLOSING, width, indent=""))


def wrapped(text: str, width: int, indent: str = INDENT) -> list[str]:
    """Lines of text no wider than `width`, each after `indent`."""
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
