"""Dials laid out from figures of outside: a white disc, twelve hours and the five minutes around them.

Nothing here is shared with the renderer, and everything but the figures is alike in all kinds: density is constant
within and between figures, places are exact, the photograph is a blur, a gain and noise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from trials.outside.glyphs import bitmap, counted, enlarged, family, fonts, handwriting, type_figure

from dialtell.model.reading.known import Outline

Floats = NDArray[np.float32]

HOURS = tuple(str(hour) for hour in range(1, 13))
MINUTES = tuple(str(5 * step) for step in range(1, 13))
HOUR_RADIUS, HOUR_HEIGHT = 0.68, 0.15  # dial radii
MINUTE_RADIUS, MINUTE_HEIGHT = 0.90, 0.075
MARGIN = 1.12  # half the frame, dial radii
ENAMEL, GROUND = 0.78, 0.22  # share of light


class Kind(StrEnum):
    """Whose figures."""

    HAND = "handwritten"  # every figure another specimen of one stretch of the file
    STAMP = "handwritten, repeated"  # one specimen of each digit, the same everywhere
    TYPE = "type"
    COARSE_TYPE = "type through 8 x 8"  # counted and enlarged as the handwriting was

    @property
    def hand(self) -> bool:
        """Whether figures were written by hand."""
        return self is Kind.HAND


@dataclass(frozen=True)
class Photograph:
    """radius : of the dial, px. center : (x, y) px. density : D of the ink. blur : sigma, px. noise : SD of linear
    light. noise_seed : of its draws."""

    radius: float
    center: tuple[float, float]
    density: float
    blur: float
    noise: float
    noise_seed: int

    @property
    def side(self) -> int:
        """Px of the square frame."""
        return round(2 * MARGIN * self.radius)

    @property
    def outline(self) -> Outline:
        """The rim, as labels state it."""
        return Outline(*self.center, self.radius, self.radius, 0.0)


@dataclass(frozen=True)
class OutsideSpec:
    """One picture. source : writer or font family. specimens : for each digit drawn, in order, the row of the file
    (handwriting only). font : of type.
    """

    kind: Kind
    source: str
    specimens: tuple[int, ...]
    font: Path | None
    photograph: Photograph


def sample_outside(kind: Kind, *, rng: np.random.Generator) -> OutsideSpec:
    """A picture of a kind; all but its figures is drawn alike for every kind."""
    radius = float(rng.uniform(620.0, 720.0))
    middle = round(2 * MARGIN * radius) / 2
    photograph = Photograph(
        radius=radius,
        center=(middle + float(rng.uniform(-20, 20)), middle + float(rng.uniform(-20, 20))),
        density=float(rng.uniform(0.8, 1.3)),
        blur=float(rng.uniform(0.6, 1.1)),
        noise=float(rng.uniform(0.002, 0.008)),
        noise_seed=int(rng.integers(2**31)),
    )
    if kind in (Kind.TYPE, Kind.COARSE_TYPE):
        families = sorted({family(path) for path in fonts()})
        chosen = families[int(rng.integers(len(families)))]
        faces = [path for path in fonts() if family(path) == chosen]
        return OutsideSpec(kind, chosen, (), faces[int(rng.integers(len(faces)))], photograph)
    written = handwriting()
    writer = int(rng.integers(written.writer.max() + 1))
    own = {digit: np.flatnonzero((written.writer == writer) & (written.digits == digit)) for digit in range(10)}
    own = {digit: rng.permutation(rows) for digit, rows in own.items()}
    specimens, used = [], dict.fromkeys(own, 0)
    for digit in map(int, "".join(HOURS + MINUTES)):
        place = 0 if kind is Kind.STAMP else used[digit] % len(own[digit])
        specimens.append(int(own[digit][place]))
        used[digit] += 1
    return OutsideSpec(kind, f"writer {writer}", tuple(specimens), None, photograph)


def drawn(spec: OutsideSpec) -> NDArray[np.uint8]:
    """(side, side) sRGB grey code values of the picture."""
    shot = spec.photograph
    coverage = np.zeros((shot.side, shot.side), dtype=np.float32)
    specimens = iter(spec.specimens)
    for texts, away, tall in ((HOURS, HOUR_RADIUS, HOUR_HEIGHT), (MINUTES, MINUTE_RADIUS, MINUTE_HEIGHT)):
        height = round(tall * shot.radius)
        for step, text in enumerate(texts, start=1):
            turn = np.deg2rad(30.0 * step)
            x = shot.center[0] + away * shot.radius * np.sin(turn)
            y = shot.center[1] - away * shot.radius * np.cos(turn)
            _put(coverage, _figure(spec, text, height, specimens), x, y)
    rows, columns = np.indices(coverage.shape, dtype=np.float32)
    from_center = np.hypot(columns + 0.5 - shot.center[0], rows + 0.5 - shot.center[1])
    disc = np.clip(shot.radius - from_center + 0.5, 0.0, 1.0)
    enamel = ENAMEL * (1.0 - coverage + coverage * 10.0**-shot.density)
    light = cv2.GaussianBlur((disc * enamel + (1.0 - disc) * GROUND).astype(np.float32), (0, 0), shot.blur)
    noise = np.random.default_rng(shot.noise_seed).normal(0.0, shot.noise, light.shape)
    light = np.clip(light + noise, 0.0, 1.0)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1 / 2.4) - 0.055)  # IEC 61966-2-1
    return np.asarray(np.round(255 * code), dtype=np.uint8)


def _figure(spec: OutsideSpec, text: str, height: int, specimens: Iterator[int]) -> Floats:
    """(height, w) coverage of a figure; a gap of a seventh of the height between digits."""
    if spec.kind is Kind.TYPE:
        assert spec.font is not None
        return type_figure(spec.font, text, height)
    parts: list[Floats] = []
    for digit in text:
        if spec.font is not None:
            small = counted(bitmap(spec.font, int(digit)))
        else:
            small = handwriting().images[next(specimens)]
        parts += [enlarged(small, height), np.zeros((height, round(height / 7)), np.float32)]
    return np.concatenate(parts[:-1], axis=1)


def _put(coverage: Floats, figure: Floats, x: float, y: float) -> None:
    """Lay a figure with its middle at (x, y), to the nearest px."""
    height, width = figure.shape
    top, left = round(y - height / 2), round(x - width / 2)
    part = coverage[top : top + height, left : left + width]
    np.maximum(part, figure, out=part)
