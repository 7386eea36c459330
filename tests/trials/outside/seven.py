"""Calls on the photographs set aside for evaluation, from a manifest beside them: `python tests/trials outside/seven`.

The manifest is CSV with the columns file, label (hand-painted, printed, cannot tell, or anything else for a control to
which neither applies), and if known object, dial_px_across, source. The photographs are not part of the project: those
that are not there are skipped, and said to be. Nothing is to be tuned on them, and so few settle nothing: no AUC.
"""

from __future__ import annotations

import argparse
import csv
import io
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.synth.shared.errors import DialtellError, ParameterError

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

SCHEMA = "dialtell.seven/1"
LABELS = {HAND: HAND, PRINTED: PRINTED}  # every other label asks for "undetermined"


def manifest_rows(path: Path) -> list[dict[str, str]]:
    """Rows of a manifest. ParameterError naming the file when it cannot be read or lacks a column."""
    try:
        rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not UTF-8"
        raise ParameterError(f"{path} cannot be read ({reason}); give the manifest of the photographs") from error
    missing = [name for name in ("file", "label") if rows and name not in rows[0]]
    if missing or not rows:
        raise ParameterError(f"{path} has no {' and no '.join(missing) or 'rows'}; it needs the columns file and label")
    return [{name: (value or "").strip() for name, value in row.items() if isinstance(value, str)} for row in rows]


def seven(manifest: Path, weights: Weights) -> dict[str, Any]:
    """The document: each photograph's label and call, those skipped, and counts."""
    from dialtell.evaluate.score.score import score_photo

    calls, skipped = [], []
    for row in manifest_rows(manifest):
        path = manifest.parent / row["file"]
        if not path.is_file():
            skipped.append({"photo": row["file"], "reason": f"{path} is not there"})
            continue
        try:
            record = score_photo(path, weights).record
        except DialtellError as error:
            skipped.append({"photo": row["file"], "reason": str(error)})
            continue
        wanted = LABELS.get(row["label"], UNDETERMINED)
        call = record["call"]
        outcome = "as labelled" if call == wanted else "silent" if call == UNDETERMINED else "wrong"
        calls.append(
            {"photo": row["file"], "label": row["label"], "wanted": wanted, "call": call, "outcome": outcome,
             "log10_lr": record["log10_lr"], "reason": record["reason"], "source": row.get("source", "")}
        )  # fmt: skip
    counts = {name: sum(row["outcome"] == name for row in calls) for name in ("as labelled", "silent", "wrong")}
    return {"schema": SCHEMA, "model": weights.identity, "calls": calls, "skipped": skipped, "counts": counts}


def seven_text(document: dict[str, Any]) -> str:
    """The document for a terminal."""
    from dialtell.evaluate.words.plain import plain_name

    lines = [f"{'photograph':<26}{'label':<26}{'call':<14}{'log10 LR':>8}  outcome"]
    for row in document["calls"]:
        ratio = "" if row["log10_lr"] is None else f"{row['log10_lr']:+.2f}"
        name, label = plain_name(row["photo"])[:25], plain_name(row["label"])[:25]
        lines.append(f"{name:<26}{label:<26}{row['call']:<14}{ratio:>8}  {row['outcome']}")
        lines.append(f"    {plain_name(row['reason'])}")
    lines += [f"{plain_name(row['photo'])}: skipped, {plain_name(row['reason'])}" for row in document["skipped"]]
    counts = document["counts"]
    lines.append(", ".join(f"{count} {name}" for name, count in counts.items()))
    kinds = {row["label"] for row in document["calls"]}
    if PRINTED not in kinds:
        lines.append("No photograph of a printed dial is among them: nothing is shown about printed dials.")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Score and print; returns the exit status: 1 only when the manifest or the weights cannot be read."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials outside/seven", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("manifest", type=Path, metavar="MANIFEST.csv", help="the photographs lie beside it")
    parser.add_argument("--weights", type=Path, metavar="FILE.safetensors", help="default: those that come with it")
    parser.add_argument("--json", action="store_true", help=f"print one JSON document, schema {SCHEMA}")
    args = parser.parse_args(arguments)
    from dialtell.evaluate.words.document import json_text
    from dialtell.model.net.weights_file import load_weights

    try:
        document = seven(args.manifest, load_weights(args.weights))
    except DialtellError as error:
        print(f"seven: error: {error}", file=sys.stderr)
        return 1
    print(json_text(document) if args.json else seven_text(document))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
