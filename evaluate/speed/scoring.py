"""How long a photograph takes to score, stage by stage, and how many photographs all cores score together."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

from dialtell.evaluate.speed.clock import (
    Stage,
    arithmetic_seconds,
    copy_seconds,
    multiply_adds,
    product_seconds,
    stage_medians,
    touching_seconds,
    wrapped,
)
from dialtell.evaluate.speed.row import SpeedRow

WIDTH, HEIGHT, RADIUS = 4000, 3000, 1330.0  # px
SEED, INDEX = 6_000_013, 1
DECODE = "Pillow decoding the same JPEG"
STAGES = (
    "decode", "linear light", "looks", "outline", "density", "sharpness", "divisions", "twelve", "zones", "patches",
    "net", "verdict", "rest",
)  # fmt: skip
_EACH = 12  # photographs a worker scores for the pace of all cores
_UNTIL_WARM = 3  # of them until it counts


def draw_photograph(place: Path) -> None:
    """Write a JPEG of 12 megapixels: a dial that fills most of the frame."""
    from PIL import Image

    from dialtell.synth.scene import Range, render, sample_spec

    spec = sample_spec(SEED, INDEX, Range(variety=Range().variety.without("clock")))
    view = replace(
        spec.view, px_per_mm=RADIUS / spec.design.radius_mm, width_px=WIDTH, height_px=HEIGHT, tilt_deg=8.0,
        centre_x_px=WIDTH / 2 + 60, centre_y_px=HEIGHT / 2 - 20, field="whole",
    )  # fmt: skip
    Image.fromarray(render(replace(spec, view=view))).save(place, quality=90)


def scoring(n: int, device: str) -> list[SpeedRow]:
    """A photograph of 12 megapixels by stage, and a small one."""
    with tempfile.TemporaryDirectory() as folder, example() as small:
        large = Path(folder) / "dial.jpg"
        draw_photograph(large)
        rows = rows_of("scoring 12 megapixels", large, n, device, by_stage=True)
        return rows + rows_of("scoring a small photograph", small, n, device, by_stage=False)


def example() -> AbstractContextManager[Path]:
    """A bundled photograph, 1400 x 1400 px, as a file for the length of a `with`."""
    return resources.as_file(resources.files("dialtell.evaluate.examples") / "painted.jpg")


def rows_of(part: str, place: Path, n: int, device: str, *, by_stage: bool) -> list[SpeedRow]:
    """Of one photograph: whole, the first time, and every stage if asked for."""
    found = measure(place, n, device)
    decoding, limits = found["decoding"], limits_of(found)
    names = {"whole, warm": "whole", "whole, the first": "first", **{name: name for name in STAGES if by_stage}}
    return [
        SpeedRow(part, said, 1 if name == "first" else n, "processor", found["seconds"][name], DECODE, decoding,
                 *limits.get(name, ("", None)))
        for said, name in names.items()
    ]  # fmt: skip


def limits_of(found: dict[str, Any]) -> dict[str, tuple[str, float | None]]:
    """By stage why, and how long, its work takes at the least."""
    pixels, dial, copy, product = (found[name] for name in ("pixels", "dial_pixels", "copy", "product"))
    # decoded 3 bytes a pixel, light 4
    limits: dict[str, tuple[str, float | None]] = {
        "decode": ("libjpeg-turbo by Pillow", found["decoding"]),
        "linear light": ("its bytes read and written once", touching_seconds(3 * pixels, 4 * pixels, copy)),
        "density": ("its bytes read and written once", touching_seconds(4 * dial, 4 * dial, copy)),
        "sharpness": ("its bytes read once", touching_seconds(4 * dial, 0, copy)),
    }
    for name in ("looks", "net"):
        if found["multiply_adds"][name]:
            why = f"its {found['multiply_adds'][name] / 1e9:.2g} billion multiply-adds"
            limits[name] = (why, arithmetic_seconds(found["multiply_adds"][name], product))
    return {name: limit for name, limit in limits.items() if limit[1]}


def measure(place: Path, n: int, device: str = "cpu") -> dict[str, Any]:
    """Times of one photograph, seconds of processor time on one thread, medians of n after the first.

    seconds : of the whole, each of STAGES, and the first time. decoding : by Pillow. pixels, dial_pixels : of the
    photograph, and of the box round its dial, 0 where none was found. copy, product : of the yardsticks.
    multiply_adds : of both nets, 0 where they run on a GPU, whose pace this is not.
    """
    import cv2
    from PIL import Image

    from dialtell.evaluate.score import score
    from dialtell.model.net.device import one_thread
    from dialtell.model.net.weights_file import load_weights
    from dialtell.model.reading import looks, photo, steps

    cv2.setNumThreads(1)
    weights = load_weights(device=device)
    one_thread()
    stages: list[Stage] = [
        (photo, "_decode", "decode"),
        (photo, "grey_light", "linear light"),
        (looks, "_looked", "looks"),
        (steps, "find_outline", "outline"),
        (steps, "optical_density", "density"),
        (steps, "measure_sharpness", "sharpness"),
        (steps, "find_divisions", "divisions"),
        (steps, "find_twelve", "twelve"),
        (steps, "find_zones", "zones"),
        (steps, "cut_patches", "patches"),
        (type(weights.asks), "said", "net"),
        (score, "judge", "verdict"),
    ]

    def decode() -> None:
        with Image.open(place) as image:
            image.load()

    seconds = stage_medians(n, lambda: score.score_photo(place, weights), decode, stages)
    scored = score.score_photo(place, weights)
    counted = {"looks": 0, "net": 0}
    if device == "cpu":  # of the same nets by torch, which says what it multiplies
        plain = load_weights(lighter=False)
        nets: list[Stage] = [(looks, "_looked", "looks"), (type(plain.asks), "said", "net")]
        counted = _counted(lambda: score.score_photo(place, plain), nets)
    return {
        "seconds": seconds,
        "decoding": seconds.pop("beside"),
        "pixels": scored.photo.codes.shape[0] * scored.photo.codes.shape[1],
        "dial_pixels": 0 if scored.reading is None else int((scored.reading.density != 0).sum()),
        "copy": copy_seconds(),
        "product": product_seconds(),
        "multiply_adds": counted,
        "call": scored.record["call"],
    }


def _counted(work: Callable[[], object], stages: Sequence[Stage]) -> dict[str, int]:
    """Multiply-adds by stage of one call."""
    counts = {stage: 0 for _, _, stage in stages}

    def counting(stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def run(*args: Any, **kwargs: Any) -> Any:
            found: list[Any] = []
            counts[stage] += multiply_adds(lambda: found.append(function(*args, **kwargs)))
            return found[0]

        return run

    with wrapped(stages, counting):
        work()
    return counts


def all_cores(n: int, device: str) -> list[SpeedRow]:
    """`dialtell score --csv` on one core and on all: wall time a photograph, once every worker is warm."""
    cores = os.cpu_count() or 1
    alone = _pace(1, n, device)
    together = _pace(cores, n, device) if cores > 1 else alone
    what = f"a small photograph, {cores} processes"
    return [
        SpeedRow("scoring on all cores", what, n, "wall", together, "one process, a share of it a core", alone / cores)
    ]


def _pace(workers: int, n: int, device: str) -> float:
    """Wall seconds a photograph, n rounds of what each worker is given."""
    from dialtell.evaluate.score.stream import StreamSettings, stream_calls
    from dialtell.model.net.weights_file import load_weights

    with tempfile.TemporaryDirectory() as folder, example() as small:
        count = workers * (_UNTIL_WARM + _EACH * n // 3)
        paths = [Path(folder) / f"{index}.jpg" for index in range(count)]
        for path in paths:
            shutil.copyfile(small, path)
        settings = StreamSettings(device=device)
        marks = [
            time.perf_counter()
            for _ in stream_calls(paths, Path(folder) / "calls.csv", settings, sha256=load_weights().sha256,
                                  workers=workers)
        ]  # fmt: skip
    first = workers * _UNTIL_WARM - 1
    return (marks[-1] - marks[first]) / (len(marks) - 1 - first)
