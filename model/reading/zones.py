"""Which part of the dial is which: track, figures, seconds bit, signature, from what the reader sees in every pixel.

All in the dial frame (dial radii, 12 o'clock up). A zone is where its ink is seen; a place without ink of the design
near it belongs to none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.divisions import Divisions
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import MarkedPlace
from dialtell.model.reading.looks import Look
from dialtell.synth.shared.look_sizes import SIDE, SQUARE
from dialtell.synth.shared.terms import INK_SEEN, SEEN, ZONES, Seen, Zone

Floats = NDArray[np.float64]
Index = NDArray[np.uint8]
Flags = NDArray[np.bool_]

MAP_SCALE = 240  # px per dial radius of the map zones are looked for on
EXTENT = 1.02  # dial radii from the centre to the border of the map
INK = 0.15  # optical density above the ground from which a place counts as ink
NEAR = 0.07  # dial radii from its ink that a zone reaches: half the diagonal of a patch, so that one with ink counts
# px of the map of a zone's ink, fewer of which are chance: between what 76 drawn enamel dials show with and without it
FEWEST = {
    Zone.SIGNATURE: 300, Zone.NUMERALS: 600, Zone.MINUTE_TRACK: 150, Zone.SECONDS_BIT: 250, Zone.OTHER: 300,
}  # fmt: skip
# share of the turn, of what is seen of it, that a ring must reach round; twelve narrow figures fill a fifth of it
AROUND = {Zone.NUMERALS: 0.17, Zone.MINUTE_TRACK: 0.35}
THIN = 0.12  # of the most ink on any circle: a ring ends where there is less
GAP = 0.025  # dial radii without ink that do not end a ring
SECTORS = 60
SUB_DIALS = (0.09, 0.42)  # dial radii, smallest and largest
# what lies over the design or is none, so that nothing there is read as a stroke
HIDING = (Seen.NOT_DIAL, Seen.GLARE, Seen.HOLE, Seen.HAND, Seen.OVERLAY)
EDGES = (Seen.STEP, Seen.DAMAGE)
# as what a place counts that a person marked as not of the design
MARKED_AS = {"hand": Seen.HAND, "stain": Seen.OVERLAY, "label": Seen.OVERLAY, "reflection": Seen.GLARE}


@dataclass(frozen=True)
class Circle:
    """A sub-dial. x, y, radius in dial radii; strength 0..1 how far round its ink reaches."""

    x: float
    y: float
    radius: float
    strength: float


@dataclass(frozen=True, eq=False)
class ZoneMap:
    """Where the zones lie.

    label : (S, S) int8 index into ZONES at MAP_SCALE, -1 outside all; the dial centre is at the middle.
    seen : (S, S) uint8 index into SEEN: what every place shows.
    track : (inner, outer) dial radii of the divisions, or None without any.
    ticks : dial radii, where the divisions themselves stand, None where that was not measured.
    numerals : (inner, outer) dial radii of the figures, or where they would be.
    seconds : the seconds bit, or None. counters : other sub-dials.
    found : zones whose ink is seen.
    named : false in a close-up that does not show which part of the dial it is of: all strokes are one zone, `other`.
    """

    label: NDArray[np.int8]
    seen: Index
    track: tuple[float, float] | None
    numerals: tuple[float, float]
    seconds: Circle | None
    counters: tuple[Circle, ...]
    found: frozenset[Zone] = frozenset(ZONES)
    named: bool = True
    ticks: float | None = None

    @property
    def hands(self) -> Flags:
        """(S, S) where watch hands or their shadows cover the dial."""
        return np.asarray(self.seen == SEEN.index(Seen.HAND))

    @property
    def hidden(self) -> Flags:
        """(S, S) where something lies over the design, or the dial is not: nothing there is a stroke."""
        return np.isin(self.seen, [SEEN.index(one) for one in HIDING])

    @property
    def edges(self) -> Flags:
        """(S, S) where a step, a ring of metal or damage is seen, which is none of the design's strokes either."""
        return np.isin(self.seen, [SEEN.index(one) for one in EDGES])

    def seen_by(self, seen: Index) -> ZoneMap:
        """The same zones of the same dial in another photograph. seen : (S, S) what every place shows there.

        What was hidden here may be shown there: within the rings of track and figures it belongs to these.
        """
        label = self.label.copy()
        _, _, radius, _ = lattice()
        for zone, band in ((Zone.NUMERALS, self.numerals), (Zone.MINUTE_TRACK, self.track)):
            if zone in self.found and band is not None:
                inside = (radius > band[0]) & (radius < band[1]) & (label < 0) & self.hidden
                label[inside] = ZONES.index(zone)
        return replace(self, label=label, seen=seen)

    def at(self, points: Floats) -> NDArray[np.int8]:
        """Zone index at (..., 2) dial radii, -1 outside."""
        cell = np.floor((np.asarray(points) + EXTENT) * MAP_SCALE).astype(int)
        side = len(self.label)
        inside = ((cell >= 0) & (cell < side)).all(axis=-1)
        cell = np.clip(cell, 0, side - 1)
        return np.where(inside, self.label[cell[..., 1], cell[..., 0]], -1).astype(np.int8)

    def share(self, where: Flags, points: Floats) -> Floats:
        """Share of (N, ..., 2) dial-radii points, per N, that lie where a map like `hidden` is true."""
        cell = np.clip(np.floor((points + EXTENT) * MAP_SCALE).astype(int), 0, len(where) - 1)
        covered = where[cell[..., 1], cell[..., 0]]
        return np.asarray(covered.mean(axis=tuple(range(1, covered.ndim))), dtype=np.float64)

    def polygon(self, zone: Zone, count: int = 72) -> Floats:
        """Outline of a zone, (N, 2) dial radii; a ring is outlined as its outer circle, then its inner one. Empty for a
        zone that is not there."""
        if not self.named:
            corner = EXTENT * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
            return corner if zone is Zone.OTHER else np.empty((0, 2))
        if zone not in self.found:
            return np.empty((0, 2))
        if zone is Zone.SECONDS_BIT:
            return _circle(self.seconds, count) if self.seconds else np.empty((0, 2))
        if zone in (Zone.MINUTE_TRACK, Zone.NUMERALS):
            band = self.numerals if zone is Zone.NUMERALS else self.track
            if band is None:
                return np.empty((0, 2))
            inner, outer = band
            turn = np.linspace(0, 2 * np.pi, count)
            out = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
            return np.concatenate([outer * out, inner * out[::-1]])
        if zone is Zone.SIGNATURE:
            return _hull(self.seen == SEEN.index(Seen.SIGNATURE))
        mask = (self.label == ZONES.index(zone)).astype(np.uint8)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        if not outlines:
            return np.empty((0, 2))
        largest = cv2.approxPolyDP(max(outlines, key=cv2.contourArea), 3.0, True)[:, 0, :]
        return np.asarray((largest + 0.5) / MAP_SCALE - EXTENT, dtype=np.float64)


