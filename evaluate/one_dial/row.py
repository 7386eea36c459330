"""The row of a dial of which there are several photographs: its record, and what each of them gave."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dialtell.evaluate.score.remarks import place_remarks
from dialtell.evaluate.words.support import listed, rounded
from dialtell.model.reading.geometry import DialGeometry
from dialtell.synth.shared.terms import ZONES

if TYPE_CHECKING:
    from dialtell.evaluate.one_dial.dial import Part

# places with ends and corners from which, and share of its design below which, one that does not fit is another dial's
SHOWS_MUCH, UNLIKE = 20, 0.8
CUT = "cut from it"
CUT_SAID = "cut out of the whole view's photograph, so it shows nothing new"


def one_dial_record(
    record: dict[str, Any], parts: Sequence[Part], base: int | None, used: Mapping[int, int], name: str | None
) -> dict[str, Any]:
    """A record with the dial's name, what each photograph gave, and warnings of those left out.

    base : which is the whole view all are laid on, None without one. used : patches that each gave.
    """
    rows = [_row(part, base == at, used.get(at, 0)) for at, part in enumerate(parts)]
    warnings = list(record["warnings"])
    if base is None:
        warnings.insert(
            0,
            f"None of the {len(parts)} photographs shows the whole dial, so they could not be brought together: this "
            "is said of one of them alone. Add a photograph of the whole dial; --zone and --px-per-mm help with "
            "close-ups.",
        )
    other = [row["photo"] for row in rows if row["role"] == "another dial"]
    left = [row["photo"] for row in rows if row["role"] == "not placed"]
    cut = [row["photo"] for row in rows if row["role"] == CUT]
    if other:
        names = listed([Path(photo).name for photo in other])
        warnings.insert(0, f"{names}: perhaps of another dial, for it does not fit the whole view; left out.")
    if left:
        warnings.append(f"{listed([Path(photo).name for photo in left])}: not laid on the whole view; left out.")
    if cut:
        warnings.append(f"{listed([Path(photo).name for photo in cut])}: {CUT_SAID}; left out.")
    for at, part in enumerate(parts):
        if at != base and part.reading is not None:
            shown = Path(rows[at]["photo"]).name
            warnings += [f"{shown}: {said}" for said in place_remarks(part.alone.known.places)]
    for row in rows:
        same = row["same_places"]
        if same is not None and same["held"]:
            warnings.append(
                f"{Path(row['photo']).name} and the whole view differ by {same['difference']:.1f} in log10 LR at "
                f"{same['places']} places that both show: the cameras speak there, and less is stated."
            )
    return {**record, "dial": name, "photographs": rows, "warnings": warnings}


def _row(part: Part, is_base: bool, used: int) -> dict[str, Any]:
    place, reading, known = part.placing, part.reading, part.alone.known
    record = part.alone.record
    row: dict[str, Any] = {
        "photo": record["photo"],
        "role": _role(part, is_base),
        "reason": "" if place is None or part.cut else place.reason,
        "log10_lr_alone": rounded(part.ratio),
        "squares": used,
        "place": None,
        "same_places": None,
    }
    if place is not None and place.placed and place.geometry is not None and reading is not None:
        row["place"] = place_record(place.geometry, reading.density.shape, known.diameter_mm)
        spread = place.residual
        row["place"]["residual_radii"] = None if math.isnan(spread) else round(spread, 5)
        row["place"]["residual_mm"] = (
            None if math.isnan(spread) or known.diameter_mm is None else round(0.5 * spread * known.diameter_mm, 4)
        )
        counts = np.bincount(reading.patches.zone, minlength=len(ZONES))
        total = max(int(counts.sum()), 1)
        row["place"]["zones"] = {
            str(zone): round(float(count) / total, 3) for zone, count in zip(ZONES, counts, strict=True) if count
        }
    if part.agreement is not None:
        from dialtell.evaluate.one_dial.agreement import USUAL

        told = part.agreement
        row["same_places"] = {
            "places": told.places, "log10_lr": rounded(told.mine), "whole_view": rounded(told.other),
            "difference": rounded(told.difference), "held": told.difference > USUAL,
        }  # fmt: skip
    return row


def _role(part: Part, is_base: bool) -> str:
    if is_base:
        return "whole view"
    if part.reading is not None:
        return "laid on it"
    if part.cut:
        return CUT
    fit = None if part.placing is None else part.placing.fit
    return "another dial" if fit is not None and fit.sites >= SHOWS_MUCH and fit.even < UNLIKE else "not placed"


def place_record(geometry: DialGeometry, shape: tuple[int, ...], diameter_mm: float | None) -> dict[str, Any]:
    """Where the middle of a frame (H, W) lies on the dial, how the dial is turned in it, and its scale."""
    x, y = geometry.to_dial(np.array([0.5 * shape[1], 0.5 * shape[0]]))
    corners = geometry.to_dial(np.array([[0, 0], [shape[1], 0], [shape[1], shape[0]], [0, shape[0]]], float))
    return {
        "center_radii": [round(float(x), 4), round(float(y), 4)],
        "corners_radii": corners.round(4).tolist(),
        "turn_deg": round(geometry.twelve_deg, 2),
        "pixels_per_radius": round(geometry.pixels_per_radius, 2),
        "pixels_per_mm": None if diameter_mm is None else round(geometry.pixels_per_mm(diameter_mm), 3),
    }
