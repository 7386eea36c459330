"""The square about a dial, face on, that cases, reflections and round things are painted on before the photograph is
taken of it."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]

EXTENT = 1.7  # dial radii from the centre to the border of the square
TURNS, RINGS = 720, 256  # samples of a picture unrolled round the turn, from the centre to the square's border


class Layer(NamedTuple):
    """Something opaque to be laid over what is beneath.

    colour : (H, W, 3) float32 linear radiance, 0..about 2, of any value where cover is 0. cover : (H, W) float32 0..1.
    """

    colour: Image
    cover: Image

    def over(self, beneath: Image) -> Image:
        """(H, W, 3) with this laid on it; what is beneath is not changed."""
        return np.asarray(beneath + (self.colour - beneath) * self.cover[..., None], dtype=np.float32)


@lru_cache(maxsize=4)
def lattice(scale: int) -> tuple[Image, Image, Image, Image]:
    """x, y (dial radii, right and down), distance from the centre and turn (radians clockwise from up) of the square's
    pixels, (S, S) float32 each, S = 2 * EXTENT * scale. scale : px per dial radius. Not to be written to."""
    axis = ((np.arange(round(2 * EXTENT * scale)) + 0.5) / scale - EXTENT).astype(np.float32)
    x, y = np.meshgrid(axis, axis)
    return x, y, np.hypot(x, y), np.arctan2(x, -y)


@lru_cache(maxsize=4)
def _unrolled_at(scale: int) -> tuple[Image, Image]:
    _, _, radius, turn = lattice(scale)
    column = np.mod(turn / (2 * np.pi), 1.0) * TURNS + 0.5  # one column is repeated on either side
    return np.asarray(column, np.float32), np.asarray(radius * (RINGS / (EXTENT * 1.4143)) - 0.5, np.float32)


def ring_radii() -> Image:
    """(RINGS,) dial radii of the rows of an unrolled picture."""
    return np.asarray((np.arange(RINGS) + 0.5) * (EXTENT * 1.4143 / RINGS), np.float32)


def turns() -> Image:
    """(TURNS,) radians clockwise from up of the columns of an unrolled picture."""
    return np.asarray((np.arange(TURNS) + 0.5) * (2 * np.pi / TURNS), np.float32)


def rolled(unrolled: Image, scale: int) -> Image:
    """(S, S[, C]) square from a picture unrolled round the turn, (RINGS, TURNS[, C]) float32."""
    round_ = np.concatenate([unrolled[:, -1:], unrolled, unrolled[:, :1]], axis=1)
    column, row = _unrolled_at(scale)
    return np.asarray(cv2.remap(round_, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)
