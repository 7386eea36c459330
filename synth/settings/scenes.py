"""Grounds that are seen upright, each (rng, shape, colour, other, cell px, contrast) -> (H, W, 3) linear light."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import Colour, enlarge, pixel_noise, soften, times
from dialtell.synth.settings.sketch import SHIFT, blob, drawn_colour, fixed, fractal, ink, light, near, write_lines
from dialtell.synth.settings.surfaces import blend, relief, tinted
from dialtell.synth.shared.srgb import codes

Image = NDArray[np.float32]
Shape = tuple[int, int]


def gradient(
    rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float
) -> Image:
    """From one colour to another, straight across or about a point."""
    x = np.linspace(-1.0, 1.0, shape[1], dtype=np.float32)
    y = np.linspace(-1.0, 1.0, shape[0], dtype=np.float32)[:, None]
    if rng.random() < 0.6:
        turn = rng.uniform(0, 2 * np.pi)
        field = 0.5 + 0.5 * np.float32(np.cos(turn)) * x + 0.5 * np.float32(np.sin(turn)) * y
    else:
        u, v = rng.uniform(-0.8, 0.8, 2).astype(np.float32)
        field = 0.7 * np.hypot(x - u, y - v)
    field = np.clip(field, 0.0, 1.0) ** np.float32(rng.uniform(0.6, 2.0))
    return blend(np.asarray(field, np.float32), colour, other)


def white(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Seamless white, a dial hardly darker than it, sometimes burnt out."""
    level = rng.uniform(0.6, 1.15)
    tint = (level * (1 + rng.normal(0, 0.02)), level, level * (1 + rng.normal(0, 0.03)))
    return tinted(1.0 + np.float32(0.06 * contrast) * fractal(rng, shape, 0.4, coarse=2), tint)


