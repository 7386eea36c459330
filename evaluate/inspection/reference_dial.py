"""A dial of each kind to hold beside a photograph: drawn to a like design, painted and printed, at one magnification.

An examiner compares with a dial known to be of the other kind. When none is at hand, the renderer's design nearest to
what was read is drawn under both processes, as sharp as the photograph and no sharper. It takes what is seen: kind of
figures, where figures, track and seconds bit lie, how broad the strokes are, rings and five-minute marks. A zone
in which it would not look like the subject is not held beside it. A drawn dial is no evidence.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.period.style_seen import ARABIC as ARABIC_ABOVE
from dialtell.evaluate.period.style_seen import LEANING, leaning, oblique
from dialtell.evaluate.period.style_seen import ROMAN as ROMAN_BELOW
from dialtell.model.reading.geometry import DialGeometry, patch_grid, rectify, sample
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import Reading
from dialtell.synth.design.design import ARABIC, RINGS, ROMAN, DialDesign, Track, sample_design
from dialtell.synth.design.marks import MARKS
from dialtell.synth.making import Making, sample_making
from dialtell.synth.shared.srgb import codes
from dialtell.synth.shared.terms import Process, Zone
from dialtell.synth.specimen import ENAMEL, part, plain_making

CANDIDATES, SHORTLIST = 500, 6  # designs drawn at random, and those of them whose strokes are looked at
SEED = 20_003
SMALL = 240  # px, side of the pictures compared
MARGIN = 1.06  # dial radii from the middle to the edge of a whole drawn dial's picture
SLACK = 4  # px by which a view may lie beside the others
MARK_AT, MARK_VIEW, MARK_PX = 0.915, 0.25, 72  # dial radii of the middle and the side, px, of a view of the track
ROUNDS = 3  # of looking for a likelier track
BLACK, LEAST_INK = 0.25, 60  # share of full density that is ink; px of it that say how high figures are
LIKE, LIKE_SECONDS = 0.6, 0.4  # correlation of what is drawn with what was read, below which it is another design's
FIGURES, SLANTING = (ROMAN, ARABIC), ("round-script", "italic-lower")
NOT_READ: dict[str, Any] = {"further_tracks": (), "rings": (), "frames": None, "spiral": None, "edge": ()}
NO_TRACK = (0.9, 0.94)  # dial radii assumed where none was read

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
# what of a track is changed, one thing after another
CHANGES = ("place", "inner", "outer", "heavier marks", "rings", "their width", "ticks", "length of ticks")


@dataclass(frozen=True, eq=False)
class ReferenceDial:
    """design : nearest to the photograph's. painted, printed : how each was made. true_px : px per dial radius that
    the photograph resolves, which the pictures are softened to. shows : zones in which the design is like the
    subject's."""

    design: DialDesign
    painted: Making
    printed: Making
    true_px: float
    shows: frozenset[Zone] = frozenset(Zone)

    def crop(
        self, process: Process, center: tuple[float, float], right: tuple[float, float], view: float, px: int
    ) -> Bytes:
        """(px, px, 3) sRGB of the square of `view` dial radii about `center`, its columns along `right`."""
        radius = self.design.radius_mm
        making = self.painted if process is Process.HAND else self.printed
        turn = float(np.arctan2(right[1], right[0]))
        picture = part(self.design, making, center[0] * radius, center[1] * radius, view * radius, px, turn=turn)
        sigma = 0.5 * (px / view) / max(self.true_px, 1.0)
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), max(sigma, 0.3)), dtype=np.uint8)

    @property
    def lettering(self) -> tuple[float, float]:
        """Dial radii of the middle of its first line of lettering."""
        line = self.design.signature[0]
        return line.x, (-line.arc if line.arc else line.y) - 0.5 * line.height

    def photographed(self, process: Process, scale: float, grain: float) -> tuple[Photo, DialGeometry]:
        """The whole dial as a photograph as sharp as the subject's. scale : px per dial radius. grain : SD of light on
        bare enamel, of the enamel's light."""
        making = self.painted if process is Process.HAND else self.printed
        side = round(2 * MARGIN * scale)
        picture = part(self.design, making, 0.0, 0.0, 2 * MARGIN * self.design.radius_mm, side)
        light = cv2.GaussianBlur(
            Photo(Path("drawn"), picture, (side, side)).pixels, (0, 0), max(0.5 * scale / max(self.true_px, 1.0), 0.3)
        )
        noise = np.random.default_rng(SEED).normal(0.0, grain * ENAMEL, picture.shape[:2])
        pixels = codes(np.clip(light + noise[..., None], 0.0, 1.0))
        radius = 0.5 * side / MARGIN
        return Photo(Path("drawn"), pixels, (side, side)), DialGeometry((0.5 * side, 0.5 * side), (radius, radius))


