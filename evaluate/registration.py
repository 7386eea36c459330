"""Two dials laid on each other: turned, then bent smoothly, until what ought to be the same lies on the same place.

What a camera, a lens, the finder's error or a sheet's stretch does to a design is smooth, and a polynomial of the third
degree takes it up; what a painter's scatter does differs from stroke to stroke and is left over.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.geometry import patch_grid, sample
from dialtell.model.reading import Reading

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

EXTENT = 1.0  # dial radii shown on a sheet, from the centre
FINEST, COARSEST = 640.0, 100.0  # px per dial radius of a sheet
SITES = 400  # places compared at most
TEMPLATE = 0.03  # dial radii, half side of what is compared at a site: about a letter
REACHES = (0.07, 0.035, 0.02)  # dial radii searched about the expected place, pass by pass
DEGREES = (1, 2, 3)  # of the polynomial fitted after each pass
LEAST_SCORE = 0.55  # normalised correlation below which a site found no match
LEAST_SITES = 25  # fewer say nothing about a smooth bend
TURNS = 1440  # angles of the polar maps that find the rotation
CANDIDATES = 5  # rotations tried


@dataclass(frozen=True, eq=False)
class Sheet:
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
    bend, (K, 2).
    """

    sites: Floats
    found: Floats
    score: Floats
    fitted: Floats
    matched: NDArray[np.bool_]
    turn: float
    scale: float
    coefficients: Floats

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
        if not self.matched.any():
            return float("nan")
        return float(1.4826 * np.median(np.abs(self.residual)))

    @property
    def share(self) -> float:
        """Share of the sites that found a match."""
        return float(self.matched.mean()) if len(self.matched) else 0.0


def common_scale(first: Reading, second: Reading) -> float:
    """px per dial radius at which both can be compared: what the poorer one resolves, within COARSEST..FINEST."""
    poorer = min(first.sharpness.true_pixels_per_radius, second.sharpness.true_pixels_per_radius)
    return float(np.clip(poorer, COARSEST, FINEST))


def sheet_of(reading: Reading, scale: float) -> Sheet:
    """The dial of a reading face on, at `scale` px per dial radius."""
    side = 2 * round(EXTENT * scale)
    grid = patch_grid(reading.geometry, (0.0, 0.0), (1.0, 0.0), (side, side), scale)
    full = max(reading.patches.full, 0.2)
    ink = np.clip(np.nan_to_num(sample(reading.density, grid) / full, nan=0.0), 0.0, 1.3)
    axis = (np.arange(side) + 0.5) / scale - EXTENT
    x, y = np.meshgrid(axis, axis)
    points = np.stack([x, y], axis=-1)
    seen = np.hypot(x, y) < 0.985
    seen &= reading.zones.hand_share(points.reshape(-1, 1, 2)).reshape(side, side) < 0.5
    height, width = reading.density.shape
    seen &= (grid[..., 0] > 1) & (grid[..., 1] > 1) & (grid[..., 0] < width - 1) & (grid[..., 1] < height - 1)
    # lines a pixel wide would alias under matching
    soft = cv2.GaussianBlur(np.where(seen, ink, 0).astype(np.float32), (0, 0), 0.7)
    return Sheet(np.asarray(soft, np.float32), seen, scale)


def register(first: Sheet, second: Sheet) -> Registration | None:
    """Lay the first sheet on the second, of one scale; None when the first shows too few places to compare."""
    sites = find_sites(first)
    if len(sites) < LEAST_SITES:
        return None
    turn = _best_turn(first, second, sites)
    expected = _turned(sites, turn)
    found, score = expected, np.zeros(len(sites))
    near = np.zeros(len(sites), dtype=bool)
    coefficients = bend(sites, expected, np.ones(len(sites), dtype=bool), DEGREES[-1])
    for reach, degree in zip(REACHES, DEGREES, strict=True):
        found, score = match(first, second, sites, expected, turn, reach)
        near = score > LEAST_SCORE
        if near.sum() < LEAST_SITES:
            break
        coefficients = bend(sites, found, near, degree)
        expected = _powers(sites, degree) @ coefficients
    # a match far from where its neighbours say is a match with something else
    size = np.hypot(*(found - expected).T)
    near &= size < max(REACHES[-1] * 0.9, 1.5 / first.scale)
    whole = np.zeros((len(_exponents(DEGREES[-1])), 2))
    whole[: len(coefficients)] = coefficients  # the lower degrees come first
    return Registration(sites, found, score, expected, near, turn, first.scale, whole)


