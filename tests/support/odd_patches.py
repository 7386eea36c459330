"""What a dial's patches may turn into that no drawn dial shows, for tests and trials of the gate."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.patches import HIGH, LOW

Patches = NDArray[np.float32]  # (N, S, S) D


def _noise(patches: Patches, rng: np.random.Generator) -> Patches:
    return rng.uniform(LOW, HIGH, patches.shape).astype(np.float32)


def _clouds(patches: Patches, rng: np.random.Generator) -> Patches:
    grain = rng.standard_normal(patches.shape).astype(np.float32)
    return np.stack([0.4 + 2 * cv2.GaussianBlur(one, (0, 0), 3) for one in grain])


def _inverted(patches: Patches, rng: np.random.Generator) -> Patches:
    return 1.0 - patches


def _on_colour(patches: Patches, rng: np.random.Generator) -> Patches:
    """Letters on a coloured or grey ground."""
    return 0.5 + 0.3 * patches


def _shuffled(size: int) -> Callable[[Patches, np.random.Generator], Patches]:
    def shuffle(patches: Patches, rng: np.random.Generator) -> Patches:
        n, side = len(patches), patches.shape[1] // size
        tiles = patches.reshape(n, side, size, side, size).swapaxes(2, 3).reshape(n, side * side, size, size)
        mixed = np.stack([one[rng.permutation(side * side)] for one in tiles])
        return mixed.reshape(n, side, side, size, size).swapaxes(2, 3).reshape(patches.shape)

    return shuffle


def _wood(patches: Patches, rng: np.random.Generator) -> Patches:
    rows, columns = np.indices(patches.shape[1:], dtype=np.float32)
    found = []
    for _ in patches:
        phase, rate = rng.uniform(0, 6), rng.uniform(0.15, 0.6)
        grain = np.sin(rate * columns + 2 * np.sin(0.05 * rows + phase) + phase)
        fibres = 0.1 * rng.standard_normal((1, grain.shape[1])) + 0.05 * rng.standard_normal(grain.shape)
        found.append(0.5 + 0.35 * grain + fibres)
    return np.stack(found).astype(np.float32)


def _compressed(patches: Patches, rng: np.random.Generator) -> Patches:
    """Ten times JPEG of quality 5, each time with its blocks elsewhere."""
    found = []
    for one in np.round((patches - LOW) * (255 / (HIGH - LOW))).clip(0, 255).astype(np.uint8):
        for _ in range(10):
            by = tuple(int(step) for step in rng.integers(8, size=2))
            _, data = cv2.imencode(".jpg", np.roll(one, by, (0, 1)), [cv2.IMWRITE_JPEG_QUALITY, 5])
            one = np.roll(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE), (-by[0], -by[1]), (0, 1))
        found.append(one.astype(np.float32) * ((HIGH - LOW) / 255) + LOW)
    return np.stack(found)


KINDS: dict[str, Callable[[Patches, np.random.Generator], Patches]] = {
    "noise": _noise,
    "clouds": _clouds,
    "inverted": _inverted,
    "on colour": _on_colour,
    "pixels shuffled": _shuffled(1),
    "squares of 4 px shuffled": _shuffled(4),
    "wood": _wood,
    "strongly compressed": _compressed,
}


def made_odd(kind: str, patches: Patches, *, rng: np.random.Generator) -> Patches:
    """(N, S, S) D of that kind, made of a dial's patches or in their place."""
    return np.clip(KINDS[kind](patches, rng), LOW, HIGH).astype(np.float32)
