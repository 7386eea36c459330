"""Photographic print: a light-sensitive coat exposed through a negative and dusted with enamel powder.

One density, fine lines kept; edges granular at the grain of the powder; stray specks near strokes; the negative's
slight spread or undercut.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dialtell.synth.shared.errors import require_range
from dialtell.synth.strokes.paint import Cue, Paint, flatten, join
from dialtell.synth.strokes.skeleton import StrokeBatch, normals
from dialtell.synth.strokes.stroke import Floats
from dialtell.synth.strokes.transfer import Pull, displaced


@dataclass(frozen=True)
class Exposure:
    """One photographic print.

    grain_mm : size of the powder grain, 0.008..0.035. edge_grains : RMS edge unevenness in grains, 0.1..0.6.
    spread_mm : widening (positive) or undercut of every edge, -0.015..0.02.
    specks : stray grains a millimetre of stroke, 0..3. mottle : RMS density change from grain, share, 0..0.08.
    placing : shift, turn and stretch of the negative (a Pull without faults of the film).
    seed : of grain and specks.
    """

    grain_mm: float
    edge_grains: float
    spread_mm: float
    specks: float
    mottle: float
    placing: Pull
    seed: int

    def __post_init__(self) -> None:
        require_range("Exposure.grain_mm", self.grain_mm, 0.004, 0.1, "mm")
        require_range("Exposure.edge_grains", self.edge_grains, 0.0, 2.0)
        require_range("Exposure.spread_mm", self.spread_mm, -0.05, 0.08, "mm")
        require_range("Exposure.specks", self.specks, 0.0, 20.0)
        require_range("Exposure.mottle", self.mottle, 0.0, 0.5)


def sample_exposure(*, rng: np.random.Generator, placing: Pull) -> Exposure:
    """A print with the usual grain."""
    return Exposure(
        grain_mm=float(rng.uniform(0.010, 0.030)),
        edge_grains=float(rng.uniform(0.12, 0.5)),  # firing rounds edges: real ticks are smooth
        spread_mm=float(np.clip(rng.normal(0.0, 0.006), -0.015, 0.02)),
        specks=min(float(rng.exponential(0.35)), 5.0),
        mottle=float(rng.uniform(0.0, 0.06)),
        placing=placing,
        seed=int(rng.integers(2**31)),
    )


def develop(
    negative: Sequence[StrokeBatch],
    exposure: Exposure,
    full_density: float,
    depth: Callable[[Floats], Floats] = np.ones_like,
) -> Paint:
    """The negative's strokes fixed on the dial. full_density : D of fired powder. depth : share of it by width, mm."""
    rng = np.random.default_rng(exposure.seed)
    parts = []
    for batch in negative:
        path = displaced(batch.path, exposure.placing)
        path, width = refine(path, batch.width, batch.length, exposure.grain_mm)
        side = normals(path)
        live = width > 0
        half = 0.5 * width + exposure.spread_mm
        rough = exposure.grain_mm * exposure.edge_grains
        left = np.where(live, np.maximum(half + rough * rng.standard_normal(half.shape), 0.004), 0.0)
        right = np.where(live, np.maximum(half + rough * rng.standard_normal(half.shape), 0.004), 0.0)
        # a slice averages the grains that lie side by side in it
        averaged = np.sqrt(exposure.grain_mm / np.maximum(2 * half, exposure.grain_mm))
        density = full_density * depth(width) * (1 + exposure.mottle * averaged * rng.standard_normal(half.shape))
        cue = np.full(half.shape, int(Cue.GRAIN), dtype=np.int64)
        labels = {"ink": batch.ink, "zone": batch.zone, "stroke": batch.stroke}
        parts.append(flatten(path, left, side, np.clip(density, 0.1, 2.6), cue, half_right=right, **labels))
        parts.append(_specks(path, half, batch, exposure, full_density, rng))
    return join(parts)


def printed_evenly(
    negative: Sequence[StrokeBatch],
    exposure: Exposure,
    full_density: float,
    depth: Callable[[Floats], Floats] = np.ones_like,
) -> Paint:
    """The same strokes without grain: where each would end if powder were infinitely fine. No specks."""
    parts = []
    for batch in negative:
        path = displaced(batch.path, exposure.placing)
        half = np.where(batch.width > 0, np.maximum(0.5 * batch.width + exposure.spread_mm, 0.004), 0.0)
        density, cue = full_density * depth(batch.width), np.full(half.shape, int(Cue.GRAIN), dtype=np.int64)
        ink, zone, stroke = batch.ink, batch.zone, batch.stroke
        parts.append(flatten(path, half, normals(path), density, cue, ink=ink, zone=zone, stroke=stroke))
    return join(parts)


def refine(path: Floats, width: Floats, length: Floats, grain_mm: float) -> tuple[Floats, Floats]:
    """Resample a batch so that samples lie about one grain apart (never coarser than given)."""
    samples = path.shape[1]
    wanted = int(np.ceil(float(np.median(length)) / grain_mm))
    if wanted <= samples:
        return path, width
    at = np.linspace(0, samples - 1, min(wanted, 12 * samples))
    low = np.minimum(at.astype(int), samples - 2)
    share = at - low
    fine = path[:, low] * (1 - share)[None, :, None] + path[:, low + 1] * share[None, :, None]
    return fine, width[:, low] * (1 - share) + width[:, low + 1] * share


def _specks(
    path: Floats, half: Floats, batch: StrokeBatch, exposure: Exposure, full: float, rng: np.random.Generator
) -> Paint:
    """Stray grains beside strokes, as short strokes of a few grains."""
    numbers = rng.poisson(exposure.specks * batch.length)
    row = np.repeat(np.arange(len(numbers)), numbers)
    if len(row) == 0:
        return join([])
    at = rng.integers(0, path.shape[1], len(row))
    grain = exposure.grain_mm * np.exp(0.35 * rng.standard_normal(len(row)))
    away = half[row, at] + rng.exponential(3 * exposure.grain_mm, len(row)) + grain
    sense = rng.choice([-1.0, 1.0], len(row))
    normal = normals(path)[row, at]
    center = path[row, at] + normal * (sense * away)[:, None]
    angle = rng.uniform(0, 2 * np.pi, len(row))
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    t = np.linspace(-1, 1, 5)
    points = center[:, None, :] + along[:, None, :] * (0.5 * grain)[:, None, None] * t[None, :, None]
    side = np.repeat(np.stack([-along[:, 1], along[:, 0]], axis=1)[:, None, :], 5, axis=1)
    widths = (0.5 * grain)[:, None] * np.sqrt(np.clip(1 - t**2, 0, 1))[None, :]
    return flatten(
        points, widths, side, np.full(widths.shape, 0.85 * full),
        np.full(widths.shape, int(Cue.GRAIN), dtype=np.int64),
        ink=batch.ink[row], zone=batch.zone[row], stroke=batch.stroke[row],
    )  # fmt: skip
