"""Strokes laid over one another by their best fit, their mean, and how far each is from the others.

The fit is a shift, a small turn and a small change of size, found by Gauss-Newton on the light of the window (B. Lucas
and T. Kanade 1981; S. Baker and I. Matthews 2004, both from memory). How black a stroke is is left as it is: a fainter
stroke differs. A difference is counted in the root of light, in which a camera's noise is about as large on ink as on
enamel, and in times of the floor: what this photograph's noise alone would make of two strokes that are the same,
measured on bare enamel beside the strokes with the same reading and smoothing, and what reading between pixels adds.
What the fit leaves over, and light that is higher or slopes over a window, is discounted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.lineups.cuts import Cut, Field, Image
from dialtell.synth.shared.terms import Zone

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Way = Callable[[Floats], Floats]

ROUNDS, STEPS = 2, 4  # of the mean, and of the fit within each
CENTRED = 2  # times that windows cut by place are moved sideways onto their strokes
MOST_TURN, MOST_GROWN = 0.14, 0.10  # radians, ln of size: beyond, it is another stroke
LARGEST = 120  # px of a window's longer side, in which strokes are compared
CALM = 0.7  # px, least SD of the smoothing before two are compared
IN_BLURS = 1.2  # the same in SDs of the photograph's blur: what is finer is the camera's sharpening, not a stroke
BETWEEN = 0.005  # of a stroke's depth, RMS that reading it between pixels leaves; on drawn strokes without noise
LEANING, BENDING, MANY = 8, 9, 20  # strokes, from which what leans, bends, or changes from place to place is told
CLEARLY = 0.85  # of what another way leaves
WEIGHED = 2  # times that what is foretold of the others is told anew, with odd strokes weighed down
ALIKE = 2.0  # times the middle, from which they are
NEIGHBOURS = (0.5, 0.2)  # dial radii, how far off those lie that a stroke is compared with
ALONE = 2.0  # times the next, and twice so the middle, from which the oddest is named however much the others differ
STANDS_OUT = 3.5  # robust SDs above the middle from which a stroke is named as odd
LEAST_BARE = 12  # px of bare enamel in a window, from which it is brought to the light of the others
GLEAM = 1.3  # times the light of the others' enamel, beyond which it may have burnt out: nothing is told of the paint
LEAST_LIKE = 0.5  # correlation with the middle stroke, below which it is no such stroke
FEW_SEEN = 0.25  # share of the strokes that a place of the mean rests on at least
LEAST_SHOWN = 0.75  # share of a window that must be in view
FLOOR_WINDOWS = 60


@dataclass(frozen=True, eq=False)
class LineUp:
    """N strokes meant to be the same.

    what : in a collector's words, plural. cuts : fitted, N. step : sheet px per window px.
    windows : (N, h, w) float32 light, one over another. mean : (h, w). support : (h, w) where strokes are compared.
    difference : (N, h, w) light against what the others foretell, 0 outside what is compared.
    floor : RMS that noise alone makes of such a difference. times : (N,) how odd each is, RMS in the root of light over
    its floor. excess : (N,) that RMS above the floor (in quadrature) over the depth of the mean stroke: free of how
    noisy it is.
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
        far = [int(k) for k in self.ranked if size[k] > middle + STANDS_OUT * spread]
        first, second = size[self.ranked[:2]]
        alone = first > second + math.log(ALONE) and first > middle + 2 * math.log(ALONE)
        return far or ([int(self.ranked[0])] if alone else [])


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
    windows, over = _evened(windows, valid)
    # elsewhere glare, dirt or a hole stands
    kept = [k for k in range(len(cuts)) if like[k] >= LEAST_LIKE and over[k] <= GLEAM]
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
    if not across.any():
        return 0.0
    run = np.cumsum(np.diff(across > 0, prepend=False))  # of columns, of which a neighbour may have its own
    runs = [(run == k) & (across > 0) for k in np.unique(run[across > 0])]
    own = max(runs, key=lambda one: across[one].sum() / (1.0 + 4.0 * np.abs(where[one]).min() / len(across)))
    return float((across[own] * where[own]).sum() / across[own].sum())


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
    beside = None
    if cuts[0].owner == 0:
        ring = sides[:, 0] < 1.0 - 0.25 * depth
        support &= _before_rings(ink, ring)
        beside = _blackness(windows, valid & ring[:, None] & ~support, typical)
    support &= valid.mean(axis=0) > 0.5
    inside = np.array([cv2.erode(one.astype(np.uint8), np.ones((3, 3), np.uint8)) for one in valid]) > 0
    inside &= support  # smoothing has drawn in a little of what is not the stroke's own
    place = np.array([(cut.x, cut.y) for cut in cuts]) / field.sheet.scale
    shown = np.sqrt(np.clip(_filled(windows, valid), 0.0, None))
    left, rms, more = _foretold(shown, inside, np.sqrt(np.clip(mean, 0.0, None)), _ways(place, beside))
    difference = np.where(inside, shown**2 - (shown - left) ** 2, np.float32(0.0))
    floor = math.hypot(floor, BETWEEN * depth)
    each = 0.5 * floor * more  # the root of light changes half as much as light does, on enamel
    excess = np.sqrt(np.maximum(rms**2 - each**2, 0.0)) / max(1.0 - math.sqrt(max(1.0 - own, 0.0)), 0.05)
    return LineUp(
        zone, what, cuts, step, windows, mean, np.asarray(support), difference, floor * float(np.median(more)),
        rms / each, excess, fit,
    )  # fmt: skip


