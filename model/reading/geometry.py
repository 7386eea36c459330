"""Where the dial lies in a photograph, and the way between photograph pixels and the dial.

Three frames. Photo: continuous px, x right, y down, pixel (row, column) spans [column, column + 1) x
[row, row + 1). Dial: dial radii, x right, y down, 12 o'clock at (0, -1). The map between them is affine: the
photograph of a flat disc from afar is an ellipse, and the symmetric root that turns circle into ellipse (no
turning of its own) leaves "up" nearly alone. Perspective within the dial is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import ParameterError, require_range

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

_MAX_SUBSAMPLES = 6  # a side of a cell


@dataclass(frozen=True)
class DialGeometry:
    """The outer edge of the white enamel disc as an ellipse in a photograph.

    center_px : (x, y) photo px.
    axes_px : (a, b) semi-axes, a >= b > 0, photo px.
    angle : radians from +x towards +y of the major axis; any value means the same modulo pi.
    rotation : radians clockwise, how far the dial's 12 o'clock is turned from image up once the ellipse is made
        a circle.
    seen : share of the turn that lies inside the frame, 0..1.
    support : share of the seen turn along which an edge was found within the fit's gate, 0..1.
    """

    center_px: tuple[float, float]
    axes_px: tuple[float, float]
    angle: float = 0.0
    rotation: float = 0.0
    seen: float = 1.0
    support: float = 1.0

    def __post_init__(self) -> None:
        a, b = self.axes_px
        if not (math.isfinite(a) and 0 < b <= a):
            raise ParameterError(f"axes_px is {self.axes_px}; give semi-axes a >= b > 0 in px")

    @property
    def pixels_per_radius(self) -> float:
        """Photo px per dial radius, the geometric mean over directions."""
        return math.sqrt(self.axes_px[0] * self.axes_px[1])

    @property
    def pixels_across(self) -> float:
        """Diameter in px of the circle of the same area."""
        return 2.0 * self.pixels_per_radius

    @property
    def tilt(self) -> float:
        """Radians between the line of sight and the dial's axis, from the ratio of the axes."""
        return math.acos(self.axes_px[1] / self.axes_px[0])

    def pixels_per_mm(self, diameter_mm: float) -> float:
        """Photo px per mm on the dial; ParameterError unless the diameter is above 0."""
        require_range("diameter_mm", diameter_mm, 1e-3, 1e6, "mm")
        return self.pixels_across / diameter_mm

    @cached_property
    def matrix(self) -> Floats:
        """(2, 2) dial radii to photo px (without the centre); not to be written to."""
        a, b = self.axes_px
        turn = _turn(self.angle)
        found = np.asarray(turn @ np.diag([a, b]) @ turn.T @ _turn(self.rotation))
        found.flags.writeable = False  # kept, and handed to everyone
        return found

    def to_photo(self, points: Floats) -> Floats:
        """(..., 2) dial radii to (..., 2) photo px."""
        return np.asarray(np.asarray(points, dtype=np.float64) @ self.matrix.T + np.asarray(self.center_px))

    def to_dial(self, points: Floats) -> Floats:
        """(..., 2) photo px to (..., 2) dial radii."""
        inverse = np.linalg.inv(self.matrix)
        return np.asarray((np.asarray(points, dtype=np.float64) - np.asarray(self.center_px)) @ inverse.T)

    def scaled(self, factor: float) -> DialGeometry:
        """The same dial in a copy of the photograph `factor` times as large."""
        (x, y), (a, b) = self.center_px, self.axes_px
        return DialGeometry(
            (x * factor, y * factor), (a * factor, b * factor), self.angle, self.rotation, self.seen, self.support
        )

    def turned(self, rotation: float) -> DialGeometry:
        """The same ellipse with another rotation (radians)."""
        return DialGeometry(self.center_px, self.axes_px, self.angle, rotation, self.seen, self.support)

    def quarter_turned(self, quarters: int, shape: tuple[int, ...]) -> DialGeometry:
        """The same dial in its photograph (H, W) turned clockwise by so many right angles; rotation -pi..pi."""
        (x, y), (height, width) = self.center_px, shape[:2]
        for _ in range(quarters % 4):
            x, y, height, width = height - y, x, width, height
        turn = 0.5 * math.pi * quarters
        rotation = math.remainder(self.rotation + turn, 2 * math.pi)
        return DialGeometry((x, y), self.axes_px, self.angle + turn, rotation, self.seen, self.support)

    def rotation_to(self, twelve_deg: float) -> float:
        """Rotation (radians, -pi..pi) at which 12 o'clock stands `twelve_deg` clockwise from up in the photograph."""
        angle = math.radians(twelve_deg)
        x, y = np.linalg.solve(self.turned(0.0).matrix, (math.sin(angle), -math.cos(angle)))
        return math.atan2(x, -y)

    @property
    def twelve_deg(self) -> float:
        """Where 12 o'clock stands in the photograph, degrees clockwise from up, -180..180."""
        x, y = self.matrix @ (0.0, -1.0)
        return math.degrees(math.atan2(x, -y))

    def box(self, shape: tuple[int, ...], extent: float = 1.0) -> tuple[slice, slice]:
        """Row and column slices of the pixels within `extent` dial radii, cut to a (H, W) photograph."""
        half = extent * np.linalg.norm(self.matrix, axis=1)
        low = np.floor(np.asarray(self.center_px) - half).astype(int)
        high = np.ceil(np.asarray(self.center_px) + half).astype(int)
        x0, y0 = (int(min(max(low[i], 0), shape[1 - i])) for i in (0, 1))
        x1, y1 = (int(min(max(high[i], 0), shape[1 - i])) for i in (0, 1))
        return slice(y0, max(y1, y0)), slice(x0, max(x1, x0))


