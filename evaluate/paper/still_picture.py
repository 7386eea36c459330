"""A photograph with what was found on it drawn in: the map, zones and outline, legible without colour."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.pages import pictures
from dialtell.model.net.calibration import HAND, PRINTED

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Colour = tuple[int, int, int]

INK, OPEN, WHITE = (30, 29, 26), (107, 103, 93), (255, 255, 255)
# colour, and px drawn and left out along a line; solid where nothing is left out
STYLES: dict[str, tuple[Colour, int, int]] = {
    HAND: (pictures.HAND_RGB, 1, 0), PRINTED: (pictures.PRINT_RGB, 16, 8), "open": (OPEN, 4, 8),
}  # fmt: skip
_SHIFT = 4  # OpenCV takes sixteenths of a px


def marked(photo: Bytes, record: Mapping[str, Any], added: NDArray[np.float32] | None, size: tuple[int, int]) -> Bytes:
    """The photograph (H, W, 3) brought to `size` (width, height) px, marked.

    record : of schema dialtell.score/1, its px those of `photo`; None for its geometry draws no outline.
    added : (H, W), positive towards hand, or None.
    """
    width, height = size
    shrinks = width < photo.shape[1]
    way = cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC
    picture = np.asarray(cv2.resize(photo, size, interpolation=way), dtype=np.uint8)
    if added is not None:
        rgba = pictures.photo_overlay(pictures.resized_map(added, height, width), max(size)).astype(np.float32)
        share = rgba[..., 3:] / 255
        picture = np.asarray(np.round(picture * (1 - share) + rgba[..., :3] * share), dtype=np.uint8)
    scale = width / photo.shape[1]
    for zone in record["zones"]:
        corners = scale * np.asarray(zone["polygon_px"] or np.zeros((0, 2)), dtype=np.float64).reshape(-1, 2)
        if len(corners):
            _line(picture, np.concatenate([corners, corners[:1]]), zone_style(zone))
    if record["geometry"] is not None:
        for line in _outline(record["geometry"], scale):
            _line(picture, line, (INK, 1, 0))
    return picture


def zone_style(zone: Mapping[str, Any]) -> tuple[Colour, int, int]:
    """How a zone's border is drawn: by its call, one that was not judged as an open one."""
    return STYLES.get(zone["call"], STYLES["open"]) if zone["judged"] else STYLES["open"]


def tag_places(record: Mapping[str, Any], scale: float) -> list[tuple[Mapping[str, Any], float, float]]:
    """Each drawn zone with its topmost corner, px of the marked picture."""
    places = []
    for zone in record["zones"]:
        if zone["polygon_px"]:
            corners = scale * np.asarray(zone["polygon_px"], dtype=np.float64)
            x, y = corners[corners[:, 1].argmin()]
            places.append((zone, float(x), float(y)))
    return places


def _outline(geometry: Mapping[str, Any], scale: float) -> list[Floats]:
    """The ellipse, and the short line across it at 12 o'clock."""
    centre, (a, b) = scale * np.asarray(geometry["center_px"], dtype=np.float64), geometry["axes_px"]
    turn = math.radians(geometry["ellipse_angle_deg"])
    along = np.linspace(0, 2 * np.pi, 361)
    flat = scale * np.stack([a * np.cos(along), b * np.sin(along)], axis=1)
    ellipse = flat @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    up = math.radians(geometry["rotation_deg"] - 90)  # from x, clockwise
    reach = scale / math.hypot(math.cos(up - turn) / a, math.sin(up - turn) / b)
    twelve = np.array([[0.97], [1.04]]) * reach * np.array([[math.cos(up), math.sin(up)]])
    return [centre + ellipse, centre + twelve]


def _line(picture: Bytes, points: Floats, style: tuple[Colour, int, int]) -> None:
    """Draw a line through (N, 2) px with a light halo, whole or in dashes."""
    colour, drawn, left_out = style
    parts = _dashes(points, drawn, left_out) if left_out else [points]
    _strokes(picture, [points], WHITE, 5)
    _strokes(picture, parts, colour, 2)


def _strokes(picture: Bytes, parts: list[Floats], colour: Colour, width: int) -> None:
    # OpenCV counts from the first pixel's centre; far outside the picture its whole numbers would run over
    lines = [np.round((np.clip(part, -1e5, 1e5) - 0.5) * 2**_SHIFT).astype(np.int32) for part in parts]
    cv2.polylines(picture, lines, False, colour, width, cv2.LINE_AA, _SHIFT)


def _dashes(points: Floats, drawn: int, left_out: int) -> list[Floats]:
    """Pieces of a line: `drawn` px kept, `left_out` px dropped, in turn."""
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    starts = np.arange(0.0, length[-1], drawn + left_out)
    pieces = []
    for start in starts[:20_000]:
        end = min(start + drawn, length[-1])
        inner = length[(length > start) & (length < end)]
        at = np.concatenate([[start], inner, [end]])
        pieces.append(np.stack([np.interp(at, length, points[:, k]) for k in (0, 1)], axis=1))
    return pieces
