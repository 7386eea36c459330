"""Two weights on the same photographs: does one do better, or would swapping their answers do as well?

Under the hypothesis that the two are alike, the answers of both to a photograph may be swapped. Photographs of one
cluster are swapped together, because they are not independent.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.resampling import numbered

Floats = NDArray[np.float64]
MOST_EXACT = 12  # clusters up to which all 2^k swaps are tried


@dataclass(frozen=True)
class PairedComparison:
    """difference : statistic of the first minus the second. p : two-sided. exact : whether all swaps were tried.

    swaps : how many were tried; p is never below 1 / swaps (exact: 2 / swaps, the swap of all being one).
    """

    difference: float
    p: float
    clusters: int
    swaps: int
    exact: bool


def paired_permutation(
    statistic: Callable[[Floats], float],
    first: ArrayLike,
    second: ArrayLike,
    clusters: ArrayLike,
    *,
    rng: np.random.Generator,
    draws: int = 4999,
) -> PairedComparison:
    """Test of the difference in a statistic between paired answers.

    statistic : of (n, ...) answers in the order of the photographs; it knows the truths itself.
    first, second : (n, ...) answers of the two to the same photographs.
    clusters : (n,) identities.
    p is the share of swaps whose difference is at least as large in size; drawn swaps count the one observed among
    them, (k + 1) / (draws + 1) (Phipson and Smyth, Statistical Applications in Genetics 9 (2010), article 39).
    """
    one, two = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    identity = np.asarray(clusters)
    if one.shape != two.shape or identity.shape != one.shape[:1] or not len(one):
        raise ParameterError(
            f"answers have shapes {one.shape} and {two.shape}, clusters {identity.shape}; "
            "give one of each per photograph"
        )
    if draws < 1:
        raise ParameterError(f"draws is {draws}; give at least 1")
    member, count = numbered(identity)
    difference = statistic(one) - statistic(two)
    slack = 1e-9 * max(abs(difference), 1e-3)  # sums in another order still count as equal
    exact = count <= MOST_EXACT
    swaps = 2**count if exact else draws
    reached = 0
    for flags in _all(count) if exact else _drawn(count, draws, rng):
        swapped = flags[member].reshape(-1, *[1] * (one.ndim - 1))
        other = statistic(np.where(swapped, two, one)) - statistic(np.where(swapped, one, two))
        reached += abs(other) >= abs(difference) - slack
    p = reached / swaps if exact else (reached + 1) / (swaps + 1)
    return PairedComparison(difference, p, count, swaps, exact)


def _all(count: int) -> Iterator[NDArray[np.bool_]]:
    for flags in itertools.product((False, True), repeat=count):
        yield np.array(flags)


def _drawn(count: int, draws: int, rng: np.random.Generator) -> Iterator[NDArray[np.bool_]]:
    for _ in range(draws):
        yield rng.random(count) < 0.5
