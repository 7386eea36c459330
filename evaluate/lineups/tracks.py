"""The divisions of a track cut out by place: ticks and five-minute marks, each where the circle's division puts it.

What an outline found a little off does to them is followed: each division is moved to where its own ink stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from dialtell.evaluate.lineups.cuts import Cut
from dialtell.evaluate.measurements.sheet import StrokeSheet

Floats = NDArray[np.float64]

DIVISIONS = 60
RIM = 0.985  # dial radii, up to which rings are followed: beyond, a bezel's shadow would be taken for one
_EACH = 24  # samples of a division
MOST_OFF = 30  # px of the sheet by which a division may stand further out or in than the middle ones
HEAVIER = 1.3  # times the mass of others, from which divisions are the five-minute marks wherever 12 was read
_HARMONICS = 8
_LEAST_POWER = 0.2  # share of a circle's variation that repeats 60 times, at the best radius; chance gives 0.06
LEAST_TICKS = 12  # plain ticks in view, fewer are some other pattern
LEAST_SHARE = 0.6  # of the divisions in view that have ink of their own: boxes and figures at some of them are no track
NEAR = 5  # neighbours whose middle says how far out a division stands; an odd one among them does not move it
_SHOWN = 0.9  # share of a division that must be in view
_INKED = 0.35  # of the strongest, from which a radius belongs to the ticks


@dataclass(frozen=True)
class Track:
    """centre : dial radii. band : (inner, outer) dial radii of the plain ticks. ticks, fives : cuts, named by their
    minute."""

    centre: tuple[float, float]
    band: tuple[float, float]
    ticks: tuple[Cut, ...]
    fives: tuple[Cut, ...]


def find_track(sheet: StrokeSheet, centre: tuple[float, float], reach: tuple[float, float]) -> Track | None:
    """The sixty divisions about `centre` with radii in `reach`, dial radii; None where none are seen."""
    step = 1.0 / sheet.scale
    radius = np.arange(reach[0], reach[1], step)
    if len(radius) < 6:
        return None
    turn = np.arange(DIVISIONS * _EACH) * 2 * np.pi / (DIVISIONS * _EACH)
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    points = sheet.from_dial(np.asarray(centre) + radius[:, None, None] * ray)
    dark = np.clip(1.0 - sheet.sample(points), -0.2, 1.0)
    hidden = sheet.at(points)[1]
    dark[hidden] = 0.0
    outwards = _outwards(dark[radius < RIM], turn)
    rows = (np.arange(len(radius))[:, None] + outwards).clip(0, len(radius) - 1)
    dark, hidden = np.take_along_axis(dark, rows, axis=0), np.take_along_axis(hidden, rows, axis=0)
    wave = np.fft.rfft(dark, axis=1)
    # divisions that a centre found a little off moves to and fro once or twice a turn lie beside the harmonics too
    told = (DIVISIONS * np.arange(1, _HARMONICS + 1)[:, None] + np.arange(-2, 3)).ravel()
    power = np.abs(wave[:, told]) ** 2
    share = power.sum(axis=1) / np.maximum((np.abs(wave[:, DIVISIONS // 2 :]) ** 2).sum(axis=1), 1e-9)
    strength = gaussian_filter1d(
        power[:, :5].sum(axis=1), 1.5
    )  # the first: half marks between would hide which is which
    best = int((strength * (share > _LEAST_POWER)).argmax())
    if share[best] <= _LEAST_POWER:
        return None
    aside = _sideways(dark[max(best - 3, 0) : best + 4].mean(axis=0), turn)
    columns = (np.arange(len(turn)) - _EACH // 2 + aside) % len(turn)
    # (radius, division, place within it from half a division before to half after)
    cells = dark[:, columns].reshape(len(radius), DIVISIONS, _EACH)
    shown = ~hidden[:, columns].reshape(len(radius), DIVISIONS, _EACH)
    middle = columns[_EACH // 2 :: _EACH]
    at, further = turn[middle], outwards[middle] * step
    number = np.arange(DIVISIONS)
    minute = (number - _heavy(cells[max(best - 6, 0) : best + 7])) % DIVISIONS
    fives = minute % 5 == 0
    found, in_view = [], 0
    for chosen in (~fives, fives):
        span = _span(np.median(cells[:, chosen], axis=1), best)
        own = _own_way(cells, np.flatnonzero(chosen), span)
        rows = (np.arange(len(radius))[:, None] + own).clip(0, len(radius) - 1)[..., None]
        cells, shown = np.take_along_axis(cells, rows, axis=0), np.take_along_axis(shown, rows, axis=0)
        further = further + step * own
        in_view += int((shown[span[0] : span[1] + 1][:, chosen].mean(axis=(0, 2)) >= _SHOWN).sum())
        found.append(
            tuple(
                cut
                for k in number[chosen]
                if (
                    cut := _cut(
                        sheet, centre, radius + further[k], cells[:, k], shown[:, k], span, float(at[k]), int(minute[k])
                    )
                )
                is not None
            )
        )
    if len(found[0]) < LEAST_TICKS or len(found[0]) + len(found[1]) < LEAST_SHARE * in_view:
        return None
    low, high, _ = _span(np.median(cells[:, ~fives], axis=1), best)
    return Track(centre, (float(radius[low]), float(radius[high])), found[0], found[1])


def _own_way(cells: Floats, chosen: NDArray[np.int64], span: tuple[int, int, float]) -> NDArray[np.int64]:
    """(DIVISIONS,) how many samples further out than its place each division's ink stands, as its neighbours' does:
    what an outline off in one place leaves. cells : (radius, division, sample). chosen : divisions of one kind.

    What counts is darkness in the middle of a division and none at its sides, which neither a ring nor a bezel has.
    """
    low, high, _ = span
    reach = max((high - low) // 4, 2)  # further off stands something else, such as figures in a ring
    wave = np.cos(2 * np.pi * (np.arange(_EACH) - _EACH // 2) / _EACH)
    ticked = np.clip(cells[:, chosen] @ wave, 0.0, None)
    around = (np.arange(len(chosen))[:, None] + np.arange(NEAR) - NEAR // 2) % len(chosen)
    ticked = np.pad(np.median(ticked[:, around], axis=2), ((reach, reach), (0, 0)))
    model = np.median(ticked, axis=1)[low : high + 1 + 2 * reach]
    shifts = np.arange(-reach, reach + 1)
    score = [model[reach:-reach] @ ticked[low + reach + by : high + 1 + reach + by] for by in shifts]
    told = np.zeros(DIVISIONS, np.int64)
    told[chosen] = shifts[np.argmax(score, axis=0)]
    return told


def _outwards(dark: Floats, turn: Floats) -> NDArray[np.int64]:
    """How many samples further out than in the middle the rings and divisions stand at each turn, (len(turn),): what a
    centre or an outline found a little off does, twice a turn at most. dark : (radius, turn)."""
    profile = dark.reshape(len(dark), DIVISIONS, -1).mean(axis=2)  # of each division's width of the turn
    profile = gaussian_filter1d(profile, 1.0, axis=0) - profile.mean(axis=0)
    reach = min(MOST_OFF, len(profile) // 3)
    shifts = np.arange(-reach, reach + 1)
    coarse = turn.reshape(DIVISIONS, -1).mean(axis=1)
    solved = np.zeros(5)
    for _ in range(3):
        off = _waves(coarse) @ solved[1:]
        moved = np.stack([np.roll(one, -round(by)) for one, by in zip(profile.T, off, strict=True)], axis=1)
        model = np.median(moved, axis=1)
        score = np.array([np.roll(model, by) @ profile for by in shifts])  # (shift, division)
        told = shifts[score.argmax(axis=0)].astype(np.float64)
        solved = _even(coarse, told)
    return np.asarray(np.round(_waves(turn) @ solved[1:]), dtype=np.int64)


def _sideways(across: Floats, turn: Floats) -> NDArray[np.int64]:
    """How many samples clockwise of even division the divisions stand at each turn, (len(turn),): their wave is
    followed, so that it may slip by more than one. across : (len(turn),) darkness at their radius."""
    wave = (across - across.mean()) * np.exp(-1j * DIVISIONS * turn)
    calm = gaussian_filter1d(wave.real, 2.0 * _EACH, mode="wrap") + 1j * gaussian_filter1d(
        wave.imag, 2.0 * _EACH, mode="wrap"
    )
    angle = np.unwrap(np.angle(calm))
    if abs(angle[-1] - angle[0]) > np.pi:  # it lost its way
        angle = np.full(len(turn), np.angle(calm.sum()))
    terms = np.column_stack([np.ones(len(turn)), _waves(turn)])
    root = np.sqrt(np.abs(calm))
    solved = np.linalg.lstsq(terms * root[:, None], angle * root, rcond=None)[0]
    solved[0] = (solved[0] + np.pi) % (2 * np.pi) - np.pi
    each = len(turn) / (2 * np.pi * DIVISIONS)  # samples per radian of the wave
    return np.asarray(np.round(-each * (terms @ solved)), dtype=np.int64)


def _heavy(cells: Floats) -> int:
    """By how many divisions, -2..2, the five-minute marks stand clockwise of where 12 o'clock was read: 0 unless others
    are clearly heavier. cells : (radius, division, sample)."""
    mass = np.clip(cells - np.quantile(cells, 0.25, axis=2, keepdims=True), 0.0, None).sum(axis=(0, 2))
    number = np.arange(DIVISIONS)
    over = {by: float(np.median(mass[(number - by) % 5 == 0])) for by in (0, 1, -1, 2, -2)}
    best = max(over, key=lambda by: over[by])
    rest = float(np.median(mass))
    return best if over[best] > HEAVIER * max(over[0], rest) else 0


def _even(turn: Floats, told: Floats) -> Floats:
    """(5,) the mean and the waves that lie nearest to values round the turn, outliers weighed down: dirt, figures that
    reach into the track."""
    terms = np.column_stack([np.ones(len(turn)), _waves(turn)])
    weight = np.ones(len(turn))
    found = np.zeros(5)
    for _ in range(6):
        root = np.sqrt(weight)
        found = np.linalg.lstsq(terms * root[:, None], told * root, rcond=None)[0]
        weight = 1.0 / np.maximum(np.abs(told - terms @ found) / 1.5, 1.0) ** 2
    return np.asarray(found)


def _waves(turn: Floats) -> Floats:
    """(N, 4) once and twice round the turn."""
    return np.stack([f(k * turn) for k in (1, 2) for f in (np.sin, np.cos)], axis=1)


def _span(cell: Floats, best: int) -> tuple[int, int, float]:
    """First and last radius of a division's ink above what goes round between divisions, and its width in samples."""
    between = np.quantile(cell, 0.25, axis=1, keepdims=True)
    above = gaussian_filter1d(np.clip(cell - between, 0.0, None), 1.0, axis=0)
    profile = above.max(axis=1)
    strong = profile > _INKED * profile.max()
    low = high = int(best if strong[best] else profile.argmax())
    while low > 0 and strong[low - 1]:
        low -= 1
    while high < len(strong) - 1 and strong[high + 1]:
        high += 1
    across = above[low : high + 1].max(axis=0)
    return low, high, float((across > 0.4 * across.max()).sum())


