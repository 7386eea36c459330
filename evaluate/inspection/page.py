"""The inspection page of one dial: a single HTML file that opens offline and shows the call, where and why.

The page asks for nothing from anywhere: pictures are data URIs, style and script are inlined, and its content
security policy allows only that script. Names and reasons are escaped by the template.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.advice import ADVICES, Advice
from dialtell.evaluate.inspection.bearing import Bearing
from dialtell.evaluate.inspection.evidence_table import EvidenceTable
from dialtell.evaluate.inspection.first_screen import STYLES, Loudest, first_screen
from dialtell.evaluate.inspection.like_strokes import LikeStrokes
from dialtell.evaluate.maps.map_words import ODD, PLACES, UNLIKE, hits_sentence
from dialtell.evaluate.next_fields.frames import NextPhotographs
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.pages.templates import filled
from dialtell.evaluate.period.date_check import PeriodCheck
from dialtell.evaluate.period.style_hints import StyleHint
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.first_words import HEADLINES
from dialtell.evaluate.words.plain import REST, capital, in_order, plain_name, zone_heading
from dialtell.evaluate.words.shares import Shares
from dialtell.evaluate.words.stated import WITHHELD, stated_chance, stated_ratio
from dialtell.evaluate.words.support import chance_text, findings_sentence, signed
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.files import require_free, write_text
from dialtell.synth.shared.terms import ZONES, Zone

MAP_PX = 1000  # longer side of what is laid over the dial: hatching stays coarser than the screen
PHOTO_BYTES = 1_300_000  # of the dial's picture
LOUD_PX = 460  # longer side of the picture of what spoke loudest
CROP_PX = 720
_SMALLEST_CROP_PX = 220

_LEFT_OUT = {
    "another dial": "perhaps of another dial",
    "cut from it": "cut out of the whole view’s photograph, so it shows nothing new",
}  # fmt: skip
AGAIN = "Take it again with more of the design in the frame, two hour figures at least."
TAG_WIDTH, TAG_HEIGHT = 22.0, 5.5  # % of the photograph's width, of the largest tag on a narrow screen
_LOOKS = {"hand": "looks painted by hand", "print": "looks printed", "open": "settles nothing by itself"}
_LOOK = {"hand": "look painted by hand", "print": "look printed", "open": "settle nothing by themselves"}  # of several


@dataclass(frozen=True, eq=False)
class ZoneCrop:
    """A zone straightened for a close look.

    zone : name, as in the dial's zones.
    image : (h, w) or (h, w, 3) RGB, uint8.
    added : (h, w) float32, what each place adds, positive towards hand; None if there is no map.
    caption : what to look at; plain text.
    beside : what is held beside it at the same magnification, (title, (h, w[, 3]) uint8) each.
    share : log10 that the places in it add to the dial's ratio, None without one. frame : (4, 2) px of the picture of
    the dial, its corners there, None where they are not known.
    """

    zone: str
    image: NDArray[np.uint8]
    added: NDArray[np.float32] | None = None
    caption: str = ""
    beside: tuple[tuple[str, NDArray[np.uint8]], ...] = ()
    share: float | None = None
    frame: NDArray[np.float64] | None = None


PhotographViews = Sequence[tuple[str, NDArray[np.uint8]]]  # the same place in several photographs: name and picture


@dataclass(frozen=True, eq=False)
class PageExtras:
    """What a page may hold besides the call. period : the date check. beside : what the pictures beside the close views
    are, in a sentence. resolution : reached and needed, in words. hints : of style and period.
    evidence : what was measured. bearing : what the measurements together lean to, beside the call.
    shares : what the call is the sum of. unlike, odd : float32 over the dial's picture, what differs from its like
    and ink that no stroke like it has, positive towards hand. maps : "maps" of the weights' JSON, how far the maps can
    be trusted. like : line-ups of like strokes. advice : what is missing. shown_as : the zone that a close-up shows,
    where it was read as "other". whole : (h, w, 3) the photograph that the dial was cut from, None where that is all of
    it. hashes : (name, SHA-256) of the photographs. photographs : by zone, the same places in several photographs of
    the dial. next_photographs : what to photograph next, None of a settled dial."""

    period: PeriodCheck | None = None
    beside: str = ""
    resolution: str = ""
    hints: Sequence[StyleHint] = ()
    evidence: EvidenceTable | None = None
    bearing: Bearing | None = None
    shares: Shares | None = None
    unlike: NDArray[np.float32] | None = None
    odd: NDArray[np.float32] | None = None
    maps: Mapping[str, Any] | None = None
    like: LikeStrokes | None = None
    advice: Advice | None = None
    shown_as: str | None = None
    whole: NDArray[np.uint8] | None = None
    photographs: Mapping[str, Sequence[PhotographViews]] = field(default_factory=dict)
    hashes: Sequence[tuple[str, str]] = ()
    next_photographs: NextPhotographs | None = None


def write_page(
    path: str | os.PathLike[str],
    dial: Mapping[str, Any],
    photo: NDArray[np.uint8],
    added: NDArray[np.float32] | None,
    crops: Sequence[ZoneCrop],
    model: Mapping[str, Any],
    overwrite: bool = False,
    extras: PageExtras | None = None,
) -> Path:
    """Write the inspection page of one dial and return its path.

    dial : one result of schema dialtell.score/1; its px refer to `photo`.
    photo : (H, W, 3) RGB uint8, the dial's picture.
    added : (h, w) float32 over that picture, what each place adds, positive towards hand, or None.
    model : name, version, sha256, renderer_version.

    Raises ParameterError for arrays or a call that do not fit, OutputError if the file exists (unless
    overwrite) or cannot be written; no half-written page is left behind.
    """
    target = Path(path)
    require_free(target, overwrite=overwrite)
    write_text(target, page_text(dial, photo, added, crops, model, extras), overwrite=overwrite)
    return target


def page_text(
    dial: Mapping[str, Any],
    photo: NDArray[np.uint8],
    added: NDArray[np.float32] | None,
    crops: Sequence[ZoneCrop],
    model: Mapping[str, Any],
    extras: PageExtras | None = None,
) -> str:
    """The page itself; parameters as for write_page."""
    extras = extras or PageExtras()
    _require_fit(dial, photo, crops, {"added": added, "unlike": extras.unlike, "odd": extras.odd})
    height, width = photo.shape[:2]
    ratio, capped = stated_ratio(dial), str(dial["support"]).startswith("at least")
    evidence, bears = extras.evidence, extras.bearing
    first = first_screen(dial, crops, extras)
    zones = zones_shown(dial, width, height)
    held = dial["support"] == WITHHELD  # said once, at the top, and not of every zone again
    sections = _sections(zones, crops, added, extras)
    chance = stated_chance(dial)
    return filled(
        "inspection",
        photo_name=plain_name(os.path.basename(str(dial["photo"]))),
        held=held,
        first=first,
        loud=[_shown_loud(one) for one in first.loud],
        warnings=[plain_name(warning) for warning in dial["warnings"]],
        photographs=_photographs(dial),
        cut_from=_whole_view(dial) if extras.photographs else "",
        dial_name=plain_name(dial.get("dial") or ""),
        width=width,
        height=height,
        shape=round(width / height, 4),
        photo_uri=pictures.jpeg_within(photo, PHOTO_BYTES),
        overlay_uri=_overlay(added),
        unlike_uri=_overlay(extras.unlike),
        odd_uri=_overlay(extras.odd),
        outline=_outline(dial["geometry"]),
        zones=zones,
        marked=any(zone["points"] for zone in zones),
        by_person=[
            " ".join(f"{x:.1f},{y:.1f}" for x, y in place["polygon"])
            for place in dial.get("known", {}).get("places", ())
        ],
        sections=sections,
        not_judged=_not_judged(zones, sections),
        nothing_measured="" if evidence is None or evidence.zones else _nothing_measured(dial, evidence.intro[0]),
        beside=plain_name(extras.beside) if _held_beside(sections) else "",
        like=extras.like,
        style_hints=extras.hints,
        next=extras.next_photographs,
        strokes=[] if evidence is None else evidence.lines,
        trust={
            "ratio": None if ratio is None else signed(ratio) + _beyond(ratio, capped),
            "chance": None if chance is None else chance_text(chance) + _beyond(ratio, capped),
            "findings": "" if ratio is None else findings_sentence(ratio, capped),
            "bearing": None if bears is None else _bearing(bears),
            "measured": evidence.intro if evidence is not None and evidence.zones else (),
            "maps": () if added is None else _map_trust(extras.maps),
            "resolution": extras.resolution or "No dial was read in this photograph.",
            "whole_uri": None if extras.whole is None else pictures.jpeg_uri(extras.whole, 80),
        },
        more=[one for one in ADVICES if one not in first.advice.how],
        cautions=CAUTIONS,
        versions=versions_of(model, extras.hashes),
    )


def _photographs(dial: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What each photograph of a dial gave, where there are several."""
    rows = dial.get("photographs", ())
    total = sum(row["squares"] for row in rows)
    return [(plain_name(os.path.basename(str(row["photo"]))), plain_name(_gave(row, total))) for row in rows]


