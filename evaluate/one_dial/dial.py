"""Photographs of one dial become one opinion: whole views and close-ups in any order, one row.

The whole view on which most of the others can be laid carries the dial's frame; what fits nowhere on it is named and
left out, and one judgement is made of the rest. Without a whole view nothing can be brought together, which is said.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dialtell.evaluate.one_dial.agreement import Agreement, agreement, held_to, trusted
from dialtell.evaluate.one_dial.merging import Merged, merge
from dialtell.evaluate.one_dial.placing import Placing, WholeView, field_of, place_field, whole_view
from dialtell.evaluate.one_dial.row import one_dial_record
from dialtell.evaluate.one_dial.same_photograph import cut_from
from dialtell.evaluate.score.recognised import unrecognised
from dialtell.evaluate.score.record import record_of
from dialtell.evaluate.score.score import SCHEMA, ScoredPhoto, judged, score_photo
from dialtell.model.net.resolution import Resolution, resolution_of
from dialtell.model.net.verdict import Verdict
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import STAIN, UNKNOWN, Known, KnownOf, MarkedPlace, known_for
from dialtell.model.reading.photo import walk_photos
from dialtell.model.reading.steps import Reading, read_within, with_places
from dialtell.synth.shared.errors import DialtellError, fault_of_ours

log = logging.getLogger("dialtell.score")
CARRYING = 24  # patches (judgement)
MOST_WHOLE = 3  # whole views tried for the one that the others fit


@dataclass(frozen=True, eq=False)
class Part:
    """One photograph of a dial. alone : scored by itself. placing : on the whole view, None for that view itself and
    where there is none. reading : in the dial's frame, None where it is left out. ratio : log10 LR of
    this photograph alone. agreement : with the whole view at the places both show. cut : out of that view's photograph.
    """

    alone: ScoredPhoto
    placing: Placing | None = None
    reading: Reading | None = None
    ratio: float | None = None
    agreement: Agreement | None = None
    cut: bool = False


@dataclass(frozen=True, eq=False)
class OneDial:
    """A dial scored from several photographs. scored : the one opinion, as that of a photograph: the whole view's frame
    with everyone's patches. parts : in the order given. merged : None where nothing was brought together."""

    scored: ScoredPhoto
    parts: tuple[Part, ...]
    merged: Merged | None


def score_dial(alone: Sequence[ScoredPhoto], weights: Weights, *, name: str | None = None) -> OneDial:
    """One opinion of photographs of one dial, each scored by itself. name : of the dial."""
    whole = [at for at, one in enumerate(alone) if _is_whole(one)]
    if not whole:
        return _apart(alone, name)
    views = {at: whole_view(reading) for at in _best_first(alone, whole) if (reading := alone[at].reading) is not None}
    fields = [None if one.reading is None and _is_whole(one) else field_of(one.photo, weights.reader) for one in alone]
    placed = {
        base: {at: place_field(field, view) for at, field in enumerate(fields) if at != base and field is not None}
        for base, view in views.items()
    }
    base = max(placed, key=lambda at: sum(place.placed for place in placed[at].values()))  # the best view of equals
    return _merged(alone, base, views[base], placed[base], weights, name)


def _merged(
    alone: Sequence[ScoredPhoto], base: int, view: WholeView, placed: dict[int, Placing], weights: Weights,
    name: str | None,
) -> OneDial:  # fmt: skip
    own = view.reading
    known = alone[base].known
    parts = []
    for at, one in enumerate(alone):
        place = placed.get(at)
        if at == base:
            parts.append(Part(one, None, own, one.record["log10_lr"]))
        elif cut_from(one.photo.grey, alone[base].photo.grey):
            parts.append(Part(one, place, None, one.record["log10_lr"], cut=True))
        elif place is None or not place.placed or place.geometry is None:
            parts.append(Part(one, place, None, one.record["log10_lr"]))
        else:
            reading = read_within(one.photo, place.geometry, own, weights.reader)
            reading = with_places(reading, [*_stuck(known.places, own, place.geometry), *one.known.places])
            ratio = judged(reading, weights, one.known.whole(), withheld=False).whole.log10_lr
            parts.append(Part(one, place, reading, ratio, agreement(reading, own, weights)))
    inside = [base, *(at for at, part in enumerate(parts) if part.reading is not None and at != base)]
    readings = [mine for at in inside if (mine := parts[at].reading) is not None]
    found = opinion(readings, weights, known, [told for part in parts if (told := part.agreement) is not None])
    record = record_of(alone[base].photo, known, found.reading, found.verdict, found.resolution)
    given = {at: found.merged.from_reading(k) for k, at in enumerate(inside)}
    record = one_dial_record(record, parts, base, given, name)
    scored = ScoredPhoto(record, alone[base].photo, known, found.reading, found.verdict, found.resolution)
    return OneDial(scored, tuple(parts), found.merged)


