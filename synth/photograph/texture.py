"""Noise fields made from a seed, and the few ways fields and pictures are combined.

What belongs to the photograph (grain, ground) is noise in pixels; what belongs to the object is noise in mm, the same
places of it in every photograph. Lengths in mm are drawn on a lattice over the dial and seen through its homography.
Large-scale textures are drawn on a coarse grid and enlarged, as good as filtering full-size noise and some
fifty times cheaper. At full size a fresh 24 MB picture costs more than the arithmetic, so results go into
buffers at hand where there are any.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.view import local_scale

Image = NDArray[np.float32]
Colour = tuple[float, float, float]

LATTICE = 4096  # most cells a side of noise fixed to the dial


def colour_of(values: Sequence[float] | NDArray[np.float64]) -> Colour:
    """Red, green and blue as plain numbers."""
    red, green, blue = (float(value) for value in values)
    return red, green, blue


def smooth_noise(seed: int, shape: tuple[int, int], cell: tuple[float, float]) -> Image:
    """Smooth noise, about standard normal, bumps about `cell` = (rows, columns) px; (H, W) float32."""
    rows = int(np.clip(np.ceil(shape[0] / cell[0]), 1, shape[0])) + 1
    columns = int(np.clip(np.ceil(shape[1] / cell[1]), 1, shape[1])) + 1
    coarse = np.random.default_rng(seed).standard_normal((rows, columns), dtype=np.float32)
    # no rescaling to unit variance afterwards: a small crop of a large bump must not become a strong texture
    return _f32(cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC))


def dial_noise(
    seed: int,
    matrix: NDArray[np.float64],
    shape: tuple[int, int],
    cell_mm: tuple[float, float],
    reach_mm: float,
    *,
    step: int = 1,
    turn: float = 0.0,
) -> Image:
    """Smooth noise fixed to the dial, about standard normal, as a view shows it; (ceil(H / step), ...) float32.

    matrix : (3, 3) dial mm to photo px. shape : (H, W) of the photograph.
    cell_mm : size of its bumps across and along, mm. reach_mm : half side of the square about the dial centre that
        is filled (at most LATTICE cells a side); further out the border's values go on.
    step : px; one value for every block of step x step px, at its middle.
    turn : radians clockwise by which "along" is turned from 12 o'clock.

    Bumps smaller than a sample average out, as they do in a photograph.
    """
    cells = [int(np.clip(np.ceil(2.0 * reach_mm / cell), 1, LATTICE)) for cell in cell_mm]
    lattice = np.random.default_rng(seed).standard_normal((cells[1] + 1, cells[0] + 1), dtype=np.float32)
    # where a sample holds several bumps, only their means are there to see
    scale = float(local_scale(matrix, np.zeros(2))) / step
    size = [2.0 * reach_mm / count for count in cells]
    across, along = (max(round(1.0 / max(scale * length, 1e-6)), 1) for length in size)
    if across > 1 or along > 1:
        rows, columns = lattice.shape
        whole = np.pad(lattice, ((0, -rows % along), (0, -columns % across)), mode="wrap")
        lattice = whole.reshape(-(-rows // along), along, -(-columns // across), across).mean(axis=(1, 3))
    c, s = np.cos(turn), np.sin(turn)
    place = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    wide, tall = across * size[0], along * size[1]
    first = 0.5 * (wide - size[0]) - reach_mm, 0.5 * (tall - size[1]) - reach_mm
    grid = np.array([[wide, 0.0, first[0]], [0.0, tall, first[1]], [0.0, 0.0, 1.0]])
    # cv2 counts from the middle of the first pixel
    sampled = np.array([[1.0 / step, 0.0, -0.5], [0.0, 1.0 / step, -0.5], [0.0, 0.0, 1.0]])
    frame = (-(-shape[1] // step), -(-shape[0] // step))
    seen = sampled @ matrix @ place @ grid
    return _f32(cv2.warpPerspective(lattice, seen, frame, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))


def enlarge_blocks(field: Image, shape: tuple[int, int], step: int) -> Image:
    """A field of one value for each block of step x step px at (H, W), bilinear, every block in its place."""
    rows, columns = field.shape[:2]
    return enlarge(field, (rows * step, columns * step))[: shape[0], : shape[1]]


def pixel_noise(seed: int, shape: tuple[int, int]) -> Image:
    """White standard normal noise; (H, W) float32."""
    field = np.empty(shape, dtype=np.float32)
    # cv2's generator is four times as fast as numpy's; it belongs to this thread and is set before every use
    cv2.setRNGSeed(seed % 2**31)
    return _f32(cv2.randn(field, np.zeros(1), np.ones(1)))


def enlarge(field: Image, shape: tuple[int, int]) -> Image:
    """A coarse field or picture at (H, W), bilinear."""
    return _f32(cv2.resize(field, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR))


def shrink(field: Image, shape: tuple[int, int]) -> Image:
    """A field or picture at a smaller (H, W), each new pixel the mean of the area it covers."""
    return _f32(cv2.resize(field, (shape[1], shape[0]), interpolation=cv2.INTER_AREA))


def soften(field: Image, sigma: float) -> Image:
    """Gaussian blur of `sigma` px, the border mirrored."""
    return _f32(cv2.GaussianBlur(field, (0, 0), sigma, borderType=cv2.BORDER_REFLECT))


def stack(channels: Sequence[Image]) -> Image:
    """Fields (H, W) as the channels of one picture (H, W, C)."""
    return _f32(cv2.merge(channels))


def times(image: Image, field: Image) -> Image:
    """Picture (H, W, 3) times a field (H, W)."""
    wide = stack((field, field, field))
    return _f32(cv2.multiply(image, wide, dst=wide))


def mix(image: Image, colour: Colour | Image, share: Image) -> Image:
    """image + share (colour - image); image (H, W, 3), share (H, W) 0..1, colour a triple or (H, W, 3)."""
    wide = stack((share, share, share))
    other = np.array([*colour, 0.0]) if isinstance(colour, tuple) else colour
    added = cv2.subtract(other, image)
    cv2.multiply(added, wide, dst=added)
    return _f32(cv2.add(added, image, dst=added))


def _f32(array: object) -> Image:
    """What cv2 returned, which is float32 already, with its type."""
    return np.asarray(array, dtype=np.float32)
