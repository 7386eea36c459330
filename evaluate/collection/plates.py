"""Dials of a collection that one plate may have made: pairs of like layout, laid on each other where the photographs
are still there, with what was found kept in the collection."""

from __future__ import annotations

import hashlib
import importlib.resources
import math
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from dialtell.evaluate.collection.add import file_hash, known_of
from dialtell.evaluate.collection.design_mark import alike_designs, design_mark, upright_size
from dialtell.evaluate.collection.file import CollectionFile, Entry
from dialtell.evaluate.compare.plate_test import FILE, judge_pair
from dialtell.evaluate.compare.registration import common_scale, register, sheet_of
from dialtell.model.reader.file import Reader
from dialtell.model.reading.known import MAX_PIXELS
from dialtell.model.reading.outline import NoDial
from dialtell.model.reading.photo import read_photo
from dialtell.model.reading.steps import Reading, read
from dialtell.synth.shared.errors import DialtellError, PhotoError

KEPT_READINGS = 12  # in memory: about 20 MB each
REGISTRATION = "1"  # raise when laying dials on each other changes, so that pairs are measured anew


@dataclass(frozen=True)
class Proposed:
    """Two entries of like layout. like : correlation of their thumbnails' layouts."""

    first: Entry
    second: Entry
    like: float


def page_name(first: Entry, second: Entry) -> str:
    """File name of a pair's page, by this test."""
    return f"{first.sha256[:12]}-{second.sha256[:12]}-{test_name()}.html"


def test_name() -> str:
    """Names the registration and the model that judge a pair: pairs judged by another are judged anew."""
    model = importlib.resources.files("dialtell.evaluate.compare").joinpath(FILE).read_bytes()
    return f"{REGISTRATION}-{hashlib.sha256(model).hexdigest()[:12]}"


def propose(entries: Iterable[Entry], *, most_each: int = 5) -> tuple[list[Proposed], list[PhotoError]]:
    """Pairs of like layout, the likeliest first, and what could not be looked at. `most_each` of each entry at most.

    Thumbnails are compared; of the photographs only the size is read.
    """
    known, marks, faults = [], [], []
    for entry in entries:
        geometry = None if entry.document is None else entry.document.get("geometry")
        if entry.thumbnail is None or geometry is None or "close_up" in (entry.document or {}):
            continue
        try:
            mark = design_mark(entry.thumbnail, geometry, upright_size(entry.path)[0])
        except (OSError, ValueError, KeyError, TypeError, DialtellError) as error:
            faults.append(_gone(entry) if not entry.path.is_file() else PhotoError(f"{entry.path}: {error}"))
            continue
        if mark is not None:
            known.append(entry)
            marks.append(mark)
    pairs = []
    for i, j, like in alike_designs(marks, most_each=most_each):
        first, second = sorted((known[i], known[j]), key=lambda entry: entry.id)
        pairs.append(Proposed(first, second, like))
    return pairs, faults


def lay_pairs(
    collection: CollectionFile,
    pairs: Sequence[Proposed],
    *,
    most: int | None = None,
    max_pixels: int = MAX_PIXELS,
    reader: Reader | None = None,
) -> Iterator[dict[str, Any] | DialtellError]:
    """Lay each pair on each other and keep what was found, the pair's row as CollectionFile.pairs gives it.

    most : pairs laid at most, None all. Pairs that this test has judged are passed over. A photograph that was moved or
    changed yields its error, once. reader : None for the shipped one.
    """
    test = test_name()
    done = {(pair["first"], pair["second"]) for pair in collection.pairs(test)}
    left = [pair for pair in pairs if (pair.first.id, pair.second.id) not in done][:most]
    readings: OrderedDict[int, Reading | NoDial | None] = OrderedDict()
    failed: dict[int, DialtellError] = {}
    for pair in _neighbours(left):
        two: list[Reading | NoDial] = []
        for entry in (pair.first, pair.second):
            if entry.id in failed:
                break
            try:
                two.append(_kept(readings, entry, max_pixels, reader))
            except DialtellError as error:
                failed[entry.id] = error
                yield error
                break
        if len(two) < 2:
            continue
        row = {"first": pair.first.id, "second": pair.second.id, "test": test, **_pair_finding(two)}
        collection.keep_pair(row)
        yield row


def _pair_finding(two: list[Reading | NoDial]) -> dict[str, Any]:
    first, second = two
    if isinstance(first, NoDial) or isinstance(second, NoDial):
        verdict = judge_pair(None)
    else:
        scale = common_scale(first, second)
        part = first.close_up is not None or second.close_up is not None
        verdict = judge_pair(register(sheet_of(first, scale), sheet_of(second, scale), part=part), part=part)
    return {
        "finding": verdict.finding, "log10_lr": None if verdict.log10_lr is None else round(verdict.log10_lr, 4),
        "places": verdict.sites, "matched": verdict.matched,
        "stray": None if math.isnan(verdict.spread) else round(verdict.spread, 6), "reason": verdict.reason,
    }  # fmt: skip


def _neighbours(pairs: Sequence[Proposed]) -> list[Proposed]:
    """Pairs that share a dial one after the other, so that it is read once."""
    order: dict[int, int] = {}
    for pair in pairs:
        order.setdefault(pair.first.id, len(order))
    return sorted(pairs, key=lambda pair: order[pair.first.id])


def _kept(readings: OrderedDict[int, Any], entry: Entry, max_pixels: int, reader: Reader | None) -> Reading | NoDial:
    if entry.id not in readings:
        if not entry.path.is_file():
            raise _gone(entry)
        if file_hash(entry.path) != entry.sha256:
            raise PhotoError(f"{entry.path} was changed since it was added; add it again to take it as a new one")
        found = read(read_photo(entry.path, max_pixels=max_pixels), known_of(entry), reader)
        readings[entry.id] = found if isinstance(found, NoDial) else found[0]
        while len(readings) > KEPT_READINGS:
            readings.popitem(last=False)
    readings.move_to_end(entry.id)
    return readings[entry.id]  # type: ignore[no-any-return]


def _gone(entry: Entry) -> PhotoError:
    return PhotoError(f"{entry.path} is no longer there; add it again from its new place, its history is kept")
