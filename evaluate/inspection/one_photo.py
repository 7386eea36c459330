"""The inspection of one photograph: its score, a map of what each place speaks for, and a close view of each zone."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.advice import reached_words
from dialtell.evaluate.inspection.close_views import nothing_beside, what_beside, with_beside, zone_crops
from dialtell.evaluate.inspection.evidence_table import evidence_table, nothing_measured
from dialtell.evaluate.inspection.examine import Examined, examine, why_not_measured
from dialtell.evaluate.inspection.page import PHOTO_PX, PageExtras, ZoneCrop, write_page
from dialtell.evaluate.inspection.stated import page_record, scaled, stated_model
from dialtell.evaluate.maps.attribution import SMALL_ERROR, photo_map
from dialtell.evaluate.measurements.evidence import Evidence
from dialtell.evaluate.period.date_check import Years, check_period
from dialtell.evaluate.score.score import ScoredPhoto
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.known import MAX_PIXELS
from dialtell.model.reading.photo import Bytes, Photo, display
from dialtell.synth.shared.files import require_free
from dialtell.synth.shared.terms import ZONES, Zone

SCHEMA = "dialtell.inspect/1"


def inspect_photo(
    path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    weights: Weights,
    *,
    diameter_mm: float | None = None,
    max_pixels: int = MAX_PIXELS,
    overwrite: bool = False,
    years: Years | None = None,
    compare_with: str | os.PathLike[str] | None = None,
) -> dict[str, Any]:
    """Score one photograph, write its page to `out`, and return a document of schema dialtell.inspect/1.

    years : when the movement was made, for the date check. compare_with : photograph of another dial to show beside the
    close views; None draws a like dial of each kind.

    Raises PhotoError for the photograph and OutputError for the page, the latter before any work is done.
    """
    require_free(Path(out), overwrite=overwrite)
    examined = examine(path, weights, diameter_mm=diameter_mm, max_pixels=max_pixels)
    return inspect_examined(
        examined, Path(out), weights, max_pixels=max_pixels, overwrite=overwrite, years=years, compare_with=compare_with
    ).document


class Inspection(NamedTuple):
    """document : of schema dialtell.inspect/1. shown : (H, W, 3) uint8 sRGB, the photograph as the page shows it.
    saliency : (H, W) float32 over it, positive towards hand; None where nothing was judged."""

    document: dict[str, Any]
    shown: Bytes
    saliency: NDArray[np.float32] | None


def inspect_examined(
    examined: Examined,
    target: Path,
    weights: Weights,
    *,
    max_pixels: int = MAX_PIXELS,
    overwrite: bool = False,
    years: Years | None = None,
    compare_with: str | os.PathLike[str] | None = None,
) -> Inspection:
    """Write the page of a photograph examined before; parameters and errors as of inspect_photo."""
    scored, attribution = examined.scored, examined.attribution
    shown = shown_photo(scored.photo)
    record, saliency, unlike = scored.record, None, None
    evidence, both = examined.evidence, examined.combined
    period = None
    if years is not None and both is None:
        period = check_period(years, record["call"], record["log10_lr"])
    elif years is not None and both is not None:
        period = check_period(years, both.call, None if both.held else both.log10_lr)
    said, table = "", nothing_measured(why_not_measured(scored))
    crops: list[ZoneCrop] = []
    if scored.reading is not None and scored.verdict is not None:
        scale = shown.shape[1] / scored.photo.pixels.shape[1]
        record = page_record(scaled(record, scale))
        if evidence is not None:
            table = evidence_table(
                evidence, diameter_mm=_diameter(scored), weighed=0 if both is None else both.used, scale=scale,
                expected=ZONES if scored.reading.zones.named else (Zone.OTHER,),
            )  # fmt: skip
        if attribution is not None:
            geometry = scored.reading.geometry.scaled(scale)
            patches, shape = scored.reading.patches, shown.shape[:2]
            saliency = photo_map(attribution.painted, patches, geometry, shape)
            if attribution.unlike is not None:
                unlike = photo_map(attribution.unlike, patches, geometry, shape)
            if scored.reading.zones.named:
                beside, said = what_beside(scored.reading, compare_with, weights, max_pixels)
            else:  # no place on the dial to hold anything beside
                beside = nothing_beside
            crops = [with_beside(crop, place, beside) for crop, place in zone_crops(scored, attribution)]
            if attribution.places is None and attribution.relative_error > SMALL_ERROR:
                record["warnings"] = [*record["warnings"], f"The map is rough. {attribution.words()}"]
    reached = "" if scored.resolution is None else reached_words(scored.resolution, scored.record.get("close_up"))
    extras = PageExtras(period, said, reached, examined.hints, table, both, unlike, weights.record.get("maps"))
    write_page(target, record, shown, saliency, crops, stated_model(weights), overwrite=overwrite, extras=extras)
    document = {
        "schema": SCHEMA,
        "model": weights.identity,
        "page": str(target),
        "dial": scored.record,
        "combined": None if both is None else both.record(),
        "measurements": [] if evidence is None else measurement_records(evidence),
        "not_measured": why_not_measured(scored) or None,
        "saliency": None
        if attribution is None
        else {
            "method": "integrated gradients from bare enamel",
            "shown": "integrated gradients" if attribution.places is None else "logit of each place by itself",
            "steps": attribution.steps,
            "logit": round(attribution.logit, 6),
            "baseline_logit": round(attribution.baseline, 6),
            "completeness_error": round(attribution.error, 6),
        },
        "period": None
        if period is None
        else {
            "years": [period.years.low, period.years.best, period.years.high],
            "basis": period.years.basis,
            "finding": period.finding,
            "sentence": period.sentence,
            "prior_log10_odds": round(period.prior_log10_odds, 4),
            "posterior_log10_odds": None
            if period.posterior_log10_odds is None
            else round(period.posterior_log10_odds, 4),
        },
    }
    return Inspection(document, shown, saliency)


def _diameter(scored: ScoredPhoto) -> float | None:
    return None if scored.resolution is None else scored.resolution.diameter_mm


def measurement_records(evidence: Evidence) -> list[dict[str, Any]]:
    """Every measurement for a JSON document; painted, printed: percent of such drawn dials that show less."""

    def figures(value: float | None) -> float | None:
        return None if value is None else float(f"{value:.4g}")

    return [
        {
            "zone": row.zone.value,
            "name": row.name,
            "value": figures(row.value),
            "unit": row.unit,
            "strokes": row.strokes,
            "strokes_needed": row.least,
            "painted_percent_below": figures(row.painted),
            "printed_percent_below": figures(row.printed),
            "lean_log10": figures(row.lean),
            "words": row.words,
        }
        for row in evidence.rows
    ]


def shown_photo(photo: Photo) -> Bytes:
    """(H, W, 3) uint8 sRGB, its longer side at most PHOTO_PX."""
    height, width = photo.pixels.shape[:2]
    scale = min(1.0, PHOTO_PX / max(height, width))
    if scale == 1.0:
        return display(photo.pixels)
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    return display(np.asarray(cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA)))
