"""The inspection of one photograph: scored, looked into, its page written and, if wished, its still."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.advice import reached_words
from dialtell.evaluate.inspection.close_views import beside_views, zone_crops
from dialtell.evaluate.inspection.document import inspection_document
from dialtell.evaluate.inspection.evidence_table import EvidenceTable, evidence_table, nothing_measured
from dialtell.evaluate.inspection.examine import Examination, examine, why_not_measured
from dialtell.evaluate.inspection.like_strokes import LikeStrokes, like_strokes
from dialtell.evaluate.inspection.page import PHOTO_PX, PageExtras, write_page
from dialtell.evaluate.inspection.shares import Shares
from dialtell.evaluate.inspection.stated import drawable, stated_model
from dialtell.evaluate.inspection.still import still_png, write_still
from dialtell.evaluate.maps.painting import photo_map
from dialtell.evaluate.next_fields.frames import next_photographs
from dialtell.evaluate.period.date_check import PeriodCheck, Years, check_period
from dialtell.evaluate.score.score import ScoredPhoto, score_photo
from dialtell.evaluate.words.stated import stated_ratio
from dialtell.model.net.weights_file import Weights
from dialtell.model.reader.file import Reader
from dialtell.model.reading.known import UNKNOWN, Known
from dialtell.model.reading.photo import Bytes, Photo, display
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.files import require_free
from dialtell.synth.shared.terms import ZONES, Zone


@dataclass(frozen=True)
class PageWishes:
    """What a page shall hold besides the call.

    years : when the movement was made, for the date check. compare_with : photograph of another dial to show beside the
    close views; None draws a like dial of each kind. overwrite : replace what exists.
    """

    years: Years | None = None
    compare_with: str | os.PathLike[str] | None = None
    overwrite: bool = False


class Inspection(NamedTuple):
    """document : of schema dialtell.inspect/1. shown : (H, W, 3) uint8 sRGB, the photograph as the page shows it.
    added : (H, W) float32 over it, what each place adds, positive towards hand; None where nothing was judged."""

    document: dict[str, Any]
    shown: Bytes
    added: NDArray[np.float32] | None


def inspect_photo(
    path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    weights: Weights,
    *,
    known: Known = UNKNOWN,
    still: str | os.PathLike[str] | None = None,
    years: Years | None = None,
    compare_with: str | os.PathLike[str] | None = None,
    overwrite: bool = False,
) -> dict[str, Any]:
    """Score one photograph, write its page to `out`, and return a document of schema dialtell.inspect/1.

    known : what is known of it beforehand, as for score_photo. still : a PNG to write too. years, compare_with : see
    PageWishes.
    Raises PhotoError for a photograph and OutputError for what is written, the latter before any work is done.
    """
    wishes = PageWishes(years, compare_with, overwrite)
    return inspect(Path(path), Path(out), None if still is None else Path(still), weights, known, wishes).document


def inspect(
    photo: Path, page: Path, still: Path | None, weights: Weights, known: Known, wishes: PageWishes
) -> Inspection:
    """As inspect_photo, with the photograph as shown and its map beside the document."""
    require_targets([target for target in (page, still) if target is not None], [photo], wishes)
    return inspect_scored(score_photo(photo, weights, known=known), page, still, weights, wishes)


def inspect_scored(
    scored: ScoredPhoto, page: Path, still: Path | None, weights: Weights, wishes: PageWishes
) -> Inspection:
    """The same of what was scored already: a photograph, or a dial from several."""
    examined = examine(scored)
    inspection = _paged(examined, page, weights, wishes)
    document = inspection.document | {"still": None if still is None else str(still)}
    if still is not None:
        scale = inspection.shown.shape[1] / examined.scored.photo.pixels.shape[1]
        record = drawable(examined.scored.record, scale)
        content = still_png(inspection.shown, record, inspection.added, stated_model(weights), shares_of(examined))
        write_still(still, content, overwrite=wishes.overwrite)
    return inspection._replace(document=document)


def require_targets(targets: Sequence[Path], photos: Sequence[Path], wishes: PageWishes) -> None:
    """Raise OutputError when a file to be written is in the way, or is a photograph that is read: --overwrite is not
    for those."""
    read = [*photos, *([] if wishes.compare_with is None else [Path(wishes.compare_with)])]
    kept = {photo.resolve() for photo in read}
    for target in targets:
        if target.resolve() in kept:
            raise OutputError(f"{target} is a photograph that is read; give another place for what is written")
        require_free(target, overwrite=wishes.overwrite)


def _paged(examined: Examination, target: Path, weights: Weights, wishes: PageWishes) -> Inspection:
    """The page written, and the document."""
    scored, maps = examined.scored, examined.maps
    shown = shown_photo(scored.photo)
    scale = shown.shape[1] / scored.photo.pixels.shape[1]
    record, added, unlike, odd, crops, beside = drawable(scored.record, scale), None, None, None, [], ""
    if scored.reading is not None and maps is not None:
        geometry, patches = scored.reading.geometry.scaled(scale), scored.reading.patches
        added, unlike, odd = (
            photo_map(each, patches, geometry, shown.shape[:2]) for each in (maps.places, maps.unlike, maps.odd)
        )
        views, beside = beside_views(scored.reading, wishes.compare_with, weights, scored.known.max_pixels)
        crops = zone_crops(scored, maps.places, views)
    period = _period(examined, wishes.years)
    extras = PageExtras(
        period=period,
        beside=beside,
        resolution="" if scored.resolution is None else reached_words(scored.resolution, record.get("close_up")),
        hints=examined.hints,
        evidence=_table(examined, scale),
        bearing=examined.bearing,
        shares=shares_of(examined),
        unlike=unlike,
        odd=odd,
        maps=weights.record.get("maps"),
        like=_like(examined, weights.reader),
        next_photographs=next_photographs(
            record["next_fields"], shown, None if scored.reading is None else scored.reading.geometry.scaled(scale)
        ),
    )
    write_page(target, record, shown, added, crops, stated_model(weights), overwrite=wishes.overwrite, extras=extras)
    return Inspection(inspection_document(examined, period, target, weights), shown, added)


def shares_of(examined: Examination) -> Shares | None:
    """What the call is the sum of, zone by zone; None where nothing was judged."""
    scored = examined.scored
    if scored.reading is None or scored.verdict is None or scored.verdict.explanation is None:
        return None
    told, shown = scored.verdict.explanation, scored.known.zone
    zones = {zone: share.contribution for zone, share in told.zones.items()}
    if not scored.reading.zones.named and shown is not None:  # a close-up is read as one zone, and stated as another
        zones = {shown: sum(zones.values())}
    return Shares(told.base, {zone.value: added for zone, added in zones.items()})


def _period(examined: Examination, years: Years | None) -> PeriodCheck | None:
    record = examined.scored.record
    return None if years is None else check_period(years, record["call"], stated_ratio(record))


def _like(examined: Examination, reader: Reader) -> LikeStrokes | None:
    """Line-ups of a dial that was read; not of a halftone print, whose dots would stand in them."""
    scored = examined.scored
    if scored.reading is None or scored.resolution is None or scored.resolution.screened:
        return None
    told = None if scored.verdict is None else scored.verdict.explanation
    coarse = not scored.resolution.carries_strokes
    return like_strokes(scored.reading, scored.photo, told, scored.resolution.diameter_mm, coarse=coarse, reader=reader)


def _table(examined: Examination, scale: float) -> EvidenceTable:
    """What was measured, in the examiner's words, its strokes in px of the photograph shown."""
    scored, bears = examined.scored, examined.bearing
    if examined.evidence is None or scored.reading is None:
        return nothing_measured(why_not_measured(scored))
    return evidence_table(
        examined.evidence,
        diameter_mm=None if scored.resolution is None else scored.resolution.diameter_mm,
        weighed=0 if bears is None else bears.used,
        scale=scale,
        expected=ZONES if scored.reading.zones.named else (Zone.OTHER,),
    )


def shown_photo(photo: Photo) -> Bytes:
    """(H, W, 3) uint8 sRGB, its longer side at most PHOTO_PX."""
    height, width = photo.pixels.shape[:2]
    scale = min(1.0, PHOTO_PX / max(height, width))
    if scale == 1.0:
        return display(photo.pixels)
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    return display(np.asarray(cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA)))
