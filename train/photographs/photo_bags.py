"""A user's own labelled photographs as bags of patches, split by dial into those learnt from and those held out."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dialtell.model.reader.file import Reader
from dialtell.model.reading.outline import NoDial
from dialtell.model.reading.photo import read_photo
from dialtell.model.reading.steps import Reading, read
from dialtell.synth.shared.errors import DialtellError, ParameterError
from dialtell.synth.shared.terms import ZONES, Process
from dialtell.train.bags.bags import FEWEST_PATCHES, MOST_PER_ZONE, Bag, pack
from dialtell.train.photographs.labels import CANNOT_TELL, MIXED, PAINTED, PRINTED, LabelledPhoto

log = logging.getLogger("dialtell.train")

LEAST_DIALS = 5  # painted, and as many printed: three to learn from and two held out; more is far better (judgement)
HELD_OUT = 0.3  # share of each kind's dials
LEAST_HELD_OUT = 2

_SIDE = {PAINTED: 1, PRINTED: 0}


@dataclass(frozen=True, eq=False)
class PhotoBag:
    """One photograph read. photo : its row. dial : what tells its dial from others. bag : patches with its labels."""

    photo: LabelledPhoto
    dial: str
    bag: Bag


@dataclass(frozen=True)
class PhotoSplit:
    """Photographs learnt from and held out; no dial stands in both. unread : what was left out, by row, and why."""

    learnt: tuple[PhotoBag, ...]
    held_out: tuple[PhotoBag, ...]
    unread: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for what in ("dial", "photograph"):
            left, right = ({_mark(item, what): item for item in part} for part in (self.learnt, self.held_out))
            for mark in sorted(left.keys() & right.keys()):
                raise ParameterError(
                    f"row {left[mark].photo.row} is learnt from and row {right[mark].photo.row} held out, but they are "
                    f"the same {what}; keep both on one side"
                )


def _mark(item: PhotoBag, what: str) -> str:
    return item.dial if what == "dial" else item.photo.sha256


def dial_key(photo: LabelledPhoto) -> str:
    """What tells a dial from others: its name within its source; a photograph without one is a dial of its own."""
    return f"{photo.source}\n{photo.dial}" if photo.dial else photo.sha256


def read_bags(
    photos: Sequence[LabelledPhoto], *, seed: int = 0, reader: Reader | None = None
) -> tuple[list[PhotoBag], tuple[str, ...]]:
    """Read photographs whose labels say something; (bags, what was left out, by row, and why).

    seed : of the patches chosen where a zone has more than MOST_PER_ZONE. reader : None for the shipped one.
    """
    bags: list[PhotoBag] = []
    unread = []
    for place, photo in enumerate(photos):
        if not _says_something(photo):
            unread.append(f"row {photo.row} ({photo.name}): its labels settle nothing")
            continue
        try:
            reading = _read(photo, reader)
        except DialtellError as error:
            unread.append(f"row {photo.row}: {error}")
            continue
        if isinstance(reading, NoDial):
            unread.append(f"row {photo.row} ({photo.name}): no dial was found, {reading.reason}; give its outline")
        elif len(reading.patches) < FEWEST_PATCHES:
            unread.append(f"row {photo.row} ({photo.name}): {len(reading.patches)} patches with strokes are too few")
        else:
            bags.append(PhotoBag(photo, dial_key(photo), photo_bag(photo, reading, index=-1 - place, seed=seed)))
    return bags, tuple(unread)


def _says_something(photo: LabelledPhoto) -> bool:
    return photo.dial_process in _SIDE or any(label in _SIDE for label in photo.zones.values())


def _read(photo: LabelledPhoto, reader: Reader | None) -> Reading | NoDial:
    """What the row says of the photograph is used; of a close-up at several scales the likeliest."""
    known = photo.known()
    found = read(read_photo(photo.path, max_pixels=known.max_pixels), known, reader)
    return found if isinstance(found, NoDial) else found[0]


def photo_bag(photo: LabelledPhoto, reading: Reading, *, index: int, seed: int = 0) -> Bag:
    """A bag like those of drawn dials. A zone without a label of its own has its dial's, if that is one process.

    index : negative, so that no drawn picture has it.
    """
    rng = np.random.default_rng([seed, -index, 79])
    coarse, patches = reading.patches, reading.patches.joined
    keep = []
    for zone in range(len(ZONES)):
        found = np.flatnonzero(coarse.zone == zone)
        keep.append(np.sort(rng.permutation(found)[:MOST_PER_ZONE]))
    chosen = np.concatenate([*keep, np.arange(len(coarse), len(patches))])
    whole = _SIDE.get(photo.dial_process, -1)
    hand = [_SIDE.get(photo.zones[zone], -1) if zone in photo.zones else whole for zone in ZONES]
    printed = photo.print_process if photo.print_process != CANNOT_TELL else ""
    return Bag(
        density=pack(patches.density[chosen]),
        zone=patches.zone[chosen].astype(np.int8),
        resolution=patches.resolution,
        hand=np.array(hand, dtype=np.int8),
        dial=whole,
        photographic=int(printed == Process.PHOTOGRAPHIC) if printed else -1,
        index=index,
        scale=patches.scales[chosen].astype(np.float32),
    )


def split_by_dial(bags: Sequence[PhotoBag], *, seed: int = 0, unread: Sequence[str] = ()) -> PhotoSplit:
    """Hold out HELD_OUT of the dials of each kind, drawn at random; ParameterError with fewer than LEAST_DIALS.

    Mixed dials, and such of which only zones are labelled, are split too, but do not count.
    """
    kinds: dict[str, dict[str, None]] = {PAINTED: {}, PRINTED: {}, MIXED: {}}
    for item in bags:
        kinds[item.photo.dial_process if item.photo.dial_process in _SIDE else MIXED][item.dial] = None
    rng = np.random.default_rng([seed, 80])
    held: set[str] = set()
    for kind, dials in kinds.items():
        if kind != MIXED and len(dials) < LEAST_DIALS:
            why = "".join(f"\n  {line}" for line in unread[:10])
            raise ParameterError(
                f"{len(dials)} {kind} dials could be read; label at least {LEAST_DIALS} painted and {LEAST_DIALS} "
                f"printed ones{why}"
            )
        count = max(round(HELD_OUT * len(dials)), LEAST_HELD_OUT if kind != MIXED else 0)
        held |= {str(dial) for dial in rng.permutation(np.array(list(dials), dtype=object))[:count]}
    # a dial may be labelled in one photograph and left open in another: it stays on one side
    return PhotoSplit(
        learnt=tuple(item for item in bags if item.dial not in held),
        held_out=tuple(item for item in bags if item.dial in held),
        unread=tuple(unread),
    )


def count_dials(bags: Sequence[PhotoBag]) -> dict[str, int]:
    """photographs, and dials painted, printed and other."""
    kinds: dict[str, str] = {}
    for item in bags:
        kind = item.photo.dial_process if item.photo.dial_process in _SIDE else "other"
        if kinds.get(item.dial, "other") == "other":
            kinds[item.dial] = kind
    counts = {kind: list(kinds.values()).count(kind) for kind in (PAINTED, PRINTED, "other")}
    return {"photographs": len(bags), **counts}
