"""Two dials laid on each other: turned, then bent smoothly, until what ought to be the same lies on the same place.

What a camera, a lens, the finder's error or a sheet's stretch does to a design is smooth, and a polynomial of the third
degree takes it up; what a painter's scatter does differs from stroke to stroke and is left over.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import patch_grid, sample
from dialtell.model.reading.steps import Reading

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

EXTENT = 1.0  # dial radii shown on a sheet, from the centre
FINEST, COARSEST = 640.0, 100.0  # px per dial radius of a sheet
SITES = 400  # places compared at most
TEMPLATE = 0.03  # dial radii, half side of what is compared at a site: about a letter
REACHES = (0.07, 0.035, 0.02)  # dial radii searched about the expected place, pass by pass
DEGREES = (1, 2, 3)  # of the polynomial fitted after each pass
LEAST_SCORE = 0.55  # normalised correlation below which a site found no match
MOST_STRETCH = 1.2  # either way, in the middle of a bend
LEAST_SITES = 25  # fewer say nothing about a smooth bend
TURNS = 1440  # angles of the polar maps that find the rotation
CANDIDATES = 5  # rotations tried
SAMPLED = 80  # sites they are tried on
FEWEST_AGREEING, AGREEING = 8, 0.02  # sites that a turn is judged by; dial radii they may differ by, painted ones too
# of a part of a dial, whose figures fix the rotation less and whose scatter a free bend would follow
PART_CANDIDATES, PART_DEGREES = 12, (1, 1, 2)


@dataclass(frozen=True, eq=False)
class DialSheet:
    """A dial face on. ink : (S, S) float32, 0 bare enamel, 1 full density; centre in the middle.

    seen : (S, S) true where the photograph shows enamel, not a watch hand. scale : px per dial radius.
    """

    ink: Image
    seen: NDArray[np.bool_]
    scale: float


@dataclass(frozen=True, eq=False)
class Registration:
    """A laid on B. sites : (N, 2) dial radii on A's sheet. found : (N, 2) on B's. score : (N,) correlation.

    fitted : (N, 2) where the smooth bend puts them on B. matched : (N,) true where a match was found near there.
    turn : radians from A to B before the bend. scale : px per dial radius both were compared at. coefficients : of the
    bend, (K, 2). freedom : coefficients per axis that the spread is corrected for, 0 for none.
    """

    sites: Floats
    found: Floats
    score: Floats
    fitted: Floats
    matched: NDArray[np.bool_]
    turn: float
    scale: float
    coefficients: Floats
    freedom: int = 0

    def place(self, points: Floats) -> Floats:
        """(..., 2) dial radii on A to where the smooth bend puts them on B."""
        flat = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return np.asarray((_powers(flat, DEGREES[-1]) @ self.coefficients).reshape(np.shape(points)))

    @property
    def residual(self) -> Floats:
        """(M, 2) dial radii left at the matched sites."""
        return self.found[self.matched] - self.fitted[self.matched]

    @property
    def spread(self) -> float:
        """Robust SD of the residual per axis, dial radii: 1.4826 times the median size of its parts; nan without."""
        count = int(self.matched.sum())
        if count <= self.freedom:
            return float("nan")
        # a bend fitted to few places follows their scatter
        grown = math.sqrt(count / (count - self.freedom))
        return float(grown * 1.4826 * np.median(np.abs(self.residual)))

    @property
    def share(self) -> float:
        """Share of the sites that found a match."""
        return float(self.matched.mean()) if len(self.matched) else 0.0


def common_scale(first: Reading, second: Reading) -> float:
    """px per dial radius at which both can be compared: what the poorer one resolves, within COARSEST..FINEST."""
    poorer = min(first.sharpness.true_pixels_per_radius, second.sharpness.true_pixels_per_radius)
    return float(np.clip(poorer, COARSEST, FINEST))


def sheet_of(reading: Reading, scale: float) -> DialSheet:
    """The dial of a reading face on, at `scale` px per dial radius."""
    side = 2 * round(EXTENT * scale)
    grid = patch_grid(reading.geometry, (0.0, 0.0), (1.0, 0.0), (side, side), scale)
    full = max(reading.patches.full, 0.2)
    ink = np.clip(np.nan_to_num(sample(reading.density, grid) / full, nan=0.0), 0.0, 1.3)
    axis = (np.arange(side) + 0.5) / scale - EXTENT
    x, y = np.meshgrid(axis, axis)
    points = np.stack([x, y], axis=-1)
    seen = np.hypot(x, y) < 0.985
    seen &= reading.zones.share(reading.zones.hidden, points.reshape(-1, 1, 2)).reshape(side, side) < 0.5
    height, width = reading.density.shape
    seen &= (grid[..., 0] > 1) & (grid[..., 1] > 1) & (grid[..., 0] < width - 1) & (grid[..., 1] < height - 1)
    # lines a pixel wide would alias under matching
    soft = cv2.GaussianBlur(np.where(seen, ink, 0).astype(np.float32), (0, 0), 0.7)
    return DialSheet(np.asarray(soft, np.float32), seen, scale)


def register(first: DialSheet, second: DialSheet, *, part: bool = False) -> Registration | None:
    """Lay the first sheet on the second, of one scale; None when the first shows too few places to compare.

    part : one of them or both show only a part of the dial. Only what both show is compared, and bent less freely.
    """
    sites = find_sites(first)
    if len(sites) < LEAST_SITES:
        return None
    turn = _best_turn(first, second, sites, PART_CANDIDATES if part else CANDIDATES)
    degrees = PART_DEGREES if part else DEGREES
    if part:
        first = DialSheet(first.ink, first.seen & _turned_mask(second.seen, turn), first.scale)
        sites = find_sites(first)
        if len(sites) < LEAST_SITES:
            return None
    expected = _turned(sites, turn)
    found, score = expected, np.zeros(len(sites))
    near = np.zeros(len(sites), dtype=bool)
    coefficients = bend(sites, expected, np.ones(len(sites), dtype=bool), DEGREES[-1])
    templates = cut_templates(first, sites, turn)
    for reach, degree in zip(REACHES, degrees, strict=True):
        found, score = match(first, second, sites, expected, turn, reach, templates)
        near = score > LEAST_SCORE
        if near.sum() < LEAST_SITES:
            break
        fitted = bend(sites, found, near, degree)
        if not _keeps_shape(fitted):  # chance matches, such as of tracks laid on each other back to front
            near[:] = False
            break
        coefficients = fitted
        expected = _powers(sites, degree) @ coefficients
    # a match far from where its neighbours say is a match with something else
    size = np.hypot(*(found - expected).T)
    near &= size < max(REACHES[-1] * 0.9, 1.5 / first.scale)
    whole = np.zeros((len(_exponents(DEGREES[-1])), 2))
    whole[: len(coefficients)] = coefficients  # the lower degrees come first
    freedom = len(_exponents(degrees[-1])) if part else 0
    return Registration(sites, found, score, expected, near, turn, first.scale, whole, freedom)


def _keeps_shape(coefficients: Floats) -> bool:
    """Whether the middle of a bend neither mirrors nor stretches beyond what outlines and views differ by."""
    straight = coefficients[1:3]
    sizes = np.linalg.svd(straight, compute_uv=False)
    return bool(np.linalg.det(straight) > 0 and 1 / MOST_STRETCH < sizes[1] and sizes[0] < MOST_STRETCH)


def _turned_mask(seen: NDArray[np.bool_], turn: float) -> NDArray[np.bool_]:
    """What of the second sheet is seen, as it lies on the first."""
    side = len(seen)
    matrix = cv2.getRotationMatrix2D((0.5 * side - 0.5, 0.5 * side - 0.5), float(np.degrees(turn)), 1.0)
    return np.asarray(cv2.warpAffine(seen.astype(np.uint8), matrix, (side, side), flags=cv2.INTER_NEAREST)) > 0


def find_sites(sheet: DialSheet) -> Floats:
    """(N, 2) dial radii of places with ends, corners and crossings, spread over the dial."""
    reach = TEMPLATE * sheet.scale
    room = cv2.erode(sheet.seen.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=max(round(0.5 * reach), 1))
    corners = cv2.goodFeaturesToTrack(
        sheet.ink, SITES, 0.03, 0.7 * reach, mask=room * np.uint8(255), blockSize=max(round(0.5 * reach) | 1, 3)
    )
    if corners is None:
        return np.empty((0, 2))
    return (corners[:, 0, :].astype(np.float64) + 0.5) / sheet.scale - EXTENT


def _turned(points: Floats, turn: float) -> Floats:
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def _best_turn(first: DialSheet, second: DialSheet, sites: Floats, candidates: int) -> float:
    """The candidate turn at which most of a sample of sites find a like place, and these agree with each other.

    At a wrong turn ticks are laid on other ticks, but figures find chance likenesses that lie every way.
    """
    some = sites[:: max(len(sites) // SAMPLED, 1)]

    def liking(turn: float) -> float:
        expected = _turned(some, turn)
        found, score = match(first, second, some, expected, turn, REACHES[0])
        near = score > LEAST_SCORE
        if near.sum() >= FEWEST_AGREEING:
            near &= np.hypot(*(found - _powers(some, 1) @ bend(some, found, near, 1)).T) < AGREEING
        return float((score * near).sum())

    return max(find_turns(first, second, candidates), key=liking)


def find_turns(first: DialSheet, second: DialSheet, candidates: int = CANDIDATES) -> list[float]:
    """Radians that A may have to be turned clockwise to lie on B: the peaks of their polar maps' correlation.

    A track looks alike every six degrees, so the highest peak is not always the right one. No turn at all is tried
    always: both were read with 12 o'clock up.
    """
    maps = []
    for sheet in (first, second):
        middle = EXTENT * sheet.scale
        rows = max(round(0.7 * middle), 16)
        whole = cv2.WARP_POLAR_LINEAR | cv2.WARP_FILL_OUTLIERS  # without the second, what lies outside is left unset
        polar = cv2.warpPolar(sheet.ink * sheet.seen, (rows, TURNS), (middle, middle), middle, whole)
        polar = polar[:, rows // 8 :]
        maps.append(np.fft.rfft(polar - polar.mean(axis=0), axis=0))
    like = np.fft.irfft((np.conj(maps[0]) * maps[1]).sum(axis=1), TURNS)
    turns = [0.0]
    for _ in range(candidates):
        best = int(np.argmax(like))
        turns.append(float((best + TURNS // 2) % TURNS - TURNS // 2) * 2 * np.pi / TURNS)
        like[(best + np.arange(-8, 9)) % TURNS] = -np.inf  # two degrees either way
    return turns


@contextmanager
def _plainly() -> Iterator[None]:
    """OpenCV's own arithmetic: on processors without AVX-512 that of Intel's library puts peaks off twice as far."""
    before = cv2.ipp.useIPP()
    cv2.ipp.setUseIPP(False)
    try:
        yield
    finally:
        cv2.ipp.setUseIPP(before)


@_plainly()
def match(
    first: DialSheet,
    second: DialSheet,
    sites: Floats,
    expected: Floats,
    turn: float,
    reach: float,
    templates: Image | None = None,
) -> tuple[Floats, Floats]:
    """(found (N, 2) dial radii on B, correlation (N,)) of each site of A within `reach` of where it is expected.

    templates : what `cut_templates` gives for these sites and this turn, if it is at hand.
    """
    if templates is None:
        templates = cut_templates(first, sites, turn)
    half = templates.shape[1] // 2
    wide = half + max(round(reach * first.scale), 2)
    found, score = expected.copy(), np.full(len(sites), -1.0)
    side = len(second.ink)
    corners = np.round((expected + EXTENT) * second.scale - 0.5).astype(int) - wide
    size = 2 * wide + 1
    fits = ((corners >= 0) & (corners + size <= side)).all(axis=1)
    seen = cv2.integral(second.seen.astype(np.uint8))
    for index in np.flatnonzero(fits):
        left, top = (int(v) for v in corners[index])
        right, bottom = left + size, top + size
        if seen[bottom, right] - seen[top, right] - seen[bottom, left] + seen[top, left] < 0.7 * size * size:
            continue
        like = cv2.matchTemplate(second.ink[top:bottom, left:right], templates[index], cv2.TM_CCOEFF_NORMED)
        _, best, _, (column, row) = cv2.minMaxLoc(like)
        if not math.isfinite(best):
            continue
        score[index] = best
        found[index] = (
            (left + half + column + _peak(like[row], column) + 0.5) / second.scale - EXTENT,
            (top + half + row + _peak(like[:, column], row) + 0.5) / second.scale - EXTENT,
        )
    return found, score


def cut_templates(sheet: DialSheet, sites: Floats, turn: float) -> Image:
    """(N, T, T) float32: what lies about each site, turned by `turn` as it would lie on the other sheet."""
    half = max(round(TEMPLATE * sheet.scale), 5)
    offset = np.arange(-half, half + 1)
    c, s = np.cos(turn), np.sin(turn)
    dx, dy = np.meshgrid(offset, offset)
    centre = (sites + EXTENT) * sheet.scale - 0.5
    x = (centre[:, :1, None] + (c * dx + s * dy)).astype(np.float32)
    y = (centre[:, 1:, None] + (-s * dx + c * dy)).astype(np.float32)
    side = 2 * half + 1
    cut = cv2.remap(sheet.ink, x.reshape(-1, side), y.reshape(-1, side), cv2.INTER_LINEAR)
    return np.asarray(cut, np.float32).reshape(-1, side, side)


def _peak(values: Any, at: int) -> float:
    """Place of a parabola's top through three neighbours, -0.5..0.5 from the middle one."""
    if not 0 < at < len(values) - 1:
        return 0.0
    before, here, after = float(values[at - 1]), float(values[at]), float(values[at + 1])
    curve = before - 2 * here + after
    return min(max(0.5 * (before - after) / curve, -0.5), 0.5) if curve < -1e-9 else 0.0