def _evened(windows: Image, valid: Flags) -> tuple[Image, Floats]:
    """Windows with the enamel beside each stroke at the same light, and how many times the others' it was, (N,).

    A shadow takes a share of all light, so it is divided out; a gleam lies over ink and enamel alike: it is taken off.
    """
    typical = np.median(windows, axis=0)
    bare = valid & (typical > 1.0 - 0.1 * float(np.quantile(1.0 - typical, 0.97)))
    light = np.array(
        [np.median(one[mask]) if mask.sum() >= LEAST_BARE else np.nan for one, mask in zip(windows, bare, strict=True)]
    )
    middle = float(np.nanmedian(light)) if np.isfinite(light).any() else 1.0
    over = np.nan_to_num(light / middle, nan=1.0)
    gleam = np.maximum(over - 1.0, 0.0)[:, None, None]
    shade = np.clip(over, 0.6, 1.0)[:, None, None]
    known = np.isfinite(light)[:, None, None]
    even = np.where(known, (windows / middle - gleam) / shade, windows)
    return np.asarray(even, dtype=np.float32), over


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


def _foretold(shown: Image, inside: Flags, mean: Image, ways: Sequence[Way]) -> tuple[Image, Floats, Floats]:
    """What of each stroke the others do not foretell, (N, h, w); the RMS of it that counts, (N,); and how many times as
    much noise it carries as one window, (N,).

    It is foretold in the way that leaves least of most strokes; a less simple one must leave clearly less. Those that
    stand out are weighed down, for they draw what is foretold of the others to themselves. shown, mean : root of light.
    """
    best: tuple[float, Image, Floats, Floats] | None = None
    free = _discounted(mean)
    for way in ways:
        weight = np.ones(len(shown))
        for _ in range(WEIGHED):
            others = way(weight)
            left = np.asarray(shown - np.tensordot(others.astype(np.float32), shown, 1), dtype=np.float32)
            more = np.sqrt(1.0 + (others**2).sum(axis=1))
            rms = _counted(left, inside, free)
            told = rms / more
            middle = float(np.median(told))
            weight = np.maximum(told / max(ALIKE * middle, 1e-9), 1.0) ** -2.0
        if best is None or middle < CLEARLY * best[0]:
            best = middle, left, rms, more
    assert best is not None
    return best[1:]


