"""A benchmark as text for a terminal, and its photographs as CSV."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from dialtell.evaluate.words.cautions import CLOSING
from dialtell.evaluate.words.plain import plain_name
from dialtell.synth.shared.tables import rows_text

FIGURES = (
    ("coverage", "called", True),
    ("accuracy", "right of called", True),
    ("auc", "AUC", False),
    ("ece", "ECE", False),
    ("brier", "Brier", False),
    ("cllr", "Cllr", False),
)
CSV_COLUMNS = (
    "row", "photo", "sha256", "dial", "source", "object_type", "basis", "cluster", "label", "print_process", "call",
    "log10_lr", "capped", "withheld", "print_call", "px_per_mm", "size_mm", "band", "outline_off", "why",
)  # fmt: skip


def figure_words(figure: Mapping[str, Any] | None, percent: bool) -> str:
    """Such as "92 % (74 to 98)" or "0.93 (0.85 to 0.97)"; "-" without a figure."""
    if figure is None:
        return "-"
    scale, form, unit = (100.0, ".0f", " %") if percent else (1.0, ".2f", "")
    text = f"{figure['value'] * scale:{form}}{unit}"
    if figure["low"] is None:
        return f"{text} (?)"
    return f"{text} ({figure['low'] * scale:{form}} to {figure['high'] * scale:{form}})"


def groups_of(document: Mapping[str, Any]) -> list[tuple[str, list[Mapping[str, Any]]]]:
    """(title, rows of figures) of each table, empty groups left out."""
    tables = [
        ("Dials", [{"group": "all dials", **document["dial"]}]),
        ("By zone", document["zones"]),
        ("By truly resolved px/mm", document["bands"]),
        ("By process of the print", document["processes"]),
        ("By type of object", document["object_types"]),
    ]
    return [(title, kept) for title, rows in tables if (kept := [row for row in rows if row["n"]])]


def benchmark_table(document: Mapping[str, Any], *, width: int = 100, encoding: str = "utf-8") -> str:
    """The table as text without a final newline. document : of schema dialtell.benchmark/1."""
    lines: list[str] = []
    for title, rows in groups_of(document):
        lines += [title, "-" * min(width, max(len(title), 40))]
        for row in rows:
            head = f"{row['group']}: n {row['n']} ({row['painted']} painted, {row['printed']} printed), "
            lines += _wrapped(f"{head}clusters {row['clusters']}, called {row['decided']}, wrong {row['wrong']}", width)
            said = [f"{name} {figure_words(row[key], pc)}" for key, name, pc in FIGURES if row[key] is not None]
            lines += _wrapped("; ".join(said), width, "    ")
        lines.append("")
    lines += _counts("Calls by label", document["confusion"], width)
    lines += _counts("Process of print, of prints called printed", document["print_calls"], width)
    if document["misses"]:
        lines += ["Misses", "-" * min(width, 40)]
        for miss in document["misses"]:
            ratio = "" if miss["log10_lr"] is None else f", log10 LR {miss['log10_lr']:+.2f}"
            lines += _wrapped(plain_name(f"row {miss['row']}, {miss['photo']}: {miss['kind']}{ratio}"), width)
        lines.append("")
    lines += _against(document.get("against"), width)
    lines += ["What this allows one to claim", "-" * min(width, 40)]
    for claim in document["claims"]:
        lines += _wrapped(claim, width, "  ", "- ")
    lines.append("")
    if document["problems"]:
        lines.append("Not used:")
        for problem in document["problems"]:
            lines += _wrapped(plain_name(problem), width, "    ")
        lines.append("")
    lines += _wrapped("Intervals are 95 %. " + CLOSING, width)
    return "\n".join(lines).encode(encoding, "backslashreplace").decode(encoding)


def _counts(title: str, table: Sequence[Mapping[str, Any]], width: int) -> list[str]:
    if not table:
        return []
    lines = [title, "-" * min(width, 40)]
    for row in table:
        counts = ", ".join(f"{count} {call}" for call, count in row.items() if call != "label")
        lines += _wrapped(f"{row['label']}: {counts}", width)
    return [*lines, ""]


def _against(against: Mapping[str, Any] | None, width: int) -> list[str]:
    if against is None:
        return []
    lines = [f"Against {plain_name(against['model']['name'])} {plain_name(against['model']['version'])}"]
    lines.append("-" * min(width, 40))
    for test in against["tests"]:
        lines += _wrapped(comparison_words(test), width)
    return [*lines, ""]


def comparison_words(test: Mapping[str, Any]) -> str:
    """One paired comparison in a line."""
    how = "all swaps" if test["exact"] else f"{test['swaps']} swaps drawn"
    return (
        f"{test['statistic']}: {test['first']:.3f} against {test['second']:.3f}, difference {test['difference']:+.3f}, "
        f"p {test['p']:.4f} ({how}, n {test['n']}, clusters {test['clusters']})"
    )


def csv_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """A line per photograph and for each labelled or judged zone three columns; formulas are guarded."""
    zones = sorted({zone for row in rows for zone in row["zones"]})
    parts = ("label", "call", "log10_lr")
    lines: list[list[object]] = [
        [*CSV_COLUMNS, *(f"{zone.replace(' ', '_')}_{part}" for zone in zones for part in parts)]
    ]
    for row in rows:
        cells = [row[name] for name in CSV_COLUMNS]
        cells += [row["zones"].get(zone, {}).get(part) for zone in zones for part in parts]
        lines.append([plain_name(cell) if isinstance(cell, str) else cell for cell in cells])
    return rows_text(lines)


def _wrapped(text: str, width: int, indent: str = "", mark: str = "") -> list[str]:
    return textwrap.wrap(
        mark + text, width, initial_indent=indent if not mark else "", subsequent_indent=indent, break_on_hyphens=False
    )