@lru_cache(maxsize=1)
def lattice() -> tuple[Floats, Floats, Floats, Floats]:
    """x, y and distance from the centre, dial radii, and turn from 12 (radians) of the map's pixels, (S, S) each.

    Not to be written to.
    """
    axis = (np.arange(round(2 * EXTENT * MAP_SCALE)) + 0.5) / MAP_SCALE - EXTENT
    x, y = np.meshgrid(axis, axis)
    return x, y, np.hypot(x, y), np.arctan2(x, -y)


def find_zones(look: Look, rotation: float, divisions: Divisions | None) -> ZoneMap:
    """The zones of a dial from the reader's square look at it.

    rotation : radians, 12 o'clock clockwise from up in the look. divisions : of the minute track, if any were found.
    """
    seen = turned_up(look.seen, rotation)
    framed = seen != SEEN.index(Seen.NOT_DIAL)
    ink = {zone: seen == SEEN.index(INK_SEEN[zone]) for zone in ZONES}
    seconds = sub_dial(ink[Zone.SECONDS_BIT])
    track = _ring(Zone.MINUTE_TRACK, ink, framed)
    ticks = None
    if track is not None and divisions is not None and track[0] - 0.05 < divisions.radius < track[1] + 0.05:
        ticks = divisions.radius
        track = min(track[0], ticks - 0.012), max(track[1], ticks + 0.012)
    numerals = _ring(Zone.NUMERALS, ink, framed)
    if numerals is None:  # figures that form no ring are of a sub-dial or the like
        ink[Zone.OTHER] = ink[Zone.OTHER] | ink[Zone.NUMERALS]
    counters = _counters(ink[Zone.OTHER])
    found = {zone for zone in (Zone.SIGNATURE, Zone.OTHER) if np.count_nonzero(ink[zone]) >= FEWEST[zone]}
    found |= {Zone.NUMERALS} if numerals is not None else set()
    found |= {Zone.MINUTE_TRACK} if track is not None else set()
    found |= {Zone.SECONDS_BIT} if seconds is not None else set()
    label = _labels({zone: ink[zone] for zone in ZONES if zone in found})  # a set has no order of its own
    if seconds is not None:
        x, y, _, _ = lattice()
        label[np.hypot(x - seconds.x, y - seconds.y) < seconds.radius] = ZONES.index(Zone.SECONDS_BIT)
    outer = (track[0] if track else 0.86) - 0.004
    return ZoneMap(
        label, seen, track, numerals or (outer - 0.3, outer), seconds, counters, frozenset(found), ticks=ticks
    )


