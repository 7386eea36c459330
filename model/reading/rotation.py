"""How the dial is turned in the photograph, read from its minute track.

Round the turn a track repeats 60 times (120 times on a 24-hour dial). The radius where the Fourier power at 60 and
its multiples stands out most is the track; the phase there gives the rotation modulo one division. The heavier marks
at every fifth and the hour figures give it modulo one hour, and the photograph is taken to be within half an hour's
angle of upright: 15 degrees, on a 24-hour dial 7.5.

A close-up shows an arc of the track. From four divisions upwards the phase is told there too; the hour only from two
hours upwards, and where it is not told the dial is taken to be turned by less than half a division.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

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
_TOLD = 0.2  # hour_confidence from which the hour is told


@dataclass(frozen=True)
class Rotation:
    """radians : the dial's 12 o'clock clockwise from image up, within +-15 degrees, for DialGeometry.rotation.

    confidence : 0..1, share of the track's variation round the turn that repeats 60 times.
    tick_phase : radians within half a division, where the tick nearest to "up" stands; holds even if the hour
        does not.
    hour_confidence : 0..1, how clearly one of the five ticks of an hour is the heavier; below about 0.2 the
        rotation is only right modulo one division.
    track_radius : dial radii, the middle of the track.
    divisions : 60, or 120 on a 24-hour dial.
    """

    radians: float
    confidence: float
    tick_phase: float
    hour_confidence: float
    track_radius: float
    divisions: int

    def nearest(self, radians: float) -> Rotation:
        """The same track where it is known that 12 o'clock stands at `radians`, give or take half a division: the
        division nearest to that is taken, and the hour is certain."""
        tick = 2 * math.pi / self.divisions
        steps = round((radians - self.tick_phase) / tick)
        return replace(self, radians=self.tick_phase + steps * tick, hour_confidence=1.0)


def find_rotation(density: Image, geometry: DialGeometry) -> Rotation | None:
    """Rotation from the minute track, or None when no radius shows one.

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
    divisions = 2 * TICKS if abs(track[TICKS]) < 0.3 * abs(track[2 * TICKS]) else TICKS
    phase = _tick_phase(track, divisions)
    tick = 2 * math.pi / divisions
    hour, hour_confidence = _hour(unrolled, seen, radii, best, phase, divisions)
    if not whole and hour_confidence < _TOLD:
        hour = 0
    angle = (phase + hour * tick + 2.5 * tick) % (5 * tick) - 2.5 * tick
    return Rotation(angle, float(min(band[best], 1.0)), phase, hour_confidence, float(radii[best]), divisions)


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


def _hour(
    unrolled: Floats, seen: NDArray[np.bool_], radii: Floats, best: int, phase: float, divisions: int
) -> tuple[int, float]:
    """Which of five ticks (0..4 clockwise from the one at `phase`) carries the hour, and how clearly.

    best : ring of the track.
    """
    track, shown = float(radii[best]), seen[best]
    tick = 2 * math.pi / divisions
    # ink within a quarter division of each tick, in the track and just beside it
    at = np.arange(_TURN) * (2 * math.pi / _TURN)
    nearest = np.round((at - phase) / tick).astype(int)
    close = (np.abs(at - phase - nearest * tick) < tick / 4) & shown
    ring = unrolled[np.abs(radii - track) < 0.05].mean(axis=0)
    ink = np.bincount(nearest[close] % divisions, weights=ring[close], minlength=divisions)
    count = np.bincount(nearest[close] % divisions, minlength=divisions)
    by_hour = np.where(count > 0, ink / np.maximum(count, 1), np.nan).reshape(-1, 5)
    if (count.reshape(-1, 5) > 0).sum(axis=0).min() < 2:
        return 0, 0.0  # less than two hours in the frame
    level = np.nanmedian(by_hour, axis=0)
    second, first = (int(k) for k in np.argsort(level)[-2:])
    scatter = 1.4826 * float(np.nanmedian(np.abs(by_hour - level)))
    lead = float(level[first] - level[second])
    marks = lead / (lead + scatter + 1e-6)
    # the figures repeat with the hours inside the track
    inner = unrolled[radii < track - 0.05]
    if len(inner) and shown.mean() >= _LEAST_TURN:
        wave = np.fft.rfft(inner.mean(axis=0))
        power = np.abs(wave) ** 2
        hours = divisions // 5
        figures = float(power[hours] / max(power[3:40].sum(), 1e-9))
        if figures > marks:
            return round((-float(np.angle(wave[hours])) / hours - phase) / tick) % 5, figures
    return first, marks
