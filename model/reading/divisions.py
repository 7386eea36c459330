"""The divisions of the minute track: the radius they stand at, and where the nearest to any direction is.

Round the turn a track repeats 60 times (120 times on a 24-hour dial). The radius where the Fourier power at 60 and
its multiples stands out most is the track; the phase there says where the divisions stand, modulo one division. Which
of them is 12 o'clock the reader says (twelve.py). A close-up shows an arc of the track: from four divisions upwards the
phase is told there too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import DialGeometry, sample_at
from dialtell.synth.shared.errors import ParameterError

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

TICKS = 60
_TURN = 2880  # samples round the turn: 48 a tick
_INNER, _OUTER, _STEP = 0.72, 0.99, 0.004
_HARMONICS = 4
_LEAST_CONFIDENCE = 0.08
_LEAST_TURN = 0.5  # share of the turn in the frame, below which the arc is looked at by itself
_LEAST_ARC = 4.0 / TICKS  # share of the turn that still shows a period
_LEAST_ARC_CONFIDENCE = 0.12


@dataclass(frozen=True)
class Divisions:
    """confidence : 0..1, share of the track's variation round the turn that repeats 60 times. phase : radians, turn of
    one of the divisions clockwise from up once the outline is a circle. radius : dial radii, where they stand. count :
    60, or 120 on a 24-hour dial."""

    confidence: float
    phase: float
    radius: float
    count: int

    def nearest(self, radians: float) -> float:
        """The turn of the division nearest to a direction, radians clockwise from up."""
        tick = 2 * math.pi / self.count
        return self.phase + round((radians - self.phase) / tick) * tick


def find_divisions(density: Image, geometry: DialGeometry) -> Divisions | None:
    """The divisions of the minute track, or None when no radius shows any.

    density : (H, W) float32 optical density.
    geometry : the outline; its own rotation is left out of account.
    """
    if density.ndim != 2:
        raise ParameterError(f"density has shape {density.shape}; give (H, W)")
    upright = geometry.turned(0.0)
    radii = np.arange(_INNER, _OUTER, _STEP)
    unrolled, seen = _unroll(density, upright, radii)
    whole = bool(seen[-1].mean() >= _LEAST_TURN)
    share = share_at_sixty(unrolled) if whole else arc_share_at_sixty(unrolled, seen)
    # a track is a band, not a line: average over +-2 rings
    band = np.convolve(share, np.ones(5) / 5, mode="same")
    best = int(band.argmax())
    if band[best] < (_LEAST_CONFIDENCE if whole else _LEAST_ARC_CONFIDENCE):
        return None
    rings = slice(max(best - 3, 0), best + 4)
    track = np.fft.rfft(unrolled[rings].mean(axis=0))
    count = 2 * TICKS if abs(track[TICKS]) < 0.3 * abs(track[2 * TICKS]) else TICKS
    return Divisions(float(min(band[best], 1.0)), _tick_phase(track, count), float(radii[best]), count)


def _unroll(density: Image, geometry: DialGeometry, radii: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """(R, T) density at radius and angle clockwise from up, less its mean on each ring, 0 outside the frame; and
    (R, T) whether the place is in the frame."""
    angle = np.arange(_TURN) * (2 * math.pi / _TURN)
    ray = np.stack([np.sin(angle), -np.cos(angle)], axis=-1)
    step = ray @ geometry.matrix.T  # photo px a dial radius along each ray
    x = radii[:, None] * step[:, 0] + geometry.center_px[0]
    y = radii[:, None] * step[:, 1] + geometry.center_px[1]
    seen = (x > 1) & (y > 1) & (x < density.shape[1] - 1) & (y < density.shape[0] - 1)
    values = np.clip(sample_at(density, x, y).astype(np.float64), 0.0, 1.0)
    middle = (values * seen).sum(axis=1, keepdims=True) / np.maximum(seen.sum(axis=1, keepdims=True), 1)
    return np.where(seen, values - middle, 0.0), seen


def share_at_sixty(unrolled: Floats) -> Floats:
    """Share of each ring's variation at 60 and its multiples, less what chance puts there."""
    power = np.abs(np.fft.rfft(unrolled, axis=1)) ** 2
    total = power[:, 6:].sum(axis=1)  # below 6 cycles it is light and shadow
    at, near = np.zeros(len(power)), np.zeros(len(power))
    for k in range(1, _HARMONICS + 1):
        at += power[:, k * TICKS - 1 : k * TICKS + 2].sum(axis=1)
        sides = [power[:, k * TICKS - 9 : k * TICKS - 3], power[:, k * TICKS + 4 : k * TICKS + 10]]
        near += np.concatenate(sides, axis=1).mean(axis=1) * 3
    return np.asarray(np.clip(at - 2 * near, 0, None) / np.maximum(total, 1e-9))


def arc_share_at_sixty(unrolled: Floats, seen: NDArray[np.bool_]) -> Floats:
    """Share of each ring's variation at 60 and its multiples where only an arc of it is in the frame, 0..1, (R,).

    unrolled : (R, T) density round the turn, 0 outside the frame. seen : (R, T) true in the frame.
    Slow changes along the arc are taken off, and chance is judged at frequencies that an arc so short can tell from 60.
    """
    turn = unrolled.shape[1]
    span = turn // TICKS * 2  # two divisions
    shown = np.maximum(_running(seen.astype(np.float64), span), 1e-9)
    fast = np.where(seen, unrolled - _running(unrolled, span) / shown, 0.0)
    power = np.abs(np.fft.rfft(fast, axis=1)) ** 2
    arc = seen.mean(axis=1)
    away = np.clip(np.ceil(1.5 / np.maximum(arc, 1e-9)), 4, 24).astype(int)
    sides = away[:, None] + np.arange(6)
    rows = np.arange(len(unrolled))[:, None]
    excess = np.zeros(len(unrolled))
    for k in range(TICKS, _HARMONICS * TICKS + 1, TICKS):
        chance = 0.5 * (power[rows, k - sides].mean(axis=1) + power[rows, k + sides].mean(axis=1))
        excess += np.maximum(power[:, k] - 2 * chance, 0.0)
    share = 2 * excess / np.maximum(turn * arc * (fast**2).sum(axis=1), 1e-9)
    return np.where(arc >= _LEAST_ARC, share, 0.0)


def _running(values: Floats, span: int) -> Floats:
    """Mean of `span` neighbours round the turn, (R, T)."""
    kernel = np.zeros(values.shape[1])
    kernel[: span // 2 + 1] = kernel[-(span // 2) :] = 1.0 / (2 * (span // 2) + 1)
    return np.asarray(np.fft.irfft(np.fft.rfft(values, axis=1) * np.fft.rfft(kernel), n=values.shape[1], axis=1))


def _tick_phase(spectrum: NDArray[np.complex128], divisions: int) -> float:
    """Angle within half a division at which the periodic part of the track is darkest: its harmonics agree there."""
    tick = 2 * math.pi / divisions
    shift = (np.arange(600) / 600 - 0.5) * tick
    wave = np.zeros(len(shift))
    for k in range(divisions, _HARMONICS * TICKS + 1, divisions):
        wave += (spectrum[k] * np.exp(1j * k * shift)).real
    start = float(shift[int(wave.argmax())])
    # the fundamental alone is the less noisy where ticks are symmetric; take it when both agree
    fine = -float(np.angle(spectrum[divisions])) / divisions
    near = (fine - start + tick / 2) % tick - tick / 2
    return start + near if abs(near) < tick / 8 else start
