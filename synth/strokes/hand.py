"""Painting by hand: every stroke its own, applied to the shared skeletons.

All strokes of one batch are deformed at once. Each deviation is one short function; the parameters, their units
and sources are in hand_style.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.terms import ZONES, Kind, Zone
from dialtell.synth.strokes.hand_style import HandStyle, Workshop
from dialtell.synth.strokes.paint import Cue, Paint, flatten, join
from dialtell.synth.strokes.skeleton import KINDS, ItemTable, StrokeBatch, normals, tangents
from dialtell.synth.strokes.stroke import Floats

BRUSH_TIP_MM = 0.10  # no end is rounded deeper than the tip of a watch painter's brush (judgement)
FADE_POWER = 2.0  # thin strokes lose density, stems of 0.4 mm and more do not (judgement)
CAP_SAMPLES = 4  # samples that round off each end
TREMOR_TONES = 5  # sinusoids that make up the tremor
TREMOR_SPREAD = 0.2  # SD of their frequencies, share: 8 to 12 Hz about 10 (Lakie 2015: a peak from 6 to 12 Hz)
ENDS_SLOW = 0.4  # the pen is slower by this share at the ends than on average, faster in the middle (judgement)
HOOK_REACH = (0.07, 0.15)  # share of the stroke a hook takes up (judgement; within the 5 % trimmed ends mostly)
HOOK_SLOPE = 1.2  # slope at the tip at which a hook saturates
LIFT_MM = 1.0  # length over which the brush comes down on a turning dial (judgement)
MODES = np.arange(2, 25)  # mode k makes k/2 cycles along a stroke; mode 1 is its angle


@dataclass(frozen=True, eq=False)
class Columns:
    """HandStyle parameters per stroke, (S,) each."""

    values: dict[str, Floats]

    def __getattr__(self, name: str) -> Floats:
        try:
            return self.values[name]
        except KeyError:
            raise AttributeError(name) from None


def hand_of(zone: Zone, kind: Kind, workshop: Workshop) -> HandStyle:
    """Who paints what: the layout hand the rings and ticks, the best hand lettering and the seconds bit's figures."""
    if kind in (Kind.RING, Kind.TICK, Kind.DOT, Kind.MARK):
        return workshop.layout
    if zone in (Zone.SIGNATURE, Zone.SECONDS_BIT):
        return workshop.lettering
    return workshop.figures


def columns(batch: StrokeBatch, workshop: Workshop) -> Columns:
    """The parameters of the hand that paints each stroke of the batch."""
    hands = (workshop.layout, workshop.figures, workshop.lettering)
    painter = np.array([[_index(hand_of(zone, kind, workshop), hands) for kind in KINDS] for zone in ZONES])
    which = painter[batch.zone, batch.kind]
    names = HandStyle.__dataclass_fields__
    return Columns({name: np.array([getattr(style, name) for style in hands])[which] for name in names})


def _index(style: HandStyle, hands: Sequence[HandStyle]) -> int:
    return next(index for index, hand in enumerate(hands) if hand is style)


def waves(rng: np.random.Generator, count: int, samples: int, *, modes: NDArray[np.int64], slope: Floats) -> Floats:
    """(S, M) unit-RMS smooth noise along each stroke: cosine modes with power ~ mode to minus `slope` (S,)."""
    t = (np.arange(samples) + 0.5) / samples
    basis = np.cos(np.pi * np.outer(modes, t))
    amplitude = modes[None, :] ** (-slope[:, None] / 2.0)
    amplitude = amplitude / np.sqrt(0.5 * np.sum(amplitude**2, axis=1, keepdims=True))
    return np.asarray((amplitude * rng.standard_normal((count, len(modes)))) @ basis)