def _cut(
    sheet: StrokeSheet, centre: tuple[float, float], radius: Floats, cell: Floats, shown: NDArray[np.bool_],
    span: tuple[int, int, float], turn: float, minute: int,
) -> Cut | None:  # fmt: skip
    """One division, moved sideways to where its ink is; None where it is hidden or has none."""
    low, high, wide = span
    if shown[low : high + 1].mean() < _SHOWN:
        return None
    across = gaussian_filter1d(cell[low : high + 1].mean(axis=0), 1.0)
    across = across - np.quantile(across, 0.25)
    if across.max() < 0.06:
        return None
    off = (float((across * (across > 0.5 * across.max()) * np.arange(_EACH)).sum())
           / float((across * (across > 0.5 * across.max())).sum()) - _EACH // 2)  # fmt: skip
    if _runs_out(cell, across > 0.5 * across.max(), low, high):
        return None
    turn += 2 * math.pi * off / (DIVISIONS * _EACH)
    at = 0.5 * float(radius[low] + radius[high])
    point = sheet.from_dial(np.asarray(centre) + at * np.array([math.sin(turn), -math.cos(turn)]))
    arc = 2 * math.pi * at / (DIVISIONS * _EACH) * sheet.scale
    size = (min(wide, 0.8 * _EACH) * arc, (high - low + 1) * float(radius[1] - radius[0]) * sheet.scale)
    return Cut(float(point[0]), float(point[1]), turn, size, str(minute or DIVISIONS))


def _runs_out(cell: Floats, own: NDArray[np.bool_], low: int, high: int) -> bool:
    """Whether a division goes on beyond one end of its place and is bare at the other: then it stands beside its place.
    own : (sample,) where its ink stands."""
    along = cell[:, own].mean(axis=1) - np.quantile(cell, 0.25, axis=1)
    quarter, middle = max((high - low) // 4, 1), (low + high) // 2
    black = 0.5 * float(along[low : high + 1].max())
    inner, outer = along[max(low - quarter, 0) : middle], along[middle : high + 1 + quarter]
    bare = along[low : low + quarter].mean() < black, along[high + 1 - quarter : high + 1].mean() < black
    return bool((bare[0] and outer.min() > black) or (bare[1] and inner.min() > black))
