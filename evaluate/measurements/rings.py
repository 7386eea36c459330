"""Rings of a track: density and width round the turn, their load against one another, and guide lines left between.

A painted ring is turned on a small lathe: a near-perfect circle whose paint comes and goes (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, median_filter

from dialtell.evaluate.measurements.finding import DENSITY, RADII, RATIO, Finding, Floats, Measure, robust_spread
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.strokes import CALM, STEP, peaks, to_density, walled, widened
from dialtell.synth.shared.terms import Zone

Bools = NDArray[np.bool_]

TONE = Measure(
    "density round a ring", RATIO, 1, True, "rings whose paint comes and goes round the turn", "rings of one density"
)
WIDTH = Measure("width round a ring", RATIO, 1, True, "rings of changing width", "rings of one width")
WANDER = Measure("ring off a circle", RADII, 1, True, "rings that leave their circle", "rings true to their circle")
LOADS = Measure(
    "density from ring to ring", RATIO, 2, True, "rings of unlike density", "rings of one density beside each other"
)
GUIDE = Measure("guide line", DENSITY, 1, False, "a faint circle left between the strokes", "no faint circle")
MEASURES = (TONE, WIDTH, WANDER, LOADS, GUIDE)

_ANGLES = 1440
_LINED = 0.62  # share of the shown turn that must be ink
_LEAST_SHOWN = 0.35  # share of the turn
_SMOOTH_DEG = 1.5
_PARTS = 12  # of the turn; each must say something for a ring to be followed


@dataclass(frozen=True, eq=False)
class Ring:
    """radius : dial radii. turn, at, off, width, density : (N,) where bare of ticks: radians, dial radii from the
    centre, dial radii off the circle, sheet px, D.
    """

    radius: float
    turn: Floats
    at: Floats
    off: Floats
    width: Floats
    density: Floats


def ring_findings(
    sheet: StrokeSheet, zone: Zone, centre: tuple[float, float], band: tuple[float, float]
) -> list[Finding]:
    """Rings about `centre` with radii in `band`, dial radii."""
    rings = find_rings(sheet, centre, band)
    lines = tuple(_line(sheet, ring, centre) for ring in rings)

    def over_rings(measure: Measure, values: list[float]) -> Finding:
        return Finding(measure, zone, float(np.median(values)) if values else None, len(values), lines)

    tone = [robust_spread(_evened(r.turn, r.density)) / max(float(np.median(r.density)), 0.02) for r in rings]
    width = [robust_spread(_evened(r.turn, r.width)) / float(np.median(r.width)) for r in rings]
    wander = [robust_spread(_evened(r.turn, r.off)) for r in rings]
    levels = np.array([np.median(r.density * r.width) for r in rings])
    loads = None
    if len(rings) >= LOADS.least:
        density = np.log([max(float(np.median(r.density)), 0.02) for r in rings])
        loads = float(np.ptp(density)) if levels.all() else None
    return [
        over_rings(TONE, tone),
        over_rings(WIDTH, width),
        over_rings(WANDER, wander),
        Finding(LOADS, zone, loads, len(rings), lines),
    ]


def find_rings(sheet: StrokeSheet, centre: tuple[float, float], band: tuple[float, float]) -> list[Ring]:
    """Circles lined with ink nearly all round."""
    step = STEP / sheet.scale
    radius = np.arange(band[0], band[1], step)
    if len(radius) < 8:
        return []
    turn = (np.arange(_ANGLES) + 0.5) * 2 * np.pi / _ANGLES
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    points = sheet.from_dial(np.asarray(centre) + ray[:, None, :] * radius[None, :, None])
    dark = 1.0 - sheet.sample(points)
    _, hidden = sheet.at(points)
    dark[hidden] = np.nan
    shown = np.isfinite(dark)
    if shown.mean() < _LEAST_SHOWN:
        return []
    found: list[Ring] = []
    level = max(0.06, 4.0 * sheet.grain)
    # a centre a little off moves a ring in and out by once a turn: follow it in parts
    follow = max(int(0.006 / step), 2)
    widest = _moving_max(np.nan_to_num(dark), follow)
    lined = np.sum((widest > level) & shown, axis=0) / np.maximum(shown.sum(axis=0), 1)
    filled = np.where(
        shown.mean(axis=0) > _LEAST_SHOWN,
        np.nanmedian(np.where(shown, dark, np.nan), axis=0) if shown.any(axis=0).all() else 0.0,
        0.0,
    )
    for k in _peaks(np.where(lined >= _LINED, gaussian_filter1d(filled, 2.0), 0.0), follow):
        ring = _follow(sheet, centre, float(radius[k]), turn, np.nan_to_num(dark), k, follow, radius)
        if ring is not None:
            found.append(ring)
    return found


def _moving_max(dark: Floats, reach: int) -> Floats:
    return np.asarray(maximum_filter1d(dark, 2 * reach + 1, axis=1))


def _peaks(profile: Floats, apart: int) -> list[int]:
    """Highest places, at least 2 * apart from one another, above 0.05."""
    left = profile.copy()
    found: list[int] = []
    while left.max(initial=0.0) > 0.05 and len(found) < 4:
        k = int(left.argmax())
        found.append(k)
        left[max(k - 2 * apart, 0) : k + 2 * apart + 1] = 0.0
    return sorted(found)


def _follow(
    sheet: StrokeSheet, centre: tuple[float, float], about: float, turn: Floats, dark: Floats, k: int,
    reach: int, radius: Floats,
) -> Ring | None:  # fmt: skip
    """Measure one ring between the ticks."""
    low, high = max(k - reach, 0), min(k + reach + 1, len(radius))
    near = dark[:, low:high]
    at = radius[low:high][near.argmax(axis=1)]
    at = median_filter(at, 61, mode="wrap")  # ticks and figures in passing do not lead it astray
    span = np.arange(-(4.0 * sheet.blur + 5.0), 4.0 * sheet.blur + 5.0 + 1e-9, STEP)
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    reach_radii = at[:, None] + span[None, :] / sheet.scale
    points = sheet.from_dial(np.asarray(centre) + ray[:, None, :] * reach_radii[:, :, None])
    _, hidden = sheet.at(points)
    profile = walled(1.0 - sheet.sample(points))
    mass = profile.sum(axis=1) * STEP
    peak = peaks(profile, span, np.array([0, len(profile)]), sheet.blur)
    shift = (profile * span).sum(axis=1) * STEP / np.maximum(mass, 1e-9)
    usable = ~hidden.any(axis=1) & (mass > 0.02)
    usable &= ~_at_ticks(turn, mass, usable)
    # what is far heavier than the ring is a tick, a figure or dirt on it
    usable &= mass < 1.8 * np.median(mass[usable]) if usable.any() else usable
    parts = np.unique((turn[usable] / (2 * np.pi) * _PARTS).astype(int))
    if usable.sum() < 0.15 * _ANGLES or len(parts) < 0.4 * _PARTS:
        return None
    width, absorbed = widened(mass[usable], peak[usable], float(np.hypot(sheet.blur, CALM * STEP)))
    off = at[usable] + shift[usable] / sheet.scale
    return Ring(about, turn[usable], off, off - np.median(off), width, to_density(absorbed))


def _at_ticks(turn: Floats, mass: Floats, usable: Bools) -> Bools:
    """Directions within 1.2 degrees of a division, if the ring is heavier there."""
    weight = np.where(usable, mass, 0.0)
    wave = (weight * np.exp(60j * turn)).sum()
    if abs(wave) < 0.04 * weight.sum():
        return np.zeros(len(turn), dtype=np.bool_)
    phase = np.angle(wave) / 60
    off = (turn - phase + np.pi / 60) % (np.pi / 30) - np.pi / 60
    return np.asarray(np.abs(off) < np.deg2rad(1.2))


def _evened(turn: Floats, values: Floats) -> Floats:
    """Values smoothed over a few degrees, less what goes round once or twice a turn: a wrong centre, a tilt."""
    order = np.argsort(turn)
    each = max(int(_SMOOTH_DEG / 360 * _ANGLES), 1)
    smooth = gaussian_filter1d(median_filter(values[order], 5), each, mode="wrap")[::2]
    some = turn[order][::2]
    design = np.stack([np.ones_like(some), *(f(k * some) for k in (1, 2) for f in (np.sin, np.cos))], axis=1)
    return np.asarray(smooth - design @ np.linalg.lstsq(design, smooth, rcond=None)[0])


def _line(sheet: StrokeSheet, ring: Ring, centre: tuple[float, float]) -> Floats:
    """Where the ring was followed, closed across what was left out."""
    order = np.append(np.argsort(ring.turn), int(ring.turn.argmin()))
    turn = ring.turn[order]
    out = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    return sheet.from_dial(np.asarray(centre) + ring.at[order, None] * out)


def guide_line_finding(
    sheet: StrokeSheet, zone: Zone, centre: tuple[float, float], band: tuple[float, float]
) -> Finding:
    """The strongest faint circle on the bare enamel of a band: D above the enamel inside and outside of it."""
    step = 0.5 / sheet.scale
    radius = np.arange(band[0], band[1], step)
    if len(radius) < 40:
        return Finding(GUIDE, zone, None, 0)
    turn = (np.arange(720) + 0.5) * 2 * np.pi / 720
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    points = sheet.from_dial(np.asarray(centre) + ray[:, None, :] * radius[None, :, None])
    _, hidden = sheet.at(points)
    dark = 1.0 - sheet.sample(points)
    # bare where nothing near along the ray is ink
    inked = _moving_max(np.where(hidden, 1.0, dark), int(3 * sheet.blur / STEP) + 2) > 0.25
    bare = ~inked
    count = bare.sum(axis=0)
    enough = count > 0.2 * len(turn)
    if enough.mean() < 0.5:
        return Finding(GUIDE, zone, None, 0)
    mean = np.where(
        enough, np.sum(np.where(bare, np.clip(dark, -0.1, 0.25), 0.0), axis=0) / np.maximum(count, 1), np.nan
    )
    mean = np.interp(radius, radius[enough], mean[enough])
    line = gaussian_filter1d(mean, 1.2 * max(sheet.blur, 0.5) / STEP) - median_filter(
        mean, int(10 * sheet.blur / STEP) * 2 + 21
    )
    inside = slice(12, -12)
    best = int(line[inside].argmax()) + 12
    circle = np.asarray(centre) + radius[best] * ray[:: 720 // 120]
    return Finding(GUIDE, zone, float(to_density(np.array([max(line[best], 0.0)]))[0]), 1, (sheet.from_dial(circle),))