def bend(sites: Floats, found: Floats, use: NDArray[np.bool_], degree: int) -> Floats:
    """(K, 2) coefficients of the polynomial of `degree` fitted to the matches, outliers weighed down.

    Tukey's biweight (Beaton & Tukey, Technometrics 1974), tuning constant 4.685 (from memory).
    """
    basis = _powers(sites, degree)
    weight = use.astype(np.float64)
    coefficients: Floats = np.zeros((basis.shape[1], 2))
    for _ in range(12):
        root = np.sqrt(weight)[:, None]
        coefficients = np.asarray(np.linalg.lstsq(root * basis, root * found, rcond=None)[0], dtype=np.float64)
        size = np.hypot(*(found - basis @ coefficients).T)
        scale = max(1.4826 * float(np.median(size[use])), 1e-5)
        weight = use * np.clip(1 - (size / (4.685 * scale)) ** 2, 0, None) ** 2
    return np.asarray(coefficients)


def bent(sites: Floats, found: Floats, degree: int = DEGREES[-1]) -> Floats:
    """(N, 2): all of `sites` bent as well as can be onto `found`."""
    return np.asarray(_powers(sites, degree) @ bend(sites, found, np.ones(len(sites), dtype=bool), degree))


def _exponents(degree: int) -> list[tuple[int, int]]:
    """Powers of x and y, the lower degrees first."""
    return [(total - j, j) for total in range(degree + 1) for j in range(total + 1)]


def _powers(points: Floats, degree: int) -> Floats:
    return np.stack([points[:, 0] ** i * points[:, 1] ** j for i, j in _exponents(degree)], axis=1)
