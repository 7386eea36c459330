"""The inspection of one photograph: scored, looked into, its page written and, if wished, its still."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.advice import advice_of, reached_words
from dialtell.evaluate.inspection.close_views import beside_views, zone_crops
from dialtell.evaluate.inspection.document import inspection_document
from dialtell.evaluate.inspection.evidence_table import EvidenceTable, evidence_table, nothing_measured
from dialtell.evaluate.inspection.examine import Examination, examine, why_not_measured
from dialtell.evaluate.inspection.like_strokes import LikeStrokes, like_strokes
from dialtell.evaluate.inspection.page import MAP_PX, PageExtras, PhotographViews, write_page
from dialtell.evaluate.inspection.reported import report_of
from dialtell.evaluate.inspection.stated import DialView, dial_view, drawable, small_view, stated_model
from dialtell.evaluate.maps.painting import photo_maps
from dialtell.evaluate.next_fields.frames import next_photographs
from dialtell.evaluate.paper.report import write_report
from dialtell.evaluate.paper.still import still_png, write_still
from dialtell.evaluate.period.date_check import PeriodCheck, Years, check_period
from dialtell.evaluate.score.score import ScoredPhoto, score_photo
from dialtell.evaluate.words.first_words import several
from dialtell.evaluate.words.shares import Shares
from dialtell.evaluate.words.stated import DISAGREE, WITHHELD, stated_ratio
from dialtell.model.net.weights_file import Weights
from dialtell.model.reader.file import Reader
from dialtell.model.reading.known import UNKNOWN, Known
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.files import content_hash, require_free
from dialtell.synth.shared.terms import ZONES, Zone

WHOLE_PX = 420  # longer side of the small picture of the photograph that the dial was cut from


@dataclass(frozen=True)
class PageWishes:
    """What a page shall hold besides the call.

    years : when the movement was made, for the date check. compare_with : photograph of another dial to show beside the
    close views; None draws a like dial of each kind. photographs : of a dial of several, as of PageExtras. report : a
    PDF to write too. overwrite : replace what exists. hashes : (name, SHA-256) of the photographs, None to work them
    out of the files a record names."""

    years: Years | None = None
    compare_with: str | os.PathLike[str] | None = None
    photographs: Mapping[str, Sequence[PhotographViews]] | None = None
    report: Path | None = None
    overwrite: bool = False
    hashes: Sequence[tuple[str, str]] | None = None


class Inspection(NamedTuple):
    """document : of schema dialtell.inspect/1. view : the dial as the page shows it. added : (h, w) float32 over it at
    MAP_PX, what each place adds, positive towards hand; None where nothing was judged."""

    document: dict[str, Any]
    view: DialView
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
    report: str | os.PathLike[str] | None = None,
    overwrite: bool = False,
) -> dict[str, Any]:
    """Score one photograph, write its page to `out`, and return a document of schema dialtell.inspect/1.

    known : what is known of it beforehand, as for score_photo. still : a PNG to write too. years, compare_with,
    report : see PageWishes.
    Raises PhotoError for a photograph and OutputError for what is written, the latter before any work is done.
    """
    wishes = PageWishes(years, compare_with, report=None if report is None else Path(report), overwrite=overwrite)
    return inspect(Path(path), Path(out), None if still is None else Path(still), weights, known, wishes).document


def inspect(
    photo: Path, page: Path, still: Path | None, weights: Weights, known: Known, wishes: PageWishes
) -> Inspection:
    """As inspect_photo, with the photograph as shown and its map beside the document."""
    require_targets([target for target in (page, still, wishes.report) if target is not None], [photo], wishes)
    return inspect_scored(score_photo(photo, weights, known=known), page, still, weights, wishes)


def inspect_scored(
    scored: ScoredPhoto, page: Path, still: Path | None, weights: Weights, wishes: PageWishes
) -> Inspection:
    """The same of what was scored already: a photograph, or a dial from several."""
    examined = examine(scored)
    inspection = _paged(examined, page, weights, wishes)
    report = wishes.report
    document = inspection.document | {
        "still": None if still is None else str(still), "report": None if report is None else str(report)
    }  # fmt: skip
    if still is not None:
        small = inspection.view.fitted(MAP_PX)
        record = drawable(scored.record, small.scale, small.corner)
        content = still_png(small.picture, record, inspection.added, stated_model(weights), shares_of(examined))
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
    reading, shown_zone = scored.reading, scored.known.zone
    located = reading is not None and (reading.close_up is None or reading.close_up.place is not None)
    view = dial_view(scored.photo, reading.geometry if reading is not None and located else None)
    record, added, unlike, odd, crops, beside = (
        drawable(scored.record, view.scale, view.corner), None, None, None, [], ""
    )  # fmt: skip
    if reading is not None and maps is not None:
        small = view.fitted(MAP_PX)
        geometry, shape = small.geometry(reading.geometry), small.picture.shape[:2]
        if scored.record["support"] != WITHHELD:  # a map of a call that is held back would state it all the same
            layers = np.stack([maps.places, maps.unlike, maps.odd])
            added, unlike, odd = photo_maps(layers, reading.patches, geometry, shape)
        views, beside = beside_views(reading, wishes.compare_with, weights, scored.known.max_pixels)
        crops = [
            replace(
                crop,
                frame=None if crop.frame is None or not located else view.points(crop.frame),
                added=None if added is None else crop.added,
            )
            for crop in zone_crops(scored, maps.places, views)
        ]
    period = _period(examined, wishes.years)
    extras = PageExtras(
        period=period,
        beside=beside,
        resolution="" if scored.resolution is None else reached_words(scored.resolution, record.get("close_up")),
        hints=examined.hints,
        evidence=_table(examined, view),
        bearing=examined.bearing,
        shares=shares_of(examined),
        unlike=unlike,
        odd=odd,
        maps=weights.record.get("maps"),
        like=_like(examined, weights.reader),
        advice=advice_of(scored.record, scored.resolution),
        shown_as=None if shown_zone is None or located else shown_zone.value,
        photographs=wishes.photographs or {},
        whole=None if view.whole else small_view(scored.photo, WHOLE_PX),
        hashes=hashes_of(scored.record) if wishes.hashes is None else wishes.hashes,
        next_photographs=next_photographs(
            record["next_fields"],
            view.picture,
            view.geometry(reading.geometry) if reading and located else None,
            several=several(record),
        ),
    )
    model = stated_model(weights)
    write_page(target, record, view.picture, added, crops, model, overwrite=wishes.overwrite, extras=extras)
    if wishes.report is not None:
        told = report_of(record, view.picture, crops, model, extras)
        write_report(wishes.report, told, overwrite=wishes.overwrite)
    return Inspection(inspection_document(examined, period, target, weights), view, added)


def hashes_of(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The name and the SHA-256 of each photograph that a record rests on."""
    photos = [row["photo"] for row in record.get("photographs", ())] or [record["photo"]]
    found = [(photo.name, content_hash(photo)) for photo in map(Path, photos)]
    return [(name, digest) for name, digest in found if digest]


