"""Transfer print: a plate inked, lifted on a film or pad and laid on the dial in one piece.

One density everywhere; ends square; faults are faults of the sheet, not of a stroke.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.paint import Paint, flatten, join, project
from dialtell.synth.strokes.raster import coverage
from dialtell.synth.strokes.skeleton import StrokeBatch, normals
from dialtell.synth.strokes.stroke import Floats

ROUGH_MM = 0.15  # bumps of a film's edge are about this long at least (judgement: ink on film draws short bumps in)


_LIMITS = (
    ("shift_mm", 5.0, "mm"),
    ("turn_deg", 5.0, "degrees"),
    ("stretch", 0.05, ""),
    ("stretch_angle", 2 * np.pi, "radians"),
    ("slip_mm", 2.0, "mm"),
    ("slip_share", 1.0, ""),
    ("inking", 0.5, ""),
    ("pinholes", 200.0, "a square centimetre"),
    ("pinhole_mm", 1.0, "mm"),
    ("roughness_um", 100.0, "micrometres"),
)
_SHARES = {"slip_share", "inking", "pinholes", "pinhole_mm", "roughness_um"}  # never negative


@dataclass(frozen=True)
class Pull:
    """One pull from a plate, laid on one dial.

    shift_mm : whole design against the dial, (x, y), 0..0.4. turn_deg : rotation, -2..2.
    stretch : relative length change along `stretch_angle`, -0.006..0.006. stretch_angle : radians.
    slip_mm : offset of a doubled edge, (x, y); (0, 0) none. slip_share : density of the doubled film, 0..0.6.
    inking : RMS of slow density change over the sheet, share of density, 0..0.06.
    pinholes : mean number a square centimetre, 0..12. pinhole_mm : their radius, 0.01..0.05.
    bare : patches that did not take, each (x mm, y mm, radius mm). tears : each (x, y, angle rad, length mm, width mm).
    roughness_um : RMS of fine edge unevenness, micrometres, 0..8.
    seed : of pinholes, inking and roughness.
    """

    shift_mm: tuple[float, float]
    turn_deg: float
    stretch: float
    stretch_angle: float
    slip_mm: tuple[float, float]
    slip_share: float
    inking: float
    pinholes: float
    pinhole_mm: float
    bare: tuple[tuple[float, float, float], ...]
    tears: tuple[tuple[float, float, float, float, float], ...]
    roughness_um: float
    seed: int

    def __post_init__(self) -> None:
        # wider than the trade's usual values above: clock dials are three times as large
        for name, limit, unit in _LIMITS:
            low, high = (0.0 if name in _SHARES else -limit), limit
            values = getattr(self, name)
            for value in values if isinstance(values, tuple) else (values,):
                require_range(f"Pull.{name}", value, low, high, unit)
        for name, size in (("bare", 3), ("tears", 5)):
            if any(len(fault) != size or not np.isfinite(fault).all() for fault in getattr(self, name)):
                raise ParameterError(f"Pull.{name} is {getattr(self, name)!r}; give {size} finite numbers for each")


def sample_pull(*, rng: np.random.Generator, radius_mm: float) -> Pull:
    """A pull with the usual faults; `radius_mm` scales where they lie."""
    share = radius_mm / 22.0
    slip = rng.normal(0, 0.035, 2) * share if rng.random() < 0.08 else np.zeros(2)
    bare = tuple((*_place(rng, radius_mm), float(rng.uniform(0.05, 0.4) * share)) for _ in range(int(rng.poisson(0.8))))
    tears = tuple(
        (
            *_place(rng, radius_mm),
            float(rng.uniform(0, np.pi)),
            float(rng.uniform(1, 6) * share),
            float(rng.uniform(0.02, 0.1) * share),
        )
        for _ in range(int(rng.poisson(0.3)))
    )
    shift = rng.normal(0, 0.12, 2) * share
    return Pull(
        shift_mm=(float(shift[0]), float(shift[1])),
        turn_deg=float(np.clip(rng.normal(0, 0.5), -2, 2)),
        stretch=float(np.clip(rng.normal(0, 0.0015), -0.006, 0.006)),
        stretch_angle=float(rng.uniform(0, np.pi)),
        slip_mm=(float(slip[0]), float(slip[1])),
        slip_share=float(rng.uniform(0.15, 0.6)),
        inking=float(rng.uniform(0.0, 0.05)),
        pinholes=float(rng.exponential(1.5)) if rng.random() < 0.6 else 0.0,
        pinhole_mm=float(rng.uniform(0.01, 0.04)) * share,
        bare=bare,
        tears=tears,
        roughness_um=7.0 * float(rng.uniform(0.0, 1.0)) ** 2 * share,
        seed=int(rng.integers(2**31)),
    )


def _place(rng: np.random.Generator, radius_mm: float) -> tuple[float, float]:
    """Somewhere on the dial, mm; more often near the middle."""
    x, y = rng.normal(0, 0.5 * radius_mm, 2)
    return float(x), float(y)


def placing_of(pull: Pull) -> Pull:
    """A pull's shift, turn and stretch alone: a negative has no faults of a film."""
    return replace(pull, slip_mm=(0.0, 0.0), bare=(), tears=(), pinholes=0.0)


