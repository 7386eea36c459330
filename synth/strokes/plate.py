"""The engraved plate or drawn negative that a printed dial comes from. Many dials can be pulled from one plate.

Most plates are regular: divided by an engine, figures punched, or drawn large and reduced. Others were cut by hand, so
that their repeated figures scatter in place, angle, ends and wobble as much as a good painter's. Either has one depth,
but for hairlines cut shallow: no pooled ends, no load from stroke to stroke, widths held along a stroke.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from dialtell.synth.shared.errors import require_range
from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.hand import columns, displace_items, scatter_items, stray_ends, stray_line, unbiased
from dialtell.synth.strokes.hand_style import HandStyle, Workshop, sample_hand_style
from dialtell.synth.strokes.skeleton import ItemTable, StrokeBatch
from dialtell.synth.strokes.stroke import Floats

SHALLOW_POWER = 2.0  # as paint's: hairlines lose ink, stems do not (judgement)
FLOOR_STREAM = 91  # of the rng of a machine's errors, apart so that the engraver's stay as drawn without

# parameters of a hand that an engraver's hand has too; all others are the brush's
GEOMETRIC = (
    "wobble", "tremor_um", "hook", "width_scatter", "end_scatter", "overshoot", "junction_gap", "angle_deg",
    "slant_deg", "place", "height_scatter", "tick_place", "dot_scatter",
)  # fmt: skip


@dataclass(frozen=True)
class Plate:
    """One master.

    engraver : the engraver's hand; only its geometric parameters count.
    scatter : how much of that hand shows, 0 (machine cut, one punch a figure) .. 1 (as a good hand).
    widen : constant added to every width, mm (-0.02..0.02).
    punched : true where repeated figures and ticks come from one punch or a dividing engine, hence are the same.
    seed : of this cutting; another seed is the same artwork cut again.
    divided : true where ticks, dots and rings come from a dividing engine: nothing of the engraver's hand is in them.
    floor_um : RMS by which a machine errs, micrometres (0..3).
    shallow : density lost by an infinitely thin line, share: shallow hairlines give less ink, and powder sticks less to
        them (0..0.25). shallow_mm : width at which 1/e of that loss is left.
    """

    engraver: HandStyle
    scatter: float
    widen: float
    punched: bool
    seed: int
    divided: bool = False
    floor_um: float = 0.0
    shallow: float = 0.0
    shallow_mm: float = 0.08

    def __post_init__(self) -> None:
        require_range("Plate.scatter", self.scatter, 0.0, 1.5)
        require_range("Plate.widen", self.widen, -0.05, 0.08, "mm")
        require_range("Plate.floor_um", self.floor_um, 0.0, 30.0, "micrometres")
        require_range("Plate.shallow", self.shallow, 0.0, 0.5)
        require_range("Plate.shallow_mm", self.shallow_mm, 0.01, 2.0, "mm")

    def sized(self, radius_mm: float) -> Plate:
        """The same engraver's plate of a dial of that radius, mm, as a painter's hand is sized (HandStyle.sized)."""
        engraver = self.engraver.sized(radius_mm)
        return replace(self, engraver=engraver, shallow_mm=self.shallow_mm * engraver.brush / self.engraver.brush)

    def depth(self, width: Floats) -> Floats:
        """Share of the full density that lines of these widths, mm, give."""
        return np.asarray(1.0 - self.shallow * np.exp(-((width / self.shallow_mm) ** SHALLOW_POWER)))


def sample_plate(*, rng: np.random.Generator, scatter: tuple[float, float] = (0.0, 1.0)) -> Plate:
    """A plate by an engraver with a fair to good hand (steadiness 0.45..1), cut afresh or partly by machine."""
    low, high = scatter
    return Plate(
        engraver=sample_hand_style(rng=rng, steadiness=float(rng.uniform(0.45, 1.0))),
        scatter=float(low + (high - low) * rng.beta(1.2, 1.2)),
        widen=float(np.clip(rng.normal(0.0, 0.008), -0.02, 0.02)),
        punched=bool(rng.random() < 0.35),
        seed=int(rng.integers(2**31)),
    )


class Make(StrEnum):
    """How a regular plate was made."""

    ENGINE = "engine"  # divided by an engine, one punch a figure
    REDUCED = "reduced"  # a drawing made large and reduced by camera or pantograph: deviations fall with it
    FIGURES = "figures"  # divided by an engine, each figure cut by itself and unlike the next
    ENGRAVED = "engraved"  # by a good engraver throughout


MAKES = {Make.ENGINE: 0.4, Make.REDUCED: 0.25, Make.FIGURES: 0.15, Make.ENGRAVED: 0.2}  # judgement


def regular(plate: Plate, *, rng: np.random.Generator, scatter: tuple[float, float] = (0.0, 1.0)) -> Plate:
    """The plate made anew with care; its widening and seed stay, and its scatter lies within `scatter`."""
    make = list(MAKES)[int(rng.choice(len(MAKES), p=list(MAKES.values())))]
    share, reduction, once, floor = rng.uniform(size=4)
    left, punched = {
        Make.ENGINE: (0.15 * share, True),
        Make.REDUCED: ((0.3 + 0.7 * share) / (4.0 + 11.0 * reduction), once < 0.6),
        Make.FIGURES: (0.4 + 0.6 * share, False),
        Make.ENGRAVED: (0.1 + 0.25 * share, once < 0.5),
    }[make]
    low, high = scatter
    return replace(
        plate, scatter=float(low + (high - low) * left), punched=bool(punched),
        divided=make in (Make.ENGINE, Make.FIGURES), floor_um=float(0.5 + 2.0 * floor),
    )  # fmt: skip


def shallowed(plate: Plate, *, rng: np.random.Generator) -> Plate:
    """The plate with its hairlines cut shallow or worn."""
    return replace(plate, shallow=float(rng.uniform(0.03, 0.25)), shallow_mm=float(rng.uniform(0.05, 0.12)))


def cut(batches: Sequence[StrokeBatch], table: ItemTable, plate: Plate) -> list[StrokeBatch]:
    """The strokes as cut: same batches with the engraver's scatter in their paths and constant-gain widths."""
    rng = np.random.default_rng(plate.seed)
    style = plate.engraver
    bare = {name: getattr(style, name) * plate.scatter for name in GEOMETRIC}
    bare["width_scatter"] *= 0.5  # a burin holds its width better than a brush
    style = replace(style, **bare)
    machine = replace(style, **dict.fromkeys(GEOMETRIC, 0.0))
    workshop = Workshop(machine if plate.divided else style, style, style, plate.seed)
    fine = np.random.default_rng([plate.seed, FLOOR_STREAM])
    shifts = scatter_items(table, rng=rng)
    result = []
    for batch in batches:
        hand = columns(batch, workshop)
        count, samples = batch.width.shape
        t = np.linspace(0.0, 1.0, samples)
        ring = batch.is_kind(Kind.RING)
        dot = batch.is_kind(Kind.DOT, Kind.MARK)
        path, _ = displace_items(batch, table, hand, shifts)
        if not plate.punched:
            path, _ = stray_ends(path, batch, table, hand, t, rng)
            path = stray_line(path, batch, hand, t, dot, rng)
        at, swing, breadth = _floor(plate.floor_um, count, fine)
        path = path + at[:, None] + swing[:, None] * (2 * t - 1)[:, None]
        path = np.where(ring[:, None, None], batch.path, path)
        between = unbiased(np.where(dot, hand.dot_scatter, hand.width_scatter), rng)
        if plate.punched:
            between = np.ones(count)
        width = batch.width * between[:, None]
        width = np.where(batch.width > 0, np.maximum(width + plate.widen + breadth[:, None], 0.02), 0.0)
        result.append(replace(batch, path=path, width=width))
    return result


def _floor(floor_um: float, count: int, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """What a machine errs by, mm: (S, 2) where a stroke stands, (S, 2) how its ends swing, (S,) its width.

    Slides guide a graver more truly than the wheel divides (judgement: a third).
    """
    size = floor_um / 1000
    draws = size * rng.standard_normal((count, 5))
    return draws[:, :2], draws[:, 2:4] / 3, draws[:, 4] / 3
