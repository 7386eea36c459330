"""Two photographs, one design? Both are scored, laid on each other, and the plate test is read."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from typing import Any

import numpy as np

from dialtell.evaluate.compare.findings import CANNOT_TELL, ONE_PLATE, SEPARATE, pair_support
from dialtell.evaluate.compare.plate_test import PlateVerdict, asks_back, judge_pair, shipped_model
from dialtell.evaluate.compare.registration import Registration, common_scale, register, sheet_of
from dialtell.evaluate.score.score import ScoredPhoto, score_photo
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.known import UNKNOWN, Known
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import ZONES

SCHEMA = "dialtell.compare/1"
LEAST_ZONE_SITES = 6  # fewer say nothing about a zone
# from which a zone that is not found is missing there: of 100 drawn pairs of one design at 12 px/mm all found more than
# half of each such zone
MANY_SITES = 12


@dataclass(frozen=True, eq=False)
class Comparison:
    """document : of schema dialtell.compare/1. registration : None when the two could not be laid on each other."""

    document: dict[str, Any]
    first: ScoredPhoto
    second: ScoredPhoto
    registration: Registration | None


def compare_photos(
    first: str | os.PathLike[str],
    second: str | os.PathLike[str],
    weights: Weights,
    *,
    known: Known | tuple[Known, Known] = UNKNOWN,
) -> Comparison:
    """Compare two photographs.

    known : what is known of both, or of each, as for score_photo; lengths are in mm where both are said to be of one
    size. A close-up is laid on the other where its scale and its place on the dial are told.
    Raises PhotoError naming the file.
    """
    each = known if isinstance(known, tuple) else (known, known)
    scored = [score_photo(path, weights, known=said) for path, said in zip((first, second), each, strict=True)]
    diameter_mm = each[0].diameter_mm if each[0].diameter_mm == each[1].diameter_mm else None
    a, b = scored
    part = any(s.reading is not None and s.reading.close_up is not None for s in scored)
    why = unplaced(a, "first") or unplaced(b, "second")
    found: Registration | None = None
    if why or a.reading is None or b.reading is None:
        verdict = PlateVerdict(CANNOT_TELL, why, None, False, 0, 0, math.nan, math.nan)
    else:
        scale = common_scale(a.reading, b.reading)
        one, other = sheet_of(a.reading, scale), sheet_of(b.reading, scale)
        found = register(one, other, part=part)
        reverse = register(other, one) if not part and asks_back(found) else None
        lost = ""
        if found is not None and reverse is not None:
            lost = _lost(found, a.reading, "first", "second") or _lost(reverse, b.reading, "second", "first")
        verdict = judge_pair(found, part=part, back=1.0 if reverse is None else reverse.share, lost=lost)
    document = {
        "schema": SCHEMA,
        "model": weights.identity,
        "finding": verdict.finding,
        "reason": verdict.reason,
        "log10_lr": None if verdict.log10_lr is None else round(verdict.log10_lr, 4),
        "support": pair_support(verdict.finding, verdict.log10_lr, capped=verdict.capped),
        "part": part,
        "places": verdict.sites,
        "matched": verdict.matched,
        "stray": _stray(verdict, found, diameter_mm),
        "zones": [] if found is None or a.reading is None else zone_rows(found, a, diameter_mm),
        "process": process_words(verdict.finding, a.record["call"], b.record["call"]),
        "dials": [a.record, b.record],
    }
    return Comparison(document, a, b, found)


def unplaced(scored: ScoredPhoto, which: str) -> str:
    """Why a photograph cannot be laid on another; "" when it can."""
    if scored.reading is None:
        said = str(scored.record["reason"]).rstrip(".")
        return f"The {which} photograph: {said[:1].lower()}{said[1:]}."
    close_up = scored.reading.close_up
    if close_up is None or close_up.place is not None:
        return ""
    scale = "" if close_up.scale.spread == 0 else f", and its scale, {close_up.scale.source}, is known only roughly"
    return (
        f"The {which} photograph is a close-up that does not show where on the dial it lies{scale}; take one with some "
        "of the minute track and of the enamel's edge in it."
    )


def _lost(found: Registration, reading: Reading, on: str, other: str) -> str:
    """Which zone of a dial is not found on the other though the rest is, as a clause; "" where all are."""
    label = reading.zones.at(found.sites)
    for index, zone in enumerate(ZONES):
        own = label == index
        if own.sum() >= MANY_SITES and found.matched[own].mean() <= shipped_model().unlike:
            return f"the {zone.value} of the {on} was not found on the {other}"
    return ""


def _stray(verdict: PlateVerdict, found: Registration | None, diameter_mm: float | None) -> dict[str, Any]:
    """What is left after the bend, and what the photographs' resolution alone would leave; SD per axis."""
    if found is None or math.isnan(verdict.spread):
        return {"radii": None, "px": None, "mm": None, "noise_radii": None, "noise_mm": None}
    radius = None if diameter_mm is None else 0.5 * diameter_mm
    return {
        "radii": round(verdict.spread, 6),
        "px": round(verdict.spread * found.scale, 3),
        "mm": None if radius is None else round(verdict.spread * radius, 4),
        "noise_radii": round(verdict.noise, 6),
        "noise_mm": None if radius is None else round(verdict.noise * radius, 4),
    }


def zone_rows(found: Registration, first: ScoredPhoto, diameter_mm: float | None) -> list[dict[str, Any]]:
    """By zone: places, matched, and the stray of those matched; None where too few."""
    assert first.reading is not None
    label = first.reading.zones.at(found.sites)
    rows = []
    for index, zone in enumerate(ZONES):
        own = label == index
        near = own & found.matched
        left = found.found[near] - found.fitted[near]
        spread = float(1.4826 * np.median(np.abs(left))) if near.sum() >= LEAST_ZONE_SITES else None
        rows.append(
            {
                "zone": zone.value,
                "places": int(own.sum()),
                "matched": int(near.sum()),
                "stray_radii": None if spread is None else round(spread, 6),
                "stray_mm": None if spread is None or diameter_mm is None else round(0.5 * spread * diameter_mm, 4),
            }
        )
    return rows


def process_words(finding: str, first: str, second: str) -> str:
    """What the finding says of the process, and whether each dial's own call agrees."""
    calls = f"By their strokes alone the first dial is {first}, the second {second}."
    if finding == ONE_PLATE:
        clash = "hand-painted" in (first, second)
        words = "Dials that one plate fits were printed, unless both were painted over one printed layout."
        return f"{words} {calls}" + (" That does not agree: look at both again." if clash else "")
    if finding == SEPARATE:
        return f"Painted dials always differ so, and so do prints from two plates cut by hand. {calls}"
    return calls