def displace_items(batch: StrokeBatch, table: ItemTable, hand: Columns, shifts: ItemScatter) -> tuple[Floats, Floats]:
    """Move, turn, slant and stretch each stroke with its item; returns (path, per-stroke size factor (S,))."""
    item = batch.item
    anchor = table.anchor[item][:, None, :]
    up = table.up[item]
    ux, uy = np.sin(up), -np.cos(up)  # unit vector "up" of the item on the dial
    rx, ry = np.cos(up), np.sin(up)  # "right"
    local = batch.path - anchor
    along_up = local[..., 0] * ux[:, None] + local[..., 1] * uy[:, None]
    along_right = local[..., 0] * rx[:, None] + local[..., 1] * ry[:, None]
    tick = batch.is_kind(Kind.TICK, Kind.DOT, Kind.MARK)
    grow = np.exp(hand.height_scatter * shifts.height[item])
    along_up = along_up * grow[:, None]
    along_right = along_right * np.where(tick, 1.0, np.exp(hand.height_scatter * shifts.breadth[item]))[:, None]
    lean = np.deg2rad(hand.angle_deg * shifts.angle[item])
    slant = np.deg2rad(np.where(tick, 0.0, hand.slant_deg))
    along_right = along_right + along_up * np.tan(slant)[:, None]
    c, s = np.cos(lean)[:, None], np.sin(lean)[:, None]
    along_right, along_up = along_right * c + along_up * s, along_up * c - along_right * s
    height = table.height[item]
    step = np.where(tick, hand.tick_place * shifts.pitch_mm[item], hand.place * height)
    along_right = along_right + (step * shifts.right[item])[:, None]
    along_up = along_up + (hand.place * height * np.where(tick, 0.6, 1.0) * shifts.up[item])[:, None]
    path = np.stack(
        [along_right * rx[:, None] + along_up * ux[:, None], along_right * ry[:, None] + along_up * uy[:, None]],
        axis=2,
    )
    return path + anchor, grow


@dataclass(frozen=True, eq=False)
class ItemScatter:
    """Unit normal draws per item (I,), and the pitch of ticks in mm that their places scatter against."""

    right: Floats
    up: Floats
    angle: Floats
    height: Floats
    breadth: Floats
    pitch_mm: Floats


def scatter_items(table: ItemTable, *, rng: np.random.Generator) -> ItemScatter:
    """Draw how each item strays; items of one word share a third of the variance, as a line of writing drifts."""
    count = len(table.up)
    draws = rng.standard_normal((5, count))
    words = table.zone * 1000 + table.word
    _, inverse = np.unique(words, return_inverse=True)
    shared = rng.standard_normal((5, int(inverse.max(initial=-1)) + 1))[:, inverse]
    lone = np.bincount(inverse, minlength=1)[inverse] > 20  # tracks: sixty ticks do not drift as one
    mixed = np.where(lone, draws, np.sqrt(2 / 3) * draws + np.sqrt(1 / 3) * shared)
    pitch = np.hypot(table.anchor[:, 0], table.anchor[:, 1]) * 2 * np.pi / 60
    right, up, angle, height, breadth = mixed
    return ItemScatter(right, up, angle, height, breadth, pitch_mm=np.minimum(pitch, 4.0))


def paint_by_hand(batches: Sequence[StrokeBatch], table: ItemTable, workshop: Workshop, full_density: float) -> Paint:
    """Paint all strokes by hand; full_density : D of a full coat."""
    rng = np.random.default_rng(workshop.seed)
    shifts = scatter_items(table, rng=rng)
    parts = []
    for batch in batches:
        rings = batch.is_kind(Kind.RING)
        if rings.any():
            parts.append(_rings(_rows(batch, rings), workshop, full_density, rng))
        if not rings.all():
            parts.append(_strokes(_rows(batch, ~rings), table, workshop, shifts, full_density, rng))
    return join(parts)