def black(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Velvet or an unlit room."""
    level = float(np.exp(rng.uniform(np.log(0.0015), np.log(0.025))))
    field = relief(fractal(rng, shape, 0.6, coarse=4), 8.0 * contrast)
    field *= 1.0 + np.float32(0.4 * contrast) * pixel_noise(int(rng.integers(2**31)), shape)
    tint = tuple(level * np.exp(0.15 * rng.standard_normal(3)))
    return tinted(np.maximum(field, 0.0), (tint[0], tint[1], tint[2]))


def noise(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Noise of all sizes in colour."""
    field = fractal(rng, shape, rng.uniform(0.4, 0.8), coarse=int(rng.integers(2, 8)))
    hue = fractal(rng, (shape[0] // 4 + 1, shape[1] // 4 + 1), 0.5, 3)
    strength = np.float32(0.3 + contrast)
    picture = enlarge(np.float32(0.3) * hue, shape) + field[..., None]
    cv2.exp(picture * (strength * np.float32(0.8)), dst=picture)
    return np.asarray(picture * np.array(colour, np.float32), np.float32)


def leaves(
    rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float
) -> Image:
    """Shapes of all sizes fallen upon one another, their sizes by a power law, some striped or rough."""
    rows, columns = shape
    longer = max(shape)
    picture = np.empty((*shape, 3), np.uint8)
    picture[:] = ink(colour)
    rough = np.zeros(shape, np.uint8)
    count = int(rng.integers(90, 260))
    least = longer * np.exp(rng.uniform(np.log(0.015), np.log(0.07)))
    size = np.minimum(least * (rng.pareto(rng.uniform(1.2, 2.2), count) + 1.0), 0.45 * longer)
    at = rng.uniform(-0.1, 1.1, (count, 2)) * (columns, rows)
    palette = np.array([colour, other, *(drawn_colour(rng, 0.01, 0.9) for _ in range(int(rng.integers(1, 7))))])
    spread = 0.3 * rng.standard_normal((count, 1)) + 0.1 * rng.standard_normal((count, 3))
    tones = codes(np.clip(palette[rng.integers(0, len(palette), count)] * np.exp(spread), 0.0, 1.0)).tolist()
    ragged = rng.uniform(0.0, 0.6)
    corners = rng.choice([3, 4, 4, 5, 6, 24], 12)
    pool = [blob(rng, int(number), float(rng.choice([0.0, ragged]))) for number in corners]
    turn = rng.uniform(0, np.pi, count) if rng.random() < 0.7 else rng.normal(0, 0.08, count)
    # each outline is squashed one way, then turned
    squash = np.ones(count) if rng.random() < 0.3 else rng.uniform(0.2, 1.0, count)
    c, s = np.cos(turn) * size, np.sin(turn) * size
    forms = np.stack([np.stack([c, s], 1), np.stack([-squash * s, squash * c], 1)], 1)
    textures = rng.choice([0, 0, 90, 200], count).tolist()
    chosen = rng.integers(0, len(pool), count)
    for index in np.argsort(-size) if rng.random() < 0.2 else range(count):
        places = [fixed(at[index] + pool[chosen[index]] @ forms[index])]
        cv2.fillPoly(picture, places, tones[index], cv2.LINE_AA, SHIFT)
        cv2.fillPoly(rough, places, textures[index], cv2.LINE_8, SHIFT)
    field = fractal(rng, shape, 0.8, coarse=int(rng.integers(4, 40)))
    factor = 1.0 + np.float32((0.3 + contrast) / 255.0) * rough * field
    return times(light(picture), np.asarray(np.maximum(factor, 0.1), np.float32))


def foliage(
    rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float
) -> Image:
    """Leaves of a bush or a lawn, light above and dark between."""
    rows, columns = shape
    green = np.array([rng.uniform(0.3, 1.0), 1.0, rng.uniform(0.1, 0.5)]) * rng.uniform(0.08, 0.5)
    picture = np.empty((*shape, 3), np.uint8)
    picture[:] = ink(0.1 * green)
    count = 260
    size = max(0.5 * cell, 0.02 * max(shape)) * rng.uniform(0.5, 1.6, count)
    slim = rng.uniform(0.15, 0.6)
    at = rng.uniform(-0.05, 1.05, (count, 2)) * (columns, rows)
    tones = green * np.exp(rng.normal(0, 0.35, (count, 3)) * (0.4, 0.4, 0.4) + np.linspace(-1.5, 0.3, count)[:, None])
    leaf = np.stack([np.sin(np.linspace(0, 2 * np.pi, 12)) * slim, -np.cos(np.linspace(0, 2 * np.pi, 12))], 1)
    turn = rng.uniform(0, 2 * np.pi) + rng.normal(0, rng.uniform(0.4, 3.0), count)
    c, s = np.cos(turn) * size, np.sin(turn) * size
    places = fixed(at[:, None] + leaf @ np.stack([np.stack([c, s], 1), np.stack([-s, c], 1)], 1))
    for outline, tone in zip(places, codes(np.clip(tones, 0.0, 1.0)).tolist(), strict=True):
        cv2.fillConvexPoly(picture, outline, tone, cv2.LINE_AA, SHIFT)
    return times(light(picture), np.exp(np.float32(0.4 + 0.5 * contrast) * fractal(rng, shape, 0.5, coarse=4)))


def bokeh(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Lights and shapes far out of focus."""
    small = (-(-shape[0] // 2), -(-shape[1] // 2))
    picture = np.maximum(0.4 + 0.4 * fractal(rng, small, 0.3, 3), 0.02) * np.array(colour, np.float32)
    lamps = np.zeros((*small, 3), np.uint8)
    reach = float(np.clip(0.6 * cell, 4.0, 0.1 * max(shape)))
    for _ in range(int(rng.integers(3, 40))):
        layer_tone = ink(near(rng, other if rng.random() < 0.5 else (0.8, 0.7, 0.45), 0.4))
        at = fixed(rng.uniform(0, 1, 2) * small[::-1])
        radius = int(reach * rng.uniform(0.7, 1.3) * 2**SHIFT)
        cv2.circle(lamps, (int(at[0]), int(at[1])), radius, layer_tone, -1, cv2.LINE_AA, SHIFT)
    picture += np.float32(0.2 + contrast) * light(lamps)
    return enlarge(soften(np.asarray(picture, np.float32), rng.uniform(0.8, 4.0)), shape)


def sky(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Blue, grey or evening sky with clouds, sometimes over roofs."""
    high = near(rng, (0.12, 0.26, 0.6) if rng.random() < 0.6 else (0.45, 0.48, 0.52), 0.3)
    low = near(rng, (0.55, 0.68, 0.85) if rng.random() < 0.7 else (0.9, 0.5, 0.25), 0.2)
    down = np.linspace(0.0, 1.0, shape[0], dtype=np.float32)[:, None] + np.zeros((1, shape[1]), np.float32)
    picture = blend(down, high, low)
    cloud = np.clip(
        fractal(rng, shape, 0.55, coarse=4) * np.float32(0.6) + np.float32(rng.uniform(-0.6, 0.5)), 0.0, 1.0
    )
    picture += (0.95 - picture) * cloud[..., None]
    if rng.random() < 0.4:
        edge = rng.uniform(0.5, 1.0, 14) * shape[0]
        x = np.repeat(np.linspace(0, shape[1], 8), 2)[1:-1]
        roofs = np.concatenate([np.stack([x, edge], 1), [[shape[1], shape[0]], [0, shape[0]]]])
        cv2.fillPoly(picture, [fixed(roofs)], near(rng, (0.08, 0.06, 0.05), 0.6), cv2.LINE_8, SHIFT)
    return np.asarray(picture, np.float32)


def room(rng: np.random.Generator, shape: Shape, colour: Colour, other: Colour, cell: float, contrast: float) -> Image:
    """Walls, a floor, shelves with things on them, furniture, a window, framed pictures, curtains."""
    rows, columns = shape
    picture = np.empty((*shape, 3), np.uint8)
    picture[:] = ink(colour)

    def box(left: float, top: float, right: float, bottom: float, tone: Colour) -> None:
        """A rectangle in shares of the frame."""
        corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]]) * (columns, rows)
        cv2.fillConvexPoly(picture, fixed(corners), ink(tone), cv2.LINE_AA, SHIFT)

    if rng.random() < 0.5:  # a second wall
        side = rng.uniform(0.1, 0.9)
        box(side, -1, 2, 2, near(rng, colour, 0.4))
    if rng.random() < 0.25:  # papered in stripes
        pace = rng.uniform(0.02, 0.1)
        tone = near(rng, colour, 0.25)
        for left in np.arange(0, 1, 2 * pace):
            box(left, -1, left + pace, 2, tone)
    floor = rng.uniform(0.65, 1.15)
    box(-1, floor, 2, 2, other)
    box(
        -1,
        floor - rng.uniform(0.02, 0.08),
        2,
        floor,
        near(rng, (0.6, 0.58, 0.55) if rng.random() < 0.5 else other, 0.4),
    )
    for _ in range(int(rng.integers(2, 7))):
        kind = rng.choice(["window", "picture", "shelf", "cupboard", "curtain", "door", "pole"])
        left, top = rng.uniform(-0.15, 0.95), rng.uniform(-0.1, 0.7)
        wide, tall = rng.uniform(0.1, 0.45), rng.uniform(0.12, 0.6)
        tone = drawn_colour(rng, 0.01, 0.8)
        if kind == "window":
            frame = near(rng, (0.7, 0.7, 0.68), 0.2) if rng.random() < 0.7 else tone
            box(left, top, left + wide, top + tall, frame)
            panes = int(rng.integers(1, 4))
            for i in range(panes):
                for j in range(panes):
                    a, b = left + wide * (i + 0.08) / panes, top + tall * (j + 0.08) / panes
                    pane = near(rng, (0.9, 0.95, 1.0), 0.1) if rng.random() < 0.8 else tone
                    box(a, b, a + 0.84 * wide / panes, b + 0.84 * tall / panes, pane)
        elif kind == "picture":
            edge = rng.uniform(0.01, 0.04)
            box(left, top, left + wide, top + tall, tone)
            box(left + edge, top + edge, left + wide - edge, top + tall - edge, drawn_colour(rng, 0.05, 0.9))
            for _ in range(int(rng.integers(0, 6))):
                u, v = rng.uniform(0.2, 0.8, 2)
                box(
                    left + wide * (u - 0.12),
                    top + tall * (v - 0.1),
                    left + wide * (u + 0.12),
                    top + tall * (v + 0.1),
                    drawn_colour(rng),
                )
        elif kind == "shelf":
            for level in np.arange(top, top + tall, rng.uniform(0.12, 0.25)):
                at = left
                while at < left + wide:
                    thick, height = rng.uniform(0.012, 0.05), rng.uniform(0.04, 0.11)
                    if rng.random() < 0.85:
                        box(at, level - height, at + thick, level, drawn_colour(rng, 0.02, 0.7))
                    at += thick * rng.uniform(1.0, 1.4)
                box(left - 0.02, level, left + wide + 0.02, level + rng.uniform(0.008, 0.025), tone)
        elif kind == "cupboard":
            top = rng.uniform(0.3, 0.8)
            box(left, top, left + wide, 1.2, tone)
            box(left - 0.01, top, left + wide + 0.01, top + 0.02, near(rng, tone, 0.5))
            for level in np.arange(top + 0.05, 1.1, 0.14):
                box(left + 0.02, level, left + wide - 0.02, level + 0.11, near(rng, tone, 0.2))
        elif kind == "curtain":
            for at in np.arange(left, left + wide, 0.03):
                box(at, -1, at + 0.031, top + tall, near(rng, tone, 0.25))
        elif kind == "door":
            box(left, 0.1, left + wide, floor, tone)
            for level in (0.15, 0.5):
                box(left + 0.2 * wide, level, left + 0.8 * wide, level + 0.28, near(rng, tone, 0.2))
        else:
            box(left, -1, left + 0.1 * wide, 2, tone)
    if rng.random() < 0.1:  # a notice on the wall
        write_lines(picture, rng, (0.55 * columns, 0.2 * rows, 0.95 * columns, 0.5 * rows), 0.03 * rows, other)
    shade = np.exp(np.float32(0.25) * fractal(rng, shape, 0.5, coarse=2))
    lean, slope = rng.normal(0, 0.04), rng.normal(0, 0.15) / columns
    matrix = np.array([[1.0, lean, 0.0], [lean * 0.5, 1.0, 0.0], [slope, 0.0, 1.0]])
    turned = cv2.warpPerspective(picture, matrix, shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return times(light(np.asarray(turned, np.uint8)), shade)
