"""A close-up laid on the whole view of its dial, by itself: place, turn and scale follow, or it is refused in words.

Candidates come from like features, each is pulled to its best fit, and what counts is what is left over there: how
many of the places with ends and corners find their like where they ought to, and how the ink agrees. A dial repeats
itself every 6 and every 30 degrees, so the best place is tried against all its turns; and a photograph of another
dial fits nowhere well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.compare.registration import DialSheet, sheet_of
from dialtell.evaluate.one_dial.features import Candidate, Features, candidates, features_of
from dialtell.evaluate.one_dial.fitting import Field, Fit, judged, pulled, rated, spared, turned
from dialtell.model.reader.file import Reader, load_reader
from dialtell.model.reading.close_up import frame_geometry
from dialtell.model.reading.density import optical_density
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.looks import first_look
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import Reading
from dialtell.model.reading.zones import HIDING
from dialtell.synth.shared.terms import SEEN
from dialtell.train.stats.proportion import wilson_share

Floats = NDArray[np.float64]
Image = NDArray[np.float32]
Flags = NDArray[np.bool_]

SCALES = 120.0, 320.0  # px per dial radius that a whole view is compared at, least and most
LEAST_WHOLE = 60.0  # px per dial radius that a whole view must resolve: below, figures are blots
LONGER_SIDE = 512  # px of a close-up compared
# px, longer side of a close-up in which like features are looked for: a whole view resolves about so much of what it
# shows, and finer features are of grain, edges and hairlines, which the whole view has not
LOOKED_AT = 256, 128
# candidates of each size; pulled to their best fit: by votes of each size, by ink of all, turns between hours
TRIED, BY_VOTES, PULLED, RIVALS = 32, 2, 4, 2
FULL = 0.9  # quantile of the densities above 0.3 taken for full, before the dial's is known
DIM, BROAD = 0.4, 0.08  # of the light, and of the shorter side: what is darker and broader is no stroke
ALL_SEEN = 0.99  # share of a close-up from which nothing counts as covered
LEAST_SEEN = 0.2  # share of a close-up that the reader must leave; else it is not asked what covers the dial
# of the best place; each from drawn dials, see tests/trials/reading/one_dial.py
LEAST_SITES, LEAST_SHARE, LEAST_LIKENESS, LEAST_EVEN = 8, 0.6, 0.3, 0.9
FAIR_SHARE = 0.2  # below, turning it makes no place of it
LEAST_BOTH = 0.65  # share times even, at its lower limit of 95 %: few places that agree may agree by chance
MOST_RIVAL = 0.6  # of its score, what the best other place may have
APART = 0.04  # dial radii from which two places are two


@dataclass(frozen=True, eq=False)
class WholeView:
    """A whole view made ready to lay close-ups on. reading : of it. sheet : face on. coarse : the same, smaller, for a
    first look at many places. features : of the first."""

    reading: Reading
    sheet: DialSheet
    coarse: DialSheet
    features: Features


@dataclass(frozen=True, eq=False)
class Placing:
    """Where a close-up lies on its dial, or why that is not known.

    geometry : of the whole dial in px of the close-up, 12 o'clock as in the whole view: of the best place, also where
    that was refused; None where there is none. reason : in words why it was not placed, "" where it was. fit : of the
    best place, None where none was found. rival : score of the best other place over that of the best, 0..1.
    """

    geometry: DialGeometry | None
    reason: str
    fit: Fit | None = None
    rival: float = 0.0

    @property
    def placed(self) -> bool:
        """Whether its place is known."""
        return not self.reason

    @property
    def residual(self) -> float:
        """SD per axis of what is left at the matching places, dial radii."""
        return math.nan if self.fit is None else self.fit.spread


def whole_view(reading: Reading) -> WholeView:
    """Make a whole view ready."""
    scale = float(np.clip(1.2 * reading.sharpness.true_pixels_per_radius, *SCALES))
    sheet = sheet_of(reading, scale)
    return WholeView(reading, sheet, sheet_of(reading, SCALES[0]), features_of(sheet.ink, sheet.seen))


def field_of(photo: Photo, reader: Reader | None = None) -> Field:
    """A close-up as ink, of which nothing is known."""
    density = optical_density(photo.grey, frame_geometry(photo.grey.shape))
    height, width = density.shape
    shrunk = min(LONGER_SIDE / max(height, width), 1.0)
    size = (max(round(width * shrunk), 1), max(round(height * shrunk), 1))
    small = np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), np.float32)
    dark = small[small > 0.3]
    full = max(float(np.quantile(dark, FULL)), 0.2) if dark.size > 50 else 1.0
    look = first_look(photo.codes, reader or load_reader())
    hidden = np.isin(look.seen, [SEEN.index(one) for one in HIDING]).astype(np.uint8)
    onto = look.onto[:, :2] @ np.diag([width / size[0], height / size[1]])
    shift = onto @ (0.5, 0.5) + look.onto[:, 2] - 0.5
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    covered = cv2.warpAffine(hidden, np.column_stack([onto, shift]), size, flags=flags)
    lit = ~_surround(np.asarray(cv2.resize(photo.grey, size, interpolation=cv2.INTER_AREA), np.float32))
    seen = lit & (cv2.dilate(np.asarray(covered, np.uint8), np.ones((9, 9), np.uint8)) == 0)
    if seen.mean() < LEAST_SEEN * lit.mean():
        seen = lit
    return Field(np.clip(small / full, 0, 1.3).astype(np.float32), seen, size[0] / width, lit, full)


def _surround(light: Image) -> Flags:
    """Where a frame (H, W) is darker than any stroke is broad: round an eyepiece's field, beyond the case."""
    soft = cv2.GaussianBlur(light, (0, 0), 2.0)
    dark = (soft < DIM * float(np.quantile(soft, 0.8))).astype(np.uint8)
    depth = cv2.distanceTransform(cv2.copyMakeBorder(dark, 1, 1, 1, 1, cv2.BORDER_REPLICATE), cv2.DIST_L2, 3)[
        1:-1, 1:-1
    ]
    _, piece = cv2.connectedComponents(dark)
    broad = np.unique(piece[depth > BROAD * min(light.shape)])
    found = np.isin(piece, broad[broad > 0]).astype(np.uint8)
    return np.asarray(cv2.dilate(found, np.ones((9, 9), np.uint8)) > 0)


