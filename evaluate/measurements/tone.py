"""Density: of thin strokes against thick ones, from stroke to stroke, and along a stroke.

Paint put on thin lets the white through; a printed film is one density everywhere (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter1d

from dialtell.evaluate.measurements.finding import RATIO, Finding, Floats, Measure, finding_of, middle, robust_spread
from dialtell.evaluate.measurements.strokes import HIGHEST_D, TracedStroke
from dialtell.synth.shared.terms import Zone

THIN_TO_THICK = Measure(
    "thin against thick", RATIO, 6, False, "thin strokes as black as thick ones", "thin strokes fainter than thick ones"
)
BETWEEN = Measure(
    "density from stroke to stroke", RATIO, 6, True, "density that changes from stroke to stroke",
    "one density in all its strokes",
)  # fmt: skip
ALONG = Measure(
    "density along a stroke", RATIO, 5, True, "density that changes along a stroke", "strokes even from end to end"
)
SLOPE = Measure(
    "density against width", RATIO, 12, False, "density that follows width", "density that does not follow width"
)
MEASURES = (THIN_TO_THICK, BETWEEN, ALONG, SLOPE)

THIN, THICK = 0.42, 0.7  # of the broad strokes' width
_BROAD = 0.9  # quantile of stroke width, over length
_CEILING = HIGHEST_D - 0.02  # a stroke read as black as can be told says nothing of how black it is
_EACH = 3  # strokes of either kind
_LONG = 12  # px of core, to look along
WIDTH_RANGE = 1.6  # ratio of widths a slope needs


def broad_width(strokes: Sequence[TracedStroke]) -> float:
    """Width of the dial's broad strokes, sheet px: the 90th percentile over length; nan without strokes."""
    if not strokes:
        return float("nan")
    width = np.array([s.typical_width for s in strokes])
    length = np.array([len(s.path) for s in strokes], dtype=np.float64)
    order = np.argsort(width)
    share = np.cumsum(length[order]) / length.sum()
    return float(width[order][min(int(np.searchsorted(share, _BROAD)), len(width) - 1)])


def tone_findings(zone: Zone, strokes: Sequence[TracedStroke], dial: Sequence[TracedStroke]) -> list[Finding]:
    """strokes : of the zone. dial : of the whole dial, for what counts as thick and how black that is."""
    strokes = [s for s in strokes if s.typical_density < _CEILING]
    broad = broad_width(dial)
    thick = [s for s in dial if s.typical_width >= THICK * broad]
    full = middle([s.typical_density for s in thick])
    thin = [s for s in strokes if s.typical_width <= THIN * broad]
    ratios = np.array([s.typical_density for s in thin]) / full if len(thick) >= _EACH else np.zeros(0)
    like = _alike(strokes)
    level = np.array([np.log(max(s.typical_density, 1e-3)) for s in like])
    along = [(s, _along(s)) for s in strokes if len(s.core(s.density)) >= _LONG]
    return [
        finding_of(THIN_TO_THICK, zone, ratios, middle(ratios), [s.path for s in thin]),
        finding_of(BETWEEN, zone, level, robust_spread(level), [s.path for s in like]),
        finding_of(ALONG, zone, [v for _, v in along], middle([v for _, v in along]), [s.path for s, _ in along]),
        _slope(zone, strokes),
    ]


def _alike(strokes: Sequence[TracedStroke]) -> list[TracedStroke]:
    """Those within a third of the commonest width: what should carry one density."""
    if not strokes:
        return []
    width = np.log([s.typical_width for s in strokes])
    near = np.abs(width[:, None] - width[None, :]) < 0.33
    most = int(near.sum(axis=1).argmax())
    return [s for s, kept in zip(strokes, near[most], strict=True) if kept]


def _along(stroke: TracedStroke) -> float:
    """SD of density along the core, over its median; grain of a few px smoothed away."""
    core = gaussian_filter1d(stroke.core(stroke.density), 2.0)
    return robust_spread(core) / max(float(np.median(core)), 0.02)


def _slope(zone: Zone, strokes: Sequence[TracedStroke]) -> Finding:
    """Change of ln density with ln width over strokes (Theil-Sen)."""
    width = np.log([s.typical_width for s in strokes]) if strokes else np.zeros(0)
    if len(width) < SLOPE.least or np.subtract(*np.quantile(width, [0.9, 0.1])) < np.log(WIDTH_RANGE):
        return Finding(SLOPE, zone, None, len(width))
    level = np.log([max(s.typical_density, 1e-3) for s in strokes])
    return finding_of(SLOPE, zone, width, theil_sen(width, level), [s.path for s in strokes])


def theil_sen(x: Floats, y: Floats) -> float:
    """Median slope over pairs far enough apart in x."""
    i, j = np.triu_indices(len(x), 1)
    if len(i) > 20_000:
        every = len(i) // 20_000 + 1
        i, j = i[::every], j[::every]
    far = np.abs(x[i] - x[j]) > 0.2 * float(np.ptp(x))
    return middle((y[i] - y[j])[far] / (x[i] - x[j])[far])
