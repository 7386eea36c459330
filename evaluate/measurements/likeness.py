"""How far strokes that ought to be the same still differ once they are laid over one another as well as can be.

No two painted strokes coincide; those of a plate differ only as the engraver let them (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import map_coordinates

from dialtell.evaluate.measurements.finding import RATIO, Finding, Floats, Measure, finding_of, middle
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.strokes import TracedStroke
from dialtell.synth.shared.terms import Zone

UNLIKE = Measure(
    "unlikeness of like strokes",
    RATIO,
    8,
    True,
    "no two strokes alike where they ought to be",
    "strokes that repeat one another",
)
MEASURES = (UNLIKE,)

_LENGTH, _WIDTH = 0.12, 0.3  # ln, within which two strokes ought to be the same
_MOST = 60  # strokes laid over one another
_LEAST_PX = 6.0  # of length


def likeness_findings(sheet: StrokeSheet, zone: Zone, strokes: Sequence[TracedStroke]) -> list[Finding]:
    """Of straight strokes of the commonest kind in the zone."""
    kind = _kind([s for s in strokes if s.straight and s.shown.all() and len(s.path) >= _LEAST_PX])
    if len(kind) < UNLIKE.least:
        return [Finding(UNLIKE, zone, None, len(kind))]
    patches = _patches(sheet, kind)
    values = differences(patches)
    return [finding_of(UNLIKE, zone, values, middle(values), [s.path for s in kind])]


def _kind(strokes: Sequence[TracedStroke]) -> list[TracedStroke]:
    """Strokes alike in length and width to the stroke with most such."""
    if not strokes:
        return []
    length = np.log([s.length for s in strokes])
    width = np.log([s.typical_width for s in strokes])
    near = np.abs(length[:, None] - length) < _LENGTH
    near &= np.abs(width[:, None] - width) < _WIDTH
    kind = near[int(near.sum(axis=1).argmax())]
    chosen = np.flatnonzero(kind)
    return [strokes[k] for k in chosen[:: max(-(-len(chosen) // _MOST), 1)]]


def _patches(sheet: StrokeSheet, kind: Sequence[TracedStroke]) -> Floats:
    """(N, rows, columns) absorption along and across each stroke's own axis, all of one size, outer end first."""
    length = float(np.median([s.length for s in kind]))
    width = float(np.median([s.typical_width for s in kind]))
    rows = np.arange(-0.5 * length, 0.5 * length + 0.5, 1.0)
    across = np.arange(-(0.5 * width + 2.5 * sheet.blur + 1.5), 0.5 * width + 2.5 * sheet.blur + 2.0, 1.0)
    parts = []
    for stroke in kind:
        centre, direction = stroke.axis
        out = sheet.to_dial(centre)
        if direction @ out > 0:
            direction = -direction  # the outer end first
        aside = np.array([-direction[1], direction[0]])
        grid = centre + rows[:, None, None] * direction + across[None, :, None] * aside
        parts.append(1.0 - sheet.sample(grid))
    return np.array(parts)


def differences(patches: Floats, rounds: int = 3) -> Floats:
    """What is left of each of (N, rows, columns) patches against the others' middle after the best shift: RMS over the
    middle's own RMS, (N,).

    The shift is found by Gauss-Newton on the patch's own slopes (B. Lucas and T. Kanade 1981, from memory), at most a
    pixel and a half either way.
    """
    shift = np.zeros((len(patches), 2))
    moved = patches
    for _ in range(rounds):
        model = np.median(moved, axis=0)
        down, across = np.gradient(model)
        slope = np.stack([down.ravel(), across.ravel()], axis=1)
        normal = slope.T @ slope + 1e-6 * np.eye(2)
        left = (moved - model).reshape(len(moved), -1)
        shift = np.clip(shift + left @ slope @ np.linalg.inv(normal), -1.5, 1.5)
        moved = np.array([_shifted(patch, *by) for patch, by in zip(patches, shift, strict=True)])
    model = np.median(moved, axis=0)[1:-1, 1:-1]
    size = float(np.sqrt(np.mean(model**2)))
    left = moved[:, 1:-1, 1:-1] - model
    return np.asarray(np.sqrt(np.mean(left**2, axis=(1, 2))) / max(size, 1e-6))


def _shifted(patch: Floats, down: float, across: float) -> Floats:
    rows, columns = np.indices(patch.shape)
    return np.asarray(map_coordinates(patch, [rows - down, columns - across], order=1, mode="nearest"))