def _rows(batch: StrokeBatch, keep: NDArray[np.bool_]) -> StrokeBatch:
    if keep.all():
        return batch
    return StrokeBatch(
        batch.path[keep], batch.width[keep], batch.length[keep], batch.item[keep], batch.kind[keep],
        batch.zone[keep], batch.ink[keep], batch.nominal[keep],
        tuple(form for form, k in zip(batch.form, keep, strict=True) if k), batch.stroke[keep],
    )  # fmt: skip


def _strokes(
    batch: StrokeBatch, table: ItemTable, workshop: Workshop, shifts: ItemScatter, full: float,
    rng: np.random.Generator,
) -> Paint:  # fmt: skip
    hand = columns(batch, workshop)
    count, samples = batch.width.shape
    t = np.linspace(0.0, 1.0, samples)
    dot = batch.is_kind(Kind.DOT, Kind.MARK)
    path, _ = displace_items(batch, table, hand, shifts)
    path, ends = stray_ends(path, batch, table, hand, t, rng)
    path = stray_line(path, batch, hand, t, dot, rng)
    width = _width(batch, hand, dot, rng)
    density, cue = _density(batch, hand, width, t, full, rng)
    cue |= _end_cues(ends, batch, t)
    width, density, cue = _pool(width, density, cue, batch, hand, t, rng)
    painted = _capped(path, width, density, cue, batch, hand, dot, rng)
    again = rng.random(count) < hand.retouch * ~dot
    if not again.any():
        return painted
    return join([painted, _second_coat(path, width, density, batch, hand, again, rng)])


@dataclass(frozen=True, eq=False)
class Ends:
    """What happened at the starts [0] and ends [1] of S strokes.

    past : (2, S) mm run past where they should stop, 0 where not notably. gap : (2, S) true where one was left short
    of the stroke it should meet.
    """

    past: Floats
    gap: NDArray[np.bool_]


def stray_ends(
    path: Floats, batch: StrokeBatch, table: ItemTable, hand: Columns, t: Floats, rng: np.random.Generator
) -> tuple[Floats, Ends]:
    """Ends past or short of where they should stop; thin strokes and bars may leave a gap at the junction."""
    count = len(batch.length)
    height = np.maximum(table.height[batch.item], 0.3)
    bound = 0.25 * batch.length  # no stroke loses more than a quarter at one end
    run = hand.overshoot + hand.end_scatter * rng.standard_normal((2, count))
    joins = batch.is_kind(Kind.BAR, Kind.THIN, Kind.CURVE)
    open_ = (rng.random((2, count)) < 0.5) & joins
    gap = open_ * hand.junction_gap * np.abs(rng.standard_normal((2, count)))
    run = np.clip((run - gap) * height, -bound, bound)
    tangent = tangents(path)
    along = -run[0][:, None] * (1 - t) ** 2 + run[1][:, None] * t**2
    ends = Ends(np.where(run > 0.03 * height, run, 0.0), (gap > 0.01) & (run < 0))
    return path + tangent * along[..., None], ends


def _end_cues(ends: Ends, batch: StrokeBatch, t: Floats) -> NDArray[np.int64]:
    """(S, M) flags: OVERSHOOT over the length run past, GAP over a stroke's width beside the opening."""
    cue = np.zeros(batch.width.shape, dtype=np.int64)
    for past, gap, place in zip(ends.past, ends.gap, (t, 1 - t), strict=True):
        away = place * batch.length[:, None]
        cue |= np.where((past[:, None] > 0) & (away <= past[:, None]), int(Cue.OVERSHOOT), 0)
        beside = np.maximum(batch.nominal, 0.08)[:, None]
        cue |= np.where(gap[:, None] & (away <= beside), int(Cue.GAP), 0)
    return cue


