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

from dialtell.evaluate.flags import MAX_PIXELS
from dialtell.evaluate.reasons import dial_reason, dial_support, zone_reason
from dialtell.evaluate.remarks import remarks
from dialtell.evaluate.resolution import Resolution, resolution_of
from dialtell.evaluate.support import NOT_JUDGED
from dialtell.evaluate.verdict import Verdict, judge
from dialtell.model.calibration import UNDETERMINED
from dialtell.model.geometry import DialGeometry
from dialtell.model.outline import NoDial
from dialtell.model.photo import Photo, read_photo, walk_photos
from dialtell.model.reading import Reading, read_dial
from dialtell.model.store import Weights
from dialtell.synth.errors import DialtellError

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
) -> ScoredPhoto:
    """Score one photograph.

    diameter_mm : of the dial, for px/mm; None if not known.
    max_pixels : larger photographs are refused.
    Raises PhotoError naming the file and the remedy.
    """
    photo = read_photo(path, max_pixels=max_pixels)
    reading = read_dial(photo.grey)
    if isinstance(reading, NoDial):
        return ScoredPhoto(_without_dial(photo, reading), photo)
    resolution = resolution_of(reading, weights.record, diameter_mm)
    verdict = judge(reading.patches, weights, withheld=not resolution.carries_strokes)
    return ScoredPhoto(_record(photo, reading, verdict, resolution), photo, reading, verdict, resolution)


def score_photos(
    paths: Iterable[str | os.PathLike[str]],
    weights: Weights,
    *,
    diameter_mm: float | None = None,
    max_pixels: int = MAX_PIXELS,
    progress: bool = False,
) -> dict[str, Any]:
    """Score photographs and all photographs in folders; returns the document, ready for json.dumps.

    progress : show a bar on standard error if that is a terminal and there are several.
    """
    files, missing = walk_photos(paths)
    dials: list[dict[str, Any]] = []
    errors = [{"photo": str(path), "error": str(error)} for path, error in missing]
    bar = tqdm(files, unit="photo", disable=None if progress and len(files) > 1 else True, leave=False)
    for path in bar:
        try:
            scored = score_photo(path, weights, diameter_mm=diameter_mm, max_pixels=max_pixels)
            dials.append(scored.record)
        except DialtellError as error:
            errors.append({"photo": str(path), "error": str(error)})
        except Exception as error:  # a fault of ours on one photograph must not lose the others
            log.debug("%s: traceback", path, exc_info=True)
            said = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
            errors.append({"photo": str(path), "error": f"{path}: internal error: {said}; please report it"})
    return {"schema": SCHEMA, "model": weights.identity, "dials": dials, "errors": errors}


def _without_dial(photo: Photo, why: NoDial) -> dict[str, Any]:
    return {
        "photo": str(photo.path),
        "call": UNDETERMINED,
        "probability_hand": None,
        "log10_lr": None,
        "support": NOT_JUDGED,
        "reason": f"No dial was found: {why.reason}.",
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
            "probability_hand": _rounded(evidence.probability_hand, 6),
            "log10_lr": _rounded(evidence.log10_lr, 4),
            "reason": zone_reason(zone, evidence, reading.zones),
            "polygon_px": reading.geometry.to_photo(reading.zones.polygon(zone)).round(1).tolist(),
        }
        for zone, evidence in verdict.zones.items()
    ]
    return {
        "photo": str(photo.path),
        "call": verdict.call,
        "probability_hand": _rounded(whole.probability_hand, 6),
        "log10_lr": _rounded(whole.log10_lr, 4),
        "support": dial_support(verdict),
        "reason": dial_reason(verdict, resolution),
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


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