def lay_down(plate: Sequence[StrokeBatch], pull: Pull, full_density: float) -> Paint:
    """The plate's strokes laid on the dial. full_density : D of the film."""
    rng = np.random.default_rng(pull.seed)
    parts = []
    slow = np.array([rng.normal(0, 1, 4), rng.uniform(-0.12, 0.12, 4), rng.uniform(-0.12, 0.12, 4)])
    for batch in plate:
        path = displaced(batch.path, pull)
        side = normals(path)
        half = 0.5 * batch.width
        rough = pull.roughness_um / 1000
        round_ = batch.is_kind(Kind.RING)
        left = half + rough * edge_noise(batch.length, half.shape, rng, closed=round_)
        right = half + rough * edge_noise(batch.length, half.shape, rng, closed=round_)
        live = batch.width > 0
        left, right = np.where(live, np.maximum(left, 0.005), 0), np.where(live, np.maximum(right, 0.005), 0)
        sheet = np.sin(path[..., 0, None] * slow[1] + path[..., 1, None] * slow[2] + slow[0]).mean(axis=2)
        density = np.clip(full_density * (1 + 1.4 * pull.inking * sheet), 0.1, 2.6)
        cue = np.zeros(half.shape, dtype=np.int64)
        labels = {"ink": batch.ink, "zone": batch.zone, "stroke": batch.stroke}
        parts.append(flatten(path, left, side, density, cue, half_right=right, **labels))
    return join(parts)


def edge_noise(
    length: Floats, shape: tuple[int, int], rng: np.random.Generator, *, closed: NDArray[np.bool_] | None = None
) -> Floats:
    """(S, M) unit-RMS noise along strokes, its bumps ROUGH_MM long or two samples of the longest, whichever is more.

    A white value a sample looks jagged where samples lie far apart, as on a ring; the kernel keeps the variance 1.
    closed : (S,) strokes whose last sample lies on their first: there the noise goes round without a step.
    """
    spacing = float(np.median(length)) / max(shape[1] - 1, 1)
    sigma = float(np.clip(0.4 * ROUGH_MM / max(spacing, 1e-6), 0.8, 8.0))  # samples
    reach = int(np.ceil(3 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= np.sqrt(np.sum(kernel**2))
    white = rng.standard_normal((shape[0], shape[1] + 2 * reach))
    if closed is not None and closed.any():
        again = (np.arange(white.shape[1]) - reach) % max(shape[1] - 1, 1) + reach
        white[closed] = white[closed][:, again]
    return np.asarray(sum(k * white[:, i : i + shape[1]] for i, k in enumerate(kernel)))


def ghost(film: Paint, pull: Pull) -> Paint:
    """The fainter second edge a slip leaves beside the film; empty without a slip."""
    if pull.slip_mm == (0.0, 0.0):
        return join([])
    step = np.array(pull.slip_mm)
    return replace(film, left=film.left + step, right=film.right + step, density=film.density * pull.slip_share)


def displaced(path: Floats, pull: Pull) -> Floats:
    """Points (..., 2) mm moved by the sheet's shift, turn and stretch."""
    turn, angle = np.deg2rad(pull.turn_deg), pull.stretch_angle
    axis = np.array([np.cos(angle), np.sin(angle)])
    stretch = np.eye(2) + pull.stretch * np.outer(axis, axis)
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return np.asarray(path @ (rotate @ stretch).T + np.array(pull.shift_mm))


def taken(pull: Pull, radius_mm: float, homography: Floats, shape: tuple[int, int]) -> NDArray[np.float32]:
    """Share of the film that took, (H, W) 0..1: pinholes, tears and bare patches are holes in it."""
    rng = np.random.default_rng(pull.seed + 1)
    number = int(rng.poisson(pull.pinholes * np.pi * (radius_mm / 10) ** 2))
    spots = []
    where = radius_mm * np.sqrt(rng.uniform(0, 1, number))
    turn = rng.uniform(0, 2 * np.pi, number)
    size = pull.pinhole_mm * np.exp(0.4 * rng.standard_normal(number))
    circle = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    ring = np.stack([np.cos(circle), np.sin(circle)], axis=1)
    for r, a, s in zip(where, turn, size, strict=True):
        spots.append(np.array([r * np.sin(a), -r * np.cos(a)]) + s * ring)
    for x, y, radius in pull.bare:
        lobes = radius * (1 + 0.35 * rng.standard_normal(12)).clip(0.3, 2)
        spots.append(np.array([x, y]) + lobes[:, None] * ring)
    for x, y, angle, length, width in pull.tears:
        along = np.array([np.cos(angle), np.sin(angle)])
        across = np.array([-along[1], along[0]])
        s = np.linspace(-0.5, 0.5, 12)
        gap = 0.5 * width * np.sqrt(np.clip(1 - (2 * s) ** 2, 0, 1)) * (1 + 0.4 * rng.standard_normal(12)).clip(0.2)
        line = np.array([x, y]) + length * s[:, None] * along
        spots.append(np.concatenate([line + gap[:, None] * across, (line - gap[:, None] * across)[::-1]]))
    if not spots:
        return np.ones(shape, dtype=np.float32)
    holes = coverage([project(homography, spot) for spot in spots], shape)
    return np.asarray(1 - np.clip(holes, 0, 1), dtype=np.float32)
