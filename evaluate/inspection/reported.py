"""What the report of a dial says, from what its page is made of."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.first_screen import Loudest, first_screen
from dialtell.evaluate.inspection.page import PageExtras, ZoneCrop, versions_of, zones_shown
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.paper.report import Report, Shown
from dialtell.evaluate.words.plain import plain_name
from dialtell.evaluate.words.stated import WITHHELD
from dialtell.synth.shared.terms import Zone

Bytes = NDArray[np.uint8]
MOST_STROKES, ONE_ROW = 16, 8  # of a line-up; of them, that stand in one row
_COLOURS = {"hand": pictures.HAND_RGB, "print": pictures.PRINT_RGB}


def report_of(
    dial: Mapping[str, Any], photo: Bytes, crops: Sequence[ZoneCrop], model: Mapping[str, Any], extras: PageExtras
) -> Report:
    """Parameters as of page.page_text."""
    first, held = first_screen(dial, crops, extras), dial["support"] == WITHHELD
    height, width = photo.shape[:2]
    views = {crop.zone: crop.image for crop in crops}
    weigh = {row.name: row.says for row in first.weights}
    parts, silent = [], []
    for zone in zones_shown(dial, width, height):
        if not zone["judged"]:
            silent += [] if zone["key"] == Zone.OTHER else [f"{zone['name']}: {zone['reason']}"]
            continue
        says = "Shown as it is; no call is made." if held else zone["reason"]
        if zone["name"] in weigh:
            says += f" Share of the odds: {weigh[zone['name']]}."
        strip, told = _strip(extras, zone["key"])
        heading = zone["name"] if held else f"{zone['name']}: {zone['looks']}"
        parts.append(Shown(heading, says, zone["style"], views.get(zone["key"]), strip, told))
    names = [name for name, _ in extras.hashes] or [Path(str(dial["photo"])).name]
    following = extras.next_photographs
    return Report(
        names=[plain_name(name) for name in names],
        headline=first.headline,
        strong=first.strong,
        one_in=first.one_in,
        dated=first.dated,
        reasons=[one for one in (f"{for_clients(first.reason)} {first.printing}".strip(), first.against) if one],
        dial=framed(photo, first.loud, dial.get("known", {}).get("places", ())),
        loud=[Shown(one.heading, one.says, one.style, one.crop.image) for one in first.loud],
        parts=parts,
        product=first.product,
        not_judged=silent,
        missing=first.advice.missing,
        how=[said for one in first.advice.how if (said := for_clients(one))],
        warnings=[said for warning in dial["warnings"] if (said := for_clients(plain_name(warning)))],
        versions=versions_of(model, extras.hashes),
        dial_name=plain_name(dial.get("dial") or ""),
        next_says="" if following is None else for_clients(following.says),
        next_picture=None if following is None or following.picture is None else with_frames(following.picture),
        next_reasons=() if following is None else following.reasons,
    )


def for_clients(text: str) -> str:
    """Text without what is asked of whoever runs the command: a client has none to run."""
    kept = [part for part in re.split(r"(?<=[.;])\s+", text.replace(" and --one-dial", "")) if "--" not in part]
    return re.sub(r"[;,]$", ".", " ".join(kept))


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
    cells = np.split(sprite.image[:, : some * sprite.width], some, axis=1)
    return in_rows(cells), f"{groups[0]['title']}{first}, stood upright."


def in_rows(cells: Sequence[Bytes]) -> Bytes:
    """Pictures of one size side by side with gaps, in two rows where they are many and not broad."""
    height, width = cells[0].shape[:2]
    gap = max(round(0.06 * max(height, width)), 2)
    count = -(-len(cells) // 2) if len(cells) > ONE_ROW else len(cells)
    rows = -(-len(cells) // count)
    sheet = np.full((rows * (height + gap) - gap, count * (width + gap) - gap, 3), 255, np.uint8)
    for number, cell in enumerate(cells):
        top, left = (number // count) * (height + gap), (number % count) * (width + gap)
        sheet[top : top + height, left : left + width] = cell
    return sheet


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


def with_frames(picture: Mapping[str, Any]) -> Bytes:
    """A page's picture of what to photograph next, its frames and numbers drawn in."""
    stored = np.frombuffer(base64.b64decode(picture["uri"].partition(",")[2]), np.uint8)
    image = np.ascontiguousarray(np.asarray(cv2.imdecode(stored, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])
    size = image.shape[1] / 560  # as thick as on a picture of the usual size
    line, radius = max(round(3 * size), 1), max(round(18 * size), 7)
    for frame in picture["frames"]:
        points = np.array([pair.split(",") for pair in frame["points"].split()], float)
        corners = [np.round(points).astype(np.int32)]
        cv2.polylines(image, corners, True, (255, 255, 255), 2 * line + 1, cv2.LINE_AA)
        cv2.polylines(image, corners, True, (17, 17, 17), line, cv2.LINE_AA)
    for frame in picture["frames"]:
        middle = round(frame["x"]), round(frame["y"])
        cv2.circle(image, middle, radius, (255, 255, 255), -1, cv2.LINE_AA)
        cv2.circle(image, middle, radius, (17, 17, 17), line, cv2.LINE_AA)
        text, font, scale = str(frame["number"]), cv2.FONT_HERSHEY_DUPLEX, radius / 22
        (wide, high), _ = cv2.getTextSize(text, font, scale, 1)
        at = (middle[0] - wide // 2, middle[1] + high // 2)
        cv2.putText(image, text, at, font, scale, (17, 17, 17), line, cv2.LINE_AA)
    return image
