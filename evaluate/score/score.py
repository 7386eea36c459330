"""Scoring: from photographs to a document of schema dialtell.score/1. Every verb's call is made here, once.

One bad photograph never stops the others: it becomes an entry under "errors", and a photograph without a dial a
dial "undetermined".
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from tqdm import tqdm

from dialtell.evaluate.score.close_up import close_up_record, close_up_remarks, least, unnamed_reason
from dialtell.evaluate.score.recognised import unrecognised
from dialtell.evaluate.score.record import record_of, record_without_dial
from dialtell.model.net.resolution import Resolution, resolution_of
from dialtell.model.net.verdict import Verdict, judge
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.known import UNKNOWN, Known, KnownOf, known_for
from dialtell.model.reading.outline import NoDial
from dialtell.model.reading.photo import Photo, read_photo, walk_photos
from dialtell.model.reading.steps import Reading, placed, read
from dialtell.synth.shared.errors import DialtellError, fault_of_ours
from dialtell.synth.shared.terms import ZONES

SCHEMA = "dialtell.score/1"
log = logging.getLogger("dialtell.score")


@dataclass(frozen=True, eq=False)
class ScoredPhoto:
    """One photograph scored. record : its entry under "dials". known : what was said of it beforehand.

    The rest is None when no dial was found.
    """

    record: dict[str, Any]
    photo: Photo
    known: Known = UNKNOWN
    reading: Reading | None = None
    verdict: Verdict | None = None
    resolution: Resolution | None = None


def score_photo(path: str | os.PathLike[str], weights: Weights, *, known: Known = UNKNOWN) -> ScoredPhoto:
    """Score one photograph.

    known : what is known of it beforehand: size, outline, where 12 stands, a close-up and its scale.
    Raises PhotoError naming the file and the remedy.
    """
    return score_opened(read_photo(path, max_pixels=known.max_pixels), weights, known=known)


def score_opened(
    photo: Photo, weights: Weights, *, known: Known = UNKNOWN, unmarked: list[Reading] | NoDial | None = None
) -> ScoredPhoto:
    """Score a photograph that is open already, likewise. unmarked : what `read_unmarked` made of it, if it is there."""
    found = read(photo, known, weights.reader) if unmarked is None else placed(unmarked, known)
    if isinstance(found, NoDial):
        return ScoredPhoto(record_without_dial(photo, known, found), photo, known)
    return _scored(photo, found, weights, known)


def _scored(photo: Photo, readings: list[Reading], weights: Weights, known: Known) -> ScoredPhoto:
    """One photograph from its reading, or from readings at several scales."""
    resolutions = [resolution_of(reading, weights.record, known.diameter_mm) for reading in readings]
    pairs = list(zip(readings, resolutions, strict=True))
    held = [not shown.carries_strokes or unrecognised(reading) is not None for reading, shown in pairs]
    verdicts = [judged(reading, weights, known, withheld=no) for reading, no in zip(readings, held, strict=True)]
    index, contradicts = least(verdicts)
    if contradicts:
        verdicts[index] = judged(readings[index], weights, known, withheld=True)
    reading, resolution, verdict = readings[index], resolutions[index], verdicts[index]
    record = record_of(photo, known, reading, verdict, resolution)
    if reading.close_up is not None:
        if reading.close_up.place is None:
            record["reason"] = unnamed_reason(
                verdict, resolution, reading.close_up, known.zone, contradicts=contradicts
            )
        record["close_up"] = close_up_record(reading.close_up)
        record["warnings"] = [*close_up_remarks(reading.close_up, known.zone), *record["warnings"]]
    return ScoredPhoto(record, photo, known, reading, verdict, resolution)


def judged(reading: Reading, weights: Weights, known: Known, *, withheld: bool) -> Verdict:
    """The verdict on a reading, as every verb states it.

    A zone that was not found is not judged, whatever strokes lie in its place.
    """
    verdict = judge(reading.patches, weights, withheld=withheld)
    if not reading.zones.named:
        return verdict if known.zone is None else verdict.shown_as(known.zone)
    for zone in ZONES:
        if zone not in reading.zones.found:
            verdict = verdict.without(zone)
    return verdict


def score_photos(
    paths: Iterable[str | os.PathLike[str]],
    weights: Weights,
    *,
    known: Known | KnownOf = UNKNOWN,
    progress: bool = False,
) -> dict[str, Any]:
    """Score photographs and all photographs in folders; returns the document, ready for json.dumps.

    known : of all of them, or a function that says it of each path. progress : show a bar on standard error if that is
    a terminal and there are several.
    """
    files, missing = walk_photos(paths)
    dials: list[dict[str, Any]] = []
    errors = [{"photo": str(path), "error": str(error)} for path, error in missing]
    bar = tqdm(files, unit="photo", disable=None if progress and len(files) > 1 else True, leave=False)
    for path in bar:
        try:
            dials.append(score_photo(path, weights, known=known_for(known, path)).record)
        except DialtellError as error:
            errors.append({"photo": str(path), "error": str(error)})
        except Exception as error:  # a fault of ours on one photograph must not lose the others
            log.debug("%s: traceback", path, exc_info=True)
            errors.append({"photo": str(path), "error": f"{path}: {fault_of_ours(error)}"})
    reader = weights.reader.identity
    return {"schema": SCHEMA, "model": weights.identity, "reader": reader, "dials": dials, "errors": errors}
