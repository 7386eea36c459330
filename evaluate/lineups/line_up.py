"""Strokes laid over one another by their best fit, their mean, and how far each is from the others.

The fit is a shift, a small turn and a small change of size, found by Gauss-Newton on the light of the window (B. Lucas
and T. Kanade 1981; S. Baker and I. Matthews 2004, both from memory). How black a stroke is is left as it is: a fainter
stroke differs. A difference is counted in times of the floor: what this photograph's noise alone would make of two
strokes that are the same, measured on bare enamel beside the strokes with the same reading and smoothing, and what
reading between pixels adds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.lineups.cuts import Cut, Field, Image
from dialtell.synth.shared.terms import Zone

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUNDS, STEPS = 2, 4  # of the mean, and of the fit within each
CENTRED = 2  # times that windows cut by place are moved sideways onto their strokes
MOST_TURN, MOST_GROWN = 0.14, 0.10  # radians, ln of size: beyond, it is another stroke
LARGEST = 120  # px of a window's longer side, in which strokes are compared
CALM = 0.7  # px, least SD of the smoothing before two are compared
IN_BLURS = 1.2  # the same in SDs of the photograph's blur: what is finer is the camera's sharpening, not a stroke
BETWEEN = 0.005  # of a stroke's depth, RMS that reading it between pixels leaves; on drawn strokes without noise
LEANING, MANY = 8, 20  # strokes, from which what leans across the dial, and what changes from place to place, is told
CLEARLY = 0.85  # of what another way leaves
NEIGHBOURS = (0.5, 0.2)  # dial radii, how far off those lie that a stroke is compared with
STANDS_OUT = 3.5  # robust SDs above the middle from which a stroke is named as odd
LEAST_BARE = 12  # px of bare enamel in a window, from which it is brought to the light of the others
LEAST_LIKE = 0.5  # correlation with the middle stroke, below which it is no such stroke
FEW_SEEN = 0.25  # share of the strokes that a place of the mean rests on at least
LEAST_SHOWN = 0.75  # share of a window that must be in view
FLOOR_WINDOWS = 60


@dataclass(frozen=True, eq=False)
class LineUp:
    """N strokes meant to be the same.

    what : in a collector's words, plural. cuts : fitted, N. step : sheet px per window px.
    windows : (N, h, w) float32 light, one over another. mean : (h, w). support : (h, w) where strokes are compared.
    difference : (N, h, w) light against the mean of the others, 0 outside what is compared.
    floor : RMS that noise alone makes of such a difference. times : (N,) RMS of each over the floor.
    excess : (N,) RMS above the floor (in quadrature) over the depth of the mean stroke: free of how noisy it is.
    fits : (N, 4) px right, px down, radians clockwise, ln of size, against the place it was cut at.
    """

    zone: Zone
    what: str
    cuts: tuple[Cut, ...]
    step: float
    windows: Image
    mean: Image
    support: Flags
    difference: Image
    floor: float
    times: Floats
    excess: Floats
    fits: Floats

    @property
    def ranked(self) -> NDArray[np.int64]:
        """Indices, the oddest first."""
        return np.argsort(-self.times, kind="stable")

    @property
    def odd(self) -> list[int]:
        """Indices of those that stand out from the rest, the oddest first; of four strokes and more."""
        if len(self.times) < 4:
            return []
        size = np.log(np.maximum(self.times, 1e-3))
        middle = float(np.median(size))
        spread = max(1.4826 * float(np.median(np.abs(size - middle))), 0.08)
        return [int(k) for k in self.ranked if size[k] > middle + STANDS_OUT * spread]


def line_up(
    field: Field, zone: Zone, what: str, cuts: Sequence[Cut], rng: np.random.Generator, *, size: float = LARGEST
) -> LineUp | None:
    """Line strokes up; None where fewer than two are in view. rng : where on bare enamel the noise is measured."""
    blur = field.sheet.blur
    extent = np.max([cut.size for cut in cuts], axis=0)
    extent = np.minimum(extent, 1.35 * np.median([cut.size for cut in cuts], axis=0) + 2)
    margin = 2.5 * blur + 2.0
    step = max(float(extent.max() + 2 * margin) / size, 1.0)
    shape = (
        max(math.ceil((extent[1] + 2 * margin) / step), 7),
        max(math.ceil((extent[0] + 2 * margin) / step), 7),
    )
    fit = np.zeros((len(cuts), 4))
    shown = np.array([field.valid(cut.grid(shape, step), 0, zone).mean() for cut in cuts])
    kept = [k for k in range(len(cuts)) if shown[k] >= LEAST_SHOWN]
    if len(kept) < 2:
        return None
    cuts = [cuts[k] for k in kept]
    fit = fit[kept]
    calm = max(CALM, IN_BLURS * blur / step)
    windows, valid = _read(field, zone, cuts, shape, step, fit, calm)
    if cuts[0].owner == 0:  # cut by place, they may stand beside it, all to one side
        for _ in range(CENTRED):
            fit[:, 0] += _aside(1.0 - np.median(windows, axis=0))
            windows, valid = _read(field, zone, cuts, shape, step, fit, calm)
    start = fit.copy()
    for _round in range(ROUNDS):
        mean = _mean(windows, valid, middle=True)
        for _ in range(STEPS):
            fit = _stepped(windows, valid, mean, fit, shape)
            windows = _read(field, zone, cuts, shape, step, fit, calm, valid)[0]
        windows, valid = _read(field, zone, cuts, shape, step, fit, calm)
    fit -= np.median(fit - start, axis=0)  # the mean stays where the strokes are
    windows, valid = _read(field, zone, cuts, shape, step, fit, calm)
    typical = 1.0 - np.median(windows, axis=0)
    like = [_likeness(1.0 - one, typical, mask) for one, mask in zip(windows, valid, strict=True)]
    kept = [k for k in range(len(cuts)) if like[k] >= LEAST_LIKE]  # elsewhere glare, dirt or a hole stands
    if len(kept) < 2:
        return None
    floor = noise(field, step, calm, rng)
    own = tuple(cuts[k] for k in kept)
    return _compared(field, zone, what, own, step, windows[kept], valid[kept], fit[kept], floor)


def _aside(dark: Image) -> float:
    """How many px right of a window's middle its stroke stands, whatever goes through it from side to side."""
    across = dark.sum(axis=0)
    across = across - np.median(across)
    across = np.where(across > 0.5 * across.max(), across, 0.0)
    where = np.arange(len(across)) - 0.5 * (len(across) - 1)
    return float((across * where).sum() / across.sum()) if across.sum() > 0 else 0.0