def _turn(angle: float) -> Floats:
    """Rotation of (x right, y down) vectors that looks clockwise for a positive angle."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s], [s, c]])


def patch_grid(
    geometry: DialGeometry,
    center: tuple[float, float],
    right: tuple[float, float],
    size: tuple[int, int],
    scale: float,
) -> Floats:
    """Where the pixels of an upright square-pixel patch of the dial lie in the photograph.

    center : (x, y) dial radii, the patch's middle.
    right : (x, y) direction on the dial along which the patch's columns run; rows run a quarter turn clockwise.
    size : (rows, columns) px.
    scale : patch px per dial radius.
    Returns (rows, columns, 2) photo px of the patch pixels' centres, ready for `sample`.
    """
    require_range("scale", scale, 1e-6, 1e6, "px per dial radius")
    length = math.hypot(*right)
    if not length > 0:
        raise ParameterError(f"right is {right}; give a direction of some length")
    x, y = right[0] / length / scale, right[1] / length / scale
    rows, columns = size
    i = np.arange(rows)[:, None] + 0.5 - rows / 2
    j = np.arange(columns)[None, :] + 0.5 - columns / 2
    dial = np.stack([center[0] + j * x - i * y, center[1] + j * y + i * x], axis=-1)
    return geometry.to_photo(dial)


def sample(image: Image, grid: Floats) -> Image:
    """Photograph values at the points of a lattice, averaged over its cells where they are larger than a pixel.

    image : (H, W[, C]) float32.
    grid : (rows, columns, 2) photo px, the cells' centres, a parallelogram lattice as `patch_grid` makes it.
    Returns (rows, columns[, C]) float32. Beyond the frame the border repeats.
    """
    rows, columns = grid.shape[:2]
    return _sample_lattice(image, grid[[0, 0, -1, -1], [0, -1, 0, -1]], rows, columns)


def _sample_lattice(image: Image, corners: Floats, rows: int, columns: int) -> Image:
    """The same from the lattice's corners (4, 2): the first row's ends, then the last row's."""
    across = (corners[1] - corners[0]) / (columns - 1) if columns > 1 else np.array([1.0, 0.0])
    down = (corners[2] - corners[0]) / (rows - 1) if rows > 1 else np.array([0.0, 1.0])
    steps = float(np.hypot(*down)), float(np.hypot(*across))
    # crop first: OpenCV warps no picture of more than 32766 px a side, and reducing is dear
    margin = 2.0 + sum(steps)
    height, width = image.shape[:2]
    low = np.floor(corners.min(axis=0) - margin).astype(int)
    high = np.ceil(corners.max(axis=0) + margin).astype(int)
    x0, y0 = int(np.clip(low[0], 0, width - 1)), int(np.clip(low[1], 0, height - 1))
    x1, y1 = int(np.clip(high[0], x0 + 1, width)), int(np.clip(high[1], y0 + 1, height))
    # very large cells: whole blocks of pixels are averaged first, the rest is left to subsamples
    factor = max(int(min(steps) / (_MAX_SUBSAMPLES / 2)), 1)
    factor = factor if min(x1 - x0, y1 - y0) >= factor else 1
    if factor > 1:
        x1, y1 = x0 + (x1 - x0) // factor * factor, y0 + (y1 - y0) // factor * factor
    source = image[y0:y1, x0:x1]
    if factor > 1:
        small = ((x1 - x0) // factor, (y1 - y0) // factor)
        source = np.asarray(cv2.resize(source, small, interpolation=cv2.INTER_AREA))
    n = [min(max(math.ceil(step / factor - 0.05), 1), _MAX_SUBSAMPLES) for step in steps]
    columns_of_map = np.stack([across / n[1], down / n[0]], axis=1) / factor
    first = (corners[0] - (across * (1 - 1 / n[1]) + down * (1 - 1 / n[0])) / 2 - (x0, y0)) / factor
    affine = np.column_stack([columns_of_map, first - 0.5])  # OpenCV counts from the first pixel's centre
    found = cv2.warpAffine(
        source,
        affine,
        (columns * n[1], rows * n[0]),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    if n != [1, 1]:
        found = cv2.resize(found, (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(found, dtype=np.float32)


def sample_points(image: Image | NDArray[np.uint8], points: Floats) -> Image:
    """Photograph values at (rows, columns, 2) photo px in any arrangement, bilinear, the border repeated.

    image : (H, W[, C]). No averaging: for points closer together than a pixel or two.
    """
    return sample_at(image, points[..., 0], points[..., 1])


def sample_at(image: Image | NDArray[np.uint8], x: Floats, y: Floats) -> Image:
    """`sample_points` with the points' x and y apart, (rows, columns) photo px each."""
    height, width = image.shape[:2]
    x0, y0 = (int(np.clip(np.floor(p.min()) - 1, 0, side - 1)) for p, side in ((x, width), (y, height)))
    x1, y1 = (int(np.clip(np.ceil(p.max()) + 2, low + 1, side)) for p, low, side in ((x, x0, width), (y, y0, height)))
    # cropped: OpenCV samples no picture of more than 32766 px a side
    source = np.asarray(image[y0:y1, x0:x1], dtype=np.float32)
    columns, rows = (x - (x0 + 0.5)).astype(np.float32), (y - (y0 + 0.5)).astype(np.float32)
    found = cv2.remap(source, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found, dtype=np.float32)


def rectify(image: Image, geometry: DialGeometry, pixels_per_radius: float, extent: float = 1.05) -> Image:
    """The dial face-on and upright: (S, S[, C]) float32, S = 2 * extent * pixels_per_radius rounded.

    image : (H, W[, C]) float32. The dial's centre falls on the picture's middle, continuous (S / 2, S / 2).
    """
    side = max(round(2 * extent * pixels_per_radius), 1)
    reach = (0.5 * side - 0.5) / pixels_per_radius
    corners = geometry.to_photo(reach * np.array([[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]]))
    return _sample_lattice(image, corners, side, side)
