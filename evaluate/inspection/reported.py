"""What the report of a dial says, from what its page is made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.first_screen import Loudest, first_screen
from dialtell.evaluate.inspection.page import PageExtras, ZoneCrop, versions_of, zones_shown
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.paper.report import Report, Shown
from dialtell.evaluate.words.plain import plain_name
from dialtell.synth.shared.terms import Zone

Bytes = NDArray[np.uint8]
MOST_STROKES = 14  # of a line-up
_COLOURS = {"hand": pictures.HAND_RGB, "print": pictures.PRINT_RGB}


def report_of(
    dial: Mapping[str, Any], photo: Bytes, crops: Sequence[ZoneCrop], model: Mapping[str, Any], extras: PageExtras
) -> Report:
    """Parameters as of page.page_text."""
    first = first_screen(dial, crops, extras)
    height, width = photo.shape[:2]
    views = {crop.zone: crop.image for crop in crops}
    weigh = {row.name: row.says for row in first.weights}
    parts, silent = [], []
    for zone in zones_shown(dial, width, height):
        if not zone["judged"]:
            silent.append(f"{zone['name']}: {zone['reason']}")
            continue
        says = zone["reason"]
        if zone["name"] in weigh:
            says += f" In the call: {weigh[zone['name']]}."
        strip, told = _strip(extras, zone["key"])
        heading = f"{zone['name']}: {zone['looks']}"
        parts.append(Shown(heading, says, zone["style"], views.get(zone["key"]), strip, told))
    names = [name for name, _ in extras.hashes] or [str(dial["photo"])]
    return Report(
        names=[plain_name(name) for name in names],
        headline=first.headline,
        strong=first.strong,
        one_in=first.one_in,
        dated=first.dated,
        reasons=[one for one in (f"{first.reason} {first.printing}".strip(), first.against) if one],
        dial=framed(photo, first.loud, dial.get("known", {}).get("places", ())),
        loud=[Shown(one.heading, one.says, one.style, one.crop.image) for one in first.loud],
        parts=parts,
        product=first.product,
        not_judged=silent,
        missing=first.advice.missing,
        how=first.advice.how,
        warnings=[plain_name(warning) for warning in dial["warnings"]],
        versions=versions_of(model, extras.hashes),
    )


def _strip(extras: PageExtras, zone: str) -> tuple[Bytes | None, str]:
    """The largest line-up of a zone, some of its strokes, and what it is."""
    named = Zone.OTHER.value if zone == extras.shown_as else zone
    groups = (
        [] if extras.like is None else [g for one in extras.like.zones if one["zone"] == named for g in one["groups"]]
    )
    if not groups:
        return None, ""
    sprite = groups[0]["picture"]
    some = min(sprite.count, MOST_STROKES)
    first = "" if some == sprite.count else f", the first {some} of them"
    return sprite.image[:, : some * sprite.width], f"{groups[0]['title']}{first}, stood upright."


def framed(photo: Bytes, loud: Sequence[Loudest], places: Sequence[Mapping[str, Any]] = ()) -> Bytes:
    """The dial with a frame where it spoke loudest. places : that a person marked, outlined in black and white."""
    picture = photo.copy()
    thick = max(2, round(max(photo.shape[:2]) / 220))
    for place in places:
        corners = [np.round(place["polygon"]).astype(np.int32)]
        cv2.polylines(picture, corners, True, (0, 0, 0), thick, cv2.LINE_AA)
        cv2.polylines(picture, corners, True, (255, 255, 255), max(thick // 2, 1), cv2.LINE_AA)
    for one in loud:
        if one.crop.frame is not None:
            corners = [np.round(one.crop.frame).astype(np.int32)]
            cv2.polylines(picture, corners, True, (255, 255, 255), 2 * thick, cv2.LINE_AA)
            cv2.polylines(picture, corners, True, _COLOURS[one.style], thick, cv2.LINE_AA)
    return picture
