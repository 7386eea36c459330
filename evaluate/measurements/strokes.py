"""Strokes traced from a sheet: middle line, width and density along it, ends.

A line of width w and absorption a (share of the enamel's light it takes away), blurred by a Gaussian of SD sigma, has
mass a w and, in its middle, absorption a erf(w / (2 sqrt(2) sigma)): exact. Mass over peak therefore gives w, and mass
over w gives a, for lines broader than about a sigma and a half; below, all lines look alike and w is held at
LEAST_IN_BLURS sigma.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import erf

from dialtell.evaluate.measurements.sheet import StrokeSheet
from dialtell.evaluate.measurements.thinning import Branch, branches, pruned, thinned
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

INK = 0.12  # least absorption from which a place counts as ink
OVER_GRAIN = 6.0  # the same in SDs of bare enamel
STEP = 0.5  # sheet px between the samples of a profile
CALM = 0.6  # samples, SD of the smoothing of a profile before its peak is taken; it adds to the blur
LEAST_IN_BLURS = 1.0
HIGHEST_D = 1.6  # above it flare decides, not paint
_SHORT = 4.0  # px
_SPUR = 1.6  # half widths, below which a branch with one free end belongs to the stroke it stands on
_RISE = 0.04  # absorption by which a profile may rise again before the next stroke is taken to begin
_MOST_POINTS = 90_000


@dataclass(frozen=True, eq=False)
class TracedStroke:
    """One stroke between junctions or ends.

    path : (N, 2) sheet px, its middle line, about a px apart. width : (N,) sheet px, blur taken out. density : (N,) D
    of the paint, blur taken out. peak : (N,) D in the middle as photographed. offsets : (N, 2) sheet px from the
    middle line to where the absorption has fallen to half on the left and on the right.
    shown : (N,) whether nothing hides it. ends : (2,) sheet px from the path's first and last point outwards to where
    the stroke ends; nan where it runs into another. closed : whether it runs back into itself.
    """

    zone: Zone
    path: Floats
    width: Floats
    density: Floats
    peak: Floats
    offsets: Floats
    shown: Bools
    ends: Floats
    closed: bool = False

    @cached_property
    def length(self) -> float:
        """Sheet px, ends included where they are free."""
        some = self.path[np.unique([*range(0, len(self.path), 6), len(self.path) - 1])]  # past its noise
        return float(np.hypot(*np.diff(some, axis=0).T).sum() + np.nansum(self.ends))

    @cached_property
    def typical_width(self) -> float:
        """Median width of the middle four fifths, sheet px."""
        return float(np.median(self.core(self.width)))

    @cached_property
    def typical_density(self) -> float:
        """Median density of the middle four fifths."""
        return float(np.median(self.core(self.density)))

    def core(self, values: Floats) -> Floats:
        """Values of the middle four fifths, where shown."""
        cut = len(values) // 10
        kept = values[cut : len(values) - cut], self.shown[cut : len(values) - cut]
        return np.asarray(kept[0][kept[1]] if kept[1].any() else values)

    @cached_property
    def axis(self) -> tuple[Floats, Floats]:
        """Middle and unit direction (from first to last point) of the line fitted to the path."""
        centre = self.path.mean(axis=0)
        direction = np.linalg.svd(self.path - centre, full_matrices=False)[2][0]
        along = direction @ (self.path[-1] - self.path[0])
        return centre, np.asarray(direction if along >= 0 else -direction)

    @cached_property
    def straight(self) -> bool:
        """Whether it leaves the fitted line by little: a stem, a tick, a bar."""
        if self.closed or len(self.path) < 4:
            return False
        centre, direction = self.axis
        off = (self.path - centre) @ np.array([-direction[1], direction[0]])
        return float(np.sqrt(np.mean(off**2))) < 0.02 * len(self.path) + 0.35


def find_strokes(sheet: StrokeSheet) -> list[TracedStroke]:
    """All strokes of the dial that can be traced, in no particular order."""
    level = max(INK, OVER_GRAIN * sheet.grain)
    ink = (sheet.light < 1.0 - level) & (sheet.label >= 0) & ~sheet.hidden
    ink |= _small(~ink, 6)  # pinholes would turn stems into rings
    ink &= ~_small(ink, 6)
    half = np.asarray(cv2.distanceTransform(ink.astype(np.uint8), cv2.DIST_L2, 5), dtype=np.float32)
    keep = []
    for branch in branches(_without_spurs(thinned(ink), half), least=int(_SHORT)):
        widest = _half_width(half, branch)
        if len(branch.path) >= (_SHORT if all(branch.free) else max(_SHORT, _SPUR * widest)):
            keep.append((_trimmed(branch, widest), widest))
    keep.sort(key=lambda pair: -len(pair[0].path))
    total = np.cumsum([len(pair[0].path) for pair in keep]) if keep else np.zeros(0)
    keep = keep[: int(np.searchsorted(total, _MOST_POINTS))] if len(keep) else []
    return trace(sheet, [pair[0] for pair in keep], np.array([pair[1] for pair in keep]))


def _trimmed(branch: Branch, half: float) -> Branch:
    """The branch less its ends where a broad stroke's middle line turns into a corner or another stroke."""
    off = min(int(0.8 * half), (len(branch.path) - 6) // 2)
    if branch.closed or half < 3.0 or off < 1:
        return branch
    return Branch(branch.path[off:-off], branch.free)


def _half_width(half: NDArray[np.float32], branch: Branch) -> float:
    return float(np.median(half[branch.path[:, 1].astype(int), branch.path[:, 0].astype(int)]))


def _without_spurs(line: Bools, half: NDArray[np.float32]) -> Bools:
    """The thinned picture less the short branches that run from a broad stroke's middle into its corners and bumps, so
    that they do not cut the stroke in pieces."""
    kept = line.copy()
    for branch in branches(line, least=1):
        i, j = branch.path[:, 1].astype(int), branch.path[:, 0].astype(int)
        if branch.free[0] != branch.free[1] and len(branch.path) < _SPUR * float(half[i, j].max()) + 1.0:
            kept[i, j] = False
    return pruned(thinned(kept))


def _small(mask: Bools, most: int) -> Bools:
    """Parts of a mask of at most `most` px."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    small = stats[:, cv2.CC_STAT_AREA] <= most
    small[0] = False
    return np.asarray(small[label])


def trace(sheet: StrokeSheet, lines: list[Branch], half: Floats) -> list[TracedStroke]:
    """Measure along middle lines. half : sheet px, about half the width of each."""
    found: list[TracedStroke] = []
    # strokes of like width share one array of profiles
    reach = np.ceil(1.7 * half + 3.5 * max(sheet.blur, 0.7) + 2.0)
    for group in np.unique(np.ceil(np.log2(np.maximum(reach, 4.0)))):
        members = np.flatnonzero(np.ceil(np.log2(np.maximum(reach, 4.0))) == group)
        for start in range(0, len(members), 400):
            some = members[start : start + 400]
            found += _traced(sheet, [lines[k] for k in some], float(2.0**group))
    return found


def _traced(sheet: StrokeSheet, lines: list[Branch], reach: float) -> list[TracedStroke]:
    paths = [_smooth(line) for line in lines]
    normals = [_normals(path, line.closed) for path, line in zip(paths, lines, strict=True)]
    at, across = np.concatenate(paths), np.concatenate(normals)
    offset = np.arange(-reach, reach + 0.25 * STEP, STEP)
    profile = 1.0 - sheet.sample(at[:, None, :] + offset[None, :, None] * across[:, None, :])
    profile = walled(profile)
    mass = profile.sum(axis=1) * STEP
    shift = np.where(mass > 0, (profile * offset).sum(axis=1) * STEP / np.maximum(mass, 1e-9), 0.0)
    shift = np.clip(shift, -0.5 * reach, 0.5 * reach)
    first = np.cumsum([0, *(len(path) for path in paths)])
    peak = peaks(profile, offset, first, sheet.blur)
    width, absorbed = widened(mass, peak, float(np.hypot(sheet.blur, CALM * STEP)))
    left, right = _half_crossings(profile, offset, peak)
    zone, hidden = sheet.at(at)
    found = []
    for number, (path, normal, line) in enumerate(zip(paths, normals, lines, strict=True)):
        rows = slice(int(first[number]), int(first[number + 1]))
        middle = path + normal * gaussian_filter1d(shift[rows], 1.0)[:, None]
        votes = zone[rows][zone[rows] >= 0]
        if not len(votes):
            continue
        stroke = TracedStroke(
            zone=ZONES[int(np.bincount(votes).argmax())],
            path=middle,
            width=width[rows],
            density=to_density(absorbed[rows]),
            peak=to_density(peak[rows]),
            offsets=np.stack([left[rows], right[rows]], axis=1) - shift[rows, None],
            shown=~hidden[rows],
            ends=_ends(sheet, middle, width[rows], to_density(peak[rows])) if not line.closed else np.full(2, np.nan),
            closed=line.closed,
        )
        found.append(stroke)
    return found


def peaks(profile: Floats, offset: Floats, first: NDArray[np.int64], blur: float) -> Floats:
    """Absorption in the middle of each of (N, K) profiles of several strokes, which begin at `first`.

    Over a plateau where there is one; the greatest of few noisy samples alone would read too high, so profiles are
    averaged with their neighbours along the stroke before.
    """
    calm = profile.copy()
    for begin, end in pairwise(first.tolist()):
        calm[begin:end] = gaussian_filter1d(profile[begin:end], 1.5, axis=0, mode="nearest")
    calm = gaussian_filter1d(calm, CALM, axis=1)
    top = np.maximum(calm.max(axis=1), 1e-6)
    left, right = _half_crossings(calm, offset, top)
    inside = np.abs(offset[None, :] - 0.5 * (left + right)[:, None]) < (0.5 * (right - left) - 2.0 * blur)[:, None]
    count = inside.sum(axis=1)
    plateau = (calm * inside).sum(axis=1) / np.maximum(count, 1)
    return np.asarray(np.where(count >= 3, np.maximum(plateau, 0.5 * top), top))


def to_density(absorbed: Floats) -> Floats:
    """D of paint that takes away a share of the light, 0..HIGHEST_D."""
    return np.asarray(-np.log10(np.clip(1.0 - absorbed, 10.0**-HIGHEST_D, 1.0)))


def walled(profile: Floats) -> Floats:
    """(N, K) profiles cut off where, going outwards from the middle, they rise again towards the next stroke."""
    centre = profile.shape[1] // 2
    out = profile.copy()
    for side in (slice(centre, None), slice(centre, None, -1)):
        walk = out[:, side]
        lowest = np.minimum.accumulate(walk, axis=1)
        top = np.maximum(walk[:, :1], 1e-3)
        # inside a broad stroke the grain of the paint must not count as a way out
        risen = np.maximum.accumulate((walk > lowest + _RISE + 0.05 * top) & (lowest < 0.7 * top), axis=1)
        ended = np.maximum.accumulate(walk < 0.0, axis=1)
        walk[risen | ended] = 0.0
    return out


@lru_cache(maxsize=1)
def _ratios() -> tuple[Floats, Floats]:
    """mass / peak in sigmas, of widths in sigmas."""
    width = np.concatenate([np.linspace(1e-3, 8.0, 1600), np.linspace(8.01, 400.0, 800)])
    return width / erf(width / (2 * np.sqrt(2))), width


def widened(mass: Floats, peak: Floats, blur: float) -> tuple[Floats, Floats]:
    """Width and absorption of lines from their mass and peak absorption once blurred by SD `blur` px."""
    sigma = max(blur, 0.05)
    ratio, width = _ratios()
    found = sigma * np.interp(mass / peak / sigma, ratio, width)
    found = np.maximum(found, LEAST_IN_BLURS * sigma)
    return found, np.clip(mass / found, 0.0, 1.0)


def _half_crossings(profile: Floats, offset: Floats, peak: Floats, level: float = 0.5) -> tuple[Floats, Floats]:
    """Where each profile has fallen to `level` of its peak, left and right of the middle, between samples."""
    goal = level * peak[:, None]
    above = profile >= goal
    centre = profile.argmax(axis=1)
    column = np.arange(profile.shape[1])[None, :]
    row = np.arange(len(profile))
    after = np.where((~above) & (column > centre[:, None]), column, profile.shape[1] - 1).min(axis=1)
    before = np.where((~above) & (column < centre[:, None]), column, 0).max(axis=1)

    def crossing(outer: NDArray[np.int64], inner: NDArray[np.int64]) -> Floats:
        low, high = profile[row, outer], profile[row, inner]
        share = np.clip((goal[:, 0] - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
        return np.asarray(offset[outer] + share * (offset[inner] - offset[outer]))

    return crossing(before, np.minimum(before + 1, len(offset) - 1)), crossing(after, np.maximum(after - 1, 0))


def _smooth(line: Branch) -> Floats:
    """The path without the staircase of its pixels."""
    mode = "wrap" if line.closed else "nearest"
    path = line.path
    if not line.closed and len(path) > 6:
        # a straight continuation beyond the ends keeps smoothing from drawing them in
        span = min(6, len(path) - 1)
        lead = path[0] + (path[0] - path[span]) / span * np.arange(6, 0, -1)[:, None]
        tail = path[-1] + (path[-1] - path[-1 - span]) / span * np.arange(1, 7)[:, None]
        return np.asarray(gaussian_filter1d(np.concatenate([lead, path, tail]), 2.0, axis=0, mode=mode)[6:-6])
    return np.asarray(gaussian_filter1d(path, 1.0, axis=0, mode=mode))


def _normals(path: Floats, closed: bool) -> Floats:
    step = np.gradient(path, axis=0)
    if closed and len(path) > 2:
        step = 0.5 * (np.roll(path, -1, axis=0) - np.roll(path, 1, axis=0))
    step = gaussian_filter1d(step, 2.0, axis=0, mode="wrap" if closed else "nearest")
    size = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-9)
    return np.stack([-step[:, 1] / size, step[:, 0] / size], axis=1)


def _ends(sheet: StrokeSheet, path: Floats, width: Floats, peak: Floats) -> Floats:
    """Sheet px from the first and last point outwards to where absorption along the axis has fallen to half; nan where
    it does not fall to a fifth before it rises again, or the place is hidden."""
    ends = np.full(2, np.nan)
    if len(path) < 4:
        return ends
    typical = float(np.median(width))
    level = float(np.median(1.0 - 10.0**-peak))
    # well inside: near its end a broad stroke's middle line may turn towards a corner
    inside = min(int(0.5 * typical) + 2, (len(path) - 1) // 2)
    span = max(8, int(typical))
    out = np.arange(0.0, inside + 1.2 * typical + 4.0 * sheet.blur + 4.0, STEP)
    clear = int(np.ceil((2.5 * sheet.blur + 2.0) / STEP)) + 1
    for number, walk in enumerate((path, path[::-1])):
        tip, back = walk[inside], walk[min(inside + span, len(path) - 1)]
        direction = (tip - back) / max(float(np.hypot(*(tip - back))), 1e-9)
        aside = np.array([-direction[1], direction[0]]) * 0.2 * typical
        lanes = tip + out[:, None, None] * direction + np.array([-1.0, 0.0, 1.0])[None, :, None] * aside
        run = 1.0 - sheet.sample(lanes).mean(axis=1)
        _, hidden = sheet.at(tip + out[:, None] * direction)
        leaves = np.flatnonzero((run[:-1] >= 0.5 * level) & (run[1:] < 0.5 * level))
        if not len(leaves) or hidden[: leaves[0] + 2].any():
            continue
        first = int(leaves[0])
        if run[first + 1 : first + 1 + clear].min() > 0.25 * level:
            continue
        share = (run[first] - 0.5 * level) / (run[first] - run[first + 1])
        ends[number] = out[first] + share * STEP - float((walk[0] - tip) @ direction)
    return ends
