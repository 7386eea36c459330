"""How fast dials are drawn, stage by stage, beside Pillow drawing the same slices at four times the size.

    python tests/trials speed/drawing --dials 12 --side 1400

Time is processor time of one thread, so that a busy machine does not change it much; memory is numpy's and Python's
own, as tracemalloc sees it.
"""

from __future__ import annotations

import argparse
import sys
import time
import tracemalloc
from collections.abc import Callable
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from dialtell.synth.camera.camera import expose
from dialtell.synth.design.layout import lay_out
from dialtell.synth.making import make
from dialtell.synth.photograph.body import paint_body
from dialtell.synth.photograph.light import apply_light
from dialtell.synth.photograph.relief import lamp_of
from dialtell.synth.photograph.view import homography
from dialtell.synth.photograph.watch_hands import paint_hands
from dialtell.synth.photograph.wear import apply_wear
from dialtell.synth.scene import DialSpec, Range, paint_strokes, render, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.paint import Paint, lay, mask, project

Result = TypeVar("Result")
STAGES = ("sample", "lay out", "process", "body", "raster", "worn strokes", "wear", "hands", "light", "camera")
PATCH_PX = 256
TIMES = 4  # Pillow's supersampling


class Clock:
    """Adds up processor seconds by stage."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}

    def time(self, stage: str, work: Callable[[], Result]) -> Result:
        """What `work` returns; its time goes to the stage."""
        start = time.process_time()
        result = work()
        self.spent[stage] = self.spent.get(stage, 0.0) + time.process_time() - start
        return result


def draw_timed(seed: int, index: int, scope: Range, process: Process, clock: Clock) -> DialSpec:
    """One photograph, its stages timed as scene.render runs them."""
    spec = clock.time("sample", lambda: sample_spec(seed, index, scope, process))
    matrix, shape = homography(spec.view), spec.view.shape
    clock.time("lay out", lambda: lay_out(spec.design))
    coats = clock.time("process", lambda: make(spec.design, spec.making))
    surface = clock.time("body", lambda: paint_body(spec.body, spec.view))
    inks = [(coat, coat.paint.select(coat.paint.ink == ink)) for coat in coats for ink in np.unique(coat.paint.ink)]
    clock.time("raster", lambda: [lay(paint, matrix, shape, coat=coat.coat) for coat, paint in inks])
    room = surface.dial_mask * (1.0 - surface.holes)
    lamp = lamp_of(spec.light, spec.seed, spec.index)
    scene = clock.time("worn strokes", lambda: paint_strokes(coats, spec, matrix, surface.reflectance, room, lamp))
    scene = clock.time("wear", lambda: apply_wear(spec.wear, spec.view, scene, surface.dial_mask))
    scene = clock.time("hands", lambda: paint_hands(spec.hands, spec.view, scene)[0])
    scene = clock.time("light", lambda: apply_light(spec.light, spec.view, scene))
    clock.time("camera", lambda: expose(spec.camera, scene))
    for _, paint in inks:
        _time_pillow(paint, matrix, shape, clock)
    return spec


def _time_pillow(paint: Paint, matrix: NDArray[np.float64], shape: tuple[int, int], clock: Clock) -> None:
    """The same slices by Pillow: covered share, and a second picture for density in hundredths."""
    clock.time("share alone", lambda: mask(paint, matrix, shape))
    quads = slices(paint, matrix)
    level = np.clip(100 * paint.density[paint.follows], 0, 255).astype(np.int64)
    clock.time("Pillow, one layer", lambda: pillow_layer(quads, None, shape))
    clock.time("Pillow, second layer", lambda: pillow_layer(quads, level, shape))
    clock.spent["slices"] = clock.spent.get("slices", 0.0) + len(quads)


def slices(paint: Paint, matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """(N, 8) px corners of every slice, as Pillow takes them."""
    left, right = project(matrix, paint.left), project(matrix, paint.right)
    end = np.flatnonzero(paint.follows)
    return np.concatenate([left[end - 1], left[end], right[end], right[end - 1]], axis=1)


def pillow_layer(
    quads: NDArray[np.float64], level: NDArray[np.int64] | None, shape: tuple[int, int]
) -> NDArray[np.uint8]:
    """The slices filled at TIMES the size and reduced: (H, W) uint8."""
    canvas = Image.new("L", (shape[1] * TIMES, shape[0] * TIMES))
    draw = ImageDraw.Draw(canvas)
    fills = [255] * len(quads) if level is None else level.tolist()
    for corners, fill in zip((quads * TIMES).tolist(), fills, strict=True):
        draw.polygon(corners, fill=fill)
    return np.asarray(canvas.reduce(TIMES))


def patches_per_second(count: int) -> float:
    """Close-ups of PATCH_PX px, the whole chain, in processor time."""
    scope = Range(pixels_per_radius=(400.0, 900.0), max_side=PATCH_PX, part=1.0)
    render(sample_spec(9, 0, scope))
    start = time.process_time()
    for index in range(count):
        render(sample_spec(9, index, scope))
    return count / (time.process_time() - start)


def main(arguments: list[str] | None = None) -> int:
    """Print the table; returns 0."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials speed/drawing", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--dials", type=int, default=12, help="dials drawn, processes in turn (default 12)")
    parser.add_argument("--side", type=int, default=1400, help="longer side of the frame, px (default 1400)")
    options = parser.parse_args(arguments)
    clock, first = time_dials(options.dials, options.side)
    report(clock, options.dials)
    print(f"patches of {PATCH_PX} px: {patches_per_second(4 * options.dials):.1f} a second and core")
    tracemalloc.start()
    render(first)
    print(f"peak memory of one dial: {tracemalloc.get_traced_memory()[1] / 2**20:.0f} MiB")
    tracemalloc.stop()
    return 0


