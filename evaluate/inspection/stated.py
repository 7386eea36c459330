"""A record as a page shows it: the dial cut out to fill the space, and its places in px of that picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.photo import Bytes, Photo, display

SHOWN_PX = 2400  # longer side of the dial on a page at most; a magnifier shows all of them
MARGIN = 1.05  # dial radii from the middle to where it is cut out
NO_OUTLINE = (
    "Outline, zones, style and the like dial beside the close views are left out: each needs to know where on the dial "
    "the close-up lies."
)


@dataclass(frozen=True, eq=False)
class DialView:
    """What a page shows of a photograph. corner : (x, y) px of the photograph at its top left. scale : px of the
    picture per px of the photograph. picture : (H, W, 3) uint8 sRGB. whole : whether that is all of the photograph."""

    corner: tuple[float, float]
    scale: float
    picture: Bytes
    whole: bool

    def points(self, photo_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """(..., 2) px of the photograph to px of the picture."""
        return np.asarray((np.asarray(photo_px, dtype=np.float64) - self.corner) * self.scale)

    def geometry(self, geometry: DialGeometry) -> DialGeometry:
        """The dial in the picture."""
        x, y = geometry.center_px
        return replace(geometry, center_px=(x - self.corner[0], y - self.corner[1])).scaled(self.scale)

    def fitted(self, longest: int) -> DialView:
        """The same with a picture of at most so many px on its longer side."""
        height, width = self.picture.shape[:2]
        factor = min(1.0, longest / max(height, width))
        if factor == 1.0:
            return self
        size = (max(round(width * factor), 1), max(round(height * factor), 1))
        smaller = np.asarray(cv2.resize(self.picture, size, interpolation=cv2.INTER_AREA), np.uint8)
        return DialView(self.corner, self.scale * size[0] / width, smaller, self.whole)


def dial_view(photo: Photo, geometry: DialGeometry | None, longest: int = SHOWN_PX) -> DialView:
    """The dial cut out of a photograph; all of it where no dial is known."""
    height, width = photo.pixels.shape[:2]
    rows, columns = (slice(0, height), slice(0, width)) if geometry is None else geometry.box((height, width), MARGIN)
    if not (rows.stop > rows.start and columns.stop > columns.start):
        rows, columns = slice(0, height), slice(0, width)
    part = photo.pixels[rows, columns]
    high, wide = part.shape[:2]
    scale = min(1.0, longest / max(high, wide))
    if scale < 1.0:
        size = (max(round(wide * scale), 1), max(round(high * scale), 1))
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA))
        scale = size[0] / wide
    whole = (high, wide) == (height, width)
    return DialView((float(columns.start), float(rows.start)), scale, display(part), whole)


def small_view(photo: Photo, longest: int) -> Bytes:
    """All of a photograph, small: of every so many px one, then brought to size."""
    step = max(max(photo.pixels.shape[:2]) // (2 * longest), 1)
    picture = display(np.ascontiguousarray(photo.pixels[::step, ::step]))
    return DialView((0.0, 0.0), 1.0, picture, True).fitted(longest).picture


def drawable(record: Mapping[str, Any], scale: float = 1.0, corner: tuple[float, float] = (0.0, 0.0)) -> dict[str, Any]:
    """The record with its places in px of a picture whose top left is at `corner` px of the photograph and that is
    `scale` times as large; what it says of the original stays.

    A close-up whose place is not known has a circle that carries the scale alone: no outline and no zone is drawn.
    """
    left, top = corner
    if places := record.get("known", {}).get("places"):
        moved = [
            {**place, "polygon": [[(x - left) * scale, (y - top) * scale] for x, y in place["polygon"]]}
            for place in places
        ]
        record = {**record, "known": {**record["known"], "places": moved}}
    geometry = record["geometry"]
    if geometry is None:
        return dict(record)
    if not record.get("close_up", {}).get("located", True):
        zones = [{**zone, "polygon_px": []} for zone in record["zones"]]
        return {**record, "geometry": None, "zones": zones, "warnings": [*record["warnings"], NO_OUTLINE]}
    x, y = geometry["center_px"]
    placed = {
        "center_px": [(x - left) * scale, (y - top) * scale],
        "axes_px": [value * scale for value in geometry["axes_px"]],
    }
    zones = [
        {**zone, "polygon_px": [[(x - left) * scale, (y - top) * scale] for x, y in zone["polygon_px"]]}
        for zone in record["zones"]
    ]
    return {**record, "geometry": {**geometry, **placed}, "zones": zones}


def stated_model(weights: Weights) -> dict[str, Any]:
    """What a page and a still say of the weights."""
    return {**weights.identity, "renderer_version": weights.record["renderer_version"]}