def stray_line(
    path: Floats, batch: StrokeBatch, hand: Columns, t: Floats, dot: NDArray[np.bool_], rng: np.random.Generator
) -> Floats:
    """Wobble, tremor and end hooks, across the stroke."""
    count, samples = batch.width.shape
    length = np.maximum(batch.length, 0.05)
    rms = hand.wobble / 100 * 3.0 * (length / 3.0) ** hand.wobble_growth
    rms = rms * np.exp(hand.wobble_scatter * rng.standard_normal(count))
    off = rms[:, None] * waves(rng, count, samples, modes=MODES, slope=hand.wobble_slope)
    off = off + (hand.tremor_um / 1000)[:, None] * tremor_waves(length / hand.tremor_mm, t, rng)
    kept = held(batch, hand)
    off = off + kept[:, None] * hooks(hand.hook, batch, t, rng)
    off = off * (kept * np.where(dot, 0.15, 1.0))[:, None]
    return np.asarray(path + normals(path) * off[..., None])


def tremor_waves(cycles: Floats, t: Floats, rng: np.random.Generator) -> Floats:
    """(S, M) unit-RMS narrow-band noise of `cycles` (S,) waves a stroke on average, crowded toward the ends."""
    count = len(cycles)
    time = t + ENDS_SLOW / (2 * np.pi) * np.sin(2 * np.pi * t)  # share of the stroke's time, by share of its length
    tone = cycles[:, None] * np.clip(1 + TREMOR_SPREAD * rng.standard_normal((count, TREMOR_TONES)), 0.3, 1.7)
    size = rng.standard_normal((2, count, TREMOR_TONES)) / np.sqrt(TREMOR_TONES)
    total = np.zeros((count, len(t)))
    for k in range(TREMOR_TONES):
        angle = 2 * np.pi * tone[:, k, None] * time
        total += size[0, :, k, None] * np.cos(angle) + size[1, :, k, None] * np.sin(angle)
    return total


def hooks(hook: Floats, batch: StrokeBatch, t: Floats, rng: np.random.Generator) -> Floats:
    """(S, M) mm off the line near both ends, where the brush is set down and lifted."""
    count = len(batch.length)
    length = np.maximum(batch.length, 0.05)
    reach = rng.uniform(*HOOK_REACH, (2, count))
    reach = np.clip(np.maximum(reach, 1.5 * batch.nominal / length), None, 0.4)
    far = 0.5 * HOOK_SLOPE * reach  # share of the length that is off at the tip when the slope there is HOOK_SLOPE
    size = length * far * np.tanh(hook * rng.standard_normal((2, count)) / far)
    left = [np.clip(1 - place / reach[k, :, None], 0, 1) ** 2 for k, place in ((0, t), (1, 1 - t))]
    return np.asarray(size[0, :, None] * left[0] + size[1, :, None] * left[1])


def held(batch: StrokeBatch, hand: Columns) -> Floats:
    """(S,) share of its wander a stroke keeps: broad ones are outlined edge by edge and filled, so run straighter."""
    return np.minimum(1.0, hand.broad_mm / np.maximum(batch.nominal, 0.01))


def _width(batch: StrokeBatch, hand: Columns, dot: NDArray[np.bool_], rng: np.random.Generator) -> Floats:
    count, samples = batch.width.shape
    scatter = np.where(dot, hand.dot_scatter, hand.width_scatter)
    between = unbiased(scatter, rng)
    modes = np.arange(1, 9)
    # thick strokes are outlined and filled: the edge strays by about the same length whatever the width
    share = hand.swell * np.clip(np.sqrt(0.2 * hand.brush / np.maximum(batch.nominal, 0.03)), 0.3, 1.8)
    along = share[:, None] * waves(rng, count, samples, modes=modes, slope=np.full(count, 1.5))
    press = hand.press + hand.press_scatter * rng.standard_normal(count)
    press = np.where(batch.is_kind(Kind.TICK, Kind.THIN), press * held(batch, hand), 0.0)
    lean = np.exp(press[:, None] * (np.linspace(0.0, 1.0, samples) - 0.5))
    lean = lean / lean.mean(axis=1, keepdims=True)
    return np.asarray(batch.width * between[:, None] * lean * np.clip(1 + along, 0.35, 1.65))