def time_dials(dials: int, side: int) -> tuple[Clock, DialSpec]:
    """So many dials that nearly fill a frame of `side` px, processes in turn; the clock, and the first dial."""
    cv2.setNumThreads(1)
    scope = Range(pixels_per_radius=(0.43 * side, 0.46 * side), max_side=side)
    for index in range(dials):  # the same dials once before: letterforms are taken apart, libraries loaded
        render(sample_spec(7, index, scope, tuple(Process)[index % 3]))
    clock = Clock()
    specs = [draw_timed(7, index, scope, tuple(Process)[index % 3], clock) for index in range(dials)]
    return clock, specs[0]


def each_stage(clock: Clock, dials: int) -> dict[str, float]:
    """Processor time in ms a dial: every stage, and what was timed beside them."""
    each = {stage: 1000 * clock.spent.get(stage, 0.0) / dials for stage in clock.spent}
    # make() lays out for itself, and paint_strokes() rasterises for itself
    each["process"] -= each["lay out"]
    each["worn strokes"] -= each["raster"]
    return each


def report(clock: Clock, dials: int) -> None:
    """Stages in ms a dial, dials a second and core, and the rasteriser beside Pillow."""
    each = each_stage(clock, dials)
    total = sum(each.get(stage, 0.0) for stage in STAGES)
    print(f"{'stage':<16}{'ms a dial':>10}   n = {dials}, Python {sys.version.split()[0]}, numpy {np.__version__}")
    for stage in STAGES:
        print(f"{stage:<16}{each.get(stage, 0.0):>10.1f}")
    print(f"{'all':<16}{total:>10.1f}   {1000 / total:.2f} dials a second and core")
    one, second = each["Pillow, one layer"], each["Pillow, second layer"]
    print(f"slices a dial: {clock.spent['slices'] / dials:.0f}")
    print(f"share and density: {each['raster']:.1f} ms; Pillow x{TIMES}, two layers: {one + second:.1f} ms", end="; ")
    print(f"{(one + second) / each['raster']:.1f} times as fast")
    print(f"share alone: {each['share alone']:.1f} ms; Pillow x{TIMES}, one layer: {one:.1f} ms", end="; ")
    print(f"{one / each['share alone']:.1f} times as fast")


if __name__ == "__main__":
    raise SystemExit(main())
