"""The engraved plate or drawn negative that a printed dial comes from. Many dials can be pulled from one plate.

The plate was itself cut by hand or machine, so its repeated figures may scatter in place, angle, ends and wobble
as much as a good painter's; but it has one depth: no density, no pooled ends, widths held along a stroke.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dialtell.synth.shared.errors import require_range
from dialtell.synth.shared.terms import Kind
from dialtell.synth.strokes.hand import columns, displace_items, scatter_items, stray_ends, stray_line, unbiased
from dialtell.synth.strokes.hand_style import HandStyle, Workshop, sample_hand_style
from dialtell.synth.strokes.skeleton import ItemTable, StrokeBatch

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
    """

    engraver: HandStyle
    scatter: float
    widen: float
    punched: bool
    seed: int

    def __post_init__(self) -> None:
        require_range("Plate.scatter", self.scatter, 0.0, 1.5)
        require_range("Plate.widen", self.widen, -0.05, 0.08, "mm")


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


def cut(batches: Sequence[StrokeBatch], table: ItemTable, plate: Plate) -> list[StrokeBatch]:
    """The strokes as cut: same batches with the engraver's scatter in their paths and constant-gain widths."""
    rng = np.random.default_rng(plate.seed)
    style = plate.engraver
    bare = {name: getattr(style, name) * plate.scatter for name in GEOMETRIC}
    bare["width_scatter"] *= 0.5  # a burin holds its width better than a brush
    style = replace(style, **bare)
    workshop = Workshop(style, style, style, plate.seed)
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
        path = np.where(ring[:, None, None], batch.path, path)
        between = unbiased(np.where(dot, hand.dot_scatter, hand.width_scatter), rng)
        if plate.punched:
            between = np.ones(count)
        width = batch.width * between[:, None]
        width = np.where(batch.width > 0, np.maximum(width + plate.widen, 0.02), 0.0)
        result.append(replace(batch, path=path, width=width))
    return result
