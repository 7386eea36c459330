"""How far two labellers agree: Cohen's kappa for the dial and each zone, and where they differ.

Kappa is (p_o - p_e) / (1 - p_e), p_o the share of photographs labelled alike and p_e the share expected were the two
independent with the shares of labels each gave (Cohen 1960). "cannot tell" is a label like the others. Its standard
error is the large-sample one of Fleiss, Cohen and Everitt (1969); with few photographs its interval is too narrow.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dialtell.evaluate.label.sheet import WORDS, Row
from dialtell.evaluate.words.plain import plain_name
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.photographs.labels import ZONE_COLUMNS
from dialtell.train.stats.proportion import require_level, wilson

SCHEMA = "dialtell.agreement/1"
COMPARED = ("dial_process", *ZONE_COLUMNS)
FEW = 30  # photographs below which the interval is not to be relied on; common practice


class Kappa(NamedTuple):
    """Cohen's kappa with its interval. value : None when undefined, as both gave one and the same label throughout.

    low, high : None where the large-sample error is 0 and says nothing, as with all or none alike.
    """

    value: float | None
    low: float | None
    high: float | None


def cohen_kappa(table: NDArray[np.integer[Any]], *, level: float = 0.95) -> Kappa:
    """Kappa of a (k, k) table of counts: rows the first labeller's labels, columns the second's.

    level : of the two-sided interval. Raises ParameterError for another shape, negative counts, or none.
    """
    require_level(level)
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or (counts < 0).any() or not counts.sum() > 0:
        raise ParameterError(f"table has shape {counts.shape}; give (k, k) counts from 0 upwards, not all 0")
    total = counts.sum()
    share = counts / total
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    alike, expected = float(np.trace(share)), float(rows @ columns)
    if 1 - expected < 1e-12:
        return Kappa(None, None, None)
    value = (alike - expected) / (1 - expected)
    # Fleiss, Cohen and Everitt, Psychological Bulletin 72 (1969), 323-327
    diagonal = np.diag(share)
    on = float(diagonal @ (1 - (rows + columns) * (1 - value)) ** 2)
    weight = (columns[:, None] + rows[None, :]) ** 2
    off = (1 - value) ** 2 * float((share * weight).sum() - diagonal @ np.diag(weight))
    variance = (on + off - (value - expected * (1 - value)) ** 2) / ((1 - expected) ** 2 * total)
    if variance < 1e-15:
        return Kappa(value, None, None)
    reach = float(stats.norm.ppf(0.5 + level / 2)) * math.sqrt(variance)
    return Kappa(value, max(value - reach, -1.0), min(value + reach, 1.0))


def agreement(first: Sequence[Row], second: Sequence[Row], names: tuple[str, str]) -> dict[str, Any]:
    """The document of two labels files' rows, ready for JSON, schema dialtell.agreement/1.

    names : of the two files. Rows are paired by sha256, or by photo where one states none. A label left empty by
    either is not compared. Raises ParameterError for a word that is no label, or two rows of one photograph.
    """
    pairs = _paired(_by_photo(first, names[0]), _by_photo(second, names[1]))
    parts = [_part(column, pairs) for column in COMPARED]
    differences = [
        {
            "photo": a["photo"],
            "sha256": a["sha256"] or b["sha256"],
            "label": column,
            "first": a[column],
            "second": b[column],
            "notes": [a["notes"], b["notes"]],
        }
        for a, b in pairs
        for column in COMPARED
        if a[column] and b[column] and a[column] != b[column]
    ]
    return {
        "schema": SCHEMA,
        "first": {"file": names[0], "labellers": _labellers(first), "rows": len(first)},
        "second": {"file": names[1], "labellers": _labellers(second), "rows": len(second)},
        "photographs": len(pairs),
        "labels": parts,
        "differences": differences,
    }


def agreement_text(document: Mapping[str, Any]) -> str:
    """The document as lines to read, without a final newline."""
    sides = [f"{document[k]['file']} ({', '.join(document[k]['labellers']) or 'unnamed'})" for k in ("first", "second")]
    lines = [
        f"first: {plain_name(sides[0])}, second: {plain_name(sides[1])}; {document['photographs']} photographs in both",
        "",
        f"{'label':<14}{'n':>5}{'alike':>8}{'kappa':>8}  95 % interval",
    ]
    for part in document["labels"]:
        name = part["label"].replace("_", " ").replace("dial process", "dial")
        if part["n"] == 0:
            lines.append(f"{name:<14}{0:>5}  not labelled by both")
            continue
        kappa, interval = part["kappa"], part["interval"]
        shown = "      -" if kappa is None else f"{kappa:7.2f}"
        within = f"{interval[0]:.2f} to {interval[1]:.2f}" if interval else part["remark"]
        lines.append(f"{name:<14}{part['n']:>5}{part['alike']:>8} {shown}  {within}")
    if any(0 < part["n"] < FEW for part in document["labels"]):
        lines += ["", f"With fewer than {FEW} photographs the interval of kappa is too narrow."]
    opposed = sum({d["first"], d["second"]} == {"painted", "printed"} for d in document["differences"])
    if document["differences"]:
        lines += ["", f"labelled otherwise: {len(document['differences'])}, of them painted against printed: {opposed}"]
    for one in document["differences"]:
        name = one["label"].replace("_", " ").replace("dial process", "dial")
        said = "; ".join(plain_name(note) for note in one["notes"] if note)
        lines.append(
            f"  {plain_name(one['photo'])}, {name}: {one['first']} / {one['second']}" + (f" ({said})" if said else "")
        )
    return "\n".join(lines)


def _part(column: str, pairs: Sequence[tuple[Row, Row]]) -> dict[str, Any]:
    words = WORDS[column]
    table = np.zeros((len(words), len(words)), dtype=np.int64)
    for a, b in pairs:
        if a[column] and b[column]:
            table[words.index(a[column]), words.index(b[column])] += 1
    count, alike = int(table.sum()), int(np.trace(table))
    told: dict[str, Any] = {"label": column, "n": count, "alike": alike, "words": list(words), "table": table.tolist()}
    if count == 0:
        return told | {"alike_interval": None, "kappa": None, "interval": None, "remark": "not labelled by both"}
    kappa, share = cohen_kappa(table), wilson(alike, count)
    remark = ""
    if kappa.value is None:
        remark = "undefined: both gave one label throughout"
    elif kappa.low is None:
        remark = "no interval from so few" if alike < count else f"all alike; alike in at least {share.low:.0%}"
    return told | {
        "alike_interval": [round(share.low, 4), round(share.high, 4)],
        "kappa": None if kappa.value is None else round(kappa.value, 4),
        "interval": None if kappa.low is None or kappa.high is None else [round(kappa.low, 4), round(kappa.high, 4)],
        "remark": remark,
    }


def _by_photo(rows: Sequence[Row], name: str) -> list[Row]:
    seen: set[str] = set()
    for row in rows:
        key = row["sha256"].lower() or row["photo"]
        if key in seen:
            raise ParameterError(f"{name} has more than one row of {row['photo']}; keep one")
        seen.add(key)
        for column in COMPARED:
            if row[column] and row[column] not in WORDS[column]:
                raise ParameterError(
                    f"{name} says {row[column]!r} for {column} of {row['photo']}; give {', '.join(WORDS[column])}"
                )
    return list(rows)


def _paired(first: Sequence[Row], second: Sequence[Row]) -> list[tuple[Row, Row]]:
    by_hash = {row["sha256"].lower(): row for row in second if row["sha256"]}
    by_path = {row["photo"]: row for row in second}
    pairs = []
    for row in first:
        other = by_hash.get(row["sha256"].lower()) if row["sha256"] else None
        if other is None:
            other = by_path.get(row["photo"])
            if other is not None and row["sha256"] and other["sha256"]:
                other = None  # the same name for other content
        if other is not None:
            pairs.append((row, other))
    return pairs


def _labellers(rows: Sequence[Row]) -> list[str]:
    return sorted({row["labeller"] for row in rows if row["labeller"]})
