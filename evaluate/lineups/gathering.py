"""Every line-up of a dial: ticks and marks by place, figures, letters and dots by likeness, zone by zone.

The design is not given. Figures are found at the twelve places; whether they stand upright or point outwards, and
whether bars join their strokes, is what lets the most pieces of ink cover one another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.lineups.cuts import Cut, Field, nearest_piece
from dialtell.evaluate.lineups.line_up import LineUp, line_up
from dialtell.evaluate.lineups.pieces import (
    LETTERS_UNLIKE,
    UNLIKE,
    Pieces,
    find_pieces,
    groups_of,
    numbered_on,
    zone_ink,
)
from dialtell.evaluate.lineups.tracks import LEAST_SHARE, Track, find_track
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.synth.shared.terms import Zone

Floats = NDArray[np.float64]
Turn = Callable[[Floats], Floats]

SEED = 19
EDGE = 1.0  # dial radii, beyond which there is no enamel
BEYOND = 0.02  # dial radii by which ticks may stand outside the track as read
LEAST = {Zone.SIGNATURE: 2, Zone.NUMERALS: 3, Zone.MINUTE_TRACK: 4, Zone.SECONDS_BIT: 3, Zone.OTHER: 3}
FIVES = {Zone.MINUTE_TRACK: "five-minute marks", Zone.SECONDS_BIT: "five-second marks"}
QUARTERS, TENS = {"15", "30", "45", "60"}, {"10", "20", "30", "40", "50", "60"}
# which of these marks may be of another kind than the others: where they stand, and whether both kinds must then be
# alike among themselves (under the tens of a seconds dial its figures stand, each another)
KINDS = {Zone.MINUTE_TRACK: (("quarters", QUARTERS, True),),
         Zone.SECONDS_BIT: (("quarters", QUARTERS, True), ("tens", TENS, False))}  # fmt: skip
MOST_GROUPS = 6  # of a zone
SERIF = 0.2  # of the chapter's height, taken off at both ends so that bars do not join the strokes
APART = 0.7  # of the middle excess of all, below which quarters and the other five-minute marks are of two kinds
ROUND = 1.33  # times as long as broad at most, to be called a dot
NO_TRACK = 0.25  # likewise of what was cut by place: beyond, no track stands there
MOST_UNLIKE = 0.12  # of a group by likeness, median excess: beyond, it is of unlike letters after all


@dataclass(frozen=True, eq=False)
class LineUps:
    """Of one dial. field : what they were cut from. groups : in the examiner's order. track, seconds : where the
    divisions were found, None where there are none. upright : whether the hour figures all stand upright, as far as
    like strokes tell."""

    field: Field
    groups: tuple[LineUp, ...]
    track: Track | None
    seconds: Track | None
    upright: bool = False


def line_ups(sheet: StrokeSheet, most: int = MOST_GROUPS, wanted: Collection[Zone] = tuple(Zone)) -> LineUps:
    """All line-ups of a sheet, at most so many by likeness in a zone, and only of the zones wanted."""
    zones = sheet.zones
    rng = np.random.default_rng(SEED)
    track = seconds = None
    groups: list[tuple[Zone, str, list[Cut]]] = []
    labels, upright = np.zeros(sheet.light.shape, np.int32), False
    if zones.named:
        band = zones.track or (max(zones.numerals[1], 0.8), 0.985)
        track = find_track(sheet, (0.0, 0.0), (band[0] - BEYOND, min(band[1] + BEYOND, EDGE)))
        if zones.seconds is not None:
            circle = zones.seconds
            seconds = find_track(sheet, (circle.x, circle.y), (0.45 * circle.radius, 1.02 * circle.radius))
    for zone in [zone for zone in Zone if zone in wanted]:
        best: tuple[float, Pieces | None, list[list[Cut]]] = (0.0, None, [])
        for where, turn, name, tall in _ways(sheet, zone, track, seconds):
            free = zone in FIVES  # what is written about a track stands free of it
            pieces = find_pieces(sheet, where, turn, name, 1, free=free)
            own, unlike = nearest_piece(pieces.labels), UNLIKE.get(zone, LETTERS_UNLIKE)
            found, worth = groups_of(sheet, own, pieces.cuts, LEAST[zone], unlike)
            if worth > best[0]:
                upright = turn is _upright if zone is Zone.NUMERALS else upright
                best = worth, pieces, [[replace(cut, size=_whole(cut.size, tall)) for cut in group] for group in found]
        if best[1] is not None:
            first = int(labels.max()) + 1
            labels = np.where(best[1].labels > 0, numbered_on(best[1], first).labels, labels)
            groups += [
                (
                    zone,
                    _what(zone, group),
                    [replace(cut, owner=cut.owner + first - 1) for cut in _in_order(sheet, zone, group)],
                )
                for group in best[2][:most]
            ]
        for ring, of in ((track, Zone.MINUTE_TRACK), (seconds, Zone.SECONDS_BIT)):
            if ring is not None and of is zone:
                groups += [(zone, FIVES[zone], list(ring.fives)), (zone, "ticks", list(ring.ticks))]
    # what is ink of none of them, a ring beside a figure, is no part of theirs; bars taken off a figure's ends are
    foreign = (labels == 0) & (sheet.light < 1.0 - 0.3 * (1.0 - sheet.black)) & ~zone_ink(sheet, Zone.NUMERALS)
    labels[foreign] = int(labels.max()) + 1
    field = Field(sheet, nearest_piece(labels))
    kept: list[LineUp] = []
    seen: set[Zone] = set()  # with divisions that are like one another
    for zone, what, cuts in groups:
        placed = bool(cuts) and cuts[0].owner == 0
        limit = NO_TRACK if placed else MOST_UNLIKE
        good = [one for one in _lined(field, zone, what, cuts, rng) if np.median(one.excess) < limit]
        if placed and sum(len(one.cuts) for one in good) < LEAST_SHARE * len(cuts):
            continue
        kept += good
        seen |= {zone} if placed else set()
    track, seconds = (
        ring if zone in seen else None for ring, zone in ((track, Zone.MINUTE_TRACK), (seconds, Zone.SECONDS_BIT))
    )
    return LineUps(field, tuple(kept), track, seconds, upright)


def _lined(field: Field, zone: Zone, what: str, cuts: list[Cut], rng: np.random.Generator) -> list[LineUp]:
    """A group lined up, in two where the marks of the quarters, or of the tens, are of another kind than the others."""
    if len(cuts) < 2:
        return []
    whole = line_up(field, zone, what, cuts, rng)
    if what == FIVES.get(zone):
        together = math.inf if whole is None else float(np.median(whole.excess))
        for where, those, all_alike in KINDS[zone]:
            split = [[cut for cut in cuts if (cut.name in those) is at] for at in (True, False)]
            if min(map(len, split)) < 3:
                continue
            names = (f"{what} at the {where}", f"other {what}")
            two = [line_up(field, zone, name, own, rng) for name, own in zip(names, split, strict=True)]
            apart = [one for one in two if one is not None]
            left = sorted(float(np.median(one.excess)) for one in apart)
            if len(apart) == 2 and left[all_alike] < APART * together and left[1] <= together:
                return apart
    return [] if whole is None else [whole]


def _in_order(sheet: StrokeSheet, zone: Zone, group: list[Cut]) -> list[Cut]:
    """Letters line by line from the left, all else clockwise from 12."""
    if zone is Zone.SIGNATURE or not sheet.zones.named:
        tall = 1.5 * max(cut.size[1] for cut in group)
        return sorted(group, key=lambda cut: (round(cut.y / tall), cut.x))
    turn = {cut: _turn_of(sheet.to_dial(np.array([[cut.x, cut.y]])))[0] for cut in group}
    return sorted(group, key=lambda cut: (turn[cut] + 0.2) % (2 * math.pi))


def _whole(size: tuple[float, float], tall: float) -> tuple[float, float]:
    """Size of a stroke whose ends were taken off so as to find it. tall : sheet px of it whole, 0 if it is."""
    return (size[0] + 0.25 * tall, max(size[1], tall)) if tall else size


def _what(zone: Zone, group: list[Cut]) -> str:
    """What a group by likeness is, without reading it."""
    across, down = np.median([cut.size for cut in group], axis=0)
    if 1 / ROUND < across / down < ROUND and zone is not Zone.NUMERALS and max(across, down) < 12:
        return "small letters or marks" if zone is Zone.SIGNATURE else "dots or small marks"
    return {Zone.SIGNATURE: "like letters", Zone.NUMERALS: "like strokes of the figures"}.get(
        zone, "like small strokes"
    )


def _ways(
    sheet: StrokeSheet, zone: Zone, track: Track | None, seconds: Track | None
) -> list[tuple[NDArray[np.bool_], Turn, Callable[[Floats], list[str]], float]]:
    """Ways of cutting a zone's ink into pieces and of turning them upright: where, up, names, and how tall a stroke is
    of which the ends were taken off, sheet px."""
    zones, where = sheet.zones, zone_ink(sheet, zone)
    if not where.any():
        return []
    if zone in (Zone.SIGNATURE, Zone.OTHER) or not zones.named:
        return [(where, _upright, _unnamed, 0.0)]
    if zone is Zone.NUMERALS:
        radius = _radius(sheet, (0.0, 0.0))
        low, high = _ink_band(sheet, where, radius, zones.numerals)
        cut = SERIF * (high - low)
        stems = where & (radius > low + cut) & (radius < high - cut)
        hours = _hour_names()
        tall = (high - low) * sheet.scale
        return [
            (where, _by_hour, hours, 0.0), (where, _upright, hours, 0.0), (where, _readable, hours, 0.0),
            (stems, _outwards, hours, tall), (stems, _by_hour, hours, tall),
        ]  # fmt: skip
    ring = track if zone is Zone.MINUTE_TRACK else seconds
    if ring is None:
        return []
    radius = _radius(sheet, ring.centre)
    room = max(3.0 / sheet.scale, 0.35 * (ring.band[1] - ring.band[0]))  # ticks may reach further than most do
    off = where & ((radius < ring.band[0] - room) | (radius > ring.band[1] + room))
    name = _minute_names(ring.centre)
    return [(off, _upright, name, 0.0), (off, _about(ring.centre), name, 0.0)]


def _radius(sheet: StrokeSheet, centre: tuple[float, float]) -> Floats:
    """(H, W) dial radii of each px of the sheet from a centre."""
    height, width = sheet.light.shape
    x = sheet.corner[0] + (np.arange(width) + 0.5) / sheet.scale - centre[0]
    y = sheet.corner[1] + (np.arange(height) + 0.5) / sheet.scale - centre[1]
    return np.asarray(np.hypot(x[None, :], y[:, None]))


def _ink_band(
    sheet: StrokeSheet, where: NDArray[np.bool_], radius: Floats, given: tuple[float, float]
) -> tuple[float, float]:
    """Between which dial radii nearly all of the figures' ink lies."""
    ink = radius[where & (sheet.light < 1.0 - 0.3 * (1.0 - sheet.black))]
    if len(ink) < 50:
        return given
    low, high = np.quantile(ink, (0.01, 0.99))
    return float(low), float(high)