def _discounted(root: Image) -> Floats:
    """(h * w, 7) how the root of light changes as the mean stroke moves, turns and grows, as light rises or slopes."""
    root = root.astype(np.float64)
    rows, columns = root.shape
    i = (np.arange(rows) - 0.5 * (rows - 1))[:, None] * np.ones((1, columns))
    j = (np.arange(columns) - 0.5 * (columns - 1))[None, :] * np.ones((rows, 1))
    down, right = np.gradient(root)
    terms = [right, down, right * -i + down * j, right * j + down * i, np.ones_like(root), i, j]
    return np.stack([term.ravel() / max(float(np.sqrt((term**2).mean())), 1e-9) for term in terms], axis=-1)


def _counted(left: Image, inside: Flags, free: Floats) -> Floats:
    """(N,) RMS of what is left of each stroke where it is compared, without what is discounted."""
    weight = inside.reshape(len(inside), -1).astype(np.float64)
    off = left.reshape(len(left), -1) * weight
    count = np.maximum(weight.sum(axis=1), 1.0)
    normal = (weight @ (free[:, :, None] * free[:, None, :]).reshape(len(free), -1)).reshape(-1, *free.shape[1:] * 2)
    normal += 1e-4 * count[:, None, None] * np.eye(free.shape[1])
    along = off @ free
    told = (along * np.linalg.solve(normal, along[..., None])[..., 0]).sum(axis=1)
    return np.asarray(np.sqrt(np.maximum((off**2).sum(axis=1) - told, 0.0) / count))


def _blackness(windows: Image, where: Flags, typical: Image) -> Floats | None:
    """(N,) how black the rings beside each stroke are, times the middle one, 1 where it shows none; None where most do
    not."""
    shows = where.sum(axis=(1, 2)) >= LEAST_BARE
    if shows.mean() < 0.5:
        return None
    dark = np.where(where, 1.0 - typical, 0.0).astype(np.float64)
    times = (dark * (1.0 - windows)).sum(axis=(1, 2)) / np.maximum((dark**2).sum(axis=(1, 2)), 1e-6)
    return np.where(shows, times, 1.0)


def _ways(place: Floats, beside: Floats | None = None) -> list[Way]:
    """Ways of saying of each of N strokes what it ought to be by the others: from weights (N,) to (N, N) with rows that
    add up to 1 and nothing of its own.

    The mean; one that leans or bends across the dial as focus, light and tilt do; the mean of the neighbours, as where
    a print took worse or a gleam lies; what follows the rings beside them, which a veil of light makes paler too.
    place : (N, 2) dial radii. beside : (N,) how black those are.
    """
    n = len(place)
    one = np.ones(n)
    x, y = (place - place.mean(axis=0)).T
    ways: list[Way] = [partial(_fitted, one[:, None])]
    ways += [partial(_fitted, np.column_stack([one, x, y]))] if n >= LEANING else []
    ways += [partial(_fitted, np.column_stack([one, x, y, x * y, x * x - y * y]))] if n >= BENDING else []
    if n >= MANY:
        away = np.hypot(x[:, None] - x, y[:, None] - y)
        ways += [partial(_near, np.exp(-0.5 * (away / near) ** 2)) for near in NEIGHBOURS]
    if beside is not None and n >= LEANING:
        ways += [partial(_fitted, np.column_stack([one, beside]))]
        ways += [partial(_fitted, np.column_stack([one, beside, x, y]))] if n >= BENDING else []
    return ways


def _fitted(terms: Floats, weight: Floats) -> Floats:
    """(N, N) what terms fitted to all the others make of each. terms : (N, T). weight : (N,)."""
    root = np.sqrt(weight)
    hat = terms @ np.linalg.pinv(terms * root[:, None]) * root
    own = np.diag(hat)[:, None]
    told = (hat - own * np.eye(len(terms))) / np.maximum(1.0 - own, 0.1)
    # of one that stands alone the others' mean says what they leave unsaid
    return np.asarray(told + (1.0 - told.sum(axis=1, keepdims=True)) * _near(np.ones_like(hat), weight))


def _near(near: Floats, weight: Floats) -> Floats:
    """(N, N) what each of the others counts by how near it is. near : (N, N). weight : (N,)."""
    counted = near * weight + 1e-9
    np.fill_diagonal(counted, 0.0)
    return np.asarray(counted / counted.sum(axis=1, keepdims=True))


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
