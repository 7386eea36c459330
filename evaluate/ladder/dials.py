"""Dials of the rungs, rendered and read by worker processes, and what weights make of them.

Each dial is rendered and read once whatever the number of weights, its outline given as in training, with the finder's
usual error (train.bags). No torch until dials are judged: the workers import this file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.ladder.rungs import BY_LETTER
from dialtell.model.net.calibration import call_number
from dialtell.model.net.resolution import Resolution, needed_pixels_per_radius
from dialtell.model.reading.patches import HIGH, LOW, PatchSet
from dialtell.synth.scene import render
from dialtell.synth.shared.terms import ZONES
from dialtell.synth.shared.workers import in_order
from dialtell.train.bags.bags import FEWEST_PATCHES, Bag, read_spec, reading_rng, whole_bag

if TYPE_CHECKING:
    import torch

    from dialtell.model.net.weights_file import Weights

Floats = NDArray[np.float64]

UNTOLD = -1  # no truth, or no call
BATCH = 12  # dials judged at once
WAITING = 6  # dials on their way for each worker


@dataclass(frozen=True, eq=False)
class RungDial:
    """One dial of a rung as read.

    bag : every patch, with the truth. px_per_mm : of the photograph, at the dial's centre. stored, true : px across
    the dial, in the file and really resolved. screened : whether a dot screen shows.
    """

    letter: str
    index: int
    bag: Bag
    px_per_mm: float
    stored: float
    true: float
    screened: bool


def read_rung(letter: str, index: int) -> RungDial:
    """Render and read dial `index` of a rung."""
    spec = BY_LETTER[letter].spec(index)
    reading = read_spec(spec, render(spec), rng=reading_rng(spec))
    bag = replace(whole_bag(spec, reading), index=index)
    return RungDial(
        letter, index, bag, spec.view.px_per_mm, reading.geometry.pixels_across,
        2.0 * reading.sharpness.true_pixels_per_radius, reading.sharpness.halftone,
    )  # fmt: skip


def read_rungs(wanted: Sequence[tuple[str, int]], workers: int) -> Iterator[RungDial]:
    """Dials (letter, index) in the order wanted, a few ahead of whoever takes them."""
    return in_order(_read, wanted, workers, ahead=WAITING)


def _read(one: tuple[str, int]) -> RungDial:
    return read_rung(*one)


@dataclass(frozen=True, eq=False)
class RungCalls:
    """What one set of weights tells of n dials.

    ratio : (n,) log10 likelihood ratios, NaN not judged. call : (n,) 1 painted, 0 printed, -1 undetermined.
    zone_ratio, zone_call : (n, Z) likewise.
    """

    ratio: Floats
    call: NDArray[np.int8]
    zone_ratio: Floats
    zone_call: NDArray[np.int8]


def tell(dials: Sequence[RungDial], weights: Sequence[Weights], device: torch.device) -> list[RungCalls]:
    """Judge some dials with each of the weights, by the rules a photograph is judged by."""
    from torch import Tensor

    from dialtell.model.net.in_torch import said
    from dialtell.model.net.verdict import judge
    from dialtell.train.run.loop import judged_batches
    from dialtell.train.run.store import HeldOut

    readable = [dial for dial in dials if len(dial.bag.zone) >= FEWEST_PATCHES]
    batches = HeldOut([dial.bag for dial in readable], device, BATCH)
    found = []
    for one in weights:
        need = 2.0 * needed_pixels_per_radius(one.record)
        net = one.net.to(device)
        outputs = [replace(output.each(Tensor.cpu), reasons=None) for _, output in judged_batches(net, batches)]
        verdicts = {}
        for number, dial in enumerate(readable):
            carries = Resolution(dial.stored, dial.true, need, screened=dial.screened).carries_strokes
            told = said(outputs[number // BATCH], number % BATCH)  # without reasons, whose patches are gone
            verdicts[dial.index] = judge(_patches(dial.bag), one, withheld=not carries, said=told)
        calls = RungCalls(
            ratio=np.full(len(dials), np.nan), call=np.full(len(dials), UNTOLD, np.int8),
            zone_ratio=np.full((len(dials), len(ZONES)), np.nan),
            zone_call=np.full((len(dials), len(ZONES)), UNTOLD, np.int8),
        )  # fmt: skip
        for row, dial in enumerate(dials):
            if (verdict := verdicts.get(dial.index)) is None:
                continue
            calls.call[row] = call_number(verdict.call)
            if verdict.whole.log10_lr is not None:
                calls.ratio[row] = verdict.whole.log10_lr
            for column, zone in enumerate(ZONES):
                evidence = verdict.zones[zone]
                calls.zone_call[row, column] = call_number(evidence.call)
                if evidence.log10_lr is not None:
                    calls.zone_ratio[row, column] = evidence.log10_lr
        found.append(calls)
    return found


def _patches(bag: Bag) -> PatchSet:
    """What `judge` looks at besides the net's answer, which is known."""
    own = bag.scales == 0
    zone, density = bag.zone[own], bag.density[own].astype(np.float32) * ((HIGH - LOW) / 255) + LOW
    nothing = np.empty((len(zone), 2))
    return PatchSet(
        density=density, zone=zone.astype(np.int64), center=nothing,
        right=nothing, ink=nothing[:, 0], full=1.0, resolution=bag.resolution,
    )  # fmt: skip
