"""The model card written beside the weights: what they are, what they were made from, what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

NOT_FOR = (
    "authentication, appraisal or proof of originality: it gives an opinion from a photograph",
    "dials other than fired white enamel (metal, paper, plastic, engraved or coloured dials)",
    "photographs that do not resolve the thin strokes; the calls then are, and should stay, undetermined",
)


def card_text(record: Mapping[str, Any]) -> str:
    """MODEL_CARD.md in Markdown with a YAML head."""
    training = record["training"]
    lines = [
        "---", "license: apache-2.0", "library: dialtell", "tags: [image-classification, horology, explainable]", "---",
        f"# {record['name']} {record['version']}", "",
        "Tells a painted from a printed enamel dial by its strokes, per zone and per dial, as a likelihood ratio at "
        "prior 1:1.", "",
        "## Made from", "",
        f"Only dials drawn by dialtell's own renderer (version {record['renderer_version']}): "
        f"{training['pictures']} pictures, in twins that differ in the process alone. No photograph was used.", "",
        f"Configuration and versions: the `.json` beside the weights. Command: `{training['command']}`.", "",
        "## Measured on drawn dials", "",
        "Drawn with seeds used neither in training nor in calibration, same renderer: a smoke test, not proof for "
        "photographs. Intervals are 95 % (AUC by DeLong, shares by Wilson).", "",
        *_table(record["figures"]["dial"], "Dials"), "",
        *_table(record["figures"]["zone"], "Zones"), "",
        *_printing(record["figures"]),
        "## Measured on photographs", "",
        record["figures"].get("photographs", "See README.md: seven photographs, no printed dial among them."), "",
        "## Not for", "",
        *[f"- {line}" for line in NOT_FOR], "",
    ]  # fmt: skip
    return "\n".join(lines)


def _printing(figures: Mapping[str, Any]) -> list[str]:
    """How well transfer and photographic prints are told apart, if that was measured."""
    if "print" not in figures:
        return []
    return [
        "Transfer against photographic print (AUC and calls: photographic above transfer), of dials printed "
        "throughout; undetermined is stated as \"cannot tell\". It is stated only of dials called printed: the last "
        "row.", "",
        *_table([*figures["print"], *figures.get("print_called", ())], "Prints"), "",
    ]  # fmt: skip


def _table(rows: list[Mapping[str, Any]], title: str) -> list[str]:
    lines = [f"| {title}, true resolution | n | AUC (95 %) | undetermined | right of decided (95 %) | ECE | Cllr |",
             "|---|---|---|---|---|---|---|"]  # fmt: skip
    for row in rows:
        if "auc" not in row:
            lines.append(f"| {row['resolution']} | {row['n']} | {row['note']} | | | | |")
            continue
        low, high = row["auc_95"]
        alow, ahigh = row["accuracy_95"]
        lines.append(
            f"| {row['resolution']} | {row['n']} | {row['auc']:.3f} ({low:.3f}..{high:.3f}) "
            f"| {100 * row['undetermined_share']:.0f} % | {row['right']}/{row['decided']} "
            f"({alow:.3f}..{ahigh:.3f}) | {row['ece']:.3f} | {row['cllr']:.3f} |"
        )
    return lines


def write_card(path: Path, record: Mapping[str, Any]) -> None:
    """Write MODEL_CARD.md."""
    path.write_text(card_text(record), encoding="utf-8")
