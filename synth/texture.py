"""Noise fields made from a seed, and the few ways fields and pictures are combined.

Large-scale textures are drawn on a coarse grid and enlarged, as good as filtering full-size noise and some
fifty times cheaper. At full size a fresh 24 MB picture costs more than the arithmetic, so results go into
buffers at hand where there are any.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]
Colour = tuple[float, float, float]


def smooth_noise(seed: int, shape: tuple[int, int], cell: tuple[float, float]) -> Image:
    """Smooth noise, about standard normal, bumps about `cell` = (rows, columns) px; (H, W) float32."""
    rows = int(np.clip(np.ceil(shape[0] / cell[0]), 1, shape[0])) + 1
    columns = int(np.clip(np.ceil(shape[1] / cell[1]), 1, shape[1])) + 1
    coarse = np.random.default_rng(seed).standard_normal((rows, columns), dtype=np.float32)
    # no rescaling to unit variance afterwards: a small crop of a large bump must not become a strong texture
    return _f32(cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC))


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
