"""A close-up laid on a dial's face-on picture: pulled to the best fit near a candidate, and how well ink then agrees.

Places are affine maps from px of the close-up to dial radii; within a field that is nearly what a tilted camera does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.compare.registration import EXTENT, LEAST_SCORE, DialSheet, bend, find_sites, match

Floats = NDArray[np.float64]
Image = NDArray[np.float32]
Flags = NDArray[np.bool_]

SOFT = 0.008  # dial radii, SD of the blur that ink is compared through
REACHES = (0.07, 0.035, 0.02)  # dial radii searched about the expected place, pass by pass
MOST_STRETCH = 2.0  # of a place, the longer way against the shorter: 35 degrees from square, either way, and to spare
LEAST_VIEW = 0.35  # of the field that must lie on the dial
LEAST_INK = 0.0005  # variance of ink below which there is nothing to compare
LEAST_SITES = 6  # that an affine map is fitted to
NOT_LOOKED = -1.0  # what `match` gives a site too near the edge of what both show: it speaks neither way
TAKEN = 0.005, 0.9  # dial radii, or px where that is more, within which a site agrees with the map
BARE = 0.08  # ink up to which enamel counts as bare
FOR_SLANT = 20  # sites from which on a camera's slant is taken off
FEWEST = 150  # px seen of both
BROAD = 0.15  # dial radii across, over which ink is levelled: three times as broad as the broadest strokes
WINDOW, FEWEST_WINDOWS = 0.1, 8  # dial radii across; fewer with design in them tell nothing
DESIGN, ALIKE = 0.0005, 0.6  # variance of ink in a window with design; correlation in one that agrees
FLAT = 1e-5  # variance of ink that counts at least: a hair-thin ring is faint on a whole view, and agrees all the same
STEP = 2**-0.5  # of the sizes a field is kept at


@dataclass(frozen=True, eq=False)
class Field:
    """A close-up as ink. ink : (H, W) float32, 0 bare enamel, 1 full. seen : (H, W) where it shows the dial's design.
    shrunk : its px per photo px. lit : (H, W) where it shows anything, strokes that might be hands too. full : optical
    density of full ink."""

    ink: Image
    seen: Flags
    shrunk: float
    lit: Flags
    full: float = 1.0

    @cached_property
    def steps(self) -> list[tuple[Image, Image]]:
        """Ink and what is seen of it, each step the root of two times smaller.

        A lens mixes light, not ink: a thin stroke is fainter from afar than the mean of its ink.
        """
        found = [(np.asarray(self.ink * self.seen, np.float32), self.seen.astype(np.float32))]
        light = np.power(np.float32(10), -self.full * found[0][0])
        height, width = self.ink.shape
        while min(found[-1][0].shape) > 24:
            size = (round(width * STEP ** len(found)), round(height * STEP ** len(found)))
            mixed, seen = (cv2.resize(one, size, interpolation=cv2.INTER_AREA) for one in (light, found[0][1]))
            found.append((np.asarray(-np.log10(mixed) / self.full, np.float32), np.asarray(seen, np.float32)))
        return found

    @cached_property
    def grid(self) -> Floats:
        """(25, 2) px spread over it."""
        x, y = np.meshgrid(np.linspace(0.1, 0.9, 5) * self.ink.shape[1], np.linspace(0.1, 0.9, 5) * self.ink.shape[0])
        return np.stack([x.ravel(), y.ravel()], axis=1)


@dataclass(frozen=True, eq=False)
class Fit:
    """A place and how well it fits.

    matrix : (2, 3), px of the field to dial radii. likeness : correlation of ink, -1..1. sites : places with ends and
    corners compared. share : of those, that found their like. spread : robust SD per axis of what is left of these,
    dial radii, nan without. even : share of the windows with design in them that agree.
    """

    matrix: Floats
    likeness: float
    sites: int = 0
    share: float = 0.0
    spread: float = math.nan
    even: float = 0.0

    def at(self, points: Floats) -> Floats:
        """(N, 2) px of the field to dial radii."""
        return np.asarray(points @ self.matrix[:, :2].T + self.matrix[:, 2])

    @property
    def pixels_per_radius(self) -> float:
        """px of the field."""
        return 1.0 / math.sqrt(abs(float(np.linalg.det(self.matrix[:, :2]))))

    def apart(self, other: Fit, field: Field) -> float:
        """Dial radii, mean over the field, between two places."""
        return float(np.hypot(*(self.at(field.grid) - other.at(field.grid)).T).mean())


def turned(matrix: Floats, radians: float) -> Floats:
    """A place turned clockwise about the dial's middle."""
    c, s = math.cos(radians), math.sin(radians)
    return np.asarray(np.array([[c, -s], [s, c]]) @ matrix)


def sound(matrix: Floats) -> bool:
    """Whether a camera could have made such a place."""
    linear = matrix[:, :2]
    if not np.isfinite(matrix).all():
        return False
    sizes = np.linalg.svd(linear, compute_uv=False)
    return bool(np.linalg.det(linear) > 0 and sizes[0] < MOST_STRETCH * sizes[1])