def unbiased(scatter: Floats, rng: np.random.Generator) -> Floats:
    """Log-normal factors of mean 1 with SD of ln `scatter`: scatter must not make the hand bolder than print."""
    return np.asarray(np.exp(scatter * rng.standard_normal(scatter.shape) - 0.5 * scatter**2))


def _density(
    batch: StrokeBatch, hand: Columns, width: Floats, t: Floats, full: float, rng: np.random.Generator
) -> tuple[Floats, NDArray[np.int64]]:
    """Thin coats let the white through: density follows width; the load runs out along the stroke.

    Only thinness lowers the mean: a stroke that runs dry began with as much more than a full coat.
    """
    count, samples = width.shape
    local = np.maximum(width, 0.35 * batch.nominal[:, None])  # a tapering end is thin but not a thin coat
    thin = 1.0 - hand.thin_fade[:, None] * np.exp(-((local / hand.fade_width[:, None]) ** FADE_POWER))
    reach = np.clip(t[None, :] * (batch.length / hand.runout_mm)[:, None], 0, 1)
    loss = (hand.runout * np.abs(1 + 0.5 * rng.standard_normal(count)))[:, None] * reach**1.5
    solid = 0.15 + 0.85 * np.exp(-batch.nominal / (2 * hand.fade_width))  # thick strokes are flooded
    dry = 1.0 + (loss.mean(axis=1, keepdims=True) - loss) * np.sqrt(solid)[:, None]
    flow = 1.0 + (hand.flow * solid)[:, None] * waves(
        rng, count, samples, modes=np.arange(1, 13), slope=np.full(count, 1.2)
    )
    load = unbiased(hand.load_scatter * solid, rng)[:, None]
    density = np.clip(full * thin * dry * flow * load, 0.05, 2.6)
    return density, np.where(density < full - 0.15, int(Cue.FADING), 0).astype(np.int64)


def _pool(
    width: Floats, density: Floats, cue: NDArray[np.int64], batch: StrokeBatch, hand: Columns, t: Floats,
    rng: np.random.Generator,
) -> tuple[Floats, Floats, NDArray[np.int64]]:  # fmt: skip
    """Paint gathers where the brush rests, mostly at the end of a stroke, and is missing from the rest of it."""
    count = len(width)
    strength = hand.pool * np.abs(rng.standard_normal(count))
    at_end = rng.random(count) < 0.75
    span = np.clip(1.2 * batch.nominal / np.maximum(batch.length, 0.05), 0.02, 0.4)[:, None]
    near = np.where(at_end[:, None], np.exp(-(1 - t) / span), np.exp(-t / span))
    gain = strength[:, None] * near
    cue = np.where(gain > 0.1, cue | int(Cue.POOL), cue)
    wider, denser = 1 + 0.6 * gain, 1 + 0.5 * gain
    area = np.maximum(width.sum(axis=1, keepdims=True), 1e-9)
    wider = wider / ((width * wider).sum(axis=1, keepdims=True) / area)
    width = width * wider
    denser = denser / ((width * denser).sum(axis=1, keepdims=True) / area)
    return width, np.clip(density * denser, 0.05, 2.6), cue