def _likeness(one: Image, other: Image, mask: Flags) -> float:
    """Correlation of two windows where both are the stroke's own, whatever their blackness; 0 where one is bare."""
    a, b = one[mask].astype(np.float64), other[mask].astype(np.float64)
    if len(a) < 9 or a.std() < 1e-6 or b.std() < 1e-6:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])


def _read(
    field: Field, zone: Zone, cuts: Sequence[Cut], shape: tuple[int, int], step: float, fit: Floats, calm: float,
    valid: Flags | None = None,
) -> tuple[Image, Flags]:  # fmt: skip
    """(N, h, w) light, 1 where a pixel is not the stroke's own, and which pixels are, unless that is given."""
    grids = np.array([cut.grid(shape, step, row) for cut, row in zip(cuts, fit, strict=True)])
    light = field.light(grids)
    if valid is None:
        valid = np.array([field.valid(grid, cut.owner, zone) for grid, cut in zip(grids, cuts, strict=True)])
    # by what is its own alone: smoothed with white, a stroke that runs out of view would be a paler one
    weight = valid.astype(np.float32) + np.float32(1e-3)
    filled = np.where(valid, light, np.float32(1.0)) * weight
    smooth = np.array(
        [
            cv2.GaussianBlur(a, (0, 0), calm) / cv2.GaussianBlur(b, (0, 0), calm)
            for a, b in zip(filled, weight, strict=True)
        ]
    )
    return smooth, valid


def _mean(windows: Image, valid: Flags, *, middle: bool) -> Image:
    """(h, w); the median while the fit is sought, which an odd one does not draw to itself."""
    if middle and len(windows) > 3:
        return np.asarray(np.median(windows, axis=0), dtype=np.float32)
    count = valid.sum(axis=0)
    seen = count > FEW_SEEN * len(windows)  # of few it would be ragged
    return np.asarray(np.where(seen, (windows * valid).sum(axis=0) / np.maximum(count, 1), 1.0), dtype=np.float32)