def laid(field: Field, matrix: Floats, scale: float, soft: float = 0.7) -> DialSheet:
    """The field as a sheet of the whole dial at `scale` px per dial radius. soft : px, SD of a blur."""
    side = 2 * round(EXTENT * scale)
    linear = np.linalg.inv(matrix[:, :2])
    onto = linear / scale  # sheet px to field px
    first = linear @ (0.5 / scale - EXTENT - matrix[:, 2]) - 0.5  # of the first px, both counted from its middle
    ratio = math.sqrt(abs(float(np.linalg.det(onto))))
    step = int(np.clip(round(math.log(ratio) / -math.log(STEP)), 0, len(field.steps) - 1)) if ratio > 1 else 0
    ink, own = field.steps[step]
    by = np.array(ink.shape[::-1]) / np.array(field.ink.shape[::-1])
    onto, first = by[:, None] * onto, by * (first + 0.5) - 0.5
    affine, flags = np.column_stack([onto, first]), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    drawn = cv2.warpAffine(ink, affine, (side, side), flags=flags)
    seen = cv2.warpAffine(own, affine, (side, side), flags=flags) > 0.9
    return DialSheet(np.asarray(cv2.GaussianBlur(drawn * seen, (0, 0), soft), np.float32), seen, scale)


def likeness(mine: DialSheet, dial: DialSheet, field: Field, matrix: Floats) -> float:
    """Correlation of the ink of a field laid on a dial and the dial's, where both are seen; 0 where too little is."""
    pair = _levelled(mine, dial, field, matrix)
    if pair is None:
        return 0.0
    mask = pair[2] > 0
    a, b = (ink[mask].astype(np.float64) for ink in pair[:2])
    return float((a * b).mean() / math.sqrt(max((a * a).mean(), LEAST_INK) * max((b * b).mean(), LEAST_INK)))


def agreeing(mine: DialSheet, dial: DialSheet, field: Field, matrix: Floats) -> float:
    """Share of the windows with any design in either picture in which the ink of both runs alike; 0 of few windows.

    Two dials with figures of one pattern agree in these; where one has a ring or lettering of its own they do not.
    """
    pair = _levelled(mine, dial, field, matrix)
    if pair is None:
        return 0.0
    a, b, weight = pair
    side = max(int(WINDOW * dial.scale) | 1, 5)

    def mean(picture: Image) -> Image:
        return np.asarray(cv2.blur(picture, (side, side), borderType=cv2.BORDER_CONSTANT), np.float32)

    filled = mean(weight)
    within = np.maximum(filled, 1e-3)
    means = [mean(ink * weight) / within for ink in (a, b)]
    spread = [mean(ink * ink * weight) / within - middle * middle for ink, middle in zip((a, b), means, strict=True)]
    shared = mean(a * b * weight) / within - means[0] * means[1]
    step = max(int(0.4 * WINDOW * dial.scale), 1)
    at = np.s_[step // 2 :: step, step // 2 :: step]
    own, its = (np.maximum(one[at], FLAT) for one in spread)
    drawn = (filled[at] > 0.6) & (np.maximum(own, its) > DESIGN)
    if drawn.sum() < FEWEST_WINDOWS:
        return 0.0
    return float((shared[at] > ALIKE * np.sqrt(own * its))[drawn].mean())


def _levelled(mine: DialSheet, dial: DialSheet, field: Field, matrix: Floats) -> tuple[Image, Image, Image] | None:
    """The ink of both through one blur over what both show, and the weight of that, cropped; None of too little.

    Each less its mean about every place: a veil of light, a shadow or a falling off towards the edge is broad and says
    nothing of strokes.
    """
    both = mine.seen & dial.seen
    area = float(abs(np.linalg.det(matrix[:, :2]))) * float(field.seen.sum()) * dial.scale**2
    if both.sum() < max(LEAST_VIEW * area, FEWEST):
        return None
    rows, columns = np.flatnonzero(both.any(axis=1)), np.flatnonzero(both.any(axis=0))
    crop = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    weight = both[crop].astype(np.float32)
    sigma = SOFT * dial.scale
    near = np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3)
    side = int(BROAD * dial.scale) | 1

    def mean(picture: Image) -> Image:
        return np.asarray(cv2.blur(picture, (side, side), borderType=cv2.BORDER_CONSTANT), np.float32)

    about = np.maximum(mean(weight), 1e-6)
    blurred = (cv2.GaussianBlur(one.ink[crop] * weight, (0, 0), sigma) / near for one in (mine, dial))
    soft = [np.asarray(ink, np.float32) for ink in blurred]
    a, b = (np.asarray(ink - mean(ink * weight) / about, np.float32) for ink in soft)
    return a, b, weight


