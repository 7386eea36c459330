"""What the page is told of a dial: all that is known of it, but the program's call while that is kept back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from dialtell.evaluate.examine.fields import FIELDS, size_given
from dialtell.evaluate.examine.record import READ, ExaminedDials
from dialtell.evaluate.words.stated import stated_ratio
from dialtell.evaluate.words.support import support_words

MOSTLY = 0.5  # share of a frame asked for, from which on it has arrived (judgement)


def dial_shown(dials: ExaminedDials, number: int) -> dict[str, Any]:
    """A dial with its photographs, opinions and, unless it is kept back, the call."""
    row = dials.dial(number)
    hidden = dials.kept_back(row)
    photos = dials.photographs(number)
    whole, together = dials.whole(number)
    roles = {} if whole is None else {part["photo"]: part for part in whole.get("photographs", ())}
    parts = [_part(photo, roles) for photo in photos]
    return {
        "id": number,
        **{name: row[name] for name in FIELDS},
        "size": size_given(row["size_mm"], row["size_as"]),
        "blind": bool(row["blind"]),
        "aside": bool(row["aside"]),
        "kept_back": hidden,
        "opinions": dials.opinions(number),
        "photographs": [
            {**_photo_shown(photo, hidden), **part, "undo": dials.can_undo_places(photo["sha256"])}
            for photo, part in zip(photos, parts, strict=True)
        ],
        "call": None
        if hidden or whole is None
        else call_shown(named(whole, {one["file"]: one["name"] for one in photos})),
        "arrived": [] if hidden else _arrived(photos, parts),
        "together": together,
        "ready": whole is not None,
        "marker": dials.marker(),
    }


def _arrived(photos: Sequence[Mapping[str, Any]], parts: Sequence[Mapping[str, Any]]) -> list[str]:
    """Reasons of the frames that the whole view by itself asked for and that a close-up laid on it shows for the
    most part. parts : of each photograph, what it was to the dial."""
    laid = [part["corners"] for part in parts if part["role"] == "laid on it" and part["corners"] is not None]
    return [
        field["reason"]
        for photo, part in zip(photos, parts, strict=True)
        if part["role"] == "whole view"
        for field in (photo["document"] or {}).get("next_fields", ())
        if field["width"] < 2 and any(_covered(field, corners) > MOSTLY for corners in laid)
    ]


def _covered(field: Mapping[str, Any], corners: Sequence[Sequence[float]]) -> float:
    """Share of a square of the dial within four corners in turn, dial radii."""
    x, y = np.meshgrid(*(field[name] + field["width"] * (np.arange(9) / 8 - 0.5) for name in ("x", "y")))
    around = np.asarray(corners, np.float64)
    along = np.roll(around, -1, axis=0) - around
    side = along[:, 0] * (y[..., None] - around[:, 1]) - along[:, 1] * (x[..., None] - around[:, 0])
    return float(((side >= 0).all(axis=-1) | (side <= 0).all(axis=-1)).mean())


def _part(photo: Mapping[str, Any], roles: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """What a photograph was to the dial's one opinion, role: "whole view", "laid on it", "cut from it", "not placed",
    "another dial", "" where there is none of several; corners: where its corners lie on the dial, in radii, None where
    not laid."""
    part = next((roles[place] for place in roles if Path(place).name == photo["file"]), None)
    place = None if part is None else part.get("place")
    return {
        "role": "" if part is None else str(part["role"]),
        "corners": None if place is None else place["corners_radii"],
    }


def _photo_shown(photo: Mapping[str, Any], hidden: bool) -> dict[str, Any]:
    record = photo["document"] if photo["state"] == READ else None
    shown = {name: photo[name] for name in ("sha256", "name", "state", "error", "width", "height", "seen")}
    marked = {name: said for name, said in photo["marked"].items() if name != "places"}
    geometry = None if photo["document"] is None else photo["document"]["geometry"]
    part = None if photo["document"] is None else photo["document"].get("close_up")
    return {
        **shown,
        "marked": marked,
        "places": photo["marked"].get("places", []),
        # the last one stands until the next is made, so that the handles do not jump
        "geometry": geometry,
        "close_up": part is not None,
        # whether lengths on the dial follow from it
        "scaled": geometry is not None and (part is None or bool(part["located"])),
        "zones": [] if record is None else [
            {name: zone[name] for name in ("zone", "polygon_px")} for zone in record["zones"]
        ],
        "call": None if hidden or record is None else call_shown(named(record, {photo["file"]: photo["name"]})),
        # why there is none is no call
        "no_dial": "" if record is None or geometry is not None else record["reason"],
        "reading": None if hidden else photo["reading"],
    }  # fmt: skip


def named(record: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """A record in which photographs are called as the person calls them. names : of their files."""
    text = json.dumps(record, ensure_ascii=False)
    for file, name in names.items():
        text = text.replace(_quoted(file), _quoted(name))
    return dict(json.loads(text))


def _quoted(text: str) -> str:
    """As it stands within JSON."""
    return json.dumps(text, ensure_ascii=False)[1:-1]


def call_shown(record: Mapping[str, Any]) -> dict[str, Any]:
    """What may be said of a record: call, support, reason, warnings, what to photograph next and each zone's call."""
    return {
        "call": record["call"],
        "support": record["support"],
        "ratio": _words(stated_ratio(record)),
        "reason": record["reason"],
        "warnings": record["warnings"],
        "next": [field["reason"] for field in record.get("next_fields", ())],
        "zones": {
            zone["zone"]: {
                "judged": zone["judged"],
                "call": zone["call"] if zone["judged"] else None,
                "ratio": _words(stated_ratio(record, zone)),
                "reason": zone["reason"],
            }
            for zone in record["zones"]
        },
    }


def _words(ratio: float | None) -> str:
    return "" if ratio is None else support_words(ratio, capped=False)
