"""The short table `dialtell score` prints: a row per dial, its zones indented, then what was not read."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any

from dialtell.evaluate.words.plain import INDENT, closing_text, in_order, plain_name, print_words, wrapped
from dialtell.evaluate.words.stated import stated_chance, stated_ratio
from dialtell.evaluate.words.support import chance_text
from dialtell.synth.shared.errors import ParameterError

_CALL = 12  # "hand-painted", "undetermined"
_RATIO = 8  # "log10 LR"
_CHANCE = 7  # "p(hand)"
_FIGURES = _CALL + _RATIO + _CHANCE + 3 * 2
_WORDS = 46  # support or reason, wished for
_NARROWEST = 60
PRIOR_NOTE = "p(hand) is at prior odds 1:1. log10 LR above 0 speaks for hand painting, below 0 for printing."


def call_table(
    dials: Sequence[Mapping[str, Any]],
    errors: Sequence[tuple[str, str]] = (),
    *,
    width: int = 100,
    encoding: str = "utf-8",
) -> str:
    """The table as text without a final newline.

    dials : results of schema dialtell.score/1.
    errors : (photo, message) of each photo that could not be scored.
    width : columns of the terminal, at least 60; longer names are cut in the middle, reasons wrapped.
    encoding : of the stream; what it cannot carry comes out as a backslash escape. The rest is plain ASCII.
    """
    if width < _NARROWEST:
        raise ParameterError(f"width is {width}; give at least {_NARROWEST} columns")
    longest = max([18, *(_columns(plain_name(dial["photo"])) for dial in dials)])
    first = min(longest, max(18, width - _FIGURES - _WORDS))
    lines: list[str] = []
    if dials:
        lines.append(_row("photo", "call", "log10 LR", "p(hand)", "support", first, width)[0])
        lines.append("-" * min(width, first + _FIGURES + _WORDS))
    for dial in dials:
        lines += _entry(plain_name(dial["photo"]), dial, None, str(dial["support"]), first, width)
        lines += wrapped(plain_name(dial["reason"]), width)
        if printing := dial.get("print_process"):
            lines += wrapped(print_words(printing), width)
        for zone in in_order(dial["zones"]):
            lines += _entry(INDENT + plain_name(zone["zone"]), dial, zone, plain_name(zone["reason"]), first, width)
        for warning in dial["warnings"]:
            lines += wrapped(f"warning: {plain_name(warning)}", width)
        lines.append("")
    if errors:
        lines.append("not scored:")
        for photo, message in errors:
            text = message if photo in message else f"{photo}: {message}"
            lines += wrapped(plain_name(text), width)
        lines.append("")
    if dials:
        lines += wrapped(PRIOR_NOTE, width, indent="")
    lines.append(closing_text(width))
    return "\n".join(line.rstrip() for line in lines).encode(encoding, "backslashreplace").decode(encoding)


def _entry(
    name: str, dial: Mapping[str, Any], zone: Mapping[str, Any] | None, words: str, first: int, width: int
) -> list[str]:
    """A dial's or a zone's row: a zone that was not judged shows that in place of a call."""
    part = dial if zone is None else zone
    ratio, chance = stated_ratio(dial, zone), stated_chance(dial, zone)
    return _row(
        name,
        str(part["call"]) if part.get("judged", True) else "not judged",
        "" if ratio is None else f"{ratio:+.2f}",
        "" if chance is None else chance_text(chance),
        words,
        first,
        width,
    )


def _row(name: str, call: str, ratio: str, chance: str, words: str, first: int, width: int) -> list[str]:
    head = f"{_padded(name, first)}  {call:<{_CALL}}  {ratio:>{_RATIO}}  {chance:>{_CHANCE}}"
    room = width - len(_padded("", first)) - _FIGURES - 2
    if room < 24:  # no room for a last column: the words go below
        return [head, *(wrapped(words, width, INDENT * 2) if words else [])]
    parts = textwrap.wrap(words, room) or [""]
    blank = " " * (first + _FIGURES)
    return [f"{head}  {parts[0]}", *(f"{blank}  {part}" for part in parts[1:])]


def _columns(text: str) -> int:
    """Terminal columns: East Asian wide characters take two, combining marks none."""
    wide = sum(unicodedata.east_asian_width(mark) in "WF" for mark in text)
    return len(text) + wide - sum(unicodedata.combining(mark) != 0 for mark in text)


def _padded(text: str, columns: int) -> str:
    """Text in exactly so many columns; too long, its middle gives way to "..."."""
    if _columns(text) > columns:
        tail = text[-(columns // 2 - 2) :]
        while _columns(tail) > columns // 2 - 2:
            tail = tail[1:]
        head = text[: columns - _columns(tail) - 3]
        while _columns(head) + 3 + _columns(tail) > columns:
            head = head[:-1]
        text = f"{head}...{tail}"
    return text + " " * (columns - _columns(text))