def _capped(
    path: Floats, width: Floats, density: Floats, cue: NDArray[np.int64], batch: StrokeBatch, hand: Columns,
    dot: NDArray[np.bool_], rng: np.random.Generator,
) -> Paint:  # fmt: skip
    """Rounded, beaded or tapered ends: a few samples past each end whose width closes like an ellipse."""
    count, samples = width.shape
    t = np.linspace(0.0, 1.0, samples)
    # a brush stroke broader than its tip is filled in and squared off, so it seldom runs out to a point
    slim = np.exp(-batch.nominal / (0.25 * hand.brush))
    runs_out = (rng.random((2, count)) < hand.taper * slim) & ~dot
    reach = np.clip(2.5 * batch.nominal / np.maximum(batch.length, 0.05), 0.03, 0.3)[:, None]
    for end, place in ((0, t), (1, 1 - t)):
        closing = np.sqrt(np.clip(place / reach, 0.0, 1.0))
        width = width * np.where(runs_out[end][:, None], 0.15 + 0.85 * closing, 1.0)
    angle = np.linspace(0, np.pi / 2, CAP_SAMPLES + 1)[1:]
    rounding = hand.round_end * np.clip(1 + 0.25 * rng.standard_normal((2, count)), 0.2, 1.6)
    tips = rounding * np.minimum(0.5 * width[:, [0, -1]].T, BRUSH_TIP_MM * hand.brush)
    # a rounded end holds pi/4 of the square one: shortened by as much, strokes grow neither bolder nor much longer
    path = _shortened(path, batch.length, 0.25 * np.pi * tips)
    tangent = tangents(path)

    def cap(index: int, sense: float, end: int) -> tuple[Floats, Floats]:
        half = 0.5 * width[:, index]
        out = tips[end][:, None] * np.sin(angle)
        points = path[:, index, None, :] + sense * tangent[:, index, None, :] * out[..., None]
        return points, half[:, None] * np.cos(angle)

    head, head_half = cap(0, -1.0, 0)
    tail, tail_half = cap(-1, 1.0, 1)
    full_path = np.concatenate([head[:, ::-1], path, tail], axis=1)
    half = np.concatenate([head_half[:, ::-1], 0.5 * width, tail_half], axis=1)
    side = normals(path)
    across = np.concatenate(
        [np.repeat(side[:, :1], CAP_SAMPLES, axis=1), side, np.repeat(side[:, -1:], CAP_SAMPLES, axis=1)], axis=1
    )
    pad = ((0, 0), (CAP_SAMPLES, CAP_SAMPLES))
    return flatten(
        full_path, half, across, np.pad(density, pad, mode="edge"), np.pad(cue, pad, mode="edge"),
        ink=batch.ink, zone=batch.zone, stroke=batch.stroke,
    )  # fmt: skip


def _shortened(path: Floats, length: Floats, cut: Floats) -> Floats:
    """Paths (S, M, 2) mm with `cut` (2, S) mm taken off the start and the end, at most a third each."""
    count, samples, _ = path.shape
    begin, end = np.minimum(cut / np.maximum(length, 1e-9), 1 / 3)
    at = (begin[:, None] + np.linspace(0.0, 1.0, samples) * (1 - begin - end)[:, None]) * (samples - 1)
    low = np.minimum(at.astype(np.int64), samples - 2)
    share = (at - low)[..., None]
    rows = np.arange(count)[:, None]
    return np.asarray(path[rows, low] * (1 - share) + path[rows, low + 1] * share)


def _second_coat(
    path: Floats, width: Floats, density: Floats, batch: StrokeBatch, hand: Columns,
    again: NDArray[np.bool_], rng: np.random.Generator,
) -> Paint:  # fmt: skip
    """Retouching: part of the stroke gone over again, a little beside it."""
    samples = width.shape[1]
    path, width, density = path[again], width[again], density[again]
    rows = len(path)
    start = (rng.uniform(0, 0.5, rows) * samples).astype(int)
    stop = np.minimum(start + np.maximum((rng.uniform(0.25, 0.6, rows) * samples).astype(int), 3), samples)
    index = np.arange(samples)
    live = (index >= start[:, None]) & (index < stop[:, None])
    beside = rng.normal(0, 0.12, rows)[:, None] * width
    side = normals(path)
    # laid with the tip of the brush, so its ends are round: over the tip's depth the width opens like a circle
    step = np.maximum(batch.length[again], 0.05) / (samples - 1)
    inward = np.minimum(index - start[:, None], stop[:, None] - 1 - index) + 0.5
    tip = BRUSH_TIP_MM * hand.brush[again, None]
    depth = np.maximum(np.minimum(0.42 * width, tip) / step[:, None], 1e-9)
    opening = np.sqrt(np.clip(1 - (1 - np.clip(inward / depth, 0, 1)) ** 2, 0, 1))
    half = np.where(live, 0.42 * width * opening, 0.0)
    cue = np.full(width.shape, int(Cue.RETOUCH), dtype=np.int64)
    return flatten(
        path + side * beside[..., None], half, side, density, cue,
        ink=batch.ink[again], zone=batch.zone[again], stroke=batch.stroke[again],
    )  # fmt: skip