def place_field(field: Field, whole: WholeView) -> Placing:
    """Lay a close-up on a whole view."""
    if whole.reading.sharpness.true_pixels_per_radius < LEAST_WHOLE:
        return Placing(None, "the whole view is too vague to lay anything on it")
    found = [_proposed(field, whole, side) for side in LOOKED_AT]
    if not any(found):
        return Placing(None, "too few of its strokes are like any of the whole view's")
    placing = _best(field, whole, found)
    if placing.placed or field.seen.sum() > ALL_SEEN * field.lit.sum():
        return placing
    # so near, broad strokes are taken for hands: as if nothing were covered
    bare = _best(replace(field, seen=field.lit), whole, found, field)
    return bare if bare.placed and not _refused_before(bare, placing, field) else placing


def _refused_before(bare: Placing, before: Placing, field: Field) -> bool:
    """Whether another place fitted about as well before strokes that may be hands were counted."""
    if bare.fit is None or before.fit is None:
        return False
    elsewhere = bare.fit.apart(before.fit, field) > APART
    return score(before.fit) * (1.0 if elsewhere else before.rival) > MOST_RIVAL * score(bare.fit)


def _proposed(field: Field, whole: WholeView, side: int) -> list[Candidate]:
    """Candidates, the likeliest first, from features of a close-up made `side` px long."""
    height, width = field.ink.shape
    by = min(side / max(height, width), 1.0)
    size = (max(round(width * by), 1), max(round(height * by), 1))
    ink = np.asarray(cv2.resize(field.ink, size, interpolation=cv2.INTER_AREA), np.float32)
    lit = cv2.resize(field.lit.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    middle = 0.5 * np.array(size, float)
    found = candidates(features_of(ink, lit), whole.features, whole.sheet.scale, middle, TRIED)
    onto = np.diag([size[0] / width, size[1] / height, 1.0])
    return [replace(one, matrix=one.matrix @ onto) for one in found]


def _best(
    field: Field, whole: WholeView, found: Sequence[Sequence[Candidate]], covered: Field | None = None
) -> Placing:
    """The best of the candidates, tried against all its turns.

    covered : the field with what may be hands left out; at each place these then count where the dial has their like.
    """

    def laid(matrix: Floats) -> Fit | None:
        fit = pulled(field, whole.sheet, matrix)
        if fit is None or covered is None:
            return fit
        return judged(spared(covered, whole.sheet, fit.matrix), whole.sheet, fit.matrix)

    others = [one for some in found for one in some[BY_VOTES:]]
    others.sort(key=lambda one: -rated(field, whole.coarse, one.matrix))
    tried = [one for some in found for one in some[:BY_VOTES]] + others[:PULLED]
    fits = [fit for one in tried if (fit := laid(one.matrix)) is not None]
    if not fits:
        return Placing(None, "it fits nowhere on the whole view")
    best = max(fits, key=score)
    if best.share < FAIR_SHARE:
        return Placing(_geometry(best.matrix, field.shrunk), _refusal(best, 0.0), best)
    turns = [turned(best.matrix, math.radians(degrees)) for degrees in range(6, 360, 6)]
    hours = turns[4::5]  # each, however little of it is like: a hand may lie over the right one
    ticks = [matrix for at, matrix in enumerate(turns) if at % 5 != 4]
    ticks.sort(key=lambda matrix: -rated(field, whole.coarse, matrix))
    fits += [fit for matrix in hours + ticks[:RIVALS] if (fit := laid(matrix)) is not None]
    best = max(fits, key=score)
    rivals = [score(fit) for fit in fits if best.apart(fit, field) > APART]
    rival = max(rivals, default=0.0) / max(score(best), 1e-6)
    return Placing(_geometry(best.matrix, field.shrunk), _refusal(best, rival), best, rival)


def score(fit: Fit) -> float:
    """How well a place fits, 0..1."""
    return fit.share**2 * math.sqrt(max(fit.likeness, 0.0))  # a hand or a shadow over a field lowers the second more


def _refusal(fit: Fit, rival: float) -> str:
    if fit.sites < LEAST_SITES or fit.share < LEAST_SHARE or fit.likeness < LEAST_LIKENESS:
        return "it fits nowhere on the whole view"
    # a place that both pictures have is found from either, and is one witness
    if fit.even < LEAST_EVEN or wilson_share(fit.share * fit.even, fit.sites / 2).low < LEAST_BOTH:
        return "some of what it shows lies where the whole view has something else, or nothing"
    if rival > MOST_RIVAL:
        return "it fits several places of the whole view about equally"
    return ""


def _geometry(matrix: Floats, shrunk: float) -> DialGeometry:
    """The dial whose radii a place tells, in photo px. matrix : (2, 3) px of the field to dial radii."""
    linear = np.linalg.inv(matrix[:, :2]) / shrunk  # dial radii to photo px
    x, y = -linear @ matrix[:, 2]
    # an ellipse, and the turn left: the polar parts of the map
    u, sizes, v = np.linalg.svd(linear)
    turn = u @ v
    return DialGeometry(
        (float(x), float(y)), (float(sizes[0]), float(sizes[1])), math.atan2(u[1, 0], u[0, 0]) % math.pi,
        math.atan2(turn[1, 0], turn[0, 0]),
    )  # fmt: skip
