"""Pictures for a page: photographs and signed maps as data URIs, legible without colour."""

from __future__ import annotations

import base64
import math
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Map = NDArray[np.float32]

# Vermilion and blue of Okabe and Ito's palette (Color Universal Design, 2008): apart for colour-blind
# readers too.
HAND_RGB: Final = (213, 94, 0)
PRINT_RGB: Final = (0, 114, 178)
_HATCH_PX = 3  # width of a stripe and of the gap after it, in overlay pixels
_FAINTEST = 0.06  # shares of the full strength below this are left clear


def fitted(image: Bytes, longest: int) -> Bytes:
    """The image (H, W) or (H, W, 3) with its longer side reduced to `longest` px; never enlarged."""
    height, width = image.shape[:2]
    scale = longest / max(height, width)
    if scale >= 1:
        return image
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def jpeg_uri(image: Bytes, quality: int = 88) -> str:
    """A data URI of an RGB (H, W, 3) or grey (H, W) image."""
    bgr = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_RGB2BGR)
    return _uri("jpeg", cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1])


def jpeg_within(image: Bytes, most: int) -> str:
    """Likewise, of at most so many bytes where a lower quality suffices for that, else smaller until it does."""
    bgr = cv2.cvtColor(image, cv2.COLOR_RGB2BGR)
    for quality in (90, 84, 78, 72):
        encoded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        if encoded.nbytes <= most:
            return _uri("jpeg", encoded)
    return jpeg_within(fitted(image, round(0.8 * max(image.shape[:2]))), most)


def png_uri(image: Bytes) -> str:
    """A data URI of an RGBA (H, W, 4) image, transparency kept."""
    return _uri("png", cv2.imencode(".png", cv2.cvtColor(image, cv2.COLOR_RGBA2BGRA))[1])


def _uri(kind: str, encoded: Bytes) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(encoded.tobytes()).decode('ascii')}"


def full_strength(values: Map) -> float:
    """The absolute value drawn at full strength: 99.5th percentile of what is not 0; 0 for an empty map."""
    size = np.abs(values[values != 0])
    return float(np.quantile(size, 0.995)) if size.size else 0.0


def overlay(values: Map, full: float) -> Bytes:
    """A signed map (H, W) as RGBA uint8: solid vermilion towards hand, hatched blue towards print.

    full : absolute value drawn at full strength. Alpha has 16 steps, which keeps the PNG small.
    """
    share = np.clip(np.abs(values) / full, 0, 1) if full > 0 else np.zeros_like(values)
    share = np.where(share < _FAINTEST, 0, np.sqrt(share))
    rows, columns = (np.arange(size) for size in values.shape)
    stripe = (np.add.outer(rows, columns) // _HATCH_PX) % 2 == 0
    hand = values > 0
    step = np.round(np.where(hand | stripe, 0.75, 0.2) * share * 15).astype(np.uint8)
    return np.asarray(_SHADES[16 * hand + step])


def _shades() -> Bytes:
    """(32, 4) what each step of alpha looks like, of print and then of hand; nothing where alpha is 0."""
    shades = np.array([[*colour, 17 * step] for colour in (PRINT_RGB, HAND_RGB) for step in range(16)], np.uint8)
    shades[::16] = 0
    return shades


_SHADES: Final = _shades()


def photo_overlay(values: Map, longest: int, full: float | None = None) -> Bytes:
    """A whole photo's map as RGBA, reduced to `longest` px, smoothed a little so that thin strokes show."""
    height, width = values.shape
    scale = min(1.0, longest / max(height, width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    reduced = cv2.resize(values.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    smooth = np.asarray(cv2.GaussianBlur(reduced, (0, 0), max(0.5, longest / 700)), dtype=np.float32)
    return overlay(smooth, full_strength(smooth) if full is None else full)


def blended(image: Bytes, values: Map, full: float) -> Bytes:
    """A crop (H, W) or (H, W, 3) paled and under its map: RGB uint8 of the same height and width."""
    rgb = np.repeat(image[..., None], 3, axis=2) if image.ndim == 2 else image
    grey = np.asarray(rgb, np.float32).mean(axis=2, keepdims=True)
    pale = 255 - 0.55 * (255 - grey)
    rgba = overlay(values, full).astype(np.float32)
    share = rgba[..., 3:] / 255
    mixed = pale * (1 - share) + rgba[..., :3] * share
    return np.asarray(np.round(mixed), dtype=np.uint8)


def enlarged(image: Bytes, shortest: int, longest: int) -> Bytes:
    """A small crop blown up by a whole factor, towards `shortest` px on its short side, within `longest`."""
    height, width = image.shape[:2]
    factor = max(1, min(math.ceil(shortest / min(height, width)), longest // max(height, width)))
    if factor == 1:
        return fitted(image, longest)
    size = (width * factor, height * factor)
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)


def resized_map(values: Map, height: int, width: int) -> Map:
    """The map brought to another size, averaged when reduced."""
    shrinks = values.shape[0] > height
    way = cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(values.astype(np.float32), (width, height), interpolation=way), np.float32)
