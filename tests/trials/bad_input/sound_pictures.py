"""Small sound pictures of a simple dial in every form a photograph may come in: what bad pictures are made from.

A form is a format with its way of storing the pixels. Every form can be read, so a refusal of one is a fault.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

Pixels = NDArray[np.uint8]
DIALS = 3  # pictures of a whole dial
BASES = 12  # pictures; those after DIALS are small and smooth, so that they are soon judged to show no dial


@lru_cache(BASES)
def base_picture(number: int) -> Pixels:
    """(H, W, 3) uint8, number 0..BASES - 1: a dial 220 to 400 px across, or bare enamel, 32 to 64 px a side."""
    if number < DIALS:
        return _dial(number)
    rng = np.random.default_rng([78, number])
    height, width = (int(side) for side in rng.integers(32, 65, 2))
    rows, columns = np.mgrid[:height, :width]
    light = 200 + 20 * (rows / height - columns / width)[:, :, None] + rng.uniform(-8, 8, 3)
    return np.asarray(light, dtype=np.uint8)


def _dial(number: int) -> Pixels:
    rng = np.random.default_rng([77, number])
    k, across = 3, int(rng.integers(220, 401))
    width, height = (int(across * rng.uniform(1.08, 1.4)) for _ in range(2))
    image = Image.new("RGB", (width * k, height * k), tuple(int(v) for v in rng.integers(15, 90, 3)))
    pen = ImageDraw.Draw(image)
    x, y, r = width * k / 2, height * k / 2, across * k / 2

    def disc(share: float, **colours: Any) -> None:
        pen.ellipse((x - share * r, y - share * r, x + share * r, y + share * r), **colours)

    disc(1.0, fill=(236, 234, 226))
    for share in (0.93, 0.885):
        disc(share, outline=(25, 24, 26), width=max(round(0.007 * r), 1))
    for minute in range(60):
        turn, broad = math.radians(6 * minute), 0.02 if minute % 5 == 0 else 0.008
        ends = [(x + s * r * math.sin(turn), y - s * r * math.cos(turn)) for s in (0.885, 0.93)]
        pen.line([*ends[0], *ends[1]], fill=(25, 24, 26), width=max(round(broad * r), 1))
        if minute % 5 == 0:
            for side in range(1 + minute // 5 % 4):
                shift = 0.05 * (side - (minute // 5 % 4) / 2)
                along = [(x + s * r * math.sin(turn) + shift * r * math.cos(turn),
                          y - s * r * math.cos(turn) + shift * r * math.sin(turn)) for s in (0.6, 0.82)]  # fmt: skip
                pen.line([*along[0], *along[1]], fill=(25, 24, 26), width=max(round(0.024 * r), 1))
    small = np.asarray(image.resize((width, height), Image.Resampling.BOX), dtype=np.float32)
    return np.asarray(np.clip(small + rng.normal(0, 1.5, small.shape), 0, 255), dtype=np.uint8)


def _saved(form: str, mode: str = "RGB", **options: Any) -> Callable[[Pixels], bytes]:
    def save(pixels: Pixels) -> bytes:
        out = io.BytesIO()
        Image.fromarray(pixels).convert(mode).save(out, form, **options)
        return out.getvalue()

    return save


def _with_alpha(form: str, mode: str, **options: Any) -> Callable[[Pixels], bytes]:
    def save(pixels: Pixels) -> bytes:
        image, out = Image.fromarray(pixels).convert(mode), io.BytesIO()
        height, width = pixels.shape[:2]
        image.putalpha(Image.fromarray(np.tile(np.linspace(0, 255, width).astype(np.uint8), (height, 1))))
        image.save(out, form, **options)
        return out.getvalue()

    return save


def _deep(suffix: str, channels: int) -> Callable[[Pixels], bytes]:
    def save(pixels: Pixels) -> bytes:
        deep = pixels.astype(np.uint16) * 257
        if channels == 1:
            deep = deep[:, :, 0]
        elif channels == 4:
            deep = np.dstack([deep, np.full(deep.shape[:2], 40000, np.uint16)])
        return bytes(cv2.imencode(suffix, deep)[1].tobytes())

    return save


def _several(form: str, **options: Any) -> Callable[[Pixels], bytes]:
    def save(pixels: Pixels) -> bytes:
        out = io.BytesIO()
        frames = [Image.fromarray(np.roll(pixels, 9 * shift, axis=1)) for shift in range(3)]
        frames[0].save(out, form, save_all=True, append_images=frames[1:], **options)
        return out.getvalue()

    return save


def _heic(**options: Any) -> Callable[[Pixels], bytes]:
    def save(pixels: Pixels) -> bytes:
        from pillow_heif import from_pillow

        out = io.BytesIO()
        from_pillow(Image.fromarray(pixels)).save(out, quality=80, **options)
        return out.getvalue()

    return save


_FORMS: Final[dict[str, tuple[str, Callable[[Pixels], bytes]]]] = {
    "jpeg": (".jpg", _saved("JPEG", quality=90)),
    "jpeg progressive": (".jpg", _saved("JPEG", quality=85, progressive=True)),
    "jpeg grey": (".jpeg", _saved("JPEG", "L")),
    "jpeg cmyk": (".jpg", _saved("JPEG", "CMYK")),
    "jpeg restarts": (".jpg", _saved("JPEG", restart_marker_blocks=4)),
    "png": (".png", _saved("PNG")),
    "png grey": (".png", _saved("PNG", "L")),
    "png one bit": (".png", _saved("PNG", "1")),
    "png palette": (".png", _saved("PNG", "P")),
    "png palette alpha": (".png", _saved("PNG", "P", transparency=bytes(range(0, 256, 2)))),
    "png alpha": (".png", _with_alpha("PNG", "RGB")),
    "png grey alpha": (".png", _with_alpha("PNG", "L")),
    "png deep": (".png", _deep(".png", 3)),
    "png deep grey": (".png", _deep(".png", 1)),
    "png deep alpha": (".png", _deep(".png", 4)),
    "png animated": (".png", _several("PNG")),
    "tiff": (".tif", _saved("TIFF")),
    "tiff lzw": (".tif", _saved("TIFF", compression="tiff_lzw")),
    "tiff deflate": (".tiff", _saved("TIFF", compression="tiff_adobe_deflate")),
    "tiff jpeg": (".tif", _saved("TIFF", compression="jpeg")),
    "tiff packbits": (".tif", _saved("TIFF", compression="packbits")),
    "tiff one bit": (".tif", _saved("TIFF", "1", compression="group4")),
    "tiff cmyk": (".tif", _saved("TIFF", "CMYK")),
    "tiff lab": (".tif", _saved("TIFF", "LAB")),
    "tiff ycbcr": (".tif", _saved("TIFF", "YCbCr")),
    "tiff palette": (".tif", _saved("TIFF", "P")),
    "tiff alpha": (".tif", _with_alpha("TIFF", "RGB")),
    "tiff deep": (".tif", _deep(".tif", 3)),
    "tiff deep grey": (".tif", _deep(".tif", 1)),
    "tiff pages": (".tif", _several("TIFF")),
    "gif": (".gif", _saved("GIF", "P")),
    "gif animated": (".gif", _several("GIF", loop=0)),
    "webp": (".webp", _saved("WEBP")),
    "webp lossless": (".webp", _saved("WEBP", lossless=True, method=0)),
    "webp alpha": (".webp", _with_alpha("WEBP", "RGB")),
    "webp animated": (".webp", _several("WEBP", method=0)),
    "bmp": (".bmp", _saved("BMP")),
    "bmp palette": (".bmp", _saved("BMP", "P")),
    "ppm": (".ppm", _saved("PPM")),
    "jpeg 2000": (".jp2", _saved("JPEG2000")),
    "avif": (".avif", _saved("AVIF", speed=10)),
    "heic": (".heic", _heic()),
    "heic in tiles": (".heic", _heic(tile_size=128)),
}
FORMS = tuple(_FORMS)


def suffix_of(form: str) -> str:
    """The suffix that belongs to a form, with its dot."""
    return _FORMS[form][0]


@lru_cache(BASES * len(_FORMS))
def sound(form: str, number: int) -> bytes:
    """Picture `number`, 0..BASES - 1, as a file of that form; some 10 to 500 kB."""
    return _FORMS[form][1](base_picture(number))
