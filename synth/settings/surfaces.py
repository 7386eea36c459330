"""Flat grounds seen from above, each (rng, shape, colour, other, cell px, contrast) -> (H, W, 3) linear light."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import Colour, pixel_noise
from dialtell.synth.settings.sketch import fractal, ink, light, near, write_lines

Image = NDArray[np.float32]
Shape = tuple[int, int]


def tinted(field: Image, colour: Colour) -> Image:
    """(H, W, 3) of a field (H, W) of light in one colour."""
    return np.asarray(cv2.merge([field * np.float32(value) for value in colour]), np.float32)


def blend(field: Image, colour: Colour, other: Colour) -> Image:
    """(H, W, 3) from `colour` where the field is 0 to `other` where it is 1."""
    return np.asarray(
        cv2.merge([np.float32(a) + field * np.float32(b - a) for a, b in zip(colour, other, strict=True)]), np.float32
    )


def relief(height: Image, strength: float) -> Image:
    """Light on a height field lit from the upper left, 1 where it is level."""
    slope = cv2.Scharr(height, cv2.CV_32F, 1, 0, scale=1 / 32) + cv2.Scharr(height, cv2.CV_32F, 0, 1, scale=1 / 32)
    return np.asarray(np.maximum(1.0 + np.float32(strength) * slope, 0.1), np.float32)


def plain(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """A wall or card: nearly even, sometimes plastered."""
    field = 1.0 + np.float32(0.15 * contrast) * fractal(rng, shape, 0.5, coarse=2)
    if rng.random() < 0.4:
        field *= relief(fractal(rng, shape, 0.7, coarse=int(np.clip(max(shape) / cell, 4, 64))), contrast)
    return tinted(np.maximum(field, 0.1), colour)


def cloth(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Threads, stripes or checks where there are any, and folds with soft shadows."""
    x, y = np.arange(shape[1], dtype=np.float32), np.arange(shape[0], dtype=np.float32)[:, None]
    wave = fractal(rng, shape, 0.35, coarse=int(rng.integers(2, 6)))
    fold = relief(wave, rng.uniform(0.0, 0.14) * max(shape) * contrast)
    thread = max(0.15 * cell, 2.2)
    bend = 1.5 * wave
    weave = np.sin(x * np.float32(np.pi / thread) + bend) * np.sin(y * np.float32(np.pi / thread) + bend)
    field = fold * (1.0 + np.float32(0.35 * contrast) * weave)
    field += np.float32(0.12 * contrast) * pixel_noise(int(rng.integers(2**31)), shape)
    np.maximum(field, 0.05, out=field)
    pattern = rng.choice(["none", "stripes", "checks", "print"], p=[0.55, 0.15, 0.15, 0.15])
    if pattern == "none":
        return tinted(field, colour)
    pace = np.float32(2 * np.pi / max(3.0 * cell, 8.0))
    across = np.clip(4.0 * np.sin(pace * x + bend) + 0.5 + rng.uniform(-2, 2), 0.0, 1.0)
    along = np.clip(4.0 * np.sin(pace * y + bend) + 0.5 + rng.uniform(-2, 2), 0.0, 1.0)
    share = (
        across + 0.0 * y if pattern == "stripes" else 0.5 * (across + along) if pattern == "checks" else across * along
    )
    return blend(np.asarray(share, np.float32), colour, other) * field[..., None]


