"""A dial seen face on, as the square its parts are drawn on, and what all that draw on it need.

The square is F = 2 * scale px a side, scale px per dial radius; the disc fills it and 12 o'clock is up.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.terms import SEEN, Seen

Image = NDArray[np.float32]
Index = NDArray[np.uint8]
Floats = NDArray[np.float64]
Shape = list[Floats]  # closed rings (N, 2)
Tone = tuple[float, float, float]  # linear reflectance, red, green, blue

NUMBER: dict[Seen, int] = {seen: number for number, seen in enumerate(SEEN)}
LABELLED = 0.2  # share of a pixel from which a thing laid on it gives the pixel its name
FINE = 4  # cells a pixel's side that shapes are filled on
BITS = 4  # after the point, of coordinates OpenCV is given


class Face(NamedTuple):
    """A dial face on, without light, wear or camera.

    colour : (F, F, 3) float32 linear reflectance. seen : (F, F) uint8 index into SEEN. ink : (F, F) float32 0..1, share
    of each pixel covered by paint of the design.
    """

    colour: Image
    seen: Index
    ink: Image

    @property
    def scale(self) -> int:
        """Px per dial radius."""
        return int(self.ink.shape[0] // 2)


@lru_cache(maxsize=4)
def lattice(scale: int) -> tuple[Image, Image, Image, Image]:
    """x, y (dial radii, right and down), distance from the centre and turn (radians clockwise from up) of the pixels,
    (F, F) float32 each. Not to be written to."""
    axis = ((np.arange(2 * scale) + 0.5) / scale - 1.0).astype(np.float32)
    x, y = np.meshgrid(axis, axis)
    return x, y, np.hypot(x, y), np.arctan2(x, -y)


@lru_cache(maxsize=4)
def disc(scale: int) -> Image:
    """(F, F) float32 0..1, share of each pixel within the dial. Not to be written to."""
    return np.asarray(np.clip((1.0 - lattice(scale)[2]) * scale + 0.5, 0.0, 1.0), np.float32)


def blend(colour: Image, tone: Image | Tone, cover: Image) -> Image:
    """(F, F, 3) with a tone, one or one a pixel, laid on by its cover (F, F); the picture given is not changed."""
    laid = np.broadcast_to(np.asarray(tone, np.float32), colour.shape)
    weight = cv2.merge([cover, cover, cover])
    return np.asarray(colour + (laid - colour) * weight, np.float32)


def named(seen: Index, what: Seen, where: NDArray[np.bool_]) -> Index:
    """Names with those of `where` changed, unless a later one of SEEN stands there."""
    number = np.uint8(NUMBER[what])
    return np.where(where & (seen < number) & (seen > 0), number, seen)


def filled(shapes: list[Shape], scale: int) -> Image:
    """(F, F) float32 0..1: what shapes cover. A shape: closed rings (N, 2), dial radii about the centre, even-odd where
    those of one shape cross, so that a ring within a ring is a hole."""
    side = 2 * scale
    whole = np.zeros((side, side), np.float32)
    if not shapes:
        return whole
    points = np.concatenate([ring for shape in shapes for ring in shape])
    low = np.clip(np.floor((points.min(axis=0) + 1.0) * scale) - 1, 0, side).astype(int)
    high = np.clip(np.ceil((points.max(axis=0) + 1.0) * scale) + 1, 0, side).astype(int)
    (wide, tall) = high - low
    if wide < 1 or tall < 1:
        return whole
    cover = np.zeros((tall * FINE, wide * FINE), np.uint8)
    for shape in shapes:
        places = [((ring + 1.0) * scale - low) * FINE - 0.5 for ring in shape]
        cv2.fillPoly(cover, [np.round(ring * (1 << BITS)).astype(np.int32) for ring in places], 255, shift=BITS)
    small = cv2.resize(cover, (int(wide), int(tall)), interpolation=cv2.INTER_AREA)
    whole[low[1] : high[1], low[0] : high[0]] = small.astype(np.float32) * np.float32(1 / 255)
    return whole


def moved(ring: Floats, x: float, y: float) -> Floats:
    """A ring so far right and down."""
    return np.asarray(ring + np.array([x, y]))


def around(ring: Floats, turn: float, at: float = 0.0) -> Floats:
    """A ring given as (across, inward), dial radii, set `at` radii out along `turn` radians clockwise from up."""
    right, inward = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    return np.asarray(ring[:, :1] * right + (ring[:, 1:] - at) * inward)


def oval(x: float, y: float, across: float, down: float, points: int = 24) -> Floats:
    """(N, 2) ring of an ellipse with these semi-axes."""
    t = np.arange(points) * (2 * np.pi / points)
    return np.stack([x + across * np.sin(t), y - down * np.cos(t)], axis=1)


def bar(inner: float, outer: float, wide: float, turn: float, ratio: float = 1.0) -> Floats:
    """(4, 2) ring of a bar along a radius; ratio: width of the inner end over that of the outer."""
    far, near = 0.5 * wide, 0.5 * wide * ratio
    return around(np.array([[-far, -outer], [far, -outer], [near, -inner], [-near, -inner]]), turn)


def band(inner: float, outer: float, scale: int) -> Image:
    """(F, F) float32 0..1: a ring about the centre."""
    radius = lattice(scale)[2]
    cover = np.clip((outer - radius) * scale + 0.5, 0.0, 1.0) * np.clip((radius - inner) * scale + 0.5, 0.0, 1.0)
    return np.asarray(cover, np.float32)


def circle(x: float, y: float, radius: float, scale: int) -> Image:
    """(F, F) float32 0..1: a filled circle, dial radii."""
    across, down, _, _ = lattice(scale)
    return np.asarray(np.clip((radius - np.hypot(across - x, down - y)) * scale + 0.5, 0.0, 1.0), np.float32)


def noise(rng: np.random.Generator, side: int, cell: float | tuple[float, float]) -> Image:
    """(side, side) float32 of smooth noise, about standard normal, with bumps about `cell` (rows, columns) px."""
    rows, columns = (cell, cell) if isinstance(cell, float | int) else cell
    coarse = rng.standard_normal((int(side / rows) + 2, int(side / columns) + 2), dtype=np.float32)
    return np.asarray(cv2.resize(coarse, (side, side), interpolation=cv2.INTER_CUBIC), np.float32)


def soft(cover: Image, spread: float) -> Image:
    """The same blurred by `spread` px (standard deviation); as it is below a fifth of one."""
    return cover if spread < LABELLED else np.asarray(cv2.GaussianBlur(cover, (0, 0), spread), np.float32)
