"""The inspection of one photograph: its score, a map of what each place speaks for, and a close view of each zone."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.cli.flags import MAX_PIXELS
from dialtell.evaluate.inspection.advice import reached_words
from dialtell.evaluate.inspection.evidence_table import evidence_table, nothing_measured
from dialtell.evaluate.inspection.examine import Examined, examine, why_not_measured
from dialtell.evaluate.inspection.page import PHOTO_PX, PageExtras, ZoneCrop, write_page
from dialtell.evaluate.inspection.reference_dial import reference_dial
from dialtell.evaluate.maps.attribution import SMALL_ERROR, Attribution, photo_map, view_map
from dialtell.evaluate.measurements.evidence import Evidence
from dialtell.evaluate.period.date_check import Years, check_period
from dialtell.evaluate.score.close_up import page_record
from dialtell.evaluate.score.score import ScoredPhoto, score_photo
from dialtell.evaluate.score.table import plain_name
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry, patch_grid, sample
from dialtell.model.reading.patches import SCALE, SPAN, PatchSet
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.errors import PhotoError
from dialtell.synth.shared.files import require_free
from dialtell.synth.shared.terms import ZONES, Process, Zone

SCHEMA = "dialtell.inspect/1"
Bytes = NDArray[np.uint8]

VIEW = 0.34  # dial radii, side of a close view: some four patches
_FINEST = 1400.0  # px per dial radius of a close view at most


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


def display(light: NDArray[np.float32]) -> Bytes:
    """Linear light 0..1 to 8-bit sRGB code values (IEC 61966-2-1)."""
    light = np.clip(light, 0.0, 1.0)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1 / 2.4) - 0.055)
    return np.asarray(np.round(code * 255), dtype=np.uint8)


def scaled(record: dict[str, Any], scale: float) -> dict[str, Any]:
    """The record with its places in px of a reduced photograph; what it says of the original's resolution stays."""
    geometry = dict(record["geometry"])
    for key in ("center_px", "axes_px"):
        geometry[key] = [value * scale for value in geometry[key]]
    zones = [
        {**zone, "polygon_px": [[x * scale, y * scale] for x, y in zone["polygon_px"]]} for zone in record["zones"]
    ]
    return {**record, "geometry": geometry, "zones": zones}


@dataclass(frozen=True)
class Place:
    """Where a close view lies: its middle and the direction of its columns, dial radii; its side in px."""

    center: tuple[float, float]
    right: tuple[float, float]
    px: int


def zone_crops(scored: ScoredPhoto, attribution: Attribution) -> list[tuple[ZoneCrop, Place]]:
    """A close view of each judged zone about the place that moved the call most, and where that is."""
    reading, verdict = scored.reading, scored.verdict
    if reading is None or verdict is None:
        return []
    reasons = {zone["zone"]: zone["reason"] for zone in scored.record["zones"]}
    crops: list[tuple[ZoneCrop, Place]] = []
    for zone, evidence in verdict.zones.items():
        if evidence.judged:
            caption = reasons[zone.value] + ("" if crops else f" {attribution.words()}")
            crops.append(_crop(zone, scored.photo, reading, attribution, caption))
    return crops


def _crop(zone: Zone, photo: Photo, reading: Reading, attribution: Attribution, caption: str) -> tuple[ZoneCrop, Place]:
    patches = reading.patches
    index = strongest(patches, attribution, zone)
    center, right = patches.center[index], patches.right[index]
    scale = float(np.clip(reading.geometry.pixels_per_radius, SCALE, _FINEST))
    side = round(VIEW * scale)
    place = Place((float(center[0]), float(center[1])), (float(right[0]), float(right[1])), side)
    # the same view as a dial seen face on, turned so that `right` runs along its columns
    turn = -math.atan2(right[1], right[0])
    flat = DialGeometry((0.0, 0.0), (scale, scale), rotation=turn)
    x, y = side / 2 - flat.to_photo(center)
    view = DialGeometry((float(x), float(y)), (scale, scale), rotation=turn)
    if zone in (Zone.NUMERALS, Zone.MINUTE_TRACK):
        caption = f"{caption} Outwards is up."
    image = view_of(photo, reading.geometry, place)
    return ZoneCrop(zone.value, image, view_map(attribution, patches, view, (side, side)), caption), place


def view_of(photo: Photo, geometry: DialGeometry, place: Place) -> Bytes:
    """(px, px, 3) sRGB of a close view of a photograph's dial."""
    grid = patch_grid(geometry, place.center, place.right, (place.px, place.px), place.px / VIEW)
    return display(sample(photo.pixels, grid))


Beside = Callable[[Place], tuple[tuple[str, Bytes], ...]]


def nothing_beside(place: Place) -> tuple[tuple[str, Bytes], ...]:
    """For a close view whose place on the dial is not known."""
    return ()


def what_beside(
    reading: Reading, compare_with: str | os.PathLike[str] | None, weights: Weights, max_pixels: int
) -> tuple[Beside, str]:
    """What to show beside a close view, and what it is in a sentence. Raises PhotoError for the other photograph."""
    if compare_with is None:
        drawn = reference_dial(reading)

        def crops(place: Place) -> tuple[tuple[str, Bytes], ...]:
            return tuple(
                (title, drawn.crop(process, place.center, place.right, VIEW, place.px))
                for title, process in (("Drawn: painted by hand", Process.HAND), ("Drawn: printed", Process.TRANSFER))
            )

        return crops, (
            "Below, the same place on a dial of a like design, drawn once as a hand paints and once as a plate prints, "
            "at the same magnification and no sharper than this photograph. Drawn dials show what to look for; they "
            "prove nothing."
        )
    other = score_photo(compare_with, weights, max_pixels=max_pixels)
    if other.reading is None:
        raise PhotoError(f"--compare-with {compare_with}: {other.record['reason']} Give another photograph, or auto")
    geometry, name = other.reading.geometry, plain_name(Path(compare_with).name)
    title = f"{name}: called {other.record['call']}"
    return (
        lambda place: ((title, view_of(other.photo, geometry, place)),),
        f"Below, the same place on {name}, at the same magnification.",
    )


def with_beside(crop: ZoneCrop, place: Place, beside: Beside) -> ZoneCrop:
    """The crop with what is shown beside it."""
    return replace(crop, beside=beside(place))


def strongest(patches: PatchSet, attribution: Attribution, zone: Zone) -> int:
    """Index of the zone's patch in whose neighbourhood the zone's map is largest in size."""
    size = np.abs(attribution.painted).sum(axis=(1, 2))
    member = np.flatnonzero(patches.zone == ZONES.index(zone))
    away = np.linalg.norm(patches.center[member, None] - patches.center[None, member], axis=-1)
    near = away < 0.5 * VIEW - 0.25 * SPAN
    return int(member[(near * size[member]).sum(axis=1).argmax()])


def stated_model(weights: Weights) -> dict[str, Any]:
    """What a page and a still say of the weights."""
    return {**weights.identity, "renderer_version": weights.record["renderer_version"]}