def find_sites(sheet: Sheet) -> Floats:
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


def _best_turn(first: Sheet, second: Sheet, sites: Floats) -> float:
    """The candidate turn at which most of a sample of sites find a like place near by."""
    some = sites[:: max(len(sites) // 80, 1)]

    def liking(turn: float) -> float:
        _, score = match(first, second, some, _turned(some, turn), turn, REACHES[0])
        return float(np.clip(score, 0, None).mean())

    return max(find_turns(first, second), key=liking)


def find_turns(first: Sheet, second: Sheet) -> list[float]:
    """Radians that A may have to be turned clockwise to lie on B: the peaks of their polar maps' correlation.

    A track looks alike every six degrees, so the highest peak is not always the right one.
    """
    maps = []
    for sheet in (first, second):
        middle = EXTENT * sheet.scale
        rows = max(round(0.7 * middle), 16)
        polar = cv2.warpPolar(sheet.ink * sheet.seen, (rows, TURNS), (middle, middle), middle, cv2.WARP_POLAR_LINEAR)
        polar = polar[:, rows // 8 :]
        maps.append(np.fft.rfft(polar - polar.mean(axis=0), axis=0))
    like = np.fft.irfft((np.conj(maps[0]) * maps[1]).sum(axis=1), TURNS)
    turns = []
    for _ in range(CANDIDATES):
        best = int(np.argmax(like))
        turns.append(float((best + TURNS // 2) % TURNS - TURNS // 2) * 2 * np.pi / TURNS)
        like[(best + np.arange(-8, 9)) % TURNS] = -np.inf  # two degrees either way
    return turns


def match(
    first: Sheet, second: Sheet, sites: Floats, expected: Floats, turn: float, reach: float
) -> tuple[Floats, Floats]:
    """(found (N, 2) dial radii on B, correlation (N,)) of each site of A within `reach` of where it is expected."""
    half = max(round(TEMPLATE * first.scale), 5)
    wide = half + max(round(reach * first.scale), 2)
    found, score = expected.copy(), np.full(len(sites), -1.0)
    side = len(second.ink)
    offset = np.arange(-half, half + 1)
    c, s = np.cos(turn), np.sin(turn)
    # A's templates are turned, not cut upright: what is compared must lie the same way
    dx, dy = np.meshgrid(offset, offset)
    ax, ay = c * dx + s * dy, -s * dx + c * dy
    for index, (place, goal) in enumerate(zip(sites, expected, strict=True)):
        x, y = (place + EXTENT) * first.scale - 0.5
        column, row = np.round((goal + EXTENT) * second.scale - 0.5).astype(int)
        if min(column, row) - wide < 0 or max(column, row) + wide >= side:
            continue
        around = (slice(row - wide, row + wide + 1), slice(column - wide, column + wide + 1))
        if second.seen[around].mean() < 0.7:
            continue
        template = cv2.remap(first.ink, (x + ax).astype(np.float32), (y + ay).astype(np.float32), cv2.INTER_LINEAR)
        like = np.asarray(cv2.matchTemplate(second.ink[around], template, cv2.TM_CCOEFF_NORMED), np.float32)
        _, best, _, (left, top) = cv2.minMaxLoc(like)
        if not np.isfinite(best):
            continue
        score[index] = best
        found[index] = (
            np.array([column + left - (wide - half) + _peak(like[top], left),
                      row + top - (wide - half) + _peak(like[:, left], top)]) + 0.5
        ) / second.scale - EXTENT  # fmt: skip
    return found, score


def _peak(values: Image, at: int) -> float:
    """Place of a parabola's top through three neighbours, -0.5..0.5 from the middle one."""
    if not 0 < at < len(values) - 1:
        return 0.0
    before, here, after = (float(v) for v in values[at - 1 : at + 2])
    curve = before - 2 * here + after
    return float(np.clip(0.5 * (before - after) / curve, -0.5, 0.5)) if curve < -1e-9 else 0.0


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
