"""Ticks of a track: how they scatter in place, slant, length and weight about even division of the circle.

What a tilted view or a centre found a little off does to them goes round once or twice a turn and is taken out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dialtell.evaluate.measurements.finding import DEGREES, RATIO, Finding, Floats, Measure, finding_of, robust_spread
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.strokes import TracedStroke
from dialtell.evaluate.measurements.width import lean_of
from dialtell.synth.shared.terms import Zone

PLACE = Measure("spacing of ticks", DEGREES, 15, True, "ticks unevenly spaced", "ticks evenly spaced")
SLANT = Measure("slant of ticks", DEGREES, 15, True, "ticks at odd slants", "ticks all pointing to the centre")
LENGTH = Measure("length of ticks", RATIO, 12, True, "ticks of unlike lengths", "ticks of one length")
WEIGHT = Measure("weight of ticks", RATIO, 15, True, "ticks of unlike weights", "ticks of one weight")
LEAN = Measure(
    "lean of ticks",
    RATIO,
    15,
    True,
    "ticks leaning now on one end, now on the other",
    "ticks all alike from end to end",
)
MEASURES = (PLACE, SLANT, LENGTH, WEIGHT, LEAN)

DIVISION = 2 * np.pi / 60
RADIAL = np.deg2rad(18)  # off the radius, within which a stroke is a tick
_OFF_GRID = np.deg2rad(1.6)
_CENTRE_OFF = 0.04  # dial radii
_TERMS = 2  # harmonics round the turn that are the view's, not the ticks'


@dataclass(frozen=True, eq=False)
class Tick:
    """turn : radians clockwise from 12 of its middle. slant : radians off the radius. radius : dial radii of its
    middle. length : dial radii, nan where an end runs into a ring. mass : width times absorption, sheet px.
    """

    stroke: TracedStroke
    turn: float
    slant: float
    radius: float
    length: float
    mass: float
    lean: float


def ticks_about(sheet: StrokeSheet, strokes: Sequence[TracedStroke], centre: tuple[float, float]) -> list[Tick]:
    """The minute ticks among strokes, one a division at most, the heavier ones of the fives left out.

    centre : dial radii, of the track's circle.
    """
    some = []
    for stroke in strokes:
        if not stroke.straight or stroke.shown.mean() < 0.7:
            continue
        tick = _tick(sheet, stroke, centre)
        if abs(tick.slant) < RADIAL and tick.mass > 0:  # lighter than the enamel beside it, it is none
            some.append(tick)
    if len(some) < 8:
        return []
    # ticks of one ring are of one kind: the commonest radius and the commonest length
    radius, span = np.array([t.radius for t in some]), np.array([t.stroke.length for t in some])
    spread = 0.35 * float(np.median(span)) / sheet.scale + 0.004
    near = (np.abs(radius[:, None] - radius) < spread) & (np.abs(np.log(span[:, None] / span)) < 0.35)
    mass = np.log([t.mass for t in some])
    near &= np.abs(mass[:, None] - mass) < 0.5
    kind = near[int(near.sum(axis=1).argmax())]
    chosen = [t for t, kept in zip(some, kind, strict=True) if kept]
    turn = np.array([t.turn for t in chosen])
    phase = float(np.angle(np.exp(1j * 60 * turn).sum()) / 60)
    number = np.round((turn - phase) / DIVISION).astype(int)
    off = turn - phase - number * DIVISION
    best: dict[int, Tick] = {}
    for k in np.flatnonzero(np.abs(off) < _OFF_GRID):
        key = int(number[k]) % 60
        if key not in best or len(chosen[k].stroke.path) > len(best[key].stroke.path):
            best[key] = chosen[k]
    return [best[key] for key in sorted(best)]


def meeting_point(
    sheet: StrokeSheet, strokes: Sequence[TracedStroke], near: tuple[float, float]
) -> tuple[float, float]:
    """Where the straight strokes that run roughly towards a place meet, dial radii: the centre of their track.

    near : the place, right to _CENTRE_OFF; it is given back where fewer than ten strokes tell or they do not agree.
    """
    some = [s for s in strokes if s.straight and abs(_tick(sheet, s, near).slant) < 1.6 * RADIAL]
    if len(some) < 10:
        return near
    axes = [s.axis for s in some]
    at = sheet.to_dial(np.array([centre for centre, _ in axes]))
    aside = np.array([(-direction[1], direction[0]) for _, direction in axes])
    length = np.array([s.length for s in some]) / sheet.scale
    weight = length / length.max()
    point = np.asarray(near, dtype=np.float64)
    for _ in range(12):
        off = ((at - point) * aside).sum(axis=1)
        scale = max(1.4826 * float(np.median(np.abs(off))), 1e-5)
        each = np.sqrt(weight / (1 + (off / scale) ** 2))
        point = point + np.linalg.lstsq(aside * each[:, None], off * each, rcond=None)[0]
    if np.hypot(*(point - near)) > _CENTRE_OFF or scale > _CENTRE_OFF:
        return near
    return float(point[0]), float(point[1])


def _tick(sheet: StrokeSheet, stroke: TracedStroke, centre: tuple[float, float]) -> Tick:
    middle, direction = stroke.axis
    at = sheet.to_dial(middle) - np.asarray(centre)
    radius = float(np.hypot(*at))
    out = at / max(radius, 1e-9)
    outwards = float(direction @ out) >= 0
    direction = direction if outwards else -direction
    slant = float(np.arctan2(direction[1] * out[0] - direction[0] * out[1], direction @ out))
    width, dark = stroke.typical_width, 1.0 - 10.0**-stroke.typical_density
    lean = lean_of(stroke) * (1.0 if outwards else -1.0)
    length = stroke.length / sheet.scale if np.isfinite(stroke.ends).all() else float("nan")
    return Tick(stroke, float(np.arctan2(at[0], -at[1])), slant, radius, length, width * dark, lean)


def tick_findings(
    sheet: StrokeSheet, zone: Zone, strokes: Sequence[TracedStroke], centre: tuple[float, float]
) -> list[Finding]:
    """Scatter of the ticks of one track."""
    ticks = ticks_about(sheet, strokes, centre)
    lines = [t.stroke.path for t in ticks]
    turn = np.array([t.turn for t in ticks])
    off = turn - np.round(turn / DIVISION) * DIVISION
    if len(turn):  # about the common phase, so that none falls half a division off
        phase = float(np.angle(np.exp(1j * 60 * turn).sum()) / 60)
        off = (turn - phase + DIVISION / 2) % DIVISION - DIVISION / 2
    slant = np.array([t.slant for t in ticks])
    length = np.array([t.length for t in ticks])
    free = np.isfinite(length)
    loose = [line for line, f in zip(lines, free, strict=True) if f]
    weight = np.log([t.mass for t in ticks]) if ticks else np.zeros(0)
    lean = np.array([t.lean for t in ticks])
    return [
        finding_of(PLACE, zone, off, np.degrees(scatter_round(turn, off)), lines),
        finding_of(SLANT, zone, slant, np.degrees(scatter_round(turn, slant)), lines),
        finding_of(LENGTH, zone, length[free], scatter_round(turn[free], np.log(length[free])), loose),
        finding_of(WEIGHT, zone, weight, scatter_round(turn, weight), lines),
        finding_of(LEAN, zone, lean, robust_spread(lean), lines),
    ]  # fmt: skip


def scatter_round(turn: Floats, values: Floats) -> float:
    """Robust SD of values about a curve of two harmonics round the turn, fitted with outliers weighed down; the SD is
    raised for the curve's freedom. nan for fewer values than the curve has terms and six more.
    """
    terms = [np.ones_like(turn)]
    for k in range(1, _TERMS + 1):
        terms += [np.sin(k * turn), np.cos(k * turn)]
    design = np.stack(terms, axis=1)
    if len(values) < design.shape[1] + 6:
        return float("nan")
    weight = np.ones(len(values))
    left = values - np.median(values)
    for _ in range(6):
        solved = np.linalg.lstsq(design * weight[:, None], values * weight, rcond=None)[0]
        left = values - design @ solved
        scale = max(1.4826 * float(np.median(np.abs(left))), 1e-9)
        weight = np.sqrt(1.0 / np.maximum(np.abs(left) / (1.5 * scale), 1.0))
    free = len(values) / (len(values) - design.shape[1])
    return robust_spread(left) * float(np.sqrt(free))
