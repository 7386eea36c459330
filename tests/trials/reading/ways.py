"""Ten ways of handing in one photograph, each with the map that carries places in it along."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageEnhance, ImageFilter

from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.looks import carried
from dialtell.model.reading.outline import ellipse_of

Floats = NDArray[np.float64]

AS_IS, SIDE, HEAD = "as is", "on its side", "on its head"
WAYS = (
    AS_IS, "0.8 the size", "turned 6 degrees", SIDE, HEAD, "saved at quality 70", "darker", "cropped", "softer", "grey",
)  # fmt: skip
CROPPED = 1.25  # longer semi-axes about the outline
_QUALITY = {"saved at quality 70": 70}


@dataclass(frozen=True, eq=False)
class HandedIn:
    """A photograph in one way. onto : (2, 3) px of the photograph as it is to px of this picture. quality : of the
    JPEG."""

    way: str
    picture: Image.Image
    onto: Floats
    quality: int

    def carry(self, dial: DialGeometry) -> DialGeometry:
        """A dial of the photograph in this picture, 12 o'clock and all."""
        return _carried(dial, self.onto)

    def back(self, dial: DialGeometry) -> DialGeometry:
        """A dial of this picture in the photograph."""
        inverse = np.linalg.inv(self.onto[:, :2])
        return _carried(dial, np.column_stack([inverse, -inverse @ self.onto[:, 2]]))


def ways_of(picture: Image.Image, outline: DialGeometry | None) -> Iterator[HandedIn]:
    """A photograph (RGB, upright) in every way; without an outline there is nothing to crop to."""
    width, height = picture.size
    same = np.eye(2, 3)
    for way in WAYS:
        given, onto = picture, same
        if way == "0.8 the size":
            given = picture.resize((max(int(0.8 * width), 1), max(int(0.8 * height), 1)), Image.Resampling.LANCZOS)
            onto = np.array([[given.width / width, 0.0, 0.0], [0.0, given.height / height, 0.0]])
        elif way == "turned 6 degrees":
            mean = tuple(int(v) for v in np.asarray(picture.resize((1, 1), Image.Resampling.BOX)).ravel())
            given = picture.rotate(6, Image.Resampling.BICUBIC, fillcolor=mean)
            c, s = math.cos(math.radians(6)), math.sin(math.radians(6))
            turn = np.array([[c, s], [-s, c]])  # anticlockwise as seen, y down
            middle = np.array([width / 2, height / 2])
            onto = np.column_stack([turn, middle - turn @ middle])
        elif way == SIDE:
            given = picture.transpose(Image.Transpose.ROTATE_90)
            onto = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, width]])
        elif way == HEAD:
            given = picture.transpose(Image.Transpose.ROTATE_180)
            onto = np.array([[-1.0, 0.0, width], [0.0, -1.0, height]])
        elif way == "darker":
            given = ImageEnhance.Brightness(picture).enhance(0.78)
        elif way == "softer":
            given = picture.filter(ImageFilter.GaussianBlur(0.8))
        elif way == "grey":
            given = picture.convert("L").convert("RGB")
        elif way == "cropped":
            if outline is None:
                continue
            (x, y), reach = outline.center_px, CROPPED * outline.axes_px[0]
            left, top = max(int(x - reach), 0), max(int(y - reach), 0)
            given = picture.crop((left, top, min(math.ceil(x + reach), width), min(math.ceil(y + reach), height)))
            onto = np.array([[1.0, 0.0, -left], [0.0, 1.0, -top]])
        yield HandedIn(way, given, np.asarray(onto, dtype=np.float64), _QUALITY.get(way, 95))


def _carried(dial: DialGeometry, onto: Floats) -> DialGeometry:
    moved = carried(ellipse_of(dial), onto[:, :2], onto[:, 2])
    x, y = onto[:, :2] @ dial.matrix @ (0.0, -1.0)
    flat = DialGeometry(moved.center, moved.axes, moved.angle)
    return flat.turned(flat.rotation_to(math.degrees(math.atan2(x, -y))))
