"""A benchmark on one page: figures, plots with captions, every miss, and what it allows one to claim; offline."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

from dialtell.evaluate.benchmark.plots import CAPTIONS
from dialtell.evaluate.benchmark.table import FIGURES, comparison_words, figure_words, groups_of
from dialtell.evaluate.pages.templates import filled
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.net.calibration import HAND

_ALT = {
    "ratios": "Likelihood ratio of each photograph, painted above printed",
    "reliability": "Probability stated against share labelled painted",
    "coverage": "Share of dials called against share of calls right",
}


def page_text(document: Mapping[str, Any], plots: Mapping[str, bytes]) -> str:
    """The page. document : of schema dialtell.benchmark/1. plots : PNG by name, see plots.plots."""
    whole, against = document["dial"], document.get("against")
    return filled(
        "benchmark",
        labels=plain_name(document["labels"]),
        model=_named(document["model"]),
        sha256=document["model"]["sha256"],
        headline=_headline(whole),
        counts=[
            ("photographs with a label", whole["n"]),
            ("painted", whole["painted"]),
            ("printed", whole["printed"]),
            ("called", whole["decided"]),
            ("wrong", whole["wrong"]),
        ],
        names=[name for _, name, _ in FIGURES],
        tables=[{"title": title, "rows": [_row(row) for row in rows]} for title, rows in groups_of(document)],
        plots=[
            {
                "uri": "data:image/png;base64," + base64.b64encode(content).decode(),
                "caption": CAPTIONS[name],
                "alt": _ALT[name],
            }
            for name, content in plots.items()
        ],
        ece_note=_ece_note(whole),
        confusions=[
            {"title": title, "rows": rows, "columns": [column for column in rows[0] if column != "label"]}
            for title, rows in (
                ("Calls by label", document["confusion"]),
                ("Process of print, of prints called printed", document["print_calls"]),
            )
            if rows
        ],
        misses=[
            {
                "kind": miss["kind"],
                "style": "hand" if miss["call"] == HAND else "print",
                "name": plain_name(miss["photo"]),
                "who": plain_name(", ".join(filter(None, (miss["dial"], miss["source"])))),
                "ratio": "" if miss["log10_lr"] is None else f"{miss['log10_lr']:+.2f}",
                "band": miss["band"],
                "page": miss["page"],
            }
            for miss in document["misses"]
        ],
        pages=[
            {
                "name": plain_name(row["photo"]),
                "page": row["page"],
                "label": row["label"] or "not labelled",
                "call": row["call"],
                "why": plain_name(row["why"]),
            }
            for row in document["rows"]
            if row["page"]
        ],
        against=None if against is None else _named(against["model"]),
        tests=[] if against is None else [comparison_words(test) for test in against["tests"]],
        claims=document["claims"],
        problems=[plain_name(problem) for problem in document["problems"]],
        settings=document["settings"],
        cautions=CAUTIONS,
    )


def _headline(whole: Mapping[str, Any]) -> str:
    if whole["accuracy"] is None:
        return f"None of {whole['n']} labelled dials was called."
    share = figure_words(whole["accuracy"], percent=True)
    return f"{whole['decided']} of {whole['n']} labelled dials called; right: {share}."


def _row(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "group": plain_name(row["group"]),
        "n": row["n"],
        "kinds": f"{row['painted']} / {row['printed']}",
        "clusters": row["clusters"],
        "cells": [(name, _held(figure_words(row[key], percent))) for key, name, percent in FIGURES],
    }


def _held(figure: str) -> str:
    """A figure that breaks only before its interval."""
    return figure.replace(" ", "\u00a0").replace("\u00a0(", " (")


def _ece_note(whole: Mapping[str, Any]) -> str:
    if whole["ece_if_calibrated"] is None:
        return ""
    mean, most = whole["ece_if_calibrated"]["mean"], whole["ece_if_calibrated"]["point_95"]
    return (
        f"Probabilities that were exactly right would show an ECE of {mean:.2f} on average with so few dials, and one "
        f"of {most:.2f} or more once in twenty times."
    )


def _named(model: Mapping[str, Any]) -> str:
    return plain_name(f"{model['name']} {model['version']}")
