"""How fast dials are drawn, stage by stage, beside Pillow drawing the same slices at four times the size."""

from __future__ import annotations

import time
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from dialtell.evaluate.speed.clock import (
    PRODUCT,
    Clock,
    Stage,
    copy_seconds,
    median_of,
    product_seconds,
    touching_seconds,
)
from dialtell.evaluate.speed.row import SpeedRow
from dialtell.synth import scene
from dialtell.synth.making import make
from dialtell.synth.photograph.view import homography
from dialtell.synth.scene import DialSpec, Range, render, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.paint import Paint, lay, project

PILLOW = "Pillow drawing the same slices at 4 times the size"
SEED = 7
SIDE = 1400  # px of a dial drawn whole
CLOSE_UP = 256  # px of a close-up
_TIMES = 4  # Pillow's supersampling
_STAGES: tuple[Stage, ...] = (
    (scene, "make", "strokes made"),
    (scene, "paint_body", "enamel and surroundings"),
    (scene, "paint_strokes", "strokes laid"),
    (scene, "apply_wear", "wear"),
    (scene, "paint_hands", "watch hands"),
    (scene, "apply_light", "light"),
    (scene, "expose", "camera"),
)


def drawing(n: int, device: str) -> list[SpeedRow]:
    """Dials of SIDE px drawn whole, processes in turn, by stage; strokes beside Pillow; close-ups."""
    cv2.setNumThreads(1)
    whole = Range(pixels_per_radius=(0.43 * SIDE, 0.46 * SIDE), max_side=SIDE)
    near = Range(pixels_per_radius=(400.0, 900.0), max_side=CLOSE_UP, part=1.0)

    def spec(index: int) -> DialSpec:
        return sample_spec(SEED, index, whole, tuple(Process)[index % 3])

    for index in range(n):  # the same dials once before: letterforms are taken apart, libraries loaded
        render(spec(index))
    product, copy, clock = product_seconds(), copy_seconds(), Clock()
    began = time.process_time()
    with clock.watching(_STAGES):
        for index in range(n):
            render(clock.timed("drawn at random", spec)(index))
    seconds = (time.process_time() - began) / n
    parts = {stage: spent / n for stage, spent in clock.spent.items()}
    ours, pillow, touched = _strokes(n, spec)
    close_up = median_of(lambda index: render(sample_spec(SEED, index, near)), 4 * n)
    dial = f"a dial of {SIDE} px"
    return [
        SpeedRow("drawing", f"{dial}: whole", n, "processor", seconds, PRODUCT, product),
        *(
            SpeedRow("drawing", f"{dial}: {stage}", n, "processor", spent, PRODUCT, product)
            for stage, spent in parts.items()
        ),
        SpeedRow("drawing", f"{dial}: slices to share and density", n, "processor", ours, PILLOW, pillow,
                 "its pictures written once", touching_seconds(0, touched, copy)),
        SpeedRow("drawing", f"a close-up of {CLOSE_UP} px", 4 * n, "processor", close_up, PRODUCT, product),
    ]  # fmt: skip


def _strokes(n: int, spec: Callable[[int], DialSpec]) -> tuple[float, float, float]:
    """Processor seconds a dial of the rasteriser and of Pillow on the same slices, and the bytes that are written."""
    ours = pillow = touched = 0.0
    for index in range(n):
        dial = spec(index)
        matrix, shape = homography(dial.view), dial.view.shape
        coats = [(coat, ink) for coat in make(dial.design, dial.making) for ink in np.unique(coat.paint.ink)]
        inks = [(coat.coat, coat.paint.select(coat.paint.ink == ink)) for coat, ink in coats]
        start = time.process_time()
        for coat, paint in inks:
            lay(paint, matrix, shape, coat=coat)
        middle = time.process_time()
        for _, paint in inks:
            _by_pillow(paint, matrix, shape)
        ours, pillow = ours + middle - start, pillow + time.process_time() - middle
        touched += len(inks) * 2 * 4 * shape[0] * shape[1]
    return ours / n, pillow / n, touched / n


def _by_pillow(paint: Paint, matrix: NDArray[np.float64], shape: tuple[int, int]) -> None:
    """The same slices: covered share, and a second picture for density in hundredths."""
    corners = (slices(paint, matrix) * _TIMES).tolist()
    level = np.clip(100 * paint.density[paint.follows], 0, 255).astype(np.int64).tolist()
    pillow_layer(corners, [255] * len(corners), shape)
    pillow_layer(corners, level, shape)


def slices(paint: Paint, matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """(N, 8) px corners of every slice, as Pillow takes them."""
    left, right = project(matrix, paint.left), project(matrix, paint.right)
    end = np.flatnonzero(paint.follows)
    return np.concatenate([left[end - 1], left[end], right[end], right[end - 1]], axis=1)


def pillow_layer(corners: list[list[float]], fills: list[int], shape: tuple[int, int]) -> NDArray[np.uint8]:
    """Slices, their corners in px of a picture _TIMES as large, filled and reduced: (H, W) uint8."""
    canvas = Image.new("L", (shape[1] * _TIMES, shape[0] * _TIMES))
    draw = ImageDraw.Draw(canvas)
    for quad, fill in zip(corners, fills, strict=True):
        draw.polygon(quad, fill=fill)
    return np.asarray(canvas.reduce(_TIMES))