def _whole_view(dial: Mapping[str, Any]) -> str:
    """Name of the photograph that all others are laid on."""
    whole = [row["photo"] for row in dial.get("photographs", ()) if row["role"] == "whole view"]
    return plain_name(os.path.basename(str(whole[0]))) if whole else ""


def _gave(row: Mapping[str, Any], total: int) -> str:
    """What one photograph is, where it lies, and how much of the call rests on it."""
    if row["role"] == "not placed":
        return f"left out, for {row['reason'] or 'it was not laid on the whole view'}. {AGAIN}"
    if row["role"] in _LEFT_OUT:
        said = _LEFT_OUT[row["role"]]
        return f"{said}; left out.{' ' + _sentence(row['reason']) if row['reason'] else ''}"
    place = row["place"]
    named = [] if place is None else [REST.lower() if zone == Zone.OTHER else zone for zone in list(place["zones"])[:3]]
    role = "laid on the whole view" if row["role"] == "laid on it" else row["role"]
    seen = f" ({', '.join(named)})" if named else ""
    return f"{role}{seen}; {row['squares']} of the {total} small squares judged come from it."


def _sentence(clause: str) -> str:
    """A clause as a sentence of its own."""
    return f"{capital(clause).rstrip('.')}."


def versions_of(model: Mapping[str, Any], hashes: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """What a page or a report was made with, and of which files."""
    return [
        *((f"Photograph {plain_name(name)}, SHA-256", digest) for name, digest in hashes),
        ("dialtell", metadata.version("dialtell")),
        ("Model", f"{model['name']} {model['version']}"),
        ("Weights, SHA-256", model["sha256"]),
        ("Renderer", str(model["renderer_version"])),
    ]


def _shown_loud(one: Loudest) -> dict[str, Any]:
    image = pictures.enlarged(one.crop.image, _SMALLEST_CROP_PX, LOUD_PX)
    frame = one.crop.frame
    return {
        "heading": plain_name(one.heading), "says": plain_name(one.says), "style": one.style,
        "uri": pictures.jpeg_uri(image), "width": image.shape[1], "height": image.shape[0],
        "points": "" if frame is None else " ".join(f"{x:.1f},{y:.1f}" for x, y in frame),
    }  # fmt: skip


def _map_trust(maps: Mapping[str, Any] | None) -> list[tuple[str, str]]:
    """Each map and how often its peak lay on what was planted."""
    named = (("What each place adds", PLACES), ("What differs from its like", UNLIKE), ("Odd strokes", ODD))
    return [(name, hits_sentence(maps, key)) for name, key in named]


def _sections(
    zones: Sequence[Mapping[str, Any]], crops: Sequence[ZoneCrop], added: NDArray[np.float32] | None, extras: PageExtras
) -> list[dict[str, Any]]:
    """The zones that have anything to show, in the examiner's order, each with all that is known of it."""

    def named(zone: str) -> str:
        return extras.shown_as or zone if zone == Zone.OTHER else zone

    views = _crops(crops, added)
    lines = {} if extras.like is None else {named(zone["zone"]): zone for zone in extras.like.zones}
    tables = {} if extras.evidence is None else {named(table.zone): table for table in extras.evidence.zones}
    figures = () if extras.like is None else extras.like.figures
    found = []
    for zone in zones:
        key = zone["key"]
        own = {
            "line_ups": lines.get(key), "table": tables.get(key), "view": views.get(key),
            "figures": figures if key == Zone.NUMERALS else (), "photographs": _side_by_side(extras, key),
        }  # fmt: skip
        if zone["judged"] or any(own.values()):
            found.append({**zone, **own})
    return found


def _side_by_side(extras: PageExtras, zone: str) -> list[list[dict[str, Any]]]:
    """For each place of a zone its picture in each photograph."""
    return [
        [
            {"name": plain_name(name), "uri": pictures.jpeg_uri(cut, 84), "width": cut.shape[1], "height": cut.shape[0]}
            for name, cut in place
        ]
        for place in extras.photographs.get(zone, ())
    ]


def _held_beside(sections: Sequence[Mapping[str, Any]]) -> bool:
    """Whether anything stands beside a close view or a line-up."""
    lined = [group for one in sections if one["line_ups"] for group in one["line_ups"]["groups"]]
    return any(one["view"] and one["view"]["beside"] for one in sections) or any(group["beside"] for group in lined)


def _nothing_measured(dial: Mapping[str, Any], said: str) -> str:
    """Why nothing was measured, "" where the dial's reason says it."""
    return "" if said.partition(": ")[2].rstrip(".") in dial["reason"] else said


def _not_judged(zones: Sequence[Mapping[str, Any]], sections: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The zones of which nothing is shown. That there is no "rest of the dial" is nothing to be told."""
    shown = {section["key"] for section in sections}
    return [zone for zone in zones if zone["key"] not in shown and (zone["key"] != Zone.OTHER or zone["points"])]


def _overlay(values: NDArray[np.float32] | None) -> str | None:
    """A map as a data URI, None without."""
    return None if values is None else pictures.png_uri(pictures.photo_overlay(values, MAP_PX))


def _require_fit(
    dial: Mapping[str, Any],
    photo: NDArray[np.uint8],
    crops: Sequence[ZoneCrop],
    maps: Mapping[str, NDArray[np.float32] | None],
) -> None:
    if photo.ndim != 3 or photo.shape[2] != 3 or photo.dtype != np.uint8:
        raise ParameterError(f"photo is {photo.dtype} of shape {photo.shape}; give uint8 (H, W, 3) RGB")
    if dial["call"] not in HEADLINES:
        raise ParameterError(f"call is {dial['call']!r}; give one of {', '.join(HEADLINES)}")
    height, width = photo.shape[:2]
    for name, values in maps.items():
        if values is not None:
            rows, columns = values.shape
            near = abs(rows * width - columns * height) <= max(height, width)  # a px of the map, either way
            _require(near and bool(np.isfinite(values).all()), name, values, (height, width))
    for crop in crops:
        if crop.added is not None:
            shape = crop.image.shape[:2]
            fits = crop.added.shape == shape and bool(np.isfinite(crop.added).all())
            _require(fits, f"added of {crop.zone}", crop.added, (shape[0], shape[1]))


def _require(fits: bool, name: str, values: NDArray[np.float32], shape: tuple[int, int]) -> None:
    if not fits:
        raise ParameterError(f"{name} has shape {values.shape}; give finite values of shape {shape}, or smaller")


def _beyond(ratio: float | None, capped: bool) -> str:
    """What to add to a number that was cut at the bound of what validation can vouch for."""
    if not capped or ratio is None:
        return ""
    return " or more" if ratio > 0 else " or less"


def _all_zones(zones: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The zones given and, as not judged, the rest of the examiner's five, in the examiner's order."""
    given = {str(zone["zone"]) for zone in zones}
    missing: list[Mapping[str, Any]] = [
        {
            "zone": zone.value,
            "judged": False,
            "call": "undetermined",
            "probability_hand": None,
            "log10_lr": None,
            "reason": "Not found in this photograph.",
            "polygon_px": [],
        }
        for zone in ZONES
        if zone.value not in given
    ]
    return in_order([*zones, *missing])


def zones_shown(dial: Mapping[str, Any], width: int, height: int) -> list[dict[str, Any]]:
    """All zones as the page shows them, their tags clear of each other."""
    shown: list[dict[str, Any]] = []
    for zone in _all_zones(dial["zones"]):
        taken = [(other["left"], other["top"]) for other in shown if other["points"]]
        shown.append(_zone(zone, width, height, taken))
    return shown


def _zone(zone: Mapping[str, Any], width: int, height: int, taken: Sequence[tuple[float, float]]) -> dict[str, Any]:
    judged, key = bool(zone["judged"]), str(zone["zone"])
    corners = np.asarray(zone["polygon_px"] or np.zeros((0, 2)), dtype=np.float64).reshape(-1, 2)
    left, top = _tag(corners, width, height, taken) if len(corners) else (0.0, 0.0)
    style = STYLES.get(zone["call"], "open") if judged else "open"
    return {
        "key": key,
        "slug": "zone-" + "".join(mark if mark.isascii() and mark.isalnum() else "-" for mark in key),
        "name": zone_heading(plain_name(key)),
        "judged": judged,
        "style": style,
        "looks": (_LOOK if key == Zone.NUMERALS else _LOOKS)[style] if judged else "not judged",
        "reason": plain_name(zone["reason"]),
        "points": " ".join(f"{x:.1f},{y:.1f}" for x, y in corners),
        "left": round(left, 2),
        "top": round(top, 2),
    }


def _tag(
    corners: NDArray[np.float64], width: int, height: int, taken: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    """Where a zone's tag sits, % of the photograph: its topmost corner, held inside, that is clear of those placed."""
    held = np.clip(100 * corners / (width, height), (12, 2.5), (88, 97.5))
    places = [(float(left), float(top)) for left, top in held[held[:, 1].argsort(kind="stable")]]
    wide, tall = TAG_WIDTH, TAG_HEIGHT * width / height
    clear = (
        (left, top)
        for left, top in places
        if all(abs(left - other) >= wide or abs(top - above) >= tall for other, above in taken)
    )
    return next(clear, places[0])


def _bearing(bears: Bearing) -> dict[str, Any]:
    """The measurements together, beside the call."""
    measured = bears.measured
    return {
        "sentence": bears.sentence,
        "measured": None if measured is None else signed(measured) + _beyond(measured, bears.capped),
        "used": bears.used,
    }


def _outline(geometry: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """The ellipse in photo px, first half-axis turned clockwise from x, and a tick on it at 12 o'clock."""
    if geometry is None:
        return None
    (x, y), (a, b) = geometry["center_px"], geometry["axes_px"]
    angle = float(geometry.get("ellipse_angle_deg") or 0.0)
    up = math.radians(float(geometry["rotation_deg"]) - 90)  # from x, clockwise
    within = up - math.radians(angle)
    reach = 1 / math.hypot(math.cos(within) / a, math.sin(within) / b)
    inner, outer = (
        f"{x + share * reach * math.cos(up):.1f} {y + share * reach * math.sin(up):.1f}" for share in (0.97, 1.04)
    )
    return {"x": x, "y": y, "a": a, "b": b, "angle": angle, "twelve": f"M{inner}L{outer}"}


def _crops(crops: Sequence[ZoneCrop], added: NDArray[np.float32] | None) -> dict[str, dict[str, Any]]:
    """Pictures of the close views by zone, all maps at one strength so that they compare."""
    maps = [crop.added.ravel() for crop in crops if crop.added is not None]
    everywhere = added if added is not None else np.concatenate(maps) if maps else None
    full = 0.0 if everywhere is None else pictures.full_strength(everywhere)
    entries = {}
    for crop in crops:
        image = pictures.enlarged(crop.image, _SMALLEST_CROP_PX, CROP_PX)
        entry = {
            "caption": plain_name(crop.caption),
            "width": image.shape[1],
            "height": image.shape[0],
            "image_uri": pictures.jpeg_uri(image),
            "map_uri": None,
            "beside": [
                (plain_name(title), pictures.jpeg_uri(pictures.enlarged(other, _SMALLEST_CROP_PX, CROP_PX), 84))
                for title, other in crop.beside
            ],
        }
        if crop.added is not None:
            own = pictures.resized_map(crop.added, image.shape[0], image.shape[1])
            entry["map_uri"] = pictures.jpeg_uri(pictures.blended(image, own, full), 84)
        entries[crop.zone] = entry
    return entries
