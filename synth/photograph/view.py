"""The view: where the camera stands, and which part of the dial the frame holds.

A dial plane (mm, origin dial centre, y down) is turned by `roll`, tilted about an axis in the image plane
through the dial centre, and seen by a pinhole camera whose axis passes through it; the frame may be cut
anywhere out of that picture. Everything is one homography from mm to photo pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import ParameterError, require_range

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

MAX_TILT_DEG = 60.0
FIELDS = ("whole", "part")


@dataclass(frozen=True)
class ViewSpec:
    """One camera position and frame.

    px_per_mm : 0.2..500, scale at the dial centre across the tilt (along it: times cos tilt).
    tilt_deg : 0..60, angle between dial plane and image plane.
    azimuth_deg : 0..360, direction in the photo, clockwise from up, in which the dial leans away.
    roll_deg : -180..180, clockwise turn of the dial in its own plane.
    perspective : 0..0.5, dial diameters per camera distance; 0 is a parallel projection.
    height_px, width_px : 16..16384, frame size.
    centre_x_px, centre_y_px : where the dial centre falls; may lie outside the frame.
    dial_radius_mm : 2..500, radius of the enamel disc.
    field : "whole" dial or "part" of it.
    """

    px_per_mm: float
    tilt_deg: float
    azimuth_deg: float
    roll_deg: float
    perspective: float
    height_px: int
    width_px: int
    centre_x_px: float
    centre_y_px: float
    dial_radius_mm: float
    field: str

    def __post_init__(self) -> None:
        require_range("px_per_mm", self.px_per_mm, 0.2, 500.0, "px/mm")
        require_range("tilt_deg", self.tilt_deg, 0.0, MAX_TILT_DEG, "degrees")
        require_range("azimuth_deg", self.azimuth_deg, 0.0, 360.0, "degrees")
        require_range("roll_deg", self.roll_deg, -180.0, 180.0, "degrees")
        require_range("perspective", self.perspective, 0.0, 0.5, "dial diameters / camera distance")
        require_range("height_px", self.height_px, 16, 16384, "px")
        require_range("width_px", self.width_px, 16, 16384, "px")
        require_range("centre_x_px", self.centre_x_px, -1e5, 1e5, "px")
        require_range("centre_y_px", self.centre_y_px, -1e5, 1e5, "px")
        require_range("dial_radius_mm", self.dial_radius_mm, 2.0, 500.0, "mm")
        if self.field not in FIELDS:
            raise ParameterError(f"field is {self.field!r}; give one of {', '.join(FIELDS)}")

    @property
    def shape(self) -> tuple[int, int]:
        """Frame (H, W), px."""
        return self.height_px, self.width_px


def homography(view: ViewSpec) -> Floats:
    """(3, 3) matrix from dial mm to photo px, scaled so that its last element is 1."""
    roll, azimuth, tilt = np.radians([view.roll_deg, view.azimuth_deg, view.tilt_deg])
    turn = np.array([[np.cos(roll), -np.sin(roll)], [np.sin(roll), np.cos(roll)]])
    away = np.array([np.sin(azimuth), -np.cos(azimuth)])
    plane = view.px_per_mm * (np.eye(2) + (np.cos(tilt) - 1.0) * np.outer(away, away)) @ turn
    # a point that leans away by d mm lies d / distance further off, and its picture shrinks by 1 / (1 + that)
    depth = np.sin(tilt) * (away @ turn) * view.perspective / (2.0 * view.dial_radius_mm)
    matrix = np.eye(3)
    matrix[:2, :2] = plane
    matrix[2, :2] = depth
    shift = np.array([[1.0, 0.0, view.centre_x_px], [0.0, 1.0, view.centre_y_px], [0.0, 0.0, 1.0]])
    result: Floats = shift @ matrix
    return result


def to_px(matrix: Floats, points: Floats) -> Floats:
    """Map (..., 2) points through a homography (mm to px, or px to mm with its inverse); same shape."""
    mapped = points @ matrix[:, :2].T + matrix[:, 2]
    result: Floats = mapped[..., :2] / mapped[..., 2:]
    return result


def local_scale(matrix: Floats, points: Floats) -> Floats:
    """Square root of the area scale of a homography at (..., 2) points: px per mm, (...)."""
    depth = points @ matrix[2, :2] + matrix[2, 2]
    result: Floats = np.sqrt(np.abs(np.linalg.det(matrix) / depth**3))
    return result


def mm_grid(view: ViewSpec, step: int = 1) -> tuple[Image, Image]:
    """Dial x and y, mm, at the middles of `step` x `step` px blocks; (ceil(H/step), ceil(W/step)) float32."""
    inverse = np.linalg.inv(homography(view)).astype(np.float32)
    rows = -(-view.height_px // step)
    columns = -(-view.width_px // step)
    x = (np.arange(columns, dtype=np.float32) + np.float32(0.5)) * np.float32(step)
    y = ((np.arange(rows, dtype=np.float32) + np.float32(0.5)) * np.float32(step))[:, None]
    depth = np.reciprocal(inverse[2, 0] * x + (inverse[2, 1] * y + inverse[2, 2]))
    return (
        (inverse[0, 0] * x + (inverse[0, 1] * y + inverse[0, 2])) * depth,
        (inverse[1, 0] * x + (inverse[1, 1] * y + inverse[1, 2])) * depth,
    )


def sample_view(
    *,
    rng: np.random.Generator,
    dial_radius_mm: float = 22.0,
    px_per_mm: tuple[float, float] = (4.0, 120.0),
    max_side_px: int = 1400,
    min_side_px: int = 160,
    part_share: float = 0.2,
    max_tilt_deg: float = 35.0,
) -> ViewSpec:
    """Draw a view.

    px_per_mm : range of the scale at the dial centre, drawn log-uniform and kept: a dial too large for
        `max_side_px` at the scale drawn is shown in part.
    max_side_px, min_side_px : limits of both frame sides (the lower one may be missed by a small whole dial).
    part_share : 0..1, share of close-ups among the dials that would fit whole.
    max_tilt_deg : 0..60; half of the views are within 6 degrees of square-on.
    """
    low, high = px_per_mm
    require_range("px_per_mm[0]", low, 0.2, 500.0, "px/mm")
    require_range("px_per_mm[1]", high, low, 500.0, "px/mm")
    require_range("min_side_px", min_side_px, 16, 16384, "px")
    require_range("max_side_px", max_side_px, min_side_px, 16384, "px")
    require_range("part_share", part_share, 0.0, 1.0)
    require_range("max_tilt_deg", max_tilt_deg, 0.0, MAX_TILT_DEG, "degrees")
    scale = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    square_on = rng.random() < 0.5
    tilt = float(rng.uniform(0.0, min(6.0, max_tilt_deg)) if square_on else rng.uniform(0.0, max_tilt_deg))
    diameter = 2.0 * dial_radius_mm * scale
    part = diameter > 0.97 * max_side_px or (rng.random() < part_share and 0.6 * diameter > min_side_px)
    pose = ViewSpec(
        px_per_mm=scale,
        tilt_deg=tilt,
        azimuth_deg=float(rng.uniform(0.0, 360.0)),
        roll_deg=float(np.clip(rng.normal(0.0, 3.0 if square_on else 6.0), -12.0, 12.0)),
        perspective=float(1.0 / np.exp(rng.uniform(np.log(3.0), np.log(30.0)))),
        height_px=16,
        width_px=16,
        centre_x_px=0.0,
        centre_y_px=0.0,
        dial_radius_mm=dial_radius_mm,
        field="part" if part else "whole",
    )
    frame = _part_frame if part else _whole_frame
    height, width, x, y = frame(rng, pose, diameter, max_side_px, min_side_px)
    return ViewSpec(**{**vars(pose), "height_px": height, "width_px": width, "centre_x_px": x, "centre_y_px": y})


def _whole_frame(
    rng: np.random.Generator, pose: ViewSpec, diameter: float, max_side: int, min_side: int
) -> tuple[int, int, float, float]:
    """Frame around the whole dial: margins of all sizes, now and then cutting the rim; returns H, W, x, y."""
    angle = np.linspace(0.0, 2.0 * np.pi, 73)
    rim = to_px(homography(pose), pose.dial_radius_mm * np.stack([np.sin(angle), -np.cos(angle)], axis=1))
    low, extent = rim.min(axis=0), np.ptp(rim, axis=0)
    kind = rng.random()
    share = rng.uniform(-0.05, 0.0) if kind < 0.1 else rng.uniform(0.015, 0.15 if kind < 0.72 else 0.6)
    aspect = float(rng.choice([1.0, 1.0, 4 / 3, 3 / 4, 3 / 2, 2 / 3]))
    if share < 0.0:
        aspect = 1.0
    size = extent + 2.0 * share * diameter
    size = np.maximum(size, size[::-1] * np.array([aspect, 1.0 / aspect]))
    size = np.clip(np.round(size), 16, max_side)
    size = np.maximum(size, min(min_side, max_side)) if share > 0.0 else size
    slack = size - extent
    place = rng.beta(4.0, 4.0, size=2) if rng.random() < 0.7 else rng.uniform(0.15, 0.85, size=2)
    centre = slack * place - low
    return int(size[1]), int(size[0]), float(centre[0]), float(centre[1])


def _part_frame(
    rng: np.random.Generator, pose: ViewSpec, diameter: float, max_side: int, min_side: int
) -> tuple[int, int, float, float]:
    """Frame of a close-up whose middle lies on the dial, mostly where the design is; returns H, W, x, y."""
    side = float(np.clip(rng.uniform(0.25, 0.9) * diameter, min_side, max_side))
    aspect = float(np.exp(rng.uniform(np.log(2 / 3), np.log(3 / 2))))
    width, height = (side, side / aspect) if aspect > 1.0 else (side * aspect, side)
    width, height = max(width, min_side), max(height, min_side)
    radius, angle = pose.dial_radius_mm * rng.uniform(0.15, 0.9), rng.uniform(0.0, 2.0 * np.pi)
    middle = to_px(homography(pose), radius * np.array([np.sin(angle), -np.cos(angle)]))
    return round(height), round(width), float(width / 2 - middle[0]), float(height / 2 - middle[1])