def _upright(points: Floats) -> Floats:
    return np.zeros(len(points))


def _turn_of(points: Floats, centre: tuple[float, float] = (0.0, 0.0)) -> Floats:
    return np.asarray(np.arctan2(points[:, 0] - centre[0], centre[1] - points[:, 1]))


def _outwards(points: Floats) -> Floats:
    """Heads outwards, each stroke by its own direction from the centre."""
    return _turn_of(points)


def _by_hour(points: Floats) -> Floats:
    """Heads outwards, all strokes of an hour side by side."""
    return np.asarray(np.round(_turn_of(points) / (math.pi / 6)) * (math.pi / 6))


def _readable(points: Floats) -> Floats:
    """Heads outwards above and inwards below, as figures that can be read from one side."""
    turn = _by_hour(points)
    return np.asarray(np.where(np.abs(turn) > 0.5 * math.pi + 0.1, turn + math.pi, turn))


def _about(centre: tuple[float, float]) -> Turn:
    return lambda points: _turn_of(points, centre)


def _unnamed(points: Floats) -> list[str]:
    return [""] * len(points)


def _hour_names() -> Callable[[Floats], list[str]]:
    def names(points: Floats) -> list[str]:
        hours = np.round(_turn_of(points) / (math.pi / 6)).astype(int) % 12
        return [str(hour or 12) for hour in hours]

    return names


def _minute_names(centre: tuple[float, float]) -> Callable[[Floats], list[str]]:
    def names(points: Floats) -> list[str]:
        minutes = np.round(_turn_of(points, centre) / (math.pi / 30)).astype(int) % 60
        return [str(minute or 60) for minute in minutes]

    return names
