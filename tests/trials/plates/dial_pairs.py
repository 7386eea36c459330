"""Pairs of drawn dials of known kinship: pulled from one plate, from two, painted twice, or of different designs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.compare.registration import LEAST_SITES, bent
from dialtell.synth.making import Coat, make
from dialtell.synth.scene import DialSpec, Range, generator, printed_process, sample_photograph, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.hand_style import sample_workshop
from dialtell.synth.strokes.transfer import placing_of, sample_pull

Middles = dict[int, NDArray[np.float64]]
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
    base = _sampled(seed, index, scope)
    other_seed = seed + SECOND_SEED
    rng = generator(other_seed, index)
    process = Process.HAND if kinship in (Kinship.ONE_HAND, Kinship.TWO_HANDS) else printed_process(rng)
    base = base.as_process(process)
    if kinship is Kinship.DIFFERENT:
        return DialPair(base, sample_spec(other_seed, index, scope).as_process(process), kinship)
    making, radius = base.making, base.design.radius_mm
    pull = sample_pull(rng=rng, radius_mm=radius)
    making = replace(
        making, pull=pull, exposure=replace(making.exposure, placing=placing_of(pull), seed=making.exposure.seed + 1)
    )
    if kinship is Kinship.CUT_TWICE:
        making = replace(making, plate=replace(making.plate, seed=making.plate.seed + 1))
    elif kinship is Kinship.ONE_HAND:
        making = replace(making, workshop=replace(making.workshop, seed=making.workshop.seed + 1))
    elif kinship is Kinship.TWO_HANDS:
        workshop = sample_workshop(rng=rng, steadiness=scope.steadiness, jitter=scope.jitter)
        making = replace(making, workshop=workshop.sized(radius))
    photograph = sample_photograph(rng=rng, design=base.design, scope=scope)
    second = replace(base, making=making, seed=other_seed, **vars(photograph))
    return DialPair(base, second, kinship)


@lru_cache(maxsize=4)
def _sampled(seed: int, index: int, scope: Range) -> DialSpec:
    return sample_spec(seed, index, scope)


def true_spread(pair: DialPair, middles: Callable[[DialSpec], Middles] | None = None) -> float:
    """Robust SD per axis, mm, of what no smooth bend can bring to coincide, from the strokes themselves.

    The middles of the same strokes on both dials, the first bent onto the second as registration does; nan with fewer
    than 25 of them. middles : gives those of a dial, where they are known already.
    """
    a, b = shared_strokes(pair, middles or stroke_middles)
    if len(a) < LEAST_SITES:
        return float("nan")
    radius = pair.first.design.radius_mm
    left = b - bent(a / radius, b / radius) * radius
    return float(1.4826 * np.median(np.abs(left)))


def shared_strokes(
    pair: DialPair, middles: Callable[[DialSpec], Middles]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(N, 2) mm on the first dial and (N, 2) mm on the second of the middles of the strokes that both have."""
    first, second = middles(pair.first), middles(pair.second)
    strokes = sorted(set(first) & set(second))
    return (
        np.array([first[s] for s in strokes]).reshape(-1, 2),
        np.array([second[s] for s in strokes]).reshape(-1, 2),
    )


def stroke_middles(spec: DialSpec, coats: Sequence[Coat] | None = None) -> Middles:
    """Where each stroke of a dial truly lies: its middle, mm, by the stroke's number. coats : made if not given."""
    found: Middles = {}
    for coat in make(spec.design, spec.making) if coats is None else coats:
        middle = 0.5 * (coat.paint.left + coat.paint.right)
        order = np.argsort(coat.paint.stroke, kind="stable")
        numbers, starts = np.unique(coat.paint.stroke[order], return_index=True)
        for number, points in zip(numbers, np.split(middle[order], starts[1:]), strict=True):
            found[int(number)] = points.mean(axis=0)
    return found