@lru_cache(maxsize=1)
def reference_dial(reading: Reading) -> ReferenceDial:
    """A dial to compare a reading with; the same for the same reading, the last one kept."""
    figures, lettering = figures_kind(reading), lettering_kind(reading)
    design = nearest_design(reading, figures, lettering)
    design, like_track = with_track(reading, _placed(reading, design))
    shows = {Zone.MINUTE_TRACK} if like_track >= LIKE else set()
    if design.chapter is not None and figures:
        shows.add(Zone.NUMERALS)
        design = _with_boldness(reading, design)
    if design.subdials and reading.zones.seconds is not None:
        design, like_seconds = _with_seconds(reading, design)
        shows |= {Zone.SECONDS_BIT} if like_seconds >= LIKE_SECONDS else set()
    if design.signature and lettering:
        shows.add(Zone.SIGNATURE)
    rng = np.random.default_rng(SEED)
    painted, printed = (
        sample_making(rng=rng, design=design, process=process, steadiness=(0.5, 0.8))
        for process in (Process.HAND, Process.TRANSFER)
    )
    return ReferenceDial(design, painted, printed, reading.sharpness.true_pixels_per_radius, frozenset(shows))


def figures_kind(reading: Reading) -> tuple[str, ...]:
    """Letterforms of the kind of figures read; none where that is not told."""
    share = oblique(reading).value
    if share is None:
        return ()
    return FIGURES[0] if share < ROMAN_BELOW else FIGURES[1] if share > ARABIC_ABOVE else ()


def lettering_kind(reading: Reading) -> tuple[str, ...]:
    """Letterforms of the signature where it is told to slant; none elsewhere: which capitals they are is not read."""
    lean = leaning(reading).value
    return SLANTING if lean is not None and lean > LEANING else ()


def nearest_design(reading: Reading, figures: tuple[str, ...] = (), lettering: tuple[str, ...] = ()) -> DialDesign:
    """Of many designs the one whose parts lie most like those read, and whose strokes lie most like the ink.

    figures, lettering : letterforms to choose among, where a design has them; all of them where none is given."""
    wanted = _read_layout(reading)
    far = np.array([np.abs(_layout(design) - wanted).sum() for design in _designs()])
    far += 100.0 * np.array([not _of_kind(design, figures, lettering) for design in _designs()])
    ink = _read_ink(reading)
    shortlist = [_designs()[index] for index in np.argsort(far, kind="stable")[:SHORTLIST]]
    best: DialDesign = max(shortlist, key=lambda design: _likeness(design, ink))
    return best


def _of_kind(design: DialDesign, figures: tuple[str, ...], lettering: tuple[str, ...]) -> bool:
    fits = not figures or (design.chapter is not None and design.chapter.letterform in figures)
    return fits and (not lettering or any(line.letterform in lettering for line in design.signature))


def _read_ink(reading: Reading) -> NDArray[np.float32]:
    """(SMALL, SMALL) share of full density over the dial, 0..1, softened."""
    ink = rectify(reading.density, reading.geometry, SMALL / 2, extent=1.0) / max(reading.patches.full, 0.2)
    return _soft(np.clip(ink, 0.0, 1.0))


def _placed(reading: Reading, design: DialDesign) -> DialDesign:
    """The design with its figures, track and seconds bit where the subject's lie, and none of what was not read there:
    a second track's figures would run into the ticks."""
    zones, chapter, track = reading.zones, design.chapter, design.track
    if Zone.NUMERALS not in zones.found:
        chapter = None
    elif chapter is not None:
        low, high = _figures_band(reading)
        chapter = replace(chapter, outer=high, height=high - low)
    if track is not None and zones.track is not None:
        track = replace(track, inner=zones.track[0], outer=min(zones.track[1], 0.98))
    subdials = design.subdials
    if subdials and zones.seconds is not None:
        circle = zones.seconds
        subdials = (replace(subdials[0], x=circle.x, y=circle.y, radius=circle.radius), *subdials[1:])
    return replace(design, chapter=chapter, track=track, subdials=subdials, **NOT_READ)