def unnamed_zones(seen: Index | None = None) -> ZoneMap:
    """The map of a close-up whose place on the dial is not known: everything is `other`.

    seen : (S, S) what every place shows, None where that was not looked at.
    """
    shape = lattice()[0].shape
    label = np.full(shape, ZONES.index(Zone.OTHER), dtype=np.int8)
    shown = np.full(shape, SEEN.index(Seen.ENAMEL), np.uint8) if seen is None else seen
    return ZoneMap(label, shown, None, (0.0, EXTENT), None, (), frozenset({Zone.OTHER}), named=False)


def marked(zones: ZoneMap, geometry: DialGeometry, places: Sequence[MarkedPlace]) -> ZoneMap:
    """The same with what a person marked on the photograph, later places over earlier ones.

    What is named as a zone's is its ink; hands and the like that are seen there stay left out. Where the photograph
    does not show which part of the dial it is of, no zone can be named.
    """
    label, seen = zones.label.copy(), zones.seen.copy()
    inks = [SEEN.index(ink) for ink in INK_SEEN.values()]
    x, y, radius, _ = lattice()
    bands, seconds, found = {Zone.NUMERALS: zones.numerals, Zone.MINUTE_TRACK: zones.track}, zones.seconds, zones.found
    for place in places:
        corners = (geometry.to_dial(np.array(place.polygon)) + EXTENT) * MAP_SCALE - 0.5
        inside = cv2.fillPoly(np.zeros_like(seen), [np.rint(corners * 16).astype(np.int32)], (1,), shift=4) > 0
        zone = place.zone
        if zone is None:
            seen[inside] = SEEN.index(MARKED_AS[place.what])
        elif zones.named and inside.any():
            label[inside] = ZONES.index(zone)
            seen[inside & np.isin(seen, inks)] = SEEN.index(INK_SEEN[zone])
            if zone in bands and zone not in found:
                bands[zone] = float(radius[inside].min()), min(float(radius[inside].max()), 1.0)
            if zone is Zone.SECONDS_BIT and seconds is None:
                reach = min(max(math.sqrt(np.count_nonzero(inside) / math.pi) / MAP_SCALE, SUB_DIALS[0]), SUB_DIALS[1])
                seconds = Circle(float(x[inside].mean()), float(y[inside].mean()), reach, 1.0)
            found |= {zone}
    return replace(
        zones, label=label, seen=seen, numerals=bands[Zone.NUMERALS] or zones.numerals,
        track=bands[Zone.MINUTE_TRACK], seconds=seconds, found=found,
    )  # fmt: skip


def seen_within(look: Look, geometry: DialGeometry) -> Index:
    """(S, S) map of what a look at the whole photograph sees, within a geometry; nothing of the dial outside it."""
    x, y, _, _ = lattice()
    points = geometry.to_photo(np.stack([x, y], axis=-1)) @ look.onto[:, :2].T + look.onto[:, 2]
    column, row = (points[..., k].astype(np.float32) - np.float32(0.5) for k in (0, 1))
    return np.asarray(cv2.remap(look.seen, column, row, cv2.INTER_NEAREST), np.uint8)


def turned_up(seen: Index, rotation: float) -> Index:
    """(S, S) map of the dial with 12 up from a square look."""
    c, s = math.cos(rotation), math.sin(rotation)
    matrix = SQUARE / MAP_SCALE * np.array([[c, -s], [s, c]])
    side = round(2 * EXTENT * MAP_SCALE)
    first = SIDE / 2 - 0.5 + matrix @ np.full(2, 0.5 - side / 2)
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(seen, np.column_stack([matrix, first]), (side, side), flags=flags), np.uint8)


