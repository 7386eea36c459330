"""The short table `dialtell score` prints: a row per dial, its zones indented, then what was not read."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from dialtell.evaluate.score.shown_names import columns_of, in_pieces, shown_names
from dialtell.evaluate.words.plain import INDENT, closing_text, in_order, plain_name, print_words, wrapped
from dialtell.evaluate.words.stated import stated_chance, stated_ratio, withheld
from dialtell.evaluate.words.support import chance_text
from dialtell.synth.shared.errors import ParameterError

_CALL = 12  # "hand-painted", "undetermined"
_RATIO = 8  # "log10 LR"
_CHANCE = 7  # "p(hand)"
_FIGURES = _CALL + _RATIO + _CHANCE + 3 * 2
_WORDS = 46  # support or reason, wished for
_LEAST_WORDS = 24  # with less room the words go below
_NARROWEST_NAME = 18
_NARROWEST = 60
PRIOR_NOTE = "p(hand) is at prior odds 1:1. log10 LR above 0 speaks for hand painting, below 0 for printing."


def call_table(
    dials: Sequence[Mapping[str, Any]],
    errors: Sequence[tuple[str, str]] = (),
    *,
    width: int = 100,
    cut: bool = True,
    encoding: str = "utf-8",
) -> str:
    """The table as text without a final newline.

    dials : results of schema dialtell.score/1.
    errors : (photo, message) of each photo that could not be scored.
    width : columns of the terminal, at least 60; reasons are wrapped. cut : leave out the folder that all names share
    and, while they stay different, the middle of those too long; otherwise (for files and pipes) every name is whole on
    its row, which may then be wider.
    encoding : of the stream; what it cannot carry comes out as a backslash escape. The rest is plain ASCII.
    """
    if width < _NARROWEST:
        raise ParameterError(f"width is {width}; give at least {_NARROWEST} columns")
    names = tuple(plain_name(dial.get("dial") or dial["photo"]) for dial in dials)
    lines: list[str] = []
    if cut:
        shown = shown_names(names, _most(width))
        names = shown.names
        if shown.folder:
            lines += [*wrapped(f"photographs in {shown.folder}", width, indent=""), ""]
    first = max([_NARROWEST_NAME, *(columns_of(name) for name in names)])
    first, wide = (min(first, _most(width)), width) if cut else (first, max(width, first + _FIGURES + _WORDS))
    if dials:
        lines.append(_row("photo", "call", "log10 LR", "p(hand)", "support", first, wide)[0])
        lines.append("-" * min(wide, first + _FIGURES + _WORDS))
    for name, dial in zip(names, dials, strict=True):
        lines += _entry(name, dial, None, str(dial["support"]), first, wide)
        lines += wrapped(plain_name(dial["reason"]), width)
        if printing := dial.get("print_process"):
            lines += wrapped(print_words(printing), width)
        for zone in in_order(dial["zones"]):
            lines += _entry(INDENT + plain_name(zone["zone"]), dial, zone, plain_name(zone["reason"]), first, wide)
        for part in dial.get("photographs", ()):
            lines += wrapped(f"{part['role']}: {plain_name(part['photo'])}{_given(part, held=withheld(dial))}", width)
        for warning in dial["warnings"]:
            lines += wrapped(f"warning: {plain_name(warning)}", width)
        lines.append("")
    if errors:
        lines.append("not scored:")
        for photo, message in errors:
            text = message if photo in message.replace("://", ":/") else f"{photo}: {message}"
            lines += wrapped(plain_name(text), width) if cut else [INDENT + plain_name(text)]
        lines += [""] if dials else []
    if dials:  # where nothing was scored there is nothing to be cautious of
        lines += [*wrapped(PRIOR_NOTE, width, indent=""), closing_text(width)]
    return "\n".join(line.rstrip() for line in lines).encode(encoding, "backslashreplace").decode(encoding)


def _given(part: Mapping[str, Any], *, held: bool) -> str:
    """What a photograph of several of one dial gave, in a few words. held : the dial's call is withheld."""
    if part["role"] in ("not placed", "another dial", "cut from it"):
        return f" ({part['reason']})" if part["reason"] else ""
    alone = "" if held or part["log10_lr_alone"] is None else f", alone {part['log10_lr_alone']:+.2f}"
    return f", {part['squares']} small squares{alone}"


def _most(width: int) -> int:
    """Columns that names may take: as many as leave the words theirs, or all where the words go below anyway."""
    if width - _NARROWEST_NAME - _FIGURES - 2 < _LEAST_WORDS:
        return width - _FIGURES
    return max(_NARROWEST_NAME, width - _FIGURES - _WORDS)


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
    above: list[str] = []
    if columns_of(name) > first:  # a name that cannot be cut stands on lines of its own
        above, name = in_pieces(name, width), ""
    head = f"{name}{' ' * (first - columns_of(name))}  {call:<{_CALL}}  {ratio:>{_RATIO}}  {chance:>{_CHANCE}}"
    room = width - first - _FIGURES - 2
    if room < _LEAST_WORDS:
        return [*above, head, *(wrapped(words, width, INDENT * 2) if words else [])]
    parts = textwrap.wrap(words, room) or [""]
    blank = " " * (first + _FIGURES)
    return [*above, f"{head}  {parts[0]}", *(f"{blank}  {part}" for part in parts[1:])]
