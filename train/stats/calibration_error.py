"""Whether probabilities mean what they say: reliability table, expected calibration error, Brier score.

Probabilities are of hand painting, 0..1; labels are 1 (hand) or 0 (printed).

Binning, stated because the error depends on it: bins of equal width over 0..1 on the probability of hand (not
on the confidence of the winning call), each open below and closed above, the first closed on both sides; an
empty bin counts nothing. Guo et al. (2017) use the same edges on the winning call's confidence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.proportion import Interval, wilson

BINS = 15  # as in Guo et al. 2017, table 1


@dataclass(frozen=True)
class ReliabilityBin:
    """One bin low < p <= high of the reliability table; empty: no means, and a share_interval of 0..1."""

    low: float
    high: float
    count: int
    mean_probability: float | None
    share_hand: float | None
    share_interval: Interval  # Wilson, 95 %


def _checked(labels: ArrayLike, probabilities: ArrayLike) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    truth = np.asarray(labels)
    probability = np.asarray(probabilities, dtype=np.float64)
    if truth.ndim != 1 or truth.shape != probability.shape or not len(truth):
        raise ParameterError(
            f"labels have shape {truth.shape} and probabilities {probability.shape}; "
            "give two lists of one length, not empty"
        )
    if not np.isin(truth, (0, 1)).all():
        raise ParameterError(f"labels hold {sorted(set(truth.tolist()))}; give only 1 (hand) and 0 (printed)")
    outside = ~((probability >= 0) & (probability <= 1))
    if outside.any():
        raise ParameterError(f"probabilities hold {probability[outside][0]}; give values from 0 to 1")
    return truth.astype(bool), probability


def brier(labels: ArrayLike, probabilities: ArrayLike) -> float:
    """Mean squared distance of probability from truth: 0 is perfect, always saying 0.5 gives 0.25."""
    hand, probability = _checked(labels, probabilities)
    return float(np.mean((probability - hand) ** 2))


def bin_of(probabilities: ArrayLike, bins: int = BINS) -> NDArray[np.int64]:
    """Index of each probability's bin: of equal width, each with its upper edge, the first with both."""
    edges = np.linspace(0.0, 1.0, bins + 1)[1:-1]
    return np.searchsorted(edges, np.asarray(probabilities, dtype=np.float64), side="left")


def reliability_table(labels: ArrayLike, probabilities: ArrayLike, *, bins: int = BINS) -> tuple[ReliabilityBin, ...]:
    """All bins from 0 to 1, empty ones too, with a Wilson interval of the share painted in each."""
    if bins < 1:
        raise ParameterError(f"bins is {bins}; give at least 1")
    hand, probability = _checked(labels, probabilities)
    edges = np.linspace(0.0, 1.0, bins + 1)
    place = bin_of(probability, bins)
    table = []
    for index in range(bins):
        inside = place == index
        count, hits = int(inside.sum()), int(hand[inside].sum())
        table.append(
            ReliabilityBin(
                low=float(edges[index]),
                high=float(edges[index + 1]),
                count=count,
                mean_probability=float(probability[inside].mean()) if count else None,
                share_hand=hits / count if count else None,
                share_interval=wilson(hits, count) if count else Interval(0.0, 1.0),
            )
        )
    return tuple(table)


def expected_calibration_error(labels: ArrayLike, probabilities: ArrayLike, *, bins: int = BINS) -> float:
    """Mean over items of the gap between mean probability and share painted in their bin, 0..1.

    Binning as stated above. Biased upwards when bins hold few items: give n beside it.
    """
    table = reliability_table(labels, probabilities, bins=bins)
    gaps = [
        row.count * abs(row.mean_probability - row.share_hand)
        for row in table
        if row.mean_probability is not None and row.share_hand is not None
    ]
    return sum(gaps) / sum(row.count for row in table)


def error_if_calibrated(
    probabilities: ArrayLike, *, rng: np.random.Generator, draws: int = 1000, bins: int = BINS
) -> tuple[float, float]:
    """Mean and 95 % point of the expected calibration error, were the probabilities exactly right.

    Truths are drawn from the probabilities themselves (consistency resampling: Broecker and Smith, Weather and
    Forecasting 22 (2007), 651-661), independently: what an error owes to the number of items alone. One above the
    second value is no accident of so few independent items.
    """
    if draws < 1:
        raise ParameterError(f"draws is {draws}; give at least 1, 1000 for the 95 % point")
    probability = np.asarray(probabilities, dtype=np.float64)
    _checked(np.zeros(len(probability)), probability)
    place = bin_of(probability, bins)
    errors = np.empty(draws)
    for index in range(draws):
        surplus = (rng.random(len(probability)) < probability) - probability
        errors[index] = np.abs(np.bincount(place, surplus, minlength=bins)).sum() / len(probability)
    return float(errors.mean()), float(np.quantile(errors, 0.95))
