"""Edges of broad strokes, by the definitions of ISO 13660 and ISO/IEC 24790.

R_p = Rmax - p (Rmax - Rmin). Raggedness is the SD of an edge's distance from a straight line fitted to it, the edge
taken at R_60; blurriness the distance from R_10 to R_90 across it (definitions from memory, the 60 % level as restated
by Briggs, Klein and Tse). Compare strokes within one photograph, not numbers between photographs: capture devices give
drastically different values for one print (Juric, GRID 2020).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter1d

from dialtell.evaluate.measurements.finding import (
    DENSITY,
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
from dialtell.evaluate.measurements.strokes import STEP, TracedStroke, to_density
from dialtell.model.reading.edge_response import TEN_TO_NINETY
from dialtell.synth.shared.terms import Zone

RAGGED = Measure("raggedness of edges", RADII, 5, True, "edges that wander", "straight edges")
GRAIN = Measure("grain of edges", RADII, 5, True, "granular edges", "smooth edges")
BLUR = Measure("softness of edges", RATIO, 5, False, "edges softer than the sharpest", "edges as sharp as any")
SIDES = Measure(
    "sides of a stroke together",
    RATIO,
    5,
    False,
    "strokes whose sides bend together",
    "sides that bend each for itself",
)
MOTTLE = Measure("grain within strokes", DENSITY, 5, True, "mottled blacks", "smooth blacks")
MEASURES = (RAGGED, GRAIN, BLUR, SIDES, MOTTLE)

LINE_LEVEL = 0.6  # p of R_p at which ISO 13660 puts an edge
BROAD_BLURS = 4.5  # blurs, least width: below it the two edges run into one
_LONG = 14  # px
_FINE = 0.004  # dial radii, SD of the smoothing that parts grain from wander: 0.09 mm on an 18 size dial


def reflectance_at(top: float, bottom: float, p: float) -> float:
    """R_p = Rmax - p (Rmax - Rmin)."""
    return top - p * (top - bottom)


def crossing(profile: Floats, level: Floats | float, step: float) -> Floats:
    """(N,) distance along (N, K) rising profiles from the first sample to where `level` is first passed, or nan."""
    goal = np.broadcast_to(np.asarray(level, dtype=np.float64), (len(profile),))
    above = profile >= goal[:, None]
    first = above.argmax(axis=1)
    row = np.arange(len(profile))
    before = profile[row, np.maximum(first - 1, 0)]
    after = profile[row, first]
    share = (goal - before) / np.maximum(after - before, 1e-12)
    return np.where(above.any(axis=1) & (first > 0), (first - 1 + share) * step, np.nan)


def raggedness(edge: Floats) -> float:
    """SD of the distances of an edge from the line fitted to it; edge : (N,) where it lies at even steps along it."""
    good = np.isfinite(edge)
    if good.sum() < 4:
        return float("nan")
    along = np.arange(len(edge))[good]
    return float(np.std(edge[good] - np.polyval(np.polyfit(along, edge[good], 1), along)))


def blurriness(profile: Floats, step: float) -> Floats:
    """(N,) distance from the 10 % to the 90 % transition of (N, K) profiles that rise from ink to enamel."""
    low, high = profile.min(axis=1), profile.max(axis=1)
    return crossing(profile, low + 0.9 * (high - low), step) - crossing(profile, low + 0.1 * (high - low), step)


def edge_findings(sheet: StrokeSheet, zone: Zone, strokes: Sequence[TracedStroke]) -> list[Finding]:
    """Of straight broad strokes, clear of other ink for most of their length."""
    ragged, grain, soft, together, mottle, lines = [], [], [], [], [], []
    for stroke in strokes:
        width = stroke.typical_width
        if not stroke.straight or width < BROAD_BLURS * sheet.blur or len(stroke.path) < max(_LONG, 1.2 * width):
            continue
        sides = _sides(sheet, stroke)
        if sides is None:
            continue
        left, right, softness, within = sides
        each = [raggedness(edge) for edge in (left, right)]
        fine = [_grain(edge, _FINE * sheet.scale) for edge in (left, right)]
        if not np.isfinite(each + fine).all():
            continue
        ragged.append(float(np.mean(each)) / sheet.scale)
        grain.append(float(np.mean(fine)) / sheet.scale)
        soft.append(softness / (TEN_TO_NINETY * sheet.blur))
        together.append(_together(left, right, _FINE * sheet.scale))
        mottle.append(within)
        lines.append(stroke.path)
    return [
        finding_of(measure, zone, values, middle(values), lines)
        for measure, values in (
            (RAGGED, ragged),
            (GRAIN, grain),
            (BLUR, soft),
            (SIDES, together),
            (MOTTLE, [v for v in mottle if v == v]),
        )
    ]


def _sides(sheet: StrokeSheet, stroke: TracedStroke) -> tuple[Floats, Floats, float, float] | None:
    """Left and right edge at R_60 (px aside of the axis), softness (px, R_10 to R_90), and SD of D within."""
    centre, direction = stroke.axis
    along = (stroke.path - centre) @ direction
    cut = 0.1 * float(np.ptp(along))
    at = np.arange(along.min() + cut, along.max() - cut, 1.0)
    if len(at) < 8:
        return None
    aside = np.array([-direction[1], direction[0]])
    reach = 0.6 * stroke.typical_width + 3.0 * sheet.blur + 2.0
    span = np.arange(0.0, reach + 1e-9, STEP)
    edges, softness = [], []
    for sign in (-1.0, 1.0):
        points = centre + at[:, None, None] * direction + sign * span[None, :, None] * aside
        _, hidden = sheet.at(points)
        profile = np.maximum.accumulate(sheet.sample(points), axis=1)
        # Rmax and Rmin of the stroke as a whole: those of one section alone would follow its noise
        top, bottom = float(np.median(profile[:, -1])), float(np.median(profile[:, 0]))
        if top - bottom < 0.3:
            return None
        edge = crossing(profile, reflectance_at(top, bottom, LINE_LEVEL), STEP)
        edge[hidden.any(axis=1) | (profile[:, -1] < bottom + 0.7 * (top - bottom))] = np.nan
        good = np.isfinite(edge)
        if good.mean() < 0.6:
            return None
        softness.append(float(np.nanmedian(blurriness(profile[good], STEP))))
        edges.append(edge)
    inside = 0.5 * stroke.typical_width - 2.0 * sheet.blur
    if inside < 1.0:
        return edges[0], edges[1], float(np.mean(softness)), float("nan")
    across = np.arange(-inside, inside + 1e-9, 1.0)
    field = to_density(1.0 - sheet.sample(centre + at[:, None, None] * direction + across[None, :, None] * aside))
    field = field - gaussian_filter1d(gaussian_filter1d(field, 4.0, axis=0), 4.0, axis=1)
    return edges[0], edges[1], float(np.mean(softness)), robust_spread(field.ravel())


def _grain(edge: Floats, fine: float) -> float:
    """SD of what of an edge is finer than a smoothing of SD `fine` px."""
    good = np.isfinite(edge)
    if good.sum() < 8:
        return float("nan")
    whole = np.interp(np.arange(len(edge)), np.flatnonzero(good), edge[good])
    return float(np.std((whole - gaussian_filter1d(whole, max(fine, 1.0)))[good]))


def _together(left: Floats, right: Floats, fine: float) -> float:
    """Correlation of the two sides' slow bends, both counted towards one side: 1 where the line wanders as a
    whole, -1 where it swells."""
    good = np.isfinite(left) & np.isfinite(right)
    along = np.flatnonzero(good).astype(np.float64)
    bends = []
    for edge in (-left, right):
        some = edge[good] - np.polyval(np.polyfit(along, edge[good], 1), along)
        bends.append(gaussian_filter1d(some, max(fine, 1.0)))
    size = np.std(bends[0]) * np.std(bends[1])
    return float(np.mean(bends[0] * bends[1]) / size) if size > 0 else 0.0