def lifted(width: Floats, radius: Floats, turn: Floats, t: Floats) -> Floats:
    """Widths of rings whose brush is set down and lifted within the overlap: the closing shows no square cut."""
    overlap = 2 * np.pi * radius * (turn - 1)
    reach = np.clip(0.5 * overlap, 1e-9, LIFT_MM)[:, None]
    along = 2 * np.pi * (radius * turn)[:, None] * np.minimum(t, 1 - t)  # mm from the nearer end
    share = np.where(overlap[:, None] > 1e-6, np.clip(along / reach, 0, 1), 1.0)
    return np.asarray(width * (0.15 + 0.85 * share * (2 - share)))


def _rings(batch: StrokeBatch, workshop: Workshop, full: float, rng: np.random.Generator) -> Paint:
    """Rings turned on a lathe: near-perfect circles, uneven in width and density, overlapping where they close."""
    hand = columns(batch, workshop)
    count, samples = len(batch.width), batch.width.shape[1]
    start = rng.uniform(0, 1, count)
    turn = 1.0 + np.abs(hand.ring_overlap_deg * (1 + 0.3 * rng.standard_normal(count))) / 360.0
    t = np.linspace(0.0, 1.0, samples)
    phase = start[:, None] + turn[:, None] * t
    at = (phase % 1.0) * (samples - 1)
    low = np.minimum(at.astype(int), samples - 2)
    share = (at - low)[..., None]
    rows = np.arange(count)[:, None]
    path = batch.path[rows, low] * (1 - share) + batch.path[rows, low + 1] * share
    center = 0.5 * (batch.path.min(axis=1) + batch.path.max(axis=1))
    radius = 0.5 * np.ptp(batch.path[..., 0], axis=1)
    round_ = np.full(count, 2.0)
    modes = np.arange(1, 5)
    radial = hand.ring_wave[:, None] * radius[:, None] * waves(rng, count, samples, modes=modes, slope=round_)
    radial = radial + (hand.ring_step_mm * rng.standard_normal(count))[:, None] * t
    outward = (path - center[:, None]) / np.maximum(radius, 1e-6)[:, None, None]
    path = path + outward * radial[..., None]
    lumps = np.arange(1, 41)
    wide = hand.ring_width[:, None] * waves(rng, count, samples, modes=lumps, slope=np.full(count, 1.2))
    width = batch.width * unbiased(hand.width_scatter, rng)[:, None]
    width = lifted(width * np.clip(1 + wide, 0.3, 1.7), radius, turn, t)
    local = np.maximum(width, 0.3 * batch.nominal[:, None])
    thin = 1.0 - hand.thin_fade[:, None] * np.exp(-((local / hand.fade_width[:, None]) ** FADE_POWER))
    dense = hand.ring_density[:, None] * waves(rng, count, samples, modes=lumps, slope=np.full(count, 1.0))
    load = unbiased(hand.ring_load, rng)[:, None]
    density = np.clip(full * thin * load * np.clip(1 + dense, 0.4, 1.6), 0.05, 2.6)
    cue = np.where(density < full - 0.15, int(Cue.FADING), 0)
    return flatten(path, 0.5 * width, outward, density, cue, ink=batch.ink, zone=batch.zone, stroke=batch.stroke)
