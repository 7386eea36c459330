"""One thing planted on a dial otherwise of one process, with the mask of where it is: what a map of evidence must find.

The dial is a spec's own; only the items chosen are laid by the other process, or one stroke of a print is faded or run
past its guide. Everything else of the picture stays, byte for byte.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.design.layout import lay_out
from dialtell.synth.making import Coat, coat_of, make
from dialtell.synth.photograph.view import homography, local_scale
from dialtell.synth.scene import DialSpec, photograph
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Kind, Process, Zone
from dialtell.synth.strokes.paint import Paint, join, mask
from dialtell.synth.strokes.stroke import Item

FADED_TO = 0.45  # of the full density
PAST_MM = 0.30  # on a dial of 22 mm radius
WIDEST_TICK = 0.6  # mm; a stroke to run past its guide is a thin one


class Plant(StrEnum):
    """What is planted."""

    PAINTED_FIGURE = "one painted figure on a printed dial"
    PRINTED_FIGURE = "one printed figure on a painted dial"
    FADED_STROKE = "one faded stroke on a printed dial"
    OVERSHOOT = "one overshoot on a printed dial"


@dataclass(frozen=True, eq=False)
class Planted:
    """pixels : (H, W, 3) uint8 sRGB. mask : (H, W) float32, share of each pixel that is planted paint.

    toward_hand : whether the plant speaks for the hand. zone : where it was planted.
    """

    pixels: NDArray[np.uint8]
    mask: NDArray[np.float32]
    toward_hand: bool
    zone: Zone


def plant(spec: DialSpec, what: Plant, *, rng: np.random.Generator) -> Planted | None:
    """The picture of `spec` with one plant; None when its design has nothing to plant it on."""
    host = Process.HAND if what is Plant.PRINTED_FIGURE else Process.TRANSFER
    spec = spec.as_process(host)
    if what in (Plant.PAINTED_FIGURE, Plant.PRINTED_FIGURE):
        return _figure(spec, host, rng)
    if what in (Plant.FADED_STROKE, Plant.OVERSHOOT):
        return _stroke(spec, what, rng)
    raise ParameterError(f"plant is {what!r}; give one of {', '.join(Plant)}")


def _figure(spec: DialSpec, host: Process, rng: np.random.Generator) -> Planted | None:
    other = Process.TRANSFER if host is Process.HAND else Process.HAND
    items = lay_out(spec.design)
    words = sorted({item.word for item in items if item.zone is Zone.NUMERALS})
    if not words:
        return None
    word = words[int(rng.integers(len(words)))]

    def chosen(item: Item) -> bool:
        return item.zone is Zone.NUMERALS and item.word == word

    coats = split_coats(spec, chosen, host, other)
    return _pictured(spec, coats, coats[-1].paint, other is Process.HAND, Zone.NUMERALS)


def split_coats(spec: DialSpec, chosen: Callable[[Item], bool], host: Process, other: Process) -> list[Coat]:
    """The dial's coats with the chosen items laid by `other`, the rest by `host`; the chosen ones' coat is last.

    Every item is painted or cut among all of them, so that what was not chosen stays as it was.
    """
    items = lay_out(spec.design)
    keep = np.array([chosen(item) for item in items])
    coats = []
    for process, wanted in ((host, ~keep), (other, keep)):
        whole = coat_of(items, spec.design, spec.making.as_process(process), process)
        numbers = np.flatnonzero(wanted)
        coats.append(
            replace(
                whole, paint=_of_items(whole.paint, items, numbers), beneath=_of_items(whole.beneath, items, numbers)
            )
        )
    return coats


def _of_items(paint: Paint, items: list[Item], numbers: NDArray[np.int64]) -> Paint:
    """Paint of the items with these numbers; strokes are numbered through all items in order."""
    owner = np.repeat(np.arange(len(items)), [len(item.strokes) for item in items])
    stroke = paint.stroke
    belongs = np.isin(owner[np.clip(stroke, 0, len(owner) - 1)], numbers) & (stroke >= 0)
    return paint.select(belongs)


def _stroke(spec: DialSpec, what: Plant, rng: np.random.Generator) -> Planted | None:
    (coat,) = make(spec.design, spec.making)
    items = lay_out(spec.design)
    strokes = [(item.zone, stroke) for item in items for stroke in item.strokes]
    fit = [
        number
        for number, (zone, stroke) in enumerate(strokes)
        if zone in (Zone.NUMERALS, Zone.MINUTE_TRACK)
        and stroke.kind in (Kind.STEM, Kind.THIN, Kind.TICK)
        and (what is Plant.FADED_STROKE or stroke.width.max() < WIDEST_TICK)
    ]
    if not fit:
        return None
    number = fit[int(rng.integers(len(fit)))]
    own = coat.paint.stroke == number
    if not own.any():
        return None
    planted = coat.paint.select(own)
    rest = coat.paint.select(~own)
    if what is Plant.FADED_STROKE:
        planted = replace(planted, density=planted.density * FADED_TO)
        marked = planted
    else:
        planted, marked = _run_past(planted, PAST_MM * spec.design.radius_mm / 22.0)
    coats = [replace(coat, paint=join([rest, planted]))]
    return _pictured(spec, coats, marked, True, strokes[number][0])


def _run_past(paint: Paint, length: float) -> tuple[Paint, Paint]:
    """The stroke with `length` mm more at its end, and that length alone."""
    middle = 0.5 * (paint.left + paint.right)
    away = middle[-1] - middle[-2]
    step = length * away / max(float(np.hypot(*away)), 1e-9)
    last = paint.select(np.arange(len(paint.density)) == len(paint.density) - 1)
    tip = replace(last, left=last.left + step, right=last.right + step, follows=np.array([True]))
    start = replace(last, follows=np.array([False]))
    return join([paint, tip]), join([start, tip])


def _pictured(spec: DialSpec, coats: list[Coat], marked: Paint, toward_hand: bool, zone: Zone) -> Planted:
    matrix = homography(spec.view)
    cover = mask(marked, matrix, spec.view.shape)
    if cover.max(initial=0.0) < 0.2 or local_scale(matrix, np.zeros(2)) <= 0:
        cover = np.zeros(spec.view.shape, np.float32)
    return Planted(photograph(spec, coats), np.asarray(cover, np.float32), toward_hand, zone)