def _stepped(windows: Image, valid: Flags, mean: Image, fit: Floats, shape: tuple[int, int]) -> Floats:
    """One step of the fit of all windows to the mean; the stroke's blackness is fitted too and not kept."""
    rows, columns = shape
    i = (np.arange(rows) - 0.5 * (rows - 1))[:, None] * np.ones((1, columns))
    j = (np.arange(columns) - 0.5 * (columns - 1))[None, :] * np.ones((rows, 1))
    dark = 1.0 - mean.astype(np.float64)
    down, right = np.gradient(dark)
    # how the mean changes as a window moves: the inverse way round, so that it is worked out once
    slopes = np.stack([right, down, right * -i + down * j, right * j + down * i, dark], axis=-1).reshape(-1, 5)
    # the stroke seen in a window is the mean seen from elsewhere: 1 - window = gain * mean(moved); all at once
    weight = valid.reshape(len(windows), -1).astype(np.float64)
    products = (slopes[:, :, None] * slopes[:, None, :]).reshape(len(slopes), -1)
    normal = (weight @ products).reshape(-1, slopes.shape[1], slopes.shape[1])
    normal += 1e-6 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(5)
    right_side = (weight * (1.0 - windows.reshape(len(windows), -1))) @ slopes
    solved = np.linalg.solve(normal, right_side[..., None])[..., 0]
    move = solved[:, :4] / np.maximum(solved[:, 4:], 0.2)
    out = fit - np.clip(move, (-2.0, -2.0, -0.05, -0.05), (2.0, 2.0, 0.05, 0.05))
    reach = 0.3 * max(shape)
    return np.asarray(np.clip(out, (-reach, -reach, -MOST_TURN, -MOST_GROWN), (reach, reach, MOST_TURN, MOST_GROWN)))