def _stuck(places: Sequence[MarkedPlace], whole: Reading, geometry: DialGeometry) -> list[MarkedPlace]:
    """Stains marked on the whole view, which are on the dial itself, in px of a close-up laid on it."""
    return [
        place._replace(polygon=geometry.to_photo(whole.geometry.to_dial(np.array(place.polygon))).tolist())
        for place in places
        if place.what == STAIN
    ]


@dataclass(frozen=True, eq=False)
class Opinion:
    """One judgement of several readings. reading : the whole view's with everyone's patches."""

    reading: Reading
    merged: Merged
    verdict: Verdict
    resolution: Resolution


def opinion(readings: Sequence[Reading], weights: Weights, known: Known, told: Sequence[Agreement] = ()) -> Opinion:
    """Judge readings in one dial frame together, the whole view's first.

    told : how each of the others agrees with it; where they differ, less is stated.
    """
    shown = [resolution_of(reading, weights.record, known.diameter_mm) for reading in readings]
    merged = merge(readings)
    # the finest patches, so many of them, carry a call whatever else is in the bag, as those of a close-up alone do
    fineness = np.sort(np.array([one.true for one in shown])[merged.source])[::-1]
    true = float(fineness[min(len(fineness), CARRYING) - 1]) if len(fineness) else shown[0].true
    resolution = replace(shown[0], true=true, screened=all(one.screened for one in shown))
    reading = replace(readings[0], patches=merged.patches)
    held = not resolution.carries_strokes or unrecognised(reading) is not None
    verdict = judged(reading, weights, known.whole(), withheld=held)
    return Opinion(reading, merged, held_to(verdict, trusted([one.difference for one in told])), resolution)


def _apart(alone: Sequence[ScoredPhoto], name: str | None) -> OneDial:
    """Without a whole view: the photograph that resolves most speaks alone, unless others contradict it."""
    shown = [0.0 if one.resolution is None else one.resolution.true for one in alone]
    order = sorted(range(len(alone)), key=lambda at: -shown[at])
    first = alone[order[0]]
    parts = tuple(Part(one, ratio=one.record["log10_lr"]) for one in alone)
    record = one_dial_record(dict(first.record), parts, None, {}, name)
    return OneDial(replace(first, record=record), parts, None)


def _is_whole(one: ScoredPhoto) -> bool:
    return one.reading is not None and one.reading.close_up is None


def _best_first(alone: Sequence[ScoredPhoto], whole: Sequence[int]) -> list[int]:
    """Whole views by how fine and how certain they are, some of them."""

    def worth(at: int) -> float:
        reading = alone[at].reading
        assert reading is not None
        return reading.sharpness.true_pixels_per_radius * (reading.outline_certainty or 1.0)

    return sorted(whole, key=lambda at: -worth(at))[:MOST_WHOLE]


def score_one_dial(
    paths: Iterable[str | os.PathLike[str]], weights: Weights, *, known: Known | KnownOf = UNKNOWN,
    name: str | None = None,
) -> tuple[OneDial | None, dict[str, Any]]:  # fmt: skip
    """Score all photographs, and those in folders, as of one dial: the dial, None where no photograph could be read,
    and the document of schema dialtell.score/1 with one row."""
    files, missing = walk_photos(paths)
    errors = [{"photo": str(path), "error": str(error)} for path, error in missing]
    alone = []
    for path in files:
        try:
            alone.append(score_photo(path, weights, known=known_for(known, path)))
        except DialtellError as error:
            errors.append({"photo": str(path), "error": str(error)})
        except Exception as error:  # a fault of ours on one photograph must not lose the others
            log.debug("%s: traceback", path, exc_info=True)
            errors.append({"photo": str(path), "error": f"{path}: {fault_of_ours(error)}"})
    dial = score_dial(alone, weights, name=name) if alone else None
    dials = [] if dial is None else [dial.scored.record]
    reader = weights.reader.identity
    return dial, {"schema": SCHEMA, "model": weights.identity, "reader": reader, "dials": dials, "errors": errors}
