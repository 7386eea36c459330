"""The record of one photograph's dial, of schema dialtell.score/1: the one statement that every verb repeats."""

from __future__ import annotations

import math
from typing import Any

from dialtell.evaluate.next_fields.choice import next_fields
from dialtell.evaluate.score.reasons import dial_reason, dial_support, print_record, zone_reason
from dialtell.evaluate.score.recognised import recognition, unrecognised
from dialtell.evaluate.score.remarks import place_remarks, remarks
from dialtell.evaluate.words.support import NOT_JUDGED, rounded
from dialtell.model.net.calibration import UNDETERMINED
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.verdict import Verdict
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import Known
from dialtell.model.reading.outline import NoDial
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import Reading


def record_without_dial(photo: Photo, known: Known, why: NoDial) -> dict[str, Any]:
    """The record of a photograph in which nothing was judged."""
    said = "Not judged" if known.part else "No dial was found"
    return {
        "photo": str(photo.path),
        "call": UNDETERMINED,
        "probability_hand": None,
        "log10_lr": None,
        "support": NOT_JUDGED,
        "withheld": False,
        "reason": f"{said}: {why.reason}.",
        "print_process": None,
        "known": known.record(),
        "recognised": None,
        "geometry": None,
        "zones": [],
        "next_fields": [],
        "warnings": list(photo.warnings),
    }


def record_of(photo: Photo, known: Known, reading: Reading, verdict: Verdict, resolution: Resolution) -> dict[str, Any]:
    """The record of a dial that was read.

    withheld : no call is made whatever the ratio, which is then of the net alone and stands for nothing; no probability
    is stated. next_fields : what to photograph next, none of a dial that is settled or was not understood.
    """
    strange = unrecognised(reading)
    asked = () if strange is not None else next_fields(reading, verdict, resolution)
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
        "probability_hand": rounded(verdict.probability_hand, 6),
        "log10_lr": rounded(verdict.whole.log10_lr, 4),
        "support": dial_support(verdict),
        "withheld": verdict.withheld,
        "reason": dial_reason(verdict, resolution, strange),
        "print_process": print_record(verdict),
        "known": known.record(),
        "recognised": recognition(reading),
        "geometry": _geometry(reading.geometry, resolution.diameter_mm),
        "zones": zones,
        "next_fields": [field.record(resolution.diameter_mm) for field in asked],
        "warnings": [*remarks(reading, verdict, resolution), *place_remarks(known.places), *photo.warnings],
    }


def _geometry(geometry: DialGeometry, diameter_mm: float | None) -> dict[str, Any]:
    """rotation_deg : of 12 o'clock as it appears, clockwise from up in the photograph, -180..180."""
    return {
        "center_px": [round(value, 2) for value in geometry.center_px],
        "axes_px": [round(value, 2) for value in geometry.axes_px],
        "rotation_deg": round(geometry.twelve_deg, 2),
        "pixels_across": round(geometry.pixels_across, 2),
        "pixels_per_mm": None if diameter_mm is None else round(geometry.pixels_per_mm(diameter_mm), 4),
        "ellipse_angle_deg": round(math.degrees(geometry.angle), 2),
    }
