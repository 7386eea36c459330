"""What a whole dial's design shows, measured from its reading: rings of the track, kind of figures, lean of lettering.

Each measure leaves a gap between its two answers; what falls into it is not told. Limits were set on drawn dials and
checked on others, see style_rates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from dialtell.model.reading.geometry import Image, rectify, sample_points
from dialtell.model.reading.steps import Reading
from dialtell.model.reading.zones import EXTENT, MAP_SCALE, lattice
from dialtell.synth.shared.terms import ZONES, Zone

LEAST_TRUE = 90.0  # px per dial radius resolved, below which a ring is not looked for
LEAST_LEVEL = 0.02  # optical density of what repeats with the divisions
LEAST_RING = 0.012  # optical density of a ring, below which it may be grain
RING, NO_RING = 0.2, 0.1  # density of a ring over that
ROMAN, ARABIC = 0.16, 0.21  # share of oblique edges
MOST_ALONG = 0.25  # share of edges that run round the dial, above which the band holds a ring
# how many times as much ink the richer hours carry as the poorer ones, below which they carry bars, not figures: of the
# stems of I to XII it is 1.5 whichever hours are hidden, of twelve bars 1
BARS = 1.25
LEANING = 0.45  # more edges lean right than left by this share of all upright ones

_STEP, _TURN = 0.001, 2880  # dial radii; samples round the turn
_SIDE, _SLACK = 0.012, 0.005  # dial radii: how near a ring's sides are looked at, how far it may run off its circle
_SECTORS = 0.35  # share of hours in which a ring may be hidden
_NARROWEST, _WIDEST = 0.005, 0.135  # dial radii: of the divisions, of the track
HOURS = 12
_HOURS_SEEN, _WHOLE = 6, 0.9  # hours, and share of an hour's place that must be in view
_FEWEST = 200  # px of the map that are edges of lettering


@dataclass(frozen=True)
class StyleMeasure:
    """value : what was measured, see each function; None where it could not be. why : the reason then."""

    value: float | None
    why: str = ""


def outer_ring(reading: Reading) -> StyleMeasure:
    """Density of a ring outside the middle of the divisions, seen between them, over the depth of what repeats with
    them."""
    divisions, track = reading.divisions, reading.zones.track
    if divisions is None or track is None:
        return StyleMeasure(None, "No even divisions were found near the edge.")
    if reading.sharpness.true_pixels_per_radius < LEAST_TRUE:
        return StyleMeasure(None, "The photograph is too coarse for so thin a line.")
    if track[1] - track[0] > _WIDEST:
        return StyleMeasure(None, "The track's own width is not clear.")
    radii = np.arange(track[0] - 0.04, min(track[1] + 0.05, 1.01), _STEP)
    turn = np.arange(_TURN) * (2 * np.pi / _TURN)
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=-1)
    unrolled = sample_points(reading.density, reading.geometry.to_photo(radii[:, None, None] * ray))
    between, ticks = _by_hour(unrolled, divisions.count)
    over = np.median(ticks, axis=0)
    best, low, high = _extent(over, (radii > track[0]) & (radii < track[1]))
    level = float(over[best])
    if level < LEAST_LEVEL:
        return StyleMeasure(None, "The divisions are too faint.")
    if radii[high] - radii[low] < _NARROWEST:
        return StyleMeasure(None, "How far the divisions reach is not clear.")
    middle = 0.5 * (radii[low] + radii[high])
    lines = maximum_filter1d(_ridges(between), 2 * round(_SLACK / _STEP) + 1, axis=1)
    outside = (radii > middle + 0.006) & (radii < track[1] + 0.02)
    ring = float(np.quantile(lines, _SECTORS, axis=0)[outside].max(initial=0.0))
    if ring > NO_RING * level and ring < LEAST_RING:
        return StyleMeasure(None, "What may be a line outside the divisions is no darker than grain.")
    return StyleMeasure(ring / level)


def _extent(depth: Image, band: NDArray[np.bool_]) -> tuple[int, int, int]:
    """Index of the highest peak of (R,) depths within a band, and how far it reaches inwards and outwards: to half its
    height, or to the valley before what stands beside it, as figures do."""
    smooth = cv2.GaussianBlur(depth.reshape(1, -1).astype(np.float64), (0, 0), 2.0)[0]
    peak = np.zeros(len(smooth), np.bool_)
    peak[1:-1] = (smooth[1:-1] >= smooth[:-2]) & (smooth[1:-1] > smooth[2:]) & band[1:-1]
    best = int(np.argmax(np.where(peak if peak.any() else band, smooth, -1.0)))
    ends = []
    for side in (smooth[best::-1], smooth[best:]):
        lowest = np.minimum.accumulate(side)
        over = (side < 0.5 * side[0]) | ((side > lowest + 0.1 * side[0]) & (lowest < 0.85 * side[0]))
        stop = int(np.argmax(over)) if over.any() else len(side) - 1
        ends.append(int(np.argmin(side[: stop + 1])))
    return best, best - ends[0], best + ends[1]


def _by_hour(unrolled: Image, divisions: int) -> tuple[Image, Image]:
    """(12, R) each, hour by hour and clear of the hours' own marks: mean density between divisions, and the depth of
    what repeats with the divisions, wherever between them it stands."""
    place = np.arange(_TURN) * (divisions / _TURN)
    each = divisions // 12
    within, phase, hour = place % each, place % 1, np.arange(_TURN) * 12 // _TURN
    # half-way between divisions there may be short marks
    quarter = ((phase > 0.22) & (phase < 0.38)) | ((phase > 0.62) & (phase < 0.78))
    between = quarter & (within >= 1) & (within < each - 1)
    whole = (within >= 0.5) & (within < each - 0.5)
    wave = np.exp(-2j * np.pi * place)
    means = [unrolled[:, between & (hour == h)].mean(axis=1) for h in range(12)]
    waves = [unrolled[:, (here := whole & (hour == h))] @ wave[here] / here.sum() for h in range(12)]
    return np.asarray(means), np.asarray(2 * np.abs(waves))


def _ridges(profiles: Image) -> Image:
    """(12, R) how far each place stands above the lower of the places near it on either side; 0 on slopes."""
    reach = round(_SIDE / _STEP)
    low = minimum_filter1d(profiles, reach, axis=1, mode="nearest")
    shift = reach // 2 + 1
    padded = np.pad(low, ((0, 0), (shift, shift)), mode="edge")
    inside, outside = padded[:, : profiles.shape[1]], padded[:, 2 * shift :]
    return np.asarray(np.maximum(profiles - np.maximum(inside, outside), 0.0))


def oblique(reading: Reading) -> StyleMeasure:
    """Share of the figures' edges that run between the radius and the circle: small for Roman figures, whose stems and
    bars follow those, large for Arabic ones."""
    zones = reading.zones
    if reading.twelve is None or not reading.twelve.told:
        return StyleMeasure(None, "It is not sure which way is up.")
    if Zone.NUMERALS not in zones.found:
        return StyleMeasure(None, "No figures could be read.")
    inner, outer = zones.numerals
    middle = 0.5 * (inner + outer)
    angles, first = round(2 * np.pi * middle * MAP_SCALE), round(inner * MAP_SCALE)
    hidden = np.asarray(cv2.dilate(zones.hidden.astype(np.float32), np.ones((9, 9), np.uint8)), dtype=np.float32)
    if zones.seconds is not None:
        x, y, _, _ = lattice()
        hidden[np.hypot(x - zones.seconds.x, y - zones.seconds.y) < zones.seconds.radius + 0.02] = 1.0
    shown = _unwrapped(hidden, 0.0, 0.0, outer, angles, first=first) < 0.5
    ink = _unwrapped(_map(reading), 0.0, 0.0, outer, angles, first=first)
    ink = np.asarray(cv2.GaussianBlur(np.clip(ink, 0.0, 1.0), (0, 0), 1.0))
    radius = (first + np.arange(ink.shape[1]) + 0.5) / MAP_SCALE
    across, out = np.gradient(ink, axis=0) * (middle / radius), np.gradient(ink, axis=1)
    strength = np.hypot(across, out) * shown
    strength[:, [0, -1]] = 0.0
    strength[strength < 0.12 * np.quantile(strength, 0.99)] = 0.0
    total = float(strength.sum())
    if total <= 0:
        return StyleMeasure(None, "No figures could be read.")
    lean = np.degrees(np.arctan2(np.abs(out), np.abs(across)))  # 0 on a stroke along the radius, 90 on the circle
    if float(strength[lean > 80].sum()) > MOST_ALONG * total:
        return StyleMeasure(None, "Where the figures end is not clear.")
    share = float(strength[(lean > 40) & (lean < 80)].sum()) / total
    if share < ROMAN and _unevenness(ink, shown) < BARS:
        return StyleMeasure(None, "All hours carry about as much, as bars in place of figures do.")
    return StyleMeasure(share)


def _unevenness(ink: Image, shown: NDArray[np.bool_]) -> float:
    """The third quintile of what the hours carry over the first, inf where few hours are seen whole. ink, shown :
    (angles, radii) of the chapter unrolled, rings still in it."""
    above = np.clip(ink - np.median(ink, axis=0), 0.0, None) * shown
    hour = np.round(np.arange(len(ink)) * HOURS / len(ink)).astype(int) % HOURS
    whole = [k for k in range(HOURS) if shown[hour == k].mean() > _WHOLE]
    if len(whole) < _HOURS_SEEN:
        return math.inf
    low, high = np.quantile([above[hour == k].sum() for k in whole], (0.2, 0.6))
    return float(high / max(low, 1e-9))


def leaning(reading: Reading) -> StyleMeasure:
    """How many more edges of the signature lean to the right than to the left, over all of its upright ones, -1..1."""
    zones = reading.zones
    if reading.twelve is None or not reading.twelve.told:
        return StyleMeasure(None, "It is not sure which way is up.")
    if zones.counters:
        return StyleMeasure(None, "A small dial takes the signature's place.")
    flat = cv2.GaussianBlur(np.clip(_map(reading), 0.0, 1.0), (0, 0), 0.7)
    here = (zones.label == ZONES.index(Zone.SIGNATURE)) & (lattice()[2] < zones.numerals[0] - 0.03)
    here &= cv2.dilate(zones.hidden.astype(np.uint8), np.ones((11, 11), np.uint8)) == 0
    right, down = cv2.Sobel(flat, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(flat, cv2.CV_32F, 0, 1, scale=0.125)
    xx, yy, xy = (cv2.GaussianBlur(product, (0, 0), 0.8) for product in (right**2, down**2, right * down))
    strength = np.hypot(right, down) * here
    least = max(0.25 * float(np.quantile(strength[here], 0.995)), 0.02) if here.any() else 1.0
    edges = (strength > least) & (np.hypot(xx - yy, 2 * xy) > 0.6 * (xx + yy))
    if edges.sum() < _FEWEST:
        return StyleMeasure(None, "There is too little lettering above the centre.")
    lean = np.degrees(0.5 * np.arctan2(2 * xy, xx - yy))  # of a stroke from the upright, to the right above 0
    upright = edges & (np.abs(lean) < 45)
    sides = [float(strength[upright & (sign * lean > 10)].sum()) for sign in (1, -1)]
    return StyleMeasure((sides[0] - sides[1]) / max(float(strength[upright].sum()), 1e-9))


def _map(reading: Reading) -> NDArray[np.float32]:
    """Density of the dial seen face on, (S, S) at MAP_SCALE."""
    return rectify(reading.density, reading.geometry, MAP_SCALE, extent=EXTENT)


def _unwrapped(image: Image, x: float, y: float, reach: float, angles: int, *, first: int = 0) -> Image:
    """Polar copy (angles, radii) of a map about (x, y) dial radii, clockwise from 12, out to `reach` dial radii.

    first : column the copy begins with; those nearer to the middle are left out.
    """
    across, up = _rays(reach, angles, first)
    column = (x + across + EXTENT) * MAP_SCALE - 0.5
    row = (y - up + EXTENT) * MAP_SCALE - 0.5
    return np.asarray(
        cv2.remap(image, column.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR), dtype=np.float32
    )


@lru_cache(maxsize=8)
def _rays(reach: float, angles: int, first: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Dial radii to the right and up from the middle of a polar copy, (angles, radii) each; not to be written to."""
    turn = (np.arange(angles) + 0.5) * 2 * np.pi / angles
    r = (np.arange(first, max(round(reach * MAP_SCALE), 8)) + 0.5) / MAP_SCALE
    return np.outer(np.sin(turn), r), np.outer(np.cos(turn), r)