def shares_of(examined: Examination) -> Shares | None:
    """What the call is the sum of, zone by zone; None where nothing was judged."""
    scored = examined.scored
    if scored.reading is None or scored.verdict is None or scored.verdict.explanation is None:
        return None
    told, shown = scored.verdict.explanation, scored.known.zone
    zones = {zone: share.contribution for zone, share in told.zones.items()}
    if not scored.reading.zones.named and shown is not None:  # a close-up is read as one zone, and stated as another
        zones = {shown: sum(zones.values())}
    ways = None if told.ways is None else (told.ways.look, told.ways.comparison)
    return Shares(told.base, {zone.value: added for zone, added in zones.items()}, ways)


def _period(examined: Examination, years: Years | None) -> PeriodCheck | None:
    record = examined.scored.record
    return None if years is None else check_period(years, record["call"], stated_ratio(record))


def _like(examined: Examination, reader: Reader) -> LikeStrokes | None:
    """Line-ups of a dial that was read; not of a halftone print, whose dots would stand in them."""
    scored = examined.scored
    if scored.reading is None or scored.resolution is None or scored.resolution.screened:
        return None
    held = scored.verdict is None or scored.record["support"] == WITHHELD
    told = None if held or scored.verdict is None else scored.verdict.explanation
    coarse = not scored.resolution.carries_strokes
    return like_strokes(scored.reading, scored.photo, told, scored.resolution.diameter_mm, coarse=coarse, reader=reader)


def _table(examined: Examination, view: DialView) -> EvidenceTable:
    """What was measured, in the examiner's words, its strokes in px of the picture shown."""
    scored, bears = examined.scored, examined.bearing
    if examined.evidence is None or scored.reading is None:
        return nothing_measured(why_not_measured(scored))
    return evidence_table(
        examined.evidence,
        diameter_mm=None if scored.resolution is None else scored.resolution.diameter_mm,
        weighed=0 if bears is None else bears.used,
        scale=view.scale,
        corner=view.corner,
        expected=ZONES if scored.reading.zones.named else (Zone.OTHER,),
        mixed=scored.record["support"] == DISAGREE,
    )
