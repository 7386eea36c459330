"""Pairs of drawn dials of known kinship: pulled from one plate, from two, painted twice, or of different designs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.registration import bent
from dialtell.synth.hand_style import sample_workshop
from dialtell.synth.making import make
from dialtell.synth.scene import DialSpec, Range, generator, sample_photograph, sample_spec
from dialtell.synth.terms import Process
from dialtell.synth.transfer import sample_pull

SECOND_SEED = 500_009  # added for the other photograph and the other making


class Kinship(StrEnum):
    """How two dials are related."""

    ONE_PLATE = "one plate"
    CUT_TWICE = "same artwork cut twice"
    ONE_HAND = "painted twice by one hand"
    TWO_HANDS = "painted by two hands"
    DIFFERENT = "different designs"


@dataclass(frozen=True)
class DialPair:
    """Two pictures of known kinship, taken by different cameras."""

    first: DialSpec
    second: DialSpec
    kinship: Kinship


def sample_pair(seed: int, index: int, kinship: Kinship, scope: Range) -> DialPair:
    """Pair `index` of set `seed`; both prints of one plate are pulled alike, by transfer or photographically."""
    base = sample_spec(seed, index, scope)
    other_seed = seed + SECOND_SEED
    rng = generator(other_seed, index)
    process = Process.HAND if kinship in (Kinship.ONE_HAND, Kinship.TWO_HANDS) else _print(rng)
    base = base.as_process(process)
    if kinship is Kinship.DIFFERENT:
        return DialPair(base, sample_spec(other_seed, index, scope).as_process(process), kinship)
    making, radius = base.making, base.design.radius_mm
    pull = sample_pull(rng=rng, radius_mm=radius)
    placing = replace(pull, slip_mm=(0.0, 0.0), bare=(), tears=(), pinholes=0.0)
    making = replace(
        making, pull=pull, exposure=replace(making.exposure, placing=placing, seed=making.exposure.seed + 1)
    )
    if kinship is Kinship.CUT_TWICE:
        making = replace(making, plate=replace(making.plate, seed=making.plate.seed + 1))
    elif kinship is Kinship.ONE_HAND:
        making = replace(making, workshop=replace(making.workshop, seed=making.workshop.seed + 1))
    elif kinship is Kinship.TWO_HANDS:
        making = replace(making, workshop=sample_workshop(rng=rng, steadiness=scope.steadiness, jitter=scope.jitter))
    photograph = sample_photograph(rng=rng, design=base.design, scope=scope)
    second = replace(base, making=making, seed=other_seed, **vars(photograph))
    return DialPair(base, second, kinship)


def _print(rng: np.random.Generator) -> Process:
    return Process.TRANSFER if rng.random() < 0.65 else Process.PHOTOGRAPHIC


def true_spread(pair: DialPair) -> float:
    """Robust SD per axis, mm, of what no smooth bend can bring to coincide, from the strokes themselves.

    The middles of the same strokes on both dials, the first bent onto the second as registration does.
    """
    first, second = (_middles(spec) for spec in (pair.first, pair.second))
    strokes = sorted(set(first) & set(second))
    if len(strokes) < 25:
        return float("nan")
    radius = pair.first.design.radius_mm
    a = np.array([first[s] for s in strokes]) / radius
    b = np.array([second[s] for s in strokes]) / radius
    left = b - bent(a, b)
    return float(1.4826 * np.median(np.abs(left)) * radius)


def _middles(spec: DialSpec) -> dict[int, NDArray[np.float64]]:
    found: dict[int, NDArray[np.float64]] = {}
    for coat in make(spec.design, spec.making):
        middle = 0.5 * (coat.paint.left + coat.paint.right)
        order = np.argsort(coat.paint.stroke, kind="stable")
        numbers, starts = np.unique(coat.paint.stroke[order], return_index=True)
        for number, points in zip(numbers, np.split(middle[order], starts[1:]), strict=True):
            found[int(number)] = points.mean(axis=0)
    return found
