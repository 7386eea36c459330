"""The model card written beside the weights: what they are, what they were made from, what was measured."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dialtell.synth.shared.files import write_whole

CARD = "MODEL_CARD.md"
NOT_FOR = (
    "authentication, appraisal or proof of originality: it gives an opinion from a photograph",
    "dials other than fired white enamel (metal, paper, plastic, engraved or coloured dials)",
    "photographs that do not resolve the thin strokes; the calls then are, and should stay, undetermined",
)


def card_text(record: Mapping[str, Any]) -> str:
    """MODEL_CARD.md in Markdown."""
    training = record["training"]
    lines = [
        f"# {record['name']} {record['version']}", "",
        "Tells a painted from a printed enamel dial by its strokes, per zone and per dial, as a likelihood ratio at "
        "prior 1:1. Licence: Apache-2.0.", "",
        "## Made from", "",
        *_begun(training["config"].get("origin")),
        *_pictures(record),
        f"Configuration and versions: the `.json` beside the weights. Command: `{training['command']}`.", "",
        *_calibrated(record),
        "## Measured on drawn dials", "",
        "Drawn with seeds used neither in training nor in calibration, same renderer: a smoke test, not proof for "
        "photographs. Intervals are 95 % (AUC by DeLong, shares by Wilson). Calls by the ratio alone; in use, calls "
        "are also withheld below the resolution that these weights need.", "",
        *_table(record["figures"]["dial"], "Dials"), "",
        *_table(record["figures"]["zone"], "Zones"), "",
        *_printing(record["figures"]),
        "## Measured on photographs", "",
        *_photographs(record["figures"]), "",
        "## Not for", "",
        *[f"- {line}" for line in NOT_FOR], "",
    ]  # fmt: skip
    return "\n".join(lines)


def closing_words(weights: Path, record: Mapping[str, Any]) -> str:
    """What a run says at its end, in a few lines: where the weights and their card lie, the key figures, how to use
    them."""
    whole = record["figures"]["dial"][0]
    if "auc" in whole:
        low, high = whole["auc_95"]
        said = (
            f"AUC {whole['auc']:.3f} ({low:.3f} to {high:.3f}), {whole['right']} right of {whole['decided']} calls, "
            f"{100 * whole['undetermined_share']:.0f} % undetermined, Cllr {whole['cllr']:.3f}"
        )
    else:
        said = str(whole["note"])
    lines = [f"weights: {weights}", f"card:    {weights.parent / CARD}", f"on {whole['n']} fresh drawn dials: {said}"]
    if "adaptation" in record["figures"]:
        for moment in ("before", "after"):
            row = record["figures"]["adaptation"]["photographs"][moment]
            lines.append(
                f"on dials of your photographs held out, {moment}: {row['right']} right, {row['wrong']} wrong, "
                f"{row['undetermined']} undetermined"
            )
    return "\n".join([*lines, f"use them: dialtell score PHOTO --weights {shlex.quote(str(weights))}"])


def _begun(origin: Mapping[str, Any] | None) -> list[str]:
    """Which weights the training began with, if any."""
    if not origin:
        return []
    return [
        f"Begun with the weights {origin['name']} {origin['version']} (sha256 {origin['sha256'][:12]}, renderer "
        f"{origin['renderer_version']}); what follows came after them.",
        "",
    ]


def _pictures(record: Mapping[str, Any]) -> list[str]:
    """What was learnt from."""
    training = record["training"]
    drawn = f"{training['pictures']} pictures, in twins that differ in the process alone."
    used = training.get("photographs")
    if used is None:
        drawn = f"Only dials drawn by dialtell's own renderer (version {record['renderer_version']}): {drawn}"
        return [f"{drawn} No photograph was used.", ""]
    learnt, held = used["learnt"], used["held_out"]
    return [
        f"{learnt['photographs']} photographs of {learnt['painted']} painted, {learnt['printed']} printed and "
        f"{learnt['other']} other dials labelled by the user ({training['steps']} steps), with dials drawn by "
        f"dialtell's own renderer (version {record['renderer_version']}) in every batch: {drawn} Held out, by dial: "
        f"{held['photographs']} photographs of {held['painted']} painted, {held['printed']} printed and "
        f"{held['other']} other dials.",
        "",
    ]


def _calibrated(record: Mapping[str, Any]) -> list[str]:
    """What likelihood ratios rest on, and when a dial is too unlike for any; nothing of weights that do not say."""
    lines = []
    if "calibrated_on" in record:
        lines = [f"Calibrated on {record['calibrated_on']}.", ""]
    if "familiar" in record:
        known = record["familiar"]
        lines += [
            "No call is made of a dial whose strokes, by mean and spread of their codes, lie farther from those of "
            f"drawn dials than {100 * known['passed']:.1f} % of {known['dials']} such dials do, each half measured "
            f"against the other.{_fresh(known)} No photograph had a part in that limit.",
            "",
        ]
    return ["## Calibrated, and when it is silent", "", *lines] if lines else []


def _fresh(known: Mapping[str, Any]) -> str:
    if "fresh" not in known:
        return ""
    dials, passed = known["fresh"]["dials"], known["fresh"]["passed"]
    return f" Of {dials} fresh drawn dials {dials - passed} would be withheld so."


def _photographs(figures: Mapping[str, Any]) -> list[str]:
    """What photographs say of the weights: before and after an adaptation, if there was one."""
    if "adaptation" not in figures:
        return [figures.get("photographs", "See evaluate/FIGURES.md: seven photographs, no printed dial among them.")]
    return [
        "The user's photographs held out. The moment at which the adaptation stopped was chosen by them, so the "
        "figures after it flatter; calls rest on the ratio alone, none is withheld for want of resolution. The "
        "ratios are calibrated on drawn dials: a Cllr near or above 1 says that they do not hold for these "
        "photographs.",
        "",
        *_before_and_after(figures["adaptation"]),
    ]


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


def _before_and_after(figures: Mapping[str, Any]) -> list[str]:
    """Before and after, as a Markdown table."""
    lines = [
        "| by dial | painted / printed | right | wrong | undetermined | AUC | Cllr |",
        "|---|---|---|---|---|---|---|",
    ]
    for moment in ("before", "after"):
        row = figures["photographs"][moment]
        lines.append(
            f"| held-out photographs, {moment} | {row['painted']} / {row['printed']} | {row['right']} | {row['wrong']} "
            f"| {row['undetermined']} | {_figure_text(row['auc'])} | {_figure_text(row['cllr'])} |"
        )
    for moment in ("before", "after"):
        row = figures["drawn"][moment]
        if "auc" not in row:
            lines.append(f"| drawn dials, {moment} | {row['n']} | {row['note']} | | | | |")
            continue
        lines.append(
            f"| drawn dials, {moment} | {row['n']} | {row['right']} | {row['decided'] - row['right']} "
            f"| {row['n'] - row['decided']} | {_figure_text(row['auc'])} | {_figure_text(row['cllr'])} |"
        )
    return lines


def _figure_text(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


def write_card(path: Path, record: Mapping[str, Any]) -> None:
    """Write MODEL_CARD.md."""
    write_whole(path, card_text(record).encode(), overwrite=True)