def sub_dial(ink: Flags) -> Circle | None:
    """The circle that the ink of a seconds bit fills, None where it fills none."""
    if np.count_nonzero(ink) < FEWEST[Zone.SECONDS_BIT]:
        return None
    x, y, _, _ = lattice()
    # hands and holes within it are of it; what lies far from the rest is not
    near = cv2.morphologyEx(ink.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((19, 19), np.uint8))
    _, piece = cv2.connectedComponents(near)
    weight = np.bincount(piece[ink])
    weight[0] = 0
    own = ink & (piece == int(weight.argmax()))
    across, down = np.quantile(x[own], (0.005, 0.995)), np.quantile(y[own], (0.005, 0.995))
    centre = 0.5 * across.sum(), 0.5 * down.sum()
    radius = 0.25 * (across[1] - across[0] + down[1] - down[0])
    if not SUB_DIALS[0] <= radius <= SUB_DIALS[1] or abs(np.ptp(across) - np.ptp(down)) > 0.35 * 2 * radius:
        return None
    distance = np.hypot(x - centre[0], y - centre[1])
    reaches = own & (distance > 0.55 * radius)
    sector = ((np.arctan2(x - centre[0], centre[1] - y)[reaches] / (2 * np.pi)) % 1.0 * 24).astype(int)
    strength = float((np.bincount(sector, minlength=24) > 0).mean())
    return Circle(float(centre[0]), float(centre[1]), float(radius + 0.02), strength) if strength > 0.5 else None


def _counters(ink: Flags) -> tuple[Circle, ...]:
    """Sub-dials other than the seconds bit: each piece of the other ink that fills a circle off the centre."""
    if np.count_nonzero(ink) < FEWEST[Zone.OTHER]:
        return ()
    near = cv2.morphologyEx(ink.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((19, 19), np.uint8))
    count, piece = cv2.connectedComponents(near)
    sizes = np.bincount(piece[ink], minlength=count)
    found = []
    for index in np.argsort(sizes[1:])[::-1][:4] + 1:
        circle = sub_dial(ink & (piece == index))
        if circle is not None and circle.strength > 0.7 and math.hypot(circle.x, circle.y) > 0.2:
            found.append(circle)
    return tuple(found)


def _ring(zone: Zone, of: dict[Zone, Flags], framed: Flags) -> tuple[float, float] | None:
    """Dial radii between which the ink of a ring lies, None where too little of it reaches round."""
    ink = of[zone]
    _, _, radius, turn = lattice()
    if np.count_nonzero(ink) < FEWEST[zone]:
        return None
    step = 0.005
    count = np.bincount((radius[ink] / step).astype(int), minlength=round(EXTENT / step) + 2).astype(np.float64)
    level = np.convolve(count / (np.arange(len(count)) + 0.5), np.ones(3) / 3, mode="same")
    strong = cv2.morphologyEx(
        (level > THIN * level.max()).astype(np.uint8)[None],
        cv2.MORPH_CLOSE,
        np.ones((1, 2 * round(GAP / step / 2) + 1), np.uint8),
    )[0]
    _, piece = cv2.connectedComponents(strong[None])
    own = np.flatnonzero(piece[0] == piece[0][int(level.argmax())])
    inner, outer = own[0] * step, (own[-1] + 1) * step
    if outer < 0.3:
        return None
    sector = ((turn / (2 * np.pi)) % 1.0 * SECTORS).astype(int)
    there = framed & (radius > inner) & (radius < outer)
    shown = np.bincount(sector[there], minlength=SECTORS) > 0
    inked = np.bincount(sector[ink & there], minlength=SECTORS) > 0
    if inked.sum() < AROUND[zone] * max(shown.sum(), 1):
        return None
    return max(float(inner) - 0.008, 0.0), min(float(outer) + 0.008, 1.0)


def _labels(ink: dict[Zone, Flags]) -> NDArray[np.int8]:
    """Each place the zone of the ink nearest to it, -1 where none is near."""
    label = np.full(lattice()[0].shape, -1, dtype=np.int8)
    best = np.full(label.shape, NEAR * MAP_SCALE, np.float32)
    for zone, there in ink.items():
        away = cv2.distanceTransform((~there).astype(np.uint8), cv2.DIST_L2, 3)
        closer = away < best
        label[closer], best[closer] = ZONES.index(zone), away[closer]
    return label


def _hull(ink: Flags) -> Floats:
    """Convex outline of lettering, (N, 2) dial radii: of the largest group of its lines."""
    near = cv2.morphologyEx(ink.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((25, 41), np.uint8))
    count, piece = cv2.connectedComponents(near)
    sizes = np.bincount(piece[ink], minlength=count)
    rows, columns = np.nonzero((piece == int(sizes.argmax())) & ink)
    if len(rows) < 3:
        return np.empty((0, 2))
    hull = cv2.convexHull(np.stack([columns, rows], axis=1).astype(np.int32))[:, 0, :]
    return np.asarray((hull + 0.5) / MAP_SCALE - EXTENT, dtype=np.float64)


def _circle(circle: Circle, count: int) -> Floats:
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.stack([circle.x + circle.radius * np.sin(turn), circle.y - circle.radius * np.cos(turn)], axis=1)
