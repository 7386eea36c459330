"""Dots of a track: sizes and shapes. Painted dots are drops; those of a plate were punched (common practice)."""

from __future__ import annotations

import cv2
import numpy as np

from dialtell.evaluate.measurements.finding import RATIO, Finding, Floats, Measure, finding_of, robust_spread
from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.strokes import INK, OVER_GRAIN
from dialtell.synth.shared.terms import ZONES, Zone

SIZE = Measure("size of dots", RATIO, 6, True, "dots of unlike sizes", "dots of one size")
SHAPE = Measure("shape of dots", RATIO, 6, True, "dots of unlike shapes", "dots of one shape")
MEASURES = (SIZE, SHAPE)

_LARGEST = 0.045  # dial radii across
_LIKE = 0.6  # ln size about the commonest within which dots are of one kind
_LEAST_PX = 4.0  # of area


def dot_findings(sheet: StrokeSheet, zone: Zone) -> list[Finding]:
    """Dots that stand free of other ink."""
    level = max(INK, OVER_GRAIN * sheet.grain, 0.25 * (1.0 - sheet.black))
    index = ZONES.index(zone)
    ink = ((sheet.light < 1.0 - level) & (sheet.label >= 0)).astype(np.uint8)
    count, label, stats, middles = cv2.connectedComponentsWithStats(ink, connectivity=8)
    sizes, ratios, outlines = [], [], []
    for k in range(1, count):
        x, y, width, height, area = stats[k]
        row, column = int(middles[k][1]), int(middles[k][0])
        if sheet.label[row, column] != index or area < _LEAST_PX or max(width, height) > _LARGEST * sheet.scale + 4:
            continue
        if max(width, height) > 1.7 * min(width, height) + 1 or area < 0.6 * width * height:
            continue
        margin = int(np.ceil(2.5 * sheet.blur)) + 1
        rows = slice(max(y - margin, 0), y + height + margin)
        columns = slice(max(x - margin, 0), x + width + margin)
        if sheet.hidden[rows, columns].any() or np.isin(label[rows, columns], (0, k)).mean() < 0.97:
            continue
        size, ratio = moments(1.0 - sheet.light[rows, columns].astype(np.float64), sheet.blur, 1.0 - sheet.black)
        if size > 0:
            sizes.append(size)
            ratios.append(ratio)
            turn = np.linspace(0, 2 * np.pi, 17)
            outlines.append(np.array(middles[k]) + 0.5 + 0.5 * size * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    log = np.log(sizes) if sizes else np.zeros(0)
    if len(log):
        near = np.abs(log[:, None] - log) < _LIKE
        kind = near[int(near.sum(axis=1).argmax())]
        log, some = log[kind], np.array(ratios)[kind]
        outlines = [o for o, kept in zip(outlines, kind, strict=True) if kept]
    else:
        some = np.zeros(0)
    return [
        finding_of(SIZE, zone, log, robust_spread(log), outlines),
        finding_of(SHAPE, zone, some, robust_spread(some), outlines),
    ]


def moments(dark: Floats, blur: float, absorbed: float) -> tuple[float, float]:
    """Diameter, px, of the disc of full absorption with the mass of a spot, and ln of the ratio of its axes with a
    direction to it: positive where it is longer across the picture than down.

    dark : (H, W) absorption, 0 about the spot. The variance of a blurred spot is its own plus blur squared.
    """
    dark = np.clip(dark - float(np.median(np.concatenate([dark[0], dark[-1], dark[:, 0], dark[:, -1]]))), 0.0, None)
    mass = float(dark.sum())
    if mass <= 0:
        return 0.0, 0.0
    rows, columns = np.indices(dark.shape)
    cy, cx = (dark * rows).sum() / mass, (dark * columns).sum() / mass
    yy = float((dark * (rows - cy) ** 2).sum() / mass) - blur**2
    xx = float((dark * (columns - cx) ** 2).sum() / mass) - blur**2
    xy = float((dark * (rows - cy) * (columns - cx)).sum() / mass)
    floor = 0.05 * max(xx + yy, 0.1)
    split = float(np.hypot(0.5 * (xx - yy), xy))
    long, short = max(0.5 * (xx + yy) + split, floor), max(0.5 * (xx + yy) - split, floor)
    sign = 1.0 if xx >= yy else -1.0
    return float(np.sqrt(4 * mass / max(absorbed, 1e-3) / np.pi)), sign * 0.5 * float(np.log(long / short))
