"""The inspection page of one dial: a single HTML file that opens offline and shows the call, where and why.

The page asks for nothing from anywhere: pictures are data URIs, style and script are inlined, and its content
security policy allows only that script. Names and reasons are escaped by the template.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.advice import ADVICES
from dialtell.evaluate.inspection.bearing import Bearing
from dialtell.evaluate.inspection.evidence_table import EvidenceTable
from dialtell.evaluate.inspection.like_strokes import LikeStrokes
from dialtell.evaluate.inspection.shares import Shares
from dialtell.evaluate.maps.map_words import ODD, PLACES, UNLIKE, hits_sentence
from dialtell.evaluate.next_fields.frames import NextPhotographs
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.pages.templates import filled
from dialtell.evaluate.period.date_check import PeriodCheck
from dialtell.evaluate.period.style_hints import StyleHint
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import in_order, plain_name, print_words
from dialtell.evaluate.words.stated import stated_chance, stated_ratio, withheld
from dialtell.evaluate.words.support import chance_text, findings_sentence, signed
from dialtell.model.net.calibration import PRINTED
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.files import require_free, write_text
from dialtell.synth.shared.terms import ZONES

PHOTO_PX = 1400  # longer side of the photograph on the page
OVERLAY_PX = 1000  # of the map over it: hatching stays coarser than the screen
CROP_PX = 900
_SMALLEST_CROP_PX = 220

HEADLINES = {
    "hand-painted": "This dial looks painted by hand.",
    "printed": "This dial looks printed.",
    "undetermined": "This photograph does not settle whether the dial was painted or printed.",
}
TAG_WIDTH, TAG_HEIGHT = 22.0, 5.5  # % of the photograph's width, of the largest tag on a narrow screen
_STYLES = {"hand-painted": "hand", "printed": "print", "undetermined": "open"}


@dataclass(frozen=True, eq=False)
class ZoneCrop:
    """A zone straightened for a close look.

    zone : name, as in the dial's zones.
    image : (h, w) or (h, w, 3) RGB, uint8.
    added : (h, w) float32, what each place adds, positive towards hand; None if there is no map.
    caption : what to look at; plain text.
    beside : what is held beside it at the same magnification, (title, (h, w[, 3]) uint8) each.
    """

    zone: str
    image: NDArray[np.uint8]
    added: NDArray[np.float32] | None = None
    caption: str = ""
    beside: tuple[tuple[str, NDArray[np.uint8]], ...] = ()


@dataclass(frozen=True)
class PageExtras:
    """What a page may hold besides the call. period : the date check. beside : what the pictures beside the close views
    are, in a sentence. resolution : reached and needed, in words. hints : of style and period.
    evidence : what was measured. bearing : what the measurements together lean to, beside the call.
    shares : what the call is the sum of. unlike, odd : (H, W) float32 in the photo's frame, what differs from its like
    and ink that no stroke like it has, positive towards hand. maps : "maps" of the weights' JSON, how far the maps can
    be trusted. like : line-ups of like strokes. next_photographs : what to photograph next, None of a settled dial.
    """

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
    photo : (H, W, 3) RGB uint8.
    added : (H, W) float32 in the photo's frame, what each place adds, positive towards hand, or None.
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
    shown = pictures.fitted(photo, PHOTO_PX)
    shares = None if stated_ratio(dial) is None else extras.shares
    zones = _zones(dial, width, height, {} if shares is None else shares.zones)
    evidence, held = extras.evidence, withheld(dial)
    call, support = dial["call"], str(dial["support"])
    ratio, chance = stated_ratio(dial), stated_chance(dial)
    capped = support.startswith("at least")
    return filled(
        "inspection",
        photo_name=plain_name(dial["photo"]),
        headline=HEADLINES[call],
        reason=plain_name(dial["reason"]),
        bearing=None if extras.bearing is None else _bearing(extras.bearing),
        support=plain_name(support),
        ratio=None if ratio is None else signed(ratio) + _beyond(ratio, capped),
        chance=None if chance is None else chance_text(chance) + _beyond(ratio, capped),
        scale=None if ratio is None else round(50 + 50 * max(-6.0, min(6.0, ratio)) / 6, 2),
        ticks=[{"left": round(50 + 50 * n / 6, 2), "text": signed(n, 0)} for n in range(-6, 7, 2)],
        findings="" if ratio is None else findings_sentence(ratio, capped),
        printing=_printing(dial.get("print_process")) if call == PRINTED and not held else "",
        warnings=[plain_name(warning) for warning in dial["warnings"]],
        width=width,
        height=height,
        shape=round(width / height, 4),
        shown_width=shown.shape[1],
        shown_height=shown.shape[0],
        photo_uri=pictures.jpeg_uri(shown),
        overlay_uri=_overlay(added),
        unlike_uri=_overlay(extras.unlike),
        odd_uri=_overlay(extras.odd),
        map_found=hits_sentence(extras.maps, PLACES),
        unlike_found=hits_sentence(extras.maps, UNLIKE),
        odd_found=hits_sentence(extras.maps, ODD),
        adds_up="" if shares is None else shares.sentence(capped=capped),
        outline=_outline(dial["geometry"]),
        zones=zones,
        marked=any(zone["points"] for zone in zones),
        not_judged=[zone for zone in zones if not zone["judged"]],
        crops=_crops(crops, added),
        period=None if extras.period is None else _period(extras.period),
        beside=plain_name(extras.beside),
        resolution=extras.resolution or "No dial was read in this photograph.",
        style_hints=extras.hints,
        evidence=evidence,
        like=extras.like,
        next=extras.next_photographs,
        strokes=[] if evidence is None else evidence.lines,
        advices=ADVICES,
        cautions=CAUTIONS,
        versions=[
            ("dialtell", metadata.version("dialtell")),
            ("Model", f"{model['name']} {model['version']}"),
            ("Weights, SHA-256", model["sha256"]),
            ("Renderer", model["renderer_version"]),
        ],
    )


def _overlay(values: NDArray[np.float32] | None) -> str | None:
    """A map as a data URI, None without."""
    return None if values is None else pictures.png_uri(pictures.photo_overlay(values, OVERLAY_PX))


def _printing(record: Mapping[str, Any] | None) -> str:
    """How a print was made, with its reason; a dial that the page calls printed is the only one this is said of."""
    words = "" if record is None else print_words(record)
    return words[:1].upper() + words[1:]


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
    pairs = [
        *((name, photo, values) for name, values in maps.items()),
        *((f"added of {c.zone}", c.image, c.added) for c in crops),
    ]
    for name, image, values in pairs:
        if values is not None and (values.shape != image.shape[:2] or not np.isfinite(values).all()):
            raise ParameterError(f"{name} has shape {values.shape}; give finite values of shape {image.shape[:2]}")


def _beyond(ratio: float | None, capped: bool) -> str:
    """What to add to a number that was cut at the bound of what validation can vouch for."""
    if not capped or ratio is None:
        return ""
    return " or more" if ratio > 0 else " or less"


def _heading(text: object) -> str:
    name = plain_name(text)
    return name[:1].upper() + name[1:]


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


def _zones(dial: Mapping[str, Any], width: int, height: int, added: Mapping[str, float]) -> list[dict[str, Any]]:
    """All zones as the page shows them, their tags clear of each other. added : to the call by each."""
    shown: list[dict[str, Any]] = []
    for zone in _all_zones(dial["zones"]):
        taken = [(other["left"], other["top"]) for other in shown if other["points"]]
        own = added.get(str(zone["zone"]))
        shown.append(_zone(dial, zone, width, height, taken) | {"added": "" if own is None else signed(own)})
    return shown


def _zone(
    dial: Mapping[str, Any], zone: Mapping[str, Any], width: int, height: int, taken: Sequence[tuple[float, float]]
) -> dict[str, Any]:
    judged = bool(zone["judged"])
    ratio, chance = stated_ratio(dial, zone), stated_chance(dial, zone)
    corners = np.asarray(zone["polygon_px"] or np.zeros((0, 2)), dtype=np.float64).reshape(-1, 2)
    left, top = _tag(corners, width, height, taken) if len(corners) else (0.0, 0.0)
    return {
        "name": _heading(zone["zone"]),
        "judged": judged,
        "style": _STYLES.get(zone["call"], "open") if judged else "open",
        "call": plain_name(zone["call"]) if judged else "not judged",
        "ratio": "" if ratio is None else signed(ratio),
        "chance": "" if chance is None else chance_text(chance),
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
        "against": bears.against,
        "measured": None if measured is None else signed(measured) + _beyond(measured, bears.capped),
        "used": bears.used,
    }


def _period(check: PeriodCheck) -> dict[str, Any]:
    """The date check in words, each part of the odds shown."""
    stroke, after, chance = check.stroke_log10_lr, check.posterior_log10_odds, check.posterior_hand
    return {
        "years": plain_name(f"{check.years.words}, {check.years.basis}"),
        "finding": check.finding,
        "sentence": check.sentence,
        "prior": signed(check.prior_log10_odds),
        "stroke": "no ratio stated" if stroke is None else signed(stroke),
        "after": None if after is None else signed(after),
        "chance": None if chance is None else chance_text(chance),
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


def _crops(crops: Sequence[ZoneCrop], added: NDArray[np.float32] | None) -> list[dict[str, Any]]:
    """Pictures of the crops in the examiner's order, all maps at one strength so that they compare."""
    maps = [crop.added.ravel() for crop in crops if crop.added is not None]
    everywhere = added if added is not None else np.concatenate(maps) if maps else None
    full = 0.0 if everywhere is None else pictures.full_strength(everywhere)
    place = {zone.value: index for index, zone in enumerate(ZONES)}
    entries = []
    for crop in sorted(crops, key=lambda crop: place.get(crop.zone, len(place))):
        image = pictures.enlarged(crop.image, _SMALLEST_CROP_PX, CROP_PX)
        entry = {
            "zone": _heading(crop.zone),
            "caption": plain_name(crop.caption),
            "width": image.shape[1],
            "height": image.shape[0],
            "image_uri": pictures.jpeg_uri(image),
            "map_uri": None,
            "beside": [
                (plain_name(title), pictures.jpeg_uri(pictures.enlarged(other, _SMALLEST_CROP_PX, CROP_PX)))
                for title, other in crop.beside
            ],
        }
        if crop.added is not None:
            own = pictures.resized_map(crop.added, image.shape[0], image.shape[1])
            entry["map_uri"] = pictures.jpeg_uri(pictures.blended(image, own, full))
        entries.append(entry)
    return entries
