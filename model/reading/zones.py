"""Which part of the dial is which: track, figures, seconds bit, signature, found from the ink itself.

All in the dial frame (dial radii, 12 o'clock up). Layouts differ, so nothing is taken from a template but the
order of things: a track of 60 divisions outside, figures inside it, the signature above the centre.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.covering import find_hands
from dialtell.model.reading.geometry import DialGeometry, Image, rectify
from dialtell.model.reading.polar import EXTENT, MAP_SCALE, lattice, unwrap
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]

INK = 0.15  # optical density above the ground from which a place counts as ink
HUB = 0.13  # dial radii kept free about the centre: hole, hands' bosses
SIDEWAYS = 0.06  # dial radii
IN_FRAME = 0.6  # share of a circle's turn
COMPLETE = 0.45  # share of ink on all but the barest fifth of a circle, from which it is a sub-dial's
ANGLES = 1440  # samples round the turn


@dataclass(frozen=True)
class Circle:
    """A sub-dial. x, y, radius in dial radii; strength 0..1 how complete the circle of ink is."""

    x: float
    y: float
    radius: float
    strength: float


@dataclass(frozen=True, eq=False)
class ZoneMap:
    """Where the zones lie.

    label : (S, S) int8 index into ZONES at MAP_SCALE, -1 outside all; the dial centre is at the middle.
    hands : (S, S) true where watch hands cover the dial.
    track : (inner, outer) dial radii of the divisions, or None without a periodic track.
    numerals : (inner, outer) dial radii of the figures.
    seconds : the seconds bit, or None. counters : other sub-dials.
    named : false in a close-up that does not show which part of the dial it is of: all strokes are one zone, `other`.
    """

    label: NDArray[np.int8]
    hands: NDArray[np.bool_]
    track: tuple[float, float] | None
    numerals: tuple[float, float]
    seconds: Circle | None
    counters: tuple[Circle, ...]
    named: bool = True

    def at(self, points: Floats) -> NDArray[np.int8]:
        """Zone index at (..., 2) dial radii, -1 outside."""
        cell = np.floor((np.asarray(points) + EXTENT) * MAP_SCALE).astype(int)
        side = len(self.label)
        inside = ((cell >= 0) & (cell < side)).all(axis=-1)
        cell = np.clip(cell, 0, side - 1)
        return np.where(inside, self.label[cell[..., 1], cell[..., 0]], -1).astype(np.int8)

    def hand_share(self, points: Floats) -> Floats:
        """Share of (N, ..., 2) dial-radii points, per N, that a watch hand covers."""
        cell = np.clip(np.floor((points + EXTENT) * MAP_SCALE).astype(int), 0, len(self.hands) - 1)
        covered = self.hands[cell[..., 1], cell[..., 0]]
        return np.asarray(covered.mean(axis=tuple(range(1, covered.ndim))), dtype=np.float64)

    def polygon(self, zone: Zone, count: int = 72) -> Floats:
        """Outline of a zone, (N, 2) dial radii; a ring is outlined as its outer circle, then its inner one."""
        if not self.named:
            corner = EXTENT * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
            return corner if zone is Zone.OTHER else np.empty((0, 2))
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
        mask = (self.label == ZONES.index(zone)).astype(np.uint8)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        if not outlines:
            return np.empty((0, 2))
        largest = cv2.approxPolyDP(max(outlines, key=cv2.contourArea), 3.0, True)[:, 0, :]
        return np.asarray((largest + 0.5) / MAP_SCALE - EXTENT, dtype=np.float64)


def find_zones(density: Image, geometry: DialGeometry, track_radius: float | None = None) -> ZoneMap:
    """Find the zones of a dial whose geometry already carries its rotation.

    density : (H, W) float32 optical density above the local ground, photo px.
    track_radius : dial radii where divisions were found (Rotation.track_radius), which are then not asked for again.
    """
    flat = rectify(density, geometry, MAP_SCALE, extent=EXTENT)
    shown = _shown(density.shape, geometry)
    if shown is not None:
        flat = np.where(shown, flat, np.float32(0))
    ink = _ink(flat, INK)
    hands = find_hands(ink)
    ink = np.where(hands, np.float32(0), ink)
    faint = np.where(hands, np.float32(0), _ink(flat, _faintest(flat, shown)))
    track = _track_band(unwrap(faint, 0.0, 0.0, EXTENT, ANGLES), track_radius)
    if track is None:
        track = _track_band(unwrap(ink, 0.0, 0.0, EXTENT, ANGLES), track_radius)
    seconds = find_circle(faint, low=0.38, high=0.62, shown=shown)
    # a counter never comes alone, and there is lettering in its place on most dials: be stricter
    upper = find_circle(faint, low=-0.58, high=-0.34, shown=shown) if seconds else None
    counters = (upper,) if upper is not None and upper.strength > 0.6 else ()
    outer = (track[0] if track else 0.86) - 0.004
    inner = _figures_inner(ink, outer, [c for c in (seconds, *counters) if c], shown)
    return ZoneMap(_labels((inner, outer), seconds, counters), hands, track, (inner, outer), seconds, counters)


def unnamed_zones() -> ZoneMap:
    """The map of a close-up whose place on the dial is not known: everything is `other`, nothing is a watch hand."""
    shape = lattice()[0].shape
    label = np.full(shape, ZONES.index(Zone.OTHER), dtype=np.int8)
    return ZoneMap(label, np.zeros(shape, np.bool_), None, (0.0, EXTENT), None, (), named=False)


def _ink(flat: Image, level: float) -> Image:
    """0 on enamel, 1 from a density of one and a half times `level` upwards."""
    return np.asarray(np.clip((flat - np.float32(0.5 * level)) / np.float32(level), 0.0, 1.0), dtype=np.float32)


def _faintest(flat: Image, shown: NDArray[np.bool_] | None) -> float:
    """Optical density from which a place counts as ink where lines are faint: well above the enamel's own grain.

    A hairline in a soft photograph keeps a tenth of its density.
    """
    inside = lattice()[2] < 0.9
    bare = flat[(inside if shown is None else inside & shown) & (np.abs(flat) < INK)]
    if bare.size < 1000:
        return INK
    spread = 1.4826 * float(np.median(np.abs(bare[::7] - np.median(bare[::7]))))
    return float(np.clip(5.0 * spread, 0.05, INK))


def _shown(shape: tuple[int, ...], geometry: DialGeometry) -> NDArray[np.bool_] | None:
    """Where the rectified map lies in the frame; None if all of it does."""
    corners = geometry.to_photo(EXTENT * np.array([[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]]))
    size = np.array([shape[1], shape[0]])
    if (corners >= 0).all() and (corners <= size).all():
        return None
    x, y, _, _ = lattice()
    m, (cx, cy) = geometry.matrix, geometry.center_px
    column, row = m[0, 0] * x + m[0, 1] * y + cx, m[1, 0] * x + m[1, 1] * y + cy
    return np.asarray((column > 1) & (row > 1) & (column < size[0] - 1) & (row < size[1] - 1))


def _track_band(polar: Image, near: float | None) -> tuple[float, float] | None:
    """Radii between which ink repeats sixty times a turn; with `near`, dial radii, the band about that radius."""
    spectrum = np.abs(np.fft.rfft(polar - polar.mean(axis=0), axis=0))
    total = np.sqrt((spectrum[1:] ** 2).sum(axis=0)) + 1e-6
    sixty = spectrum[60] + spectrum[120]
    sixty = cv2.GaussianBlur(sixty.reshape(1, -1), (0, 0), 1.2)[0]
    radius = (np.arange(len(sixty)) + 0.5) / MAP_SCALE
    usable = (radius > 0.66) & (radius < 0.995) if near is None else np.abs(radius - near) < 0.012
    score = np.where(usable, sixty, 0.0)
    best = int(np.argmax(score))
    if near is None:
        around = np.median(spectrum[40:200, best]) + 1e-6
        if score[best] < 6 * around or score[best] < 0.25 * total[best]:
            return None
    strong = (sixty > 0.4 * score[best]) & (radius > 0.66) & (radius < 0.995)
    low, high = best, best
    while low > 0 and strong[low - 1]:
        low -= 1
    while high + 1 < len(strong) and strong[high + 1]:
        high += 1
    return max(float(radius[low]) - 0.012, 0.6), min(float(radius[high]) + 0.012, 1.0)


def find_circle(ink: Image, *, low: float, high: float, shown: NDArray[np.bool_] | None = None) -> Circle | None:
    """A sub-dial near the upright, centred between y = low and high: the circle most completely lined with ink.

    Completeness ties at 1 for every circle near the right one; how much of the line is ink itself decides then.
    A dial seen from near by has its sub-dials off the upright by up to SIDEWAYS.
    shown : where the map is in the frame, None everywhere; a circle needs IN_FRAME of its turn there.
    """
    frame = None if shown is None else shown.astype(np.float32)
    best, most = None, 0.0
    coarse = [(x, y) for y in np.arange(low, high + 1e-9, 0.02) for x in np.arange(-SIDEWAYS, SIDEWAYS + 1e-9, 0.02)]
    for x, y in coarse:
        score, circle = _circle_about(ink, frame, float(x), float(y))
        if score > most:
            best, most = circle, score
    if best is None:
        return None
    start = best
    for dy in (-0.01, 0.0, 0.01):
        for dx in (-0.01, 0.0, 0.01):
            score, circle = _circle_about(ink, frame, start.x + dx, start.y + dy)
            if score > most:
                best, most = circle, score
    if not low - 0.005 <= best.y <= high + 0.005:  # what lies beyond is better still
        return None
    return Circle(best.x, best.y, min(best.radius + 0.03, 0.36), best.strength)


def _circle_about(ink: Image, frame: Image | None, x: float, y: float) -> tuple[float, Circle]:
    """The best lined circle about a place and its score; 0 if none is lined well enough."""
    least = int(0.15 * MAP_SCALE)
    first = least - 1  # the ring inside the smallest circle, which the filters look at
    polar = unwrap(ink, x, y, 0.33, 180, first=first)
    band = cv2.dilate(polar, np.ones((9, 3), np.uint8))  # 18 degrees: from one mark to the next
    lined = cv2.blur(polar, (3, 1)).mean(axis=0)
    fifth = len(band) // 5
    if frame is None:
        filled = np.partition(band, fifth, axis=0)[fifth]
    else:
        seen = unwrap(frame, x, y, 0.33, 180, first=first) > 0.5
        share = seen.mean(axis=0)
        hidden = np.round((1 - share) * len(band)).astype(int)
        order = np.sort(np.where(seen, band, 0.0), axis=0)
        at = np.minimum(hidden + ((len(band) - hidden) * 0.2).astype(int), len(band) - 1)
        filled = np.where(share >= IN_FRAME, order[at, np.arange(band.shape[1])], 0.0)
        lined = np.where(share > 0, lined / np.maximum(share, 1e-6), 0.0)
    score = np.where(filled > COMPLETE, filled + lined, 0.0)
    score[: least - first] = 0.0
    index = int(np.argmax(score))
    return float(score[index]), Circle(x, y, (first + index + 0.5) / MAP_SCALE, float(filled[index]))


def _figures_inner(ink: Image, outer: float, circles: list[Circle], shown: NDArray[np.bool_] | None) -> float:
    """Where the hour figures end towards the centre: the first clear ring inside them."""
    x, y, radius, turn = lattice()
    free = ~(np.abs(turn) < np.deg2rad(20))  # a signature may reach up under XII
    if shown is not None:
        free &= shown
    for circle in circles:
        free &= np.hypot(x - circle.x, y - circle.y) > circle.radius
    index = np.minimum((radius * 100).astype(int), 110)
    count = np.bincount(index[free], minlength=111)
    total = np.bincount(index[free], weights=ink[free], minlength=111)
    profile = total / np.maximum(count, 1)
    top = int(outer * 100)
    figures = profile[max(top - 16, 30) : max(top - 3, 33)]
    level = 0.12 * float(np.median(figures)) if figures.size else 0.0
    for r in range(top - 10, 34, -1):
        if count[r] > 50 and count[r - 1] > 50 and profile[r] <= level and profile[r - 1] <= level:
            return r / 100 - 0.005
    return max(outer - 0.30, 0.4)


def _labels(numerals: tuple[float, float], seconds: Circle | None, counters: tuple[Circle, ...]) -> NDArray[np.int8]:
    x, y, radius, turn = lattice()
    label = np.full(x.shape, -1, dtype=np.int8)
    inner, outer = numerals
    label[(radius < inner) & (radius > HUB)] = ZONES.index(Zone.OTHER)
    above = (radius < inner) & (radius > HUB) & (y < -0.12) & (np.abs(turn) < np.deg2rad(80))
    label[above] = ZONES.index(Zone.SIGNATURE)
    label[(radius >= inner) & (radius < outer)] = ZONES.index(Zone.NUMERALS)
    label[(radius >= outer) & (radius < 0.99)] = ZONES.index(Zone.MINUTE_TRACK)
    for circle, zone in [(seconds, Zone.SECONDS_BIT), *((c, Zone.OTHER) for c in counters)]:
        if circle is not None:
            within = (np.hypot(x - circle.x, y - circle.y) < circle.radius) & (radius < outer)
            label[within] = ZONES.index(zone)
    return label


def _circle(circle: Circle, count: int) -> Floats:
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.stack([circle.x + circle.radius * np.sin(turn), circle.y - circle.radius * np.cos(turn)], axis=1)
