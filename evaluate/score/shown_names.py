"""Names of photographs in a narrow column: whole, or cut so that no two come out alike."""

from __future__ import annotations

import os
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class ShownNames:
    """folder : that all share and the names leave out, "" where none was left out. names : in order, each fitting the
    column or, where its cut form would be another's, whole."""

    folder: str
    names: tuple[str, ...]


def shown_names(names: Sequence[str], columns: int) -> ShownNames:
    """Names for a column so wide: the folder all share is dropped first, then the middle of those still too long."""
    if all(columns_of(name) <= columns for name in names):
        return ShownNames("", tuple(names))
    folder = _shared(names)
    short = [name[len(folder) :] for name in names]
    cut = [cut_name(name, columns) for name in short]
    alike = Counter(form for _, form in set(zip(short, cut, strict=True)))  # a photograph named twice is one
    return ShownNames(folder, tuple(n if alike[form] > 1 else form for n, form in zip(short, cut, strict=True)))


def _shared(names: Sequence[str]) -> str:
    """The folder all lie in, with its final separator; "" where there is none worth naming."""
    try:
        folder = os.path.commonpath([os.path.dirname(name) for name in names])
    except ValueError:  # some are absolute, some are not
        return ""
    folder = os.path.join(folder, "") if folder else ""
    # a path written with "//" or "./" in it need not begin with what is shared
    return folder if folder != os.sep and all(name.startswith(folder) for name in names) else ""


def columns_of(text: str) -> int:
    """Terminal columns: East Asian wide characters take two, combining marks none."""
    wide = sum(unicodedata.east_asian_width(mark) in "WF" for mark in text)
    return len(text) + wide - sum(unicodedata.combining(mark) != 0 for mark in text)


def cut_name(text: str, columns: int) -> str:
    """Text in at most so many columns; too long, its middle gives way to "..."."""
    if columns_of(text) <= columns:
        return text
    tail = text[-(columns // 2 - 2) :]
    while columns_of(tail) > columns // 2 - 2:
        tail = tail[1:]
    head = text[: columns - columns_of(tail) - 3]
    while columns_of(head) + 3 + columns_of(tail) > columns:
        head = head[:-1]
    return f"{head}...{tail}"


def in_pieces(text: str, columns: int) -> list[str]:
    """Text broken, at any character, into lines of at most so many columns."""
    lines = [""]
    for mark in text:
        if columns_of(lines[-1] + mark) > columns:
            lines.append("")
        lines[-1] += mark
    return lines