def spared(field: Field, dial: DialSheet, matrix: Floats) -> Field:
    """The field at a place, where what may be hands counts as design if the dial has the like there, piece by piece:
    a broad figure that was taken for a hand speaks for a place, a hand speaks against none."""
    onto = dial.scale * matrix
    first = onto[:, :2] @ (0.5, 0.5) + onto[:, 2] + EXTENT * dial.scale - 0.5  # both counted from a px's middle
    size = field.ink.shape[1], field.ink.shape[0]
    affine, flags = np.column_stack([onto[:, :2], first]), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    there = cv2.warpAffine(dial.ink, affine, size, flags=flags)
    count, piece = cv2.connectedComponents((field.lit & ~field.seen).astype(np.uint8))
    soft = max(SOFT / math.sqrt(abs(float(np.linalg.det(matrix[:, :2])))), 0.5)
    a, b = (cv2.GaussianBlur(one, (0, 0), soft) for one in (field.ink, there))
    alike = np.zeros(count, bool)
    for at in range(1, count):
        own = piece == at
        spread = float(a[own].std() * b[own].std())
        alike[at] = spread > LEAST_INK and float(np.cov(a[own], b[own])[0, 1]) > ALIKE * spread
    return replace(field, seen=field.seen | alike[piece])


def rated(field: Field, dial: DialSheet, matrix: Floats) -> float:
    """Likeness at a place as it is."""
    return likeness(laid(field, matrix, dial.scale), dial, field, matrix) if sound(matrix) else 0.0


def pulled(field: Field, dial: DialSheet, matrix: Floats, reaches: tuple[float, ...] = REACHES) -> Fit | None:
    """The best fit near a candidate: places with ends and corners are looked for nearby, pass by pass, and an affine
    map is fitted to what is found, as `compare` does. None where nothing holds."""
    for reach in reaches:
        if not sound(matrix):
            return None
        mine, there = _both(field, dial, matrix)
        sites = find_sites(mine)
        if len(sites) < LEAST_SITES:
            return None
        found, score = match(mine, there, sites, sites, 0.0, reach)
        near = score > LEAST_SCORE
        if near.sum() < LEAST_SITES:
            return None
        coefficients = bend(sites, found, near, 1)
        linear = coefficients[1:].T
        matrix = np.column_stack([linear @ matrix[:, :2], linear @ matrix[:, 2] + coefficients[0]])
    return judged(field, dial, matrix) if sound(matrix) else None


def judged(field: Field, dial: DialSheet, matrix: Floats) -> Fit:
    """What is left over at a place: of all ends and corners of the field and of what it covers of the dial, how many
    find their like where they ought to, once a camera's slant is taken off, and how far off these are."""
    mine, there = _both(field, dial, matrix)
    faint = _evened(mine), _evened(there)
    taken = max(TAKEN[0], TAKEN[1] / dial.scale)
    counts, kept = [0, 0], [0, 0]
    left: list[Floats] = []
    for side, (one, other) in enumerate((faint, faint[::-1])):
        sites = find_sites(one)
        if len(sites) == 0:
            continue
        found, score = match(one, other, sites, sites, 0.0, REACHES[-1])
        looked = score > NOT_LOOKED
        counts[side] = int(looked.sum())
        near = score > LEAST_SCORE
        if near.sum() < LEAST_SITES:
            continue
        away = np.hypot(*(found - bent_onto(sites, found, near, 2 if near.sum() >= FOR_SLANT else 1)).T)
        own = near & (away < taken)
        kept[side] = int(own.sum())
        left.append(away[own])
    away = np.concatenate(left) if left else np.empty(0)
    # of a length to an SD per axis
    spread = float(np.median(away) / 1.1774) if len(away) >= LEAST_SITES else math.nan
    alike = likeness(mine, there, field, matrix)
    even = agreeing(mine, there, field, matrix)
    return Fit(matrix, alike, sum(counts), sum(kept) / max(sum(counts), 1), spread, even)


def _evened(sheet: DialSheet) -> DialSheet:
    """With faint strokes nearly as dark as full ones: a difference in a thin ring counts as one in a stem does."""
    ink = np.sqrt(np.clip((sheet.ink - BARE) / (1 - BARE), 0, 1))
    return DialSheet(np.asarray(ink, np.float32), sheet.seen, sheet.scale)


def bent_onto(sites: Floats, found: Floats, use: Flags, degree: int) -> Floats:
    """(N, 2) where the smooth bend fitted to the matches puts all sites."""
    x, y = sites.T
    terms = [np.ones_like(x), x, y, x * x, x * y, y * y][: 3 if degree == 1 else 6]
    return np.asarray(np.stack(terms, axis=1) @ bend(sites, found, use, degree))


def _both(field: Field, dial: DialSheet, matrix: Floats) -> tuple[DialSheet, DialSheet]:
    """The field laid on a dial, and the dial, each where both are seen."""
    mine = laid(field, matrix, dial.scale)
    seen = mine.seen & dial.seen
    return DialSheet(mine.ink, seen, dial.scale), DialSheet(dial.ink, seen, dial.scale)
