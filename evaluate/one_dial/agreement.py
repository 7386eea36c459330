"""Do photographs of the same place say the same? Where they differ, the camera speaks and not the dial, and the trust
in all of them is lowered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from dialtell.evaluate.one_dial.merging import common, toned
from dialtell.model.net.verdict import ProcessEvidence, Verdict, judge
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.steps import Reading

FEWEST = 6  # places that both show, from which a ratio of each is compared
USUAL = 1.7  # log10: nine in ten of 320 drawn ones differ by less, of these weights (trial reading/one_dial_worth)
FULL = 2.0  # log10, the most that is stated where photographs agree as usual


@dataclass(frozen=True)
class Agreement:
    """What two photographs say of the places both show. places : how many. mine, other : log10 LR of each."""

    places: int
    mine: float
    other: float

    @property
    def difference(self) -> float:
        """log10, without its sign."""
        return abs(self.mine - self.other)


def agreement(reading: Reading, whole: Reading, weights: Weights) -> Agreement | None:
    """A close-up against its whole view; None where they share too few places."""
    patches = toned(reading, whole)
    mine, other = common(patches, whole.patches)
    if len(mine) < FEWEST:
        return None
    ratios = [judge(patches.chosen(mine), weights), judge(whole.patches.chosen(other), weights)]
    first, second = (_uncapped(verdict) for verdict in ratios)
    return None if first is None or second is None else Agreement(len(mine), first, second)


def _uncapped(verdict: Verdict) -> float | None:
    return None if verdict.explanation is None else verdict.explanation.total


def trusted(differences: Sequence[float]) -> float | None:
    """The most that may be stated, log10 either way, None without a limit."""
    worst = max(differences, default=0.0)
    return None if worst <= USUAL else FULL * USUAL / worst


def held_to(verdict: Verdict, limit: float | None) -> Verdict:
    """The verdict with no ratio above a limit."""
    if limit is None:
        return verdict
    zones = {zone: _held(evidence, limit) for zone, evidence in verdict.zones.items()}
    return replace(verdict, whole=_held(verdict.whole, limit), zones=zones)


def _held(evidence: ProcessEvidence, limit: float) -> ProcessEvidence:
    ratio = evidence.log10_lr
    if ratio is None or abs(ratio) <= limit:
        return evidence
    return replace(evidence, log10_lr=limit if ratio > 0 else -limit, capped=True)
