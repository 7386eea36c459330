"""Which ink is odd: darker or paler than in every one of the strokes most like it.

Each patch is laid over those of its zone that are most alike (the net's own comparison, see alike) and its pixels
are held against the span of theirs. What lies outside is measured against what this photograph's noise sets, against
edges that lie between pixels, and against how far the like ones differ from their own like: among strokes that repeat
one another little is odd, among figures that do not, much is not.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.net.alike import LOOK, REACH, compared, looked
from dialtell.model.reading.patches import SIDE, SPAN, PatchSet

Map = NDArray[np.float32]
Numbers = NDArray[np.int64]

MOST = 6  # strokes a patch is held against
LEAST = 3  # as many must be alike, or nothing is said
ALIKE = 0.7  # so much, see Alike
APART = 0.6 * SPAN  # dial radii: nearer ones show the same ink
EDGE = 0.5  # px of a look, by which edges may lie beside each other
USUAL = 4.0  # times what like ones differ by
FADE = 7.0  # px, SD about the middle: strokes at the rim are cut off there, and whole in another patch


def outside(patches: PatchSet) -> Map:
    """(N, S, S) 0 and more: how far each pixel lies outside what the like ones span, of patches of one scale."""
    look = looked(patches.density)
    found = compared(look, patches.zone, np.zeros(len(patches)), MOST + 2)
    own = look.reshape(-1, LOOK, LOOK)
    beside, alike = _apart(patches, found.beside, found.alike)
    real = alike > 0
    stack = np.repeat(own[:, None], beside.shape[1], axis=1)  # where there is none, itself: nothing is outside it
    one, k = np.nonzero(real)
    stack[one, k] = _laid_over(own[one], own[beside[one, k]])

    middle = slice(REACH + 1, LOOK - REACH - 1)
    left = np.sqrt(np.mean((own[:, None] - stack)[:, :, middle, middle] ** 2, axis=(2, 3)))
    number = np.maximum(real.sum(axis=1), 1)
    usual = (np.where(real, (left.sum(axis=1) / number)[beside], 0.0).sum(axis=1) / number)[:, None, None]
    slope = _slope(np.median(stack, axis=1))
    against = np.sqrt(np.exp(2 * found.floor) + (EDGE * slope) ** 2 + (USUAL * usual) ** 2)
    beyond = np.maximum(own - stack.max(axis=1), 0) + np.maximum(stack.min(axis=1) - own, 0)
    calm = np.array([cv2.GaussianBlur(each, (0, 0), 1.0) for each in (beyond / against).astype(np.float32)])
    fade = np.exp(-0.5 * ((np.arange(LOOK) - 0.5 * (LOOK - 1)) / FADE) ** 2)
    told = (alike > ALIKE).sum(axis=1) >= LEAST
    odd = calm.reshape(own.shape) * np.outer(fade, fade) * told[:, None, None]
    return np.asarray(odd.repeat(SIDE // LOOK, axis=1).repeat(SIDE // LOOK, axis=2), np.float32)


def _apart(patches: PatchSet, beside: Numbers, alike: Map) -> tuple[Numbers, Map]:
    """(N, MOST) likes that lie elsewhere on the dial, the most alike first, and how alike; 0 for none."""
    away = np.linalg.norm(patches.center[:, None] - patches.center[beside], axis=2)
    alike = np.where((beside >= 0) & (away > APART), alike, 0.0).astype(np.float32)
    order = np.argsort(-alike, axis=1, kind="stable")[:, :MOST]
    return np.maximum(np.take_along_axis(beside, order, 1), 0), np.take_along_axis(alike, order, 1)


def _laid_over(still: Map, moved: Map) -> Map:
    """(P, LOOK, LOOK) the second ones where they fit the middle of the first best, between the pixels too."""
    inner, ways = LOOK - 2 * REACH, 2 * REACH + 1
    middle = still[:, REACH:-REACH, REACH:-REACH]
    left = np.empty((len(still), ways, ways), np.float32)
    for down in range(ways):
        for across in range(ways):
            part = moved[:, down : down + inner, across : across + inner]
            left[:, down, across] = np.square(middle - part).sum(axis=(1, 2))
    row, column = np.divmod(left.reshape(len(left), ways * ways).argmin(axis=1), ways)
    at = np.arange(len(left))
    down = row - REACH + _between(left[at, :, column], row)
    across = column - REACH + _between(left[at, row], column)
    fitted = np.empty_like(moved)
    for into, picture, x, y in zip(fitted, moved, across, down, strict=True):
        way = np.array([[1, 0, -x], [0, 1, -y]], dtype=np.float64)
        cv2.warpAffine(picture, way, (LOOK, LOOK), dst=into, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return fitted


def _between(left: Map, least: Numbers) -> Map:
    """(P,) where the parabola through the least of (P, W) and its neighbours is lowest, from it; 0 at the rim."""
    at, inside = np.arange(len(left)), np.clip(least, 1, left.shape[1] - 2)
    before, here, after = (left[at, inside + step] for step in (-1, 0, 1))
    lowest = np.clip(0.5 * (before - after) / np.maximum(before + after - 2 * here, 1e-3), -0.5, 0.5)
    return np.where(inside == least, lowest, 0.0).astype(np.float32)


def _slope(pictures: Map) -> Map:
    """(N, H, W) how much each picture changes from px to px."""
    across, down = np.gradient(pictures, axis=2), np.gradient(pictures, axis=1)
    return np.asarray(np.hypot(across, down), np.float32)
