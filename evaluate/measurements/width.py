"""Width: along one stroke, between strokes that ought to be the same, and from end to end.

A brush swells and is leaned upon; an engraved line keeps its width (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter1d

from dialtell.evaluate.measurements.finding import RATIO, Finding, Floats, Measure, finding_of, middle, robust_spread
from dialtell.evaluate.measurements.strokes import TracedStroke
from dialtell.synth.shared.terms import Zone

ALONG = Measure(
    "width along a stroke", RATIO, 5, True, "strokes that swell and narrow", "strokes of one width from end to end"
)
BETWEEN = Measure(
    "width from stroke to stroke", RATIO, 8, True, "like strokes of unlike widths", "like strokes of one width"
)
LEAN = Measure("width from end to end", RATIO, 5, True, "strokes heavier at one end", "strokes as heavy at either end")
MEASURES = (ALONG, BETWEEN, LEAN)

_LONG = 12  # px of core
_LIKE = 0.25  # ln width within which strokes are of one kind


def width_findings(zone: Zone, strokes: Sequence[TracedStroke]) -> list[Finding]:
    """strokes : of the zone; only straight ones are judged, since a curve may be meant to swell."""
    stems = [s for s in strokes if s.straight and len(s.core(s.width)) >= _LONG]
    along = [robust_spread(gaussian_filter1d(s.core(s.width), 2.0)) / s.typical_width for s in stems]
    lean = [abs(lean_of(s)) for s in stems]
    some = [s for s in strokes if s.straight]
    widths = np.array([np.log(s.typical_width) for s in some])
    off, members = like_deviations(widths)
    return [
        finding_of(ALONG, zone, along, middle(along), [s.path for s in stems]),
        finding_of(BETWEEN, zone, off, robust_spread(off), [some[k].path for k in members]),
        finding_of(LEAN, zone, lean, middle(lean), [s.path for s in stems]),
    ]


def lean_of(stroke: TracedStroke) -> float:
    """ln of the width in the last third over that in the first third of the core."""
    core = stroke.core(stroke.width)
    third = max(len(core) // 3, 1)
    return float(np.log(np.median(core[-third:]) / np.median(core[:third])))


def like_deviations(log_width: Floats) -> tuple[Floats, list[int]]:
    """ln width against the middle of its own kind, for kinds of four strokes or more, and which strokes these are.

    A kind is what lies within 0.25 of the commonest width, then of the commonest of the rest.
    """
    left = np.ones(len(log_width), dtype=np.bool_)
    off: list[float] = []
    members: list[int] = []
    while left.sum() >= 4:
        near = (np.abs(log_width[:, None] - log_width[None, :]) < _LIKE) & left
        near[~left] = False
        kind = near[int(near.sum(axis=1).argmax())]
        if kind.sum() < 4:
            break
        here = np.flatnonzero(kind)
        off += (log_width[here] - np.median(log_width[here])).tolist()
        members += here.tolist()
        left &= ~kind
    return np.array(off), members