def wood(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Boards across the frame, the grain along them, with year rings and pores."""
    rows, columns = shape
    width = int(np.clip(rng.uniform(2.0, 12.0) * cell, 12, 2 * rows))
    boards = -(-rows // width)
    warp = fractal(rng, (rows, max(columns // 8, 2)), 0.5, coarse=3)
    y = np.arange(rows, dtype=np.float32)[:, None]
    shift = np.repeat(rng.uniform(0, 50, boards), width)[:rows, None].astype(np.float32)
    ring = np.sin(
        y * np.float32(2 * np.pi / (rng.uniform(0.08, 0.5) * width + 3.0))
        + np.float32(rng.uniform(1, 5)) * warp
        + shift
    )
    small = ring * np.float32(rng.uniform(0.1, 0.5)) + 0.4 * pixel_noise(int(rng.integers(2**31)), ring.shape)
    grain = np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR), np.float32)
    tone = np.repeat(np.exp(0.25 * contrast * rng.standard_normal(boards)), width)[:rows, None].astype(np.float32)
    field = np.exp(np.float32(0.7 * contrast + 0.05) * grain) * tone
    if rng.random() < 0.7:
        gap = max(width // 40, 1)
        for start in range(width, rows, width):
            field[start : start + gap] *= np.float32(rng.uniform(0.1, 0.6))
    return blend(np.clip(field, 0.05, 3.0), (0.0, 0.0, 0.0), colour)


def paper(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """A sheet with print, rules or squares, light paper and dark ink as a rule."""
    sheet = (0.75, 0.72, 0.66) if rng.random() < 0.7 else colour
    sheet = near(rng, sheet, 0.15)
    mark = (0.03, 0.03, 0.035) if rng.random() < 0.7 else other
    picture = np.empty((*shape, 3), np.uint8)
    picture[:] = ink(sheet)
    size = float(np.clip(0.6 * cell, 5.0, 40.0))
    kind = rng.choice(["print", "lines", "squares"], p=[0.7, 0.15, 0.15])
    rows, columns = shape
    if kind == "print":
        count = int(rng.integers(1, 4))
        for index in range(count):
            box = ((index + 0.08) * columns / count, 0.03 * rows, (index + 0.92) * columns / count, rows)
            write_lines(picture, rng, box, max(size, 0.014 * columns), mark)
        if rng.random() < 0.4:  # a heading or a picture between
            top = int(rng.uniform(0.0, 0.7) * rows)
            cv2.rectangle(picture, (0, top), (columns, top + rows // 5), ink(sheet), -1)
            write_lines(picture, rng, (0.1 * columns, top, 0.9 * columns, top + rows / 5), 0.09 * rows, other)
    else:
        pale = np.array(near(rng, other, 0.3)) * 0.5 + 0.5 * np.array(sheet)
        pace = int(max(cell, 7))
        picture[::pace] = ink(pale)
        if kind == "squares":
            picture[:, ::pace] = ink(pale)
    return light(picture) * relief(fractal(rng, shape, 0.5), 3.0 * contrast)[..., None]


def leather(
    rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float
) -> Image:
    """Creases about small plates, with a sheen; coarse ones look like crackle or bark."""
    creases = int(np.clip(1.5 * max(shape) / cell, 8, 90))
    noise = fractal(rng, shape, 0.4, coarse=creases)
    height = 1.0 - np.exp(-5.0 * noise * noise)
    field = relief(height, 2.5 * contrast) * (0.5 + 0.5 * height) * (1.0 + 0.15 * fractal(rng, shape, 0.5, coarse=2))
    return tinted(np.asarray(np.maximum(field, 0.05), np.float32), colour)


def masonry(
    rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float
) -> Image:
    """Bricks, ashlar, tiles or a chessboard, with joints between."""
    rows, columns = shape
    tall = int(np.clip(1.6 * cell, 12, max(rows // 2, 13)))
    wide = int(tall * rng.choice([1.0, 1.0, 2.2, rng.uniform(1.0, 4.0)]))
    down, across = -(-rows // tall) + 1, -(-columns // wide) + 2
    tone = np.exp(
        0.5 * contrast * rng.standard_normal((down, across, 1)) + 0.06 * rng.standard_normal((down, across, 3))
    )
    stones = tone * np.array(colour)
    if wide == tall and rng.random() < 0.35:  # chessboard
        dark = (np.add.outer(np.arange(down), np.arange(across)) % 2).astype(bool)
        stones[dark] = tone[dark] * np.array(other)
    large = np.repeat(np.repeat(stones.astype(np.float32), tall, axis=0), wide, axis=1)
    joint = np.array(near(rng, other, 0.3), np.float32) * rng.uniform(0.3, 1.0)
    gap = max(int(tall * rng.uniform(0.02, 0.12)), 1)
    for index in range(gap):
        large[index::tall] = joint
        large[:, index::wide] = joint
    if rng.random() < 0.7 and wide > tall:  # every other course by half a stone
        for row in range(1, down, 2):
            large[row * tall + gap : (row + 1) * tall] = np.roll(
                large[row * tall + gap : (row + 1) * tall], wide // 2, axis=1
            )
    picture = np.ascontiguousarray(large[:rows, :columns])
    rough = fractal(rng, shape, 0.7, coarse=12)
    picture *= (np.maximum(1.0 + np.float32(0.25 * contrast) * rough, 0.1) * relief(rough, 0.4 * contrast))[..., None]
    return np.asarray(picture, np.float32)
