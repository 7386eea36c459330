"""Ends: past or short of the guide circle, square or rounded."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dialtell.evaluate.measurements.circle import fit_circle
from dialtell.evaluate.measurements.finding import (
    RADII,
    RATIO,
    Finding,
    Floats,
    Measure,
    finding_of,
    middle,
    robust_spread,
)
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.strokes import STEP, TracedStroke
from dialtell.synth.shared.terms import ZONES, Zone

OUTER = Measure(
    "outer ends off the guide circle", RADII, 8, True, "outer ends past or short of their circle",
    "outer ends on one circle",
)  # fmt: skip
INNER = Measure(
    "inner ends off the guide circle", RADII, 8, True, "inner ends past or short of their circle",
    "inner ends on one circle",
)  # fmt: skip
ROUND = Measure("roundness of ends", RATIO, 5, False, "rounded or pointed ends", "square ends")
MEASURES = (OUTER, INNER, ROUND)

_NEAR = 0.022  # dial radii from the commonest radius within which an edge is taken to be meant for the circle
_ANGLES = 1800
_LEAST_RUN = 3  # neighbouring directions that make an end
BROAD_BLURS = 3.0  # blurs, least width of a stroke whose ends show their shape
SIDE = 0.32  # of the width, how far aside the end is looked at


def guide_findings(sheet: StrokeSheet) -> list[Finding]:
    """Outer and inner ends of the hour figures."""
    if not sheet.zones.named:
        return [Finding(OUTER, Zone.NUMERALS, None, 0), Finding(INNER, Zone.NUMERALS, None, 0)]
    inner, outer = sheet.zones.numerals
    radius = np.arange(max(inner - 0.02, 0.2), min(outer + 0.02, 0.99), 0.6 / sheet.scale)
    turn = (np.arange(_ANGLES) + 0.5) * 2 * np.pi / _ANGLES
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    points = sheet.from_dial(ray[:, None, :] * radius[None, :, None])
    label, hidden = sheet.at(points)
    dark = 1.0 - sheet.sample(points)
    dark[label != ZONES.index(Zone.NUMERALS)] = 0.0
    level = 0.5 * (1.0 - sheet.black)
    findings = []
    for measure, outward in ((OUTER, True), (INNER, False)):
        edge = _outermost(dark, radius, level, outward)
        edge[hidden.any(axis=1)] = np.nan
        ends = _ends_on_circle(edge)
        where = np.stack(
            [ends[:, 1] * np.sin(turn[ends[:, 0].astype(int)]), -ends[:, 1] * np.cos(turn[ends[:, 0].astype(int)])],
            axis=1,
        )
        value = float("nan")
        if len(where) >= measure.least:
            value = robust_spread(fit_circle(where, robust=0.003).residuals)
        marks = [sheet.from_dial(p + np.array([[-0.004, 0.0], [0.004, 0.0]])) for p in where]
        findings.append(finding_of(measure, Zone.NUMERALS, where, value, marks))
    return findings


def _outermost(dark: Floats, radius: Floats, level: float, outward: bool) -> Floats:
    """Radius along each direction where the last (first) ink ends, between samples; nan without ink."""
    walk = dark[:, ::-1] if outward else dark
    at = radius[::-1] if outward else radius
    above = walk >= level
    first = above.argmax(axis=1)
    row = np.arange(len(walk))
    usable = above.any(axis=1) & (first > 0)
    before, after = walk[row, np.maximum(first - 1, 0)], walk[row, first]
    share = (level - before) / np.maximum(after - before, 1e-9)
    edge = at[np.maximum(first - 1, 0)] + share * (at[first] - at[np.maximum(first - 1, 0)])
    return np.where(usable, edge, np.nan)


def _ends_on_circle(edge: Floats) -> Floats:
    """(N, 2) middle direction (index) and radius of runs of directions whose edge lies near the commonest radius."""
    some = edge[np.isfinite(edge)]
    if len(some) < 20:
        return np.zeros((0, 2))
    near = np.abs(some[:, None] - some[None, :: max(len(some) // 300, 1)]) < 0.5 * _NEAR
    mode = some[int(near.sum(axis=1).argmax())]
    mode = float(np.median(some[np.abs(some - mode) < 0.5 * _NEAR]))
    kept = np.isfinite(edge) & (np.abs(edge - mode) < _NEAR)
    jump = np.abs(np.diff(edge, prepend=np.nan)) > 0.006
    start = kept & (~np.roll(kept, 1) | jump)
    runs = []
    for first in np.flatnonzero(start):
        last = first
        while last + 1 < len(edge) and kept[last + 1] and not start[last + 1]:
            last += 1
        if last - first + 1 >= _LEAST_RUN:
            runs.append(((first + last) // 2, float(np.median(edge[first : last + 1]))))
    return np.array(runs, dtype=np.float64).reshape(-1, 2)


def end_findings(sheet: StrokeSheet, zone: Zone, strokes: Sequence[TracedStroke]) -> list[Finding]:
    """Shape of the free ends of straight strokes."""
    values, lines = [], []
    for stroke in strokes:
        width = stroke.typical_width
        if not stroke.straight or width < BROAD_BLURS * sheet.blur or len(stroke.path) < 1.2 * width:
            continue
        shapes = [v for v in (roundness(sheet, stroke, k) for k in (0, 1)) if v is not None]
        if shapes:
            values.append(float(np.mean(shapes)))
            lines.append(stroke.path)
    return [finding_of(ROUND, zone, values, middle(values), lines)]


def roundness(sheet: StrokeSheet, stroke: TracedStroke, number: int) -> float | None:
    """How much farther a stroke's end reaches in the middle than SIDE of the width aside, in widths.

    0 for a square end, 0.116 for a half circle before blur; None where the end is not free.
    """
    if not np.isfinite(stroke.ends[number]):
        return None
    centre, direction = stroke.axis
    direction = direction if number else -direction
    width, level = stroke.typical_width, float(np.median(1.0 - 10.0**-stroke.peak))
    tip = stroke.path[-1 if number else 0] @ direction + stroke.ends[number]
    base = centre + direction * (tip - centre @ direction)
    aside = np.array([-direction[1], direction[0]])
    along = np.arange(-0.9 * width - 2.0, 0.6 * width + 3.0 * sheet.blur, STEP)
    lanes = base + along[:, None, None] * direction + np.array([-SIDE, 0.0, SIDE])[None, :, None] * width * aside
    run = 1.0 - sheet.sample(lanes)
    reach = []
    for lane in run.T:
        below = np.flatnonzero(lane < 0.5 * level)
        if not len(below) or below[0] == 0:
            return None
        k = int(below[0])
        reach.append(along[k - 1] + STEP * (lane[k - 1] - 0.5 * level) / max(lane[k - 1] - lane[k], 1e-9))
    return float((reach[1] - 0.5 * (reach[0] + reach[2])) / width)