def _figures_band(reading: Reading) -> tuple[float, float]:
    """Dial radii between which nearly all ink of the figures lies; the zone's own where there is little."""
    low, high = reading.zones.numerals
    ink, radius = _read_ink(reading), _radius()
    own = radius[(ink > BLACK) & (radius > low) & (radius < high) & _clear_of_seconds(reading)]
    return (low, high) if len(own) < LEAST_INK else (float(np.quantile(own, 0.01)), float(np.quantile(own, 0.99)))


def _radius() -> NDArray[np.float64]:
    axis = (np.arange(SMALL) + 0.5) * (2 / SMALL) - 1
    return np.asarray(np.hypot(*np.meshgrid(axis, axis)))


def _clear_of_seconds(reading: Reading) -> NDArray[np.bool_]:
    """(SMALL, SMALL) where no seconds bit lies."""
    axis = (np.arange(SMALL) + 0.5) * (2 / SMALL) - 1
    x, y = np.meshgrid(axis, axis)
    circle = reading.zones.seconds
    return np.ones(x.shape, bool) if circle is None else np.hypot(x - circle.x, y - circle.y) > 1.1 * circle.radius


def with_track(reading: Reading, design: DialDesign) -> tuple[DialDesign, float]:
    """The design with the subject's five-minute marks, ticks and rings, and how like they are, -1..1.

    What is compared is the picture of the track at an hour, the middle one of all twelve.
    """
    if design.track is None or reading.zones.track is None:
        return design, -1.0
    wanted, sigma = (
        _mean_mark(reading),
        0.5 * (MARK_PX / MARK_VIEW) / max(reading.sharpness.true_pixels_per_radius, 1.0),
    )
    low, high = reading.zones.track
    inside = -1.0 if design.chapter is None else design.chapter.outer + 0.006
    radius = np.hypot(*_mark_points())
    edge = max(low - 0.012, inside)
    band = (radius > edge) & (radius < min(high + 0.015, 0.975))
    ring = np.round((radius[band] - radius[band].min(initial=1.0)) * MARK_PX / MARK_VIEW).astype(int)
    if ring.max(initial=0) < 3 or wanted[band].max() < BLACK:
        return design, -1.0
    marks_wanted, rings_wanted = _apart(wanted[band].astype(np.float64), ring)

    def likeness(track: Track) -> tuple[float, float]:
        """Of marks and rings together, and of the marks alone."""
        if not edge < track.inner < track.outer - 0.008 or track.outer >= 0.985:
            return -1.0, -1.0
        drawn = cv2.GaussianBlur(drawn_mark(track, design.radius_mm), (0, 0), max(sigma, 0.3))
        marks, rings = _apart(drawn[band].astype(np.float64), ring)
        alone = _correlation(marks, marks_wanted)
        return alone + 0.5 * _correlation(rings, rings_wanted), alone

    best = replace(
        design.track, figures_every=0, every=5, divisions=60, hour_bars=False, blocked=False, taper=0.0,
        from_outside=False, halves="nothing", ring_mm=0.1 * design.radius_mm / 22, tick_mm=0.2 * design.radius_mm / 22,
        heavy_mm=0.4 * design.radius_mm / 22, inner=max(low + 0.005, edge + 0.003), outer=min(high, 0.98),
    )  # fmt: skip
    track, like = best, likeness(best)
    for _ in range(2):  # once the ticks lie right, another mark may be likelier after all
        found = [_climbed(replace(track, mark=mark), likeness) for mark in ("tick", *MARKS)]
        track, like = max(found, key=lambda one: one[1])
    return replace(design, track=track), like[1]


def _climbed(best: Track, likeness: Callable[[Track], tuple[float, float]]) -> tuple[Track, tuple[float, float]]:
    """The likeliest track that single changes lead to."""
    most = likeness(best)
    for _ in range(ROUNDS):
        before = most
        for change in CHANGES:
            for tried in _changed(best, change):
                if (like := likeness(tried)) > most:
                    best, most = tried, like
        if most == before:
            break
    return best, most


