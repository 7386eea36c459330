"""Another camera: dials drawn as ever, then seen as in an old book, and read as photographs labelled by dial alone.

Soft, grey, of hard contrast, with grain and a lifted black, more so than anything the renderer draws. No torch here:
worker processes import this.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.steps import read_at
from dialtell.synth.scene import DialSpec, Range, render, sample_spec
from dialtell.synth.shared.errors import require_range
from dialtell.synth.shared.terms import Process
from dialtell.synth.shared.workers import in_order
from dialtell.train.bags.bags import FEWEST_PATCHES, Bag, known_geometry, photo_of, single_bag, twin_bags
from dialtell.train.bags.kept_bags import kept_bags
from dialtell.train.photographs.labels import PAINTED, PRINTED, LabelledPhoto
from dialtell.train.photographs.photo_bags import PhotoBag, photo_bag
from dialtell.train.run.holdout import TRAINING

SCOPE = Range(pixels_per_radius=(260.0, 700.0), variety=TRAINING)
CAMERA_VERSION = 1  # counts changes of the book's look and of what is read of it, for what is kept on disk
Codes = NDArray[np.uint8]
T = TypeVar("T")


@dataclass(frozen=True)
class BookScan:
    """One page of the book. Codes are sRGB codes over 255.

    blur_px : 0..6, SD. middle : 0.2..0.8, code at which the hard contrast is steepest; hardness : 1..20, its slope.
    black : 0..0.5, code of the darkest ink. grain : 0..0.2, SD of the paper's and emulsion's grain, grain_px : 0.3..4,
    its size.
    """

    blur_px: float
    middle: float
    hardness: float
    black: float
    grain: float
    grain_px: float
    seed: int

    def __post_init__(self) -> None:
        for name, low, high in (("blur_px", 0, 6), ("middle", 0.2, 0.8), ("hardness", 1, 20), ("black", 0, 0.5),
                                ("grain", 0, 0.2), ("grain_px", 0.3, 4)):  # fmt: skip
            require_range(name, getattr(self, name), low, high)


def sample_scan(*, rng: np.random.Generator) -> BookScan:
    """Draw a page: all of one book's look, each a little different."""
    return BookScan(
        blur_px=float(rng.uniform(1.4, 2.2)),
        middle=float(rng.uniform(0.45, 0.6)),
        hardness=float(rng.uniform(7.0, 11.0)),
        black=float(rng.uniform(0.15, 0.3)),
        grain=float(rng.uniform(0.02, 0.05)),
        grain_px=float(rng.uniform(0.8, 1.6)),
        seed=int(rng.integers(2**31)),
    )


def scan(page: BookScan, pixels: Codes) -> Codes:
    """(H, W, 3) uint8 sRGB as the book shows it, the same shape."""
    grey = _blurred(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255.0, page.blur_px)
    bright = float(np.percentile(grey, 95))
    curve = 1.0 / (1.0 + np.exp(-page.hardness * (grey / max(bright, 0.05) - page.middle)))
    noise = np.random.default_rng(page.seed).standard_normal(grey.shape).astype(np.float32)
    noise = _blurred(noise, page.grain_px)
    noise *= page.grain / max(float(noise.std()), 1e-6)
    seen = page.black + (0.92 - page.black) * curve + noise
    codes: Codes = np.round(255 * np.clip(seen, 0.0, 1.0)).astype(np.uint8)
    return np.repeat(codes[..., None], 3, axis=2)


def _blurred(image: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    return cv2.GaussianBlur(image, (0, 0), sigma).astype(np.float32) if sigma > 0 else image


def scanned_bags(seed: int, index: int) -> list[Bag]:
    """Dial `index` in an ordinary photograph and in the book, in this order; empty where either cannot be read.

    Even ones are painted, odd ones printed (two by transfer, then one photographic).
    """
    cv2.setNumThreads(1)
    printed = Process.PHOTOGRAPHIC if index // 2 % 3 == 2 else Process.TRANSFER
    spec = sample_spec(seed, index, SCOPE, Process.HAND if index % 2 == 0 else printed)
    rng = np.random.default_rng([seed, index, 82])
    pixels = render(spec)
    bags = [_bag(spec, codes) for codes in (pixels, scan(sample_scan(rng=rng), pixels))]
    return [bag for bag in bags if bag is not None] if None not in bags else []


def _bag(spec: DialSpec, pixels: Codes) -> Bag | None:
    rng = np.random.default_rng([spec.seed, spec.index, 83])
    reading = read_at(photo_of(pixels), known_geometry(spec, rng=rng))
    if len(reading.patches) < FEWEST_PATCHES:
        return None
    photo = _label(spec.seed, spec.index, painted=not spec.making.processes[0].printed)
    return photo_bag(photo, reading, index=-1 - spec.index)


def _label(seed: int, index: int, *, painted: bool) -> LabelledPhoto:
    name = f"dial {seed}-{index}"
    process = PAINTED if painted else PRINTED
    return LabelledPhoto(row=index + 2, name=name, path=Path(name), sha256=name, dial_process=process, dial=name)


def pair(seed: int, index: int, keep: Path | None = None) -> tuple[PhotoBag, PhotoBag] | None:
    """`shown`, labelled by dial; None where either cannot be read. keep : folder in which bags are kept."""
    bags = kept_bags(keep, f"book{CAMERA_VERSION}-{seed}-{index}", partial(scanned_bags, seed, index))
    if not bags:
        return None
    photo = _label(seed, index, painted=bags[0].dial == 1)
    ordinary, book = (PhotoBag(photo, photo.dial, bag) for bag in bags)
    return ordinary, book


def drawn(seed: int, scope: Range, twins: bool, keep: Path | None, index: int) -> list[Bag]:
    """A pair of drawn twins, or a single dial of a held-out set, as training sees them."""

    def make() -> list[Bag]:
        cv2.setNumThreads(1)
        bag = None if twins else single_bag(seed, index, scope)
        return twin_bags(seed, index, scope) if twins else [bag] if bag is not None else []

    where = hashlib.sha256(repr(scope).encode()).hexdigest()[:8]
    return kept_bags(keep, f"{'twins' if twins else 'single'}-{where}-{seed}-{index}", make)


def pairs(seed: int, count: int, workers: int, keep: Path | None = None) -> list[tuple[PhotoBag, PhotoBag]]:
    """The first `count` dials of a set that can be read, in order."""
    return [found for found in spread(partial(pair, seed, keep=keep), count, workers) if found]


def spread(task: Callable[[int], T], count: int, workers: int) -> Sequence[T]:
    """task(0) .. task(count - 1) over so many processes; one worker is this process itself."""
    return list(in_order(task, range(count), workers))
