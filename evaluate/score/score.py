"""Scoring: from photographs to a document of schema dialtell.score/1.

One bad photograph never stops the others: it becomes an entry under "errors", and a photograph without a dial a
dial "undetermined".
"""

from __future__ import annotations

import logging
import math
import os
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from tqdm import tqdm

from dialtell.evaluate.score.close_up import close_up_record, close_up_remarks, least, unnamed_reason
from dialtell.evaluate.score.reasons import dial_reason, dial_support, print_record, zone_reason
from dialtell.evaluate.score.remarks import remarks
from dialtell.evaluate.words.support import NOT_JUDGED, rounded
from dialtell.model.net.calibration import UNDETERMINED
from dialtell.model.net.resolution import Resolution, resolution_of
from dialtell.model.net.verdict import Verdict, judge
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import MAX_PIXELS
from dialtell.model.reading.outline import NoDial
from dialtell.model.reading.photo import Photo, read_photo, walk_photos
from dialtell.model.reading.scale import given_scale
from dialtell.model.reading.steps import Reading, read_close_up, read_dial
from dialtell.synth.shared.errors import DialtellError, fault_of_ours

SCHEMA = "dialtell.score/1"
log = logging.getLogger("dialtell.score")


@dataclass(frozen=True, eq=False)
class ScoredPhoto:
    """One photograph scored. record : its entry under "dials". The rest is None when no dial was found."""

    record: dict[str, Any]
    photo: Photo
    reading: Reading | None = None
    verdict: Verdict | None = None
    resolution: Resolution | None = None


def score_photo(
    path: str | os.PathLike[str],
    weights: Weights,
    *,
    diameter_mm: float | None = None,
    max_pixels: int = MAX_PIXELS,
    close_up: bool = False,
    pixels_per_mm: float | None = None,
) -> ScoredPhoto:
    """Score one photograph.

    diameter_mm : of the dial, for px/mm; None if not known.
    max_pixels : larger photographs are refused.
    close_up : it shows only a part of the dial. pixels_per_mm : its scale then, None to tell it from the strokes.
    Raises PhotoError naming the file and the remedy.
    """
    photo = read_photo(path, max_pixels=max_pixels)
    if close_up or pixels_per_mm is not None:
        given = None if pixels_per_mm is None else given_scale(pixels_per_mm, diameter_mm)
        parts = read_close_up(photo.grey, given)
        if isinstance(parts, NoDial):
            return ScoredPhoto(_without_dial(photo, parts, "Not judged"), photo)
        return _scored(photo, parts, weights, diameter_mm)
    reading = read_dial(photo.grey)
    if isinstance(reading, NoDial):
        return ScoredPhoto(_without_dial(photo, reading), photo)
    return _scored(photo, [reading], weights, diameter_mm)


def _scored(photo: Photo, readings: list[Reading], weights: Weights, diameter_mm: float | None) -> ScoredPhoto:
    """One photograph from its reading, or from readings at several scales."""
    resolutions = [resolution_of(reading, weights.record, diameter_mm) for reading in readings]
    pairs = list(zip(readings, resolutions, strict=True))
    verdicts = [judge(reading.patches, weights, withheld=not shown.carries_strokes) for reading, shown in pairs]
    index, contradicts = least(verdicts)
    if contradicts:
        verdicts[index] = judge(readings[index].patches, weights, withheld=True)
    reading, resolution, verdict = readings[index], resolutions[index], verdicts[index]
    record = _record(photo, reading, verdict, resolution)
    if reading.close_up is not None:
        if reading.close_up.place is None:
            record["reason"] = unnamed_reason(verdict, resolution, reading.close_up, contradicts=contradicts)
        record["close_up"] = close_up_record(reading.close_up)
        record["warnings"] = [*close_up_remarks(reading.close_up), *record["warnings"]]
    return ScoredPhoto(record, photo, reading, verdict, resolution)


def score_photos(
    paths: Iterable[str | os.PathLike[str]],
    weights: Weights,
    *,
    diameter_mm: float | None = None,
    max_pixels: int = MAX_PIXELS,
    progress: bool = False,
    close_up: bool = False,
    pixels_per_mm: float | None = None,
) -> dict[str, Any]:
    """Score photographs and all photographs in folders; returns the document, ready for json.dumps.

    progress : show a bar on standard error if that is a terminal and there are several.
    close_up, pixels_per_mm : of all of them, see score_photo.
    """
    files, missing = walk_photos(paths)
    dials: list[dict[str, Any]] = []
    errors = [{"photo": str(path), "error": str(error)} for path, error in missing]
    bar = tqdm(files, unit="photo", disable=None if progress and len(files) > 1 else True, leave=False)
    for path in bar:
        try:
            scored = score_photo(
                path, weights, diameter_mm=diameter_mm, max_pixels=max_pixels, close_up=close_up,
                pixels_per_mm=pixels_per_mm,
            )  # fmt: skip
            dials.append(scored.record)
        except DialtellError as error:
            errors.append({"photo": str(path), "error": str(error)})
        except Exception as error:  # a fault of ours on one photograph must not lose the others
            log.debug("%s: traceback", path, exc_info=True)
            errors.append({"photo": str(path), "error": f"{path}: {fault_of_ours(error)}"})
    return {"schema": SCHEMA, "model": weights.identity, "dials": dials, "errors": errors}


def _without_dial(photo: Photo, why: NoDial, said: str = "No dial was found") -> dict[str, Any]:
    return {
        "photo": str(photo.path),
        "call": UNDETERMINED,
        "probability_hand": None,
        "log10_lr": None,
        "support": NOT_JUDGED,
        "reason": f"{said}: {why.reason}.",
        "print_process": None,
        "geometry": None,
        "zones": [],
        "warnings": list(photo.warnings),
    }


def _record(photo: Photo, reading: Reading, verdict: Verdict, resolution: Resolution) -> dict[str, Any]:
    whole = verdict.whole
    zones = [
        {
            "zone": zone.value,
            "judged": evidence.judged,
            "call": evidence.call,
            "probability_hand": rounded(evidence.probability_hand, 6),
            "log10_lr": rounded(evidence.log10_lr, 4),
            "reason": zone_reason(zone, evidence, reading.zones),
            "polygon_px": reading.geometry.to_photo(reading.zones.polygon(zone)).round(1).tolist(),
        }
        for zone, evidence in verdict.zones.items()
    ]
    return {
        "photo": str(photo.path),
        "call": verdict.call,
        "probability_hand": rounded(whole.probability_hand, 6),
        "log10_lr": rounded(whole.log10_lr, 4),
        "support": dial_support(verdict),
        "reason": dial_reason(verdict, resolution),
        "print_process": print_record(verdict),
        "geometry": _geometry(reading.geometry, resolution.diameter_mm),
        "zones": zones,
        "warnings": [*remarks(reading, verdict, resolution), *photo.warnings],
    }


def _geometry(geometry: DialGeometry, diameter_mm: float | None) -> dict[str, Any]:
    """rotation_deg : of 12 o'clock as it appears, clockwise from up in the photograph, -180..180."""
    x, y = geometry.matrix @ (0.0, -1.0)
    return {
        "center_px": [round(value, 2) for value in geometry.center_px],
        "axes_px": [round(value, 2) for value in geometry.axes_px],
        "rotation_deg": round(math.degrees(math.atan2(x, -y)), 2),
        "pixels_across": round(geometry.pixels_across, 2),
        "pixels_per_mm": None if diameter_mm is None else round(geometry.pixels_per_mm(diameter_mm), 4),
        "ellipse_angle_deg": round(math.degrees(geometry.angle), 2),
    }