def _changed(track: Track, change: str) -> list[Track]:
    """The track with one thing changed, a little more or less."""
    shifts, times = (-0.03, -0.015, -0.005, 0.005, 0.015, 0.03), (0.7, 1.4)
    match change:
        case "place":
            return [replace(track, inner=track.inner + by, outer=track.outer + by) for by in shifts]
        case "inner":
            return [replace(track, inner=track.inner + by) for by in shifts]
        case "outer":
            return [replace(track, outer=track.outer + by) for by in shifts]
        case "heavier marks":
            return [replace(track, heavy_mm=by * track.heavy_mm) for by in (0.6, 0.8, 1.25, 1.6)]
        case "rings":
            return [replace(track, rings=rings) for rings in RINGS]
        case "their width":
            return [replace(track, ring_mm=by * track.ring_mm) for by in times]
        case "ticks":
            return [replace(track, tick_mm=by * track.tick_mm) for by in times]
    return [replace(track, short=short) for short in (1.0, 0.6, 0.45)]


def _apart(ink: Floats, ring: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ink (N,) less the mean of its ring, and those means. ring : (N,) which each belongs to."""
    means = np.bincount(ring, ink) / np.maximum(np.bincount(ring), 1)
    return ink - means[ring], means


def _correlation(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """0 where either does not vary."""
    return float(np.corrcoef(a, b)[0, 1]) if a.std() > 1e-6 and b.std() > 1e-6 else 0.0


def _mark_points() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """x and y (outwards) in dial radii of the px of a view of the track at an hour, outwards up."""
    axis = (np.arange(MARK_PX) + 0.5) * (MARK_VIEW / MARK_PX) - 0.5 * MARK_VIEW
    x, down = np.meshgrid(axis, axis)
    return x, MARK_AT - down


@cache
def _mark_lattice() -> tuple[Floats, dict[int, tuple[Floats, Floats]]]:
    """Dial radii of the px of that view, and of each of the divisions in it how far across and along they lie."""
    x, y = _mark_points()
    radius, turn = np.hypot(x, y), np.arctan2(x, y)
    angles = {number: turn - number * math.pi / 30 for number in (-1, 0, 1)}
    return radius, {number: (radius * np.sin(angle), radius * np.cos(angle)) for number, angle in angles.items()}


def _mean_mark(reading: Reading) -> NDArray[np.float32]:
    """(MARK_PX, MARK_PX) share of full density about the track at an hour, the middle one of all twelve, which are
    shifted onto one another: the outline is seldom true to a tick's width."""
    views: list[NDArray[np.float32]] = []
    for hour in range(12):
        turn = math.pi * hour / 6
        center = (MARK_AT * math.sin(turn), -MARK_AT * math.cos(turn))
        grid = patch_grid(
            reading.geometry, center, (math.cos(turn), math.sin(turn)), (MARK_PX, MARK_PX), MARK_PX / MARK_VIEW
        )
        views.append(np.clip(sample(reading.density, grid) / max(reading.patches.full, 0.2), 0.0, 1.0))
    middle = np.asarray(np.median(views, axis=0), np.float32)
    for _ in range(2):
        views = [_shifted_onto(view, middle) for view in views]
        middle = np.asarray(np.median(views, axis=0), np.float32)
    return middle


def _shifted_onto(view: NDArray[np.float32], middle: NDArray[np.float32]) -> NDArray[np.float32]:
    """A view moved by a few px so that it lies on the middle one."""
    soft = cv2.GaussianBlur(middle, (0, 0), 1.0)[SLACK:-SLACK, SLACK:-SLACK]
    if soft.std() < 1e-6 or view.std() < 1e-6:
        return view
    found = cv2.matchTemplate(np.asarray(view, np.float32), soft, cv2.TM_CCOEFF_NORMED)
    down, right = np.unravel_index(int(np.argmax(found)), found.shape)
    return np.roll(view, (SLACK - int(down), SLACK - int(right)), axis=(0, 1))


def drawn_mark(track: Track, radius_mm: float) -> NDArray[np.float32]:
    """The same of a track drawn without a fault: 1 where it has paint, 0 elsewhere."""
    radius, divisions = _mark_lattice()
    paint = np.zeros(radius.shape, bool)
    for at, drawn in zip((track.inner, track.outer), track.rings, strict=True):
        if drawn:
            paint |= np.abs(radius - at) < 0.5 * track.ring_mm / radius_mm
    depth, outside = track.outer - track.inner, track.rings[1] and not track.rings[0]
    for number, (across, along) in divisions.items():
        if number == 0 and track.mark != "tick":
            path, width, _ = MARKS[track.mark](depth * radius_mm, track.heavy_mm)
            half = 0.5 * np.interp((along - 0.5 * (track.inner + track.outer)) * radius_mm, path[:, 1], width, 0.0, 0.0)
            paint |= np.abs(across) * radius_mm < half
            continue
        length = depth if number == 0 else depth * track.short
        low = track.outer - length if outside and number else track.inner
        broad = (track.heavy_mm if number == 0 else track.tick_mm) / radius_mm
        paint |= (np.abs(across) < 0.5 * broad) & (along > low) & (along < low + length)
    return paint.astype(np.float32)


def _with_boldness(reading: Reading, design: DialDesign) -> DialDesign:
    """The design with figures as bold as the subject's: as much ink between their ends."""
    chapter = design.chapter
    assert chapter is not None
    radius, trim = _radius(), 0.15 * chapter.height
    band = (radius > chapter.outer - chapter.height + trim) & (radius < chapter.outer - trim)
    band &= _clear_of_seconds(reading)
    wanted = float((_read_ink(reading)[band] > BLACK).mean())
    for _ in range(2):
        alone = replace(design, track=None, subdials=(), signature=(), chapter=chapter)
        made = float((_drawn_ink(alone)[band] > BLACK).mean())
        bolder = float(np.clip(wanted / max(made, 1e-3), 0.5, 2.0)) * chapter.thick
        chapter = replace(chapter, thick=bolder, thin=min(chapter.thin, 0.95 * bolder))
    return replace(design, chapter=chapter)


def _with_seconds(reading: Reading, design: DialDesign) -> tuple[DialDesign, float]:
    """The design with the seconds bit's figures as often and as high as the subject's, and how like it is, -1..1."""
    circle, ink = reading.zones.seconds, _read_ink(reading)
    assert circle is not None
    inside, first = ~_clear_of_seconds(reading), design.subdials[0]
    own = first.track
    alone = replace(design, chapter=None, track=None, signature=())
    tried = [
        replace(first, track=replace(own, figures_every=every, figures_height=times * own.figures_height))
        for every in (10, 15, 5) for times in (0.8, 1.2)
    ]  # fmt: skip
    like = [float(np.corrcoef(_drawn_ink(replace(alone, subdials=(one,)))[inside], ink[inside])[0, 1]) for one in tried]
    best = int(np.argmax(like))
    return replace(design, subdials=(tried[best], *design.subdials[1:])), like[best]


def _drawn_ink(design: DialDesign) -> NDArray[np.float32]:
    """(SMALL, SMALL) share of full ink of a design drawn faultlessly, softened as what was read."""
    picture = part(design, plain_making(Process.TRANSFER), 0.0, 0.0, 2 * design.radius_mm, SMALL)
    return _soft(np.clip(1.0 - picture[..., 0].astype(np.float32) / 255.0, 0.0, 1.0))


@cache
def _designs() -> tuple[DialDesign, ...]:
    return tuple(sample_design(rng=np.random.default_rng([SEED, index])) for index in range(CANDIDATES))


def _layout(design: DialDesign) -> NDArray[np.float64]:
    track = (design.track.inner, design.track.outer) if design.track else NO_TRACK
    chapter = design.chapter
    band = (chapter.outer - chapter.height, chapter.outer) if chapter else (track[0], track[0])
    seconds = [(dial.y, dial.radius) for dial in design.subdials[:1]]
    return _vector(track, band, seconds[0] if seconds else None, len(design.subdials[1:]))


def _read_layout(reading: Reading) -> NDArray[np.float64]:
    zones = reading.zones
    seconds = (zones.seconds.y, zones.seconds.radius) if zones.seconds else None
    return _vector(zones.track or NO_TRACK, zones.numerals, seconds, len(zones.counters))


def _vector(
    track: tuple[float, float], band: tuple[float, float], seconds: tuple[float, float] | None, others: int
) -> NDArray[np.float64]:
    place = (1.0, *seconds) if seconds else (0.0, 0.5, 0.2)
    return np.array([2 * track[0], 2 * track[1], *band, *place, min(others, 1)], dtype=np.float64)


def _likeness(design: DialDesign, ink: NDArray[np.float32]) -> float:
    """Correlation of the design's strokes with the ink read, over the dial."""
    inside = _radius() < 0.97
    return float(np.corrcoef(_drawn_ink(design)[inside], ink[inside])[0, 1])


def _soft(image: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(cv2.GaussianBlur(image, (0, 0), 2.0), dtype=np.float32)
