"""Which dials of a collection may be of one design: told cheaply, from thumbnails laid out round the dial.

The ink of the thumbnail's dial, turned upright, in rings and sectors; marks of one design correlate. It only proposes
pairs, to be laid on each other in full.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image

from dialtell.model.reading.geometry import DialGeometry, sample_points

RINGS, SECTORS = 28, 180
INNERMOST, OUTERMOST = 0.16, 0.97  # dial radii: without the hands' hub and the rim
SLACK = 2  # sectors, of two degrees, that rotations may be off
AT_ONCE = 500
LEAST_LIKE = 0.35  # correlation, below which designs are not compared
Mark = NDArray[np.float32]


def design_mark(thumbnail: bytes, geometry: dict[str, Any], width: int) -> Mark | None:
    """(RINGS, SECTORS) float32 of mean 0 and length 1, or None for a thumbnail that shows nothing.

    thumbnail : JPEG. geometry : of a document of schema dialtell.score/1. width : of the photograph held upright, px.
    """
    grey = np.asarray(Image.open(io.BytesIO(thumbnail)).convert("L"), dtype=np.float32)
    place = scaled_geometry(geometry, grey.shape[1] / width)
    radius = np.linspace(INNERMOST, OUTERMOST, RINGS * 2)[:, None]
    turn = (np.arange(SECTORS * 2) + 0.5) * (math.pi / SECTORS)
    points = np.stack([radius * np.sin(turn), -radius * np.cos(turn)], axis=-1)
    seen = np.asarray(sample_points(grey[..., None], place.to_photo(points)), dtype=np.float32)
    light = seen.reshape(2 * RINGS, 2 * SECTORS)
    around = np.concatenate([light[:, -40:], light, light[:, :40]], axis=1)
    enamel = cv2.morphologyEx(around, cv2.MORPH_CLOSE, np.ones((9, 41), np.uint8))[:, 40:-40]
    ink = np.clip(1 - light / np.maximum(enamel, 1.0), 0.0, 1.0)
    mark = cv2.resize(ink, (SECTORS, RINGS), interpolation=cv2.INTER_AREA)
    mark = mark * np.linspace(INNERMOST, OUTERMOST, RINGS, dtype=np.float32)[:, None] ** 0.5  # by area
    mark = cv2.GaussianBlur(np.concatenate([mark[:, -4:], mark, mark[:, :4]], axis=1), (0, 0), 0.8)[:, 4:-4]
    mark = mark - mark.mean(axis=1, keepdims=True)  # rings that all dials have say nothing
    length = float(np.linalg.norm(mark))
    return None if length < 1e-3 else np.asarray(mark / length, dtype=np.float32)


def scaled_geometry(geometry: dict[str, Any], scale: float) -> DialGeometry:
    """The geometry of a document, for a copy `scale` times as large."""
    x, y = (scale * float(value) for value in geometry["center_px"])
    a, b = (scale * float(value) for value in geometry["axes_px"])
    place = DialGeometry((x, y), (a, b), math.radians(float(geometry["ellipse_angle_deg"])))
    turn = math.radians(float(geometry["rotation_deg"]))  # as it appears, before the ellipse is made a circle
    top = place.to_dial(np.array([[x + math.sin(turn), y - math.cos(turn)]]))[0]
    return place.turned(math.atan2(top[0], -top[1]))


def upright_size(path: Path) -> tuple[int, int]:
    """Width and height of a photograph held upright, px, from its header; OSError when it cannot be read."""
    with Image.open(path) as image:
        turned = image.getexif().get(ExifTags.Base.Orientation, 1) >= 5
        return (image.height, image.width) if turned else (image.width, image.height)


def alike_designs(
    marks: Sequence[Mark], *, most_each: int = 5, least: float = LEAST_LIKE
) -> list[tuple[int, int, float]]:
    """(i, j, correlation) of pairs i < j, the likeliest first: of each its `most_each` nearest, from `least` on."""
    if len(marks) < 2:
        return []
    flat = np.stack(marks).reshape(len(marks), -1)
    best: dict[tuple[int, int], float] = {}
    for start in range(0, len(flat), AT_ONCE):
        some = np.stack(marks[start : start + AT_ONCE])
        like = np.full((len(some), len(flat)), -1.0, dtype=np.float32)
        for step in range(-SLACK, SLACK + 1):
            np.maximum(like, np.roll(some, step, axis=2).reshape(len(some), -1) @ flat.T, out=like)
        like[np.arange(len(some)), start + np.arange(len(some))] = -1.0
        count = min(most_each, len(flat) - 1)
        nearest = np.argpartition(-like, count - 1, axis=1)[:, :count]
        for row, own in enumerate(nearest):
            for other in own:
                value, i = float(like[row, other]), start + row
                if value >= least:
                    pair = (min(i, int(other)), max(i, int(other)))
                    best[pair] = max(best.get(pair, -1.0), value)
    return sorted(((i, j, value) for (i, j), value in best.items()), key=lambda found: (-found[2], found[:2]))