def _compared(
    field: Field, zone: Zone, what: str, cuts: tuple[Cut, ...], step: float, windows: Image, valid: Flags, fit: Floats,
    floor: float,
) -> LineUp:  # fmt: skip
    n = len(cuts)
    windows = _evened(windows, valid)
    mean = _mean(windows, valid, middle=False)
    typical = np.median(windows, axis=0) if n > 3 else mean
    depth = float(np.quantile(1.0 - typical, 0.97))
    reach = 2 * math.ceil(1.5 * field.sheet.blur / step + 1) + 1
    ink, own = typical < 1.0 - 0.25 * depth, depth
    if cuts[0].owner == 0:  # cut by place: rings run through the window from side to side and are none of the stroke
        sides = np.median(typical[:, [0, 1, -2, -1]], axis=1, keepdims=True)
        ink = typical < sides - 0.25 * depth
        own = float(np.quantile(sides - typical, 0.97))  # not the rings'
    support = cv2.dilate(ink.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    if cuts[0].owner == 0:
        support &= _before_rings(ink, sides[:, 0] < 1.0 - 0.25 * depth)
    support &= valid.mean(axis=0) > 0.5
    inside = np.array([cv2.erode(one.astype(np.uint8), np.ones((3, 3), np.uint8)) for one in valid]) > 0
    inside &= support  # smoothing has drawn in a little of what is not the stroke's own
    place = np.array([(cut.x, cut.y) for cut in cuts]) / field.sheet.scale
    shown = _filled(windows, valid)
    difference, rms, more = _foretold(shown, inside, _expected(place))
    floor = math.hypot(floor, BETWEEN * depth) * more
    excess = np.sqrt(np.maximum(rms**2 - floor**2, 0.0)) / max(own, 0.05)
    return LineUp(
        zone, what, cuts, step, windows, mean, np.asarray(support), difference, floor, rms / floor, excess, fit
    )  # fmt: skip


def _evened(windows: Image, valid: Flags) -> Image:
    """Windows with the enamel beside each stroke at the same light, which a gleam over some of them is not."""
    typical = np.median(windows, axis=0)
    bare = typical > 1.0 - 0.1 * float(np.quantile(1.0 - typical, 0.97))
    out = windows.copy()
    for one, mask in zip(out, valid & bare, strict=True):
        if mask.sum() >= LEAST_BARE:
            one /= np.clip(np.median(one[mask]), 0.6, 1.6)
    return out


def _filled(windows: Image, valid: Flags) -> Image:
    """Windows with what is not a stroke's own as the others have it, so that it says nothing of these."""
    known = np.where(valid | ~valid.any(axis=0), windows, np.float32(np.nan))
    return np.asarray(np.where(valid, windows, np.nanmedian(known, axis=0)), dtype=np.float32)


def _before_rings(ink: Flags, ring: Flags) -> Flags:
    """(h, w) where a stroke cut by place may be compared: up to the rings it ends at, and beyond in its own columns
    alone, where it may overrun; a figure that reaches a ring from the other side is no part of it. ring : (h,)."""
    rows = np.flatnonzero(ink.any(axis=1) & ~ring)
    if not len(rows):
        return np.ones_like(ink)
    _, run = np.unique(np.cumsum(ring)[rows], return_counts=True)
    first = rows[int(run[: int(run.argmax())].sum())]
    free = np.asarray(~ring & (np.cumsum(ring) == np.cumsum(ring)[first]))
    columns = np.asarray(cv2.dilate(np.asarray(ink.any(axis=0), np.uint8)[None], np.ones((1, 3), np.uint8))) > 0
    return np.asarray(free[:, None] | columns)


def _left(windows: Image, inside: Flags, others: Floats) -> tuple[Image, Floats, float]:
    """What of each window the others do not make: (N, h, w), 0 outside what is compared; its RMS, (N,); and how many
    times as much noise it carries as one window. others : (N, N), what each of the others counts in it."""
    n = len(windows)
    made = (others.astype(np.float32) @ windows.reshape(n, -1)).reshape(windows.shape)
    difference = np.where(inside, windows - made, np.float32(0.0))
    count = np.maximum(inside.sum(axis=(1, 2)), 1)
    rms = np.sqrt((difference.astype(np.float64) ** 2).sum(axis=(1, 2)) / count)
    return difference, rms, float(np.median(np.sqrt(1.0 + (others**2).sum(axis=1))))


def _foretold(windows: Image, inside: Flags, ways: Sequence[Floats]) -> tuple[Image, Floats, float]:
    """As _left, by the way that leaves the least of most windows; a less simple one must leave clearly less, for the
    more it follows, the more the odd one draws its neighbours to itself."""
    best = _left(windows, inside, ways[0])
    for others in ways[1:]:
        told = _left(windows, inside, others)
        if np.median(told[1]) / told[2] < CLEARLY * np.median(best[1]) / best[2]:
            best = told
    return best


def _expected(place: Floats) -> list[Floats]:
    """Ways of saying of each of N strokes what it ought to be by the others, (N, N) each with rows that add up to 1
    and nothing of its own: their mean; one that leans or bends across the dial as focus, light and tilt do; the mean of
    its neighbours, as where a print took worse or a gleam lies. place : (N, 2) dial radii."""
    n = len(place)
    one = np.ones(n)
    x, y = (place - place.mean(axis=0)).T
    ways = [_fitted(one[:, None])]
    ways += [_fitted(np.column_stack([one, x, y]))] if n >= LEANING else []
    ways += [_fitted(np.column_stack([one, x, y, x * y, x * x - y * y]))] if n >= MANY else []
    if n >= MANY:
        away = np.hypot(x[:, None] - x, y[:, None] - y)
        for near in NEIGHBOURS:
            weight = np.exp(-0.5 * (away / near) ** 2) * (1.0 - np.eye(n)) + 1e-9
            np.fill_diagonal(weight, 0.0)
            ways.append(weight / weight.sum(axis=1, keepdims=True))
    return ways


def _fitted(terms: Floats) -> Floats:
    """(N, N) what terms fitted to all the others make of each. terms : (N, T)."""
    hat = terms @ np.linalg.pinv(terms)
    own = np.diag(hat)[:, None]
    return np.asarray((hat - own * np.eye(len(terms))) / np.maximum(1.0 - own, 0.1))


def noise(field: Field, step: float, calm: float, rng: np.random.Generator) -> float:
    """RMS of light on bare enamel, read and smoothed as strokes are: the middle of many small windows."""
    side = 11
    away, points = field.bare
    points = points[away > min(0.75 * side * step + 2 * field.sheet.blur + 2, 0.6 * float(away.max(initial=0.0)))]
    if len(points) < 8:
        return max(field.sheet.grain * 0.5, 1e-4)
    values = []
    for x, y in points[rng.integers(len(points), size=FLOOR_WINDOWS)] + rng.uniform(-0.5, 0.5, (FLOOR_WINDOWS, 2)):
        cut = Cut(float(x), float(y), float(rng.uniform(-math.pi, math.pi)), (side, side), "")
        smooth = cv2.GaussianBlur(field.light(cut.grid((side + 4, side + 4), step)), (0, 0), calm)[2:-2, 2:-2]
        values.append(float(smooth.std()))
    return max(float(np.median(values)), 1e-4)
