"""Two photographs, one design? Both are scored, laid on each other, and the plate test is read."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from typing import Any

import numpy as np

from dialtell.evaluate.flags import MAX_PIXELS
from dialtell.evaluate.plate_test import CANNOT_TELL, DIFFERENT, ONE_PLATE, SEPARATE, PlateVerdict, judge_pair
from dialtell.evaluate.registration import Registration, common_scale, register, sheet_of
from dialtell.evaluate.score import ScoredPhoto, score_photo
from dialtell.evaluate.support import NO_SUPPORT, support_band
from dialtell.model.store import Weights
from dialtell.synth.terms import ZONES

SCHEMA = "dialtell.compare/1"
LEAST_ZONE_SITES = 6  # fewer say nothing about a zone


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
    diameter_mm: float | None = None,
    max_pixels: int = MAX_PIXELS,
) -> Comparison:
    """Compare two photographs. diameter_mm : of both dials, None if not known. Raises PhotoError naming the file."""
    scored = [score_photo(path, weights, diameter_mm=diameter_mm, max_pixels=max_pixels) for path in (first, second)]
    a, b = scored
    found: Registration | None = None
    if a.reading is None or b.reading is None:
        which = "the first" if a.reading is None else "the second"
        verdict = PlateVerdict(CANNOT_TELL, f"No dial was found in {which} photograph.", None, False, 0, 0, math.nan,
                               math.nan)  # fmt: skip
    else:
        scale = common_scale(a.reading, b.reading)
        found = register(sheet_of(a.reading, scale), sheet_of(b.reading, scale))
        verdict = judge_pair(found)
    document = {
        "schema": SCHEMA,
        "model": weights.identity,
        "finding": verdict.finding,
        "reason": verdict.reason,
        "log10_lr": None if verdict.log10_lr is None else round(verdict.log10_lr, 4),
        "support": support_of(verdict),
        "places": verdict.sites,
        "matched": verdict.matched,
        "stray": _stray(verdict, found, diameter_mm),
        "zones": [] if found is None or a.reading is None else zone_rows(found, a, diameter_mm),
        "process": process_words(verdict.finding, a.record["call"], b.record["call"]),
        "dials": [a.record, b.record],
    }
    return Comparison(document, a, b, found)


def support_of(verdict: PlateVerdict) -> str:
    """The ratio in words, for one plate or for separate drawing."""
    if verdict.finding == DIFFERENT or verdict.log10_lr is None:
        return "not judged"
    band = support_band(verdict.log10_lr)
    if band == NO_SUPPORT:
        return NO_SUPPORT
    side = "one plate" if verdict.log10_lr > 0 else "separate drawing"
    return f"{'at least ' if verdict.capped else ''}{band} support for {side}"


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
