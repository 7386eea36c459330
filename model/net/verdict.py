"""From patches to numbers and calls: what the net says, held to what was validated, and only where there is enough.

A zone with few patches shows no repetition, so it is not judged at all rather than judged weakly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED, call_for, print_call_for, probability
from dialtell.model.net.explanation import Explanation, explain
from dialtell.model.net.familiar import traits_of
from dialtell.model.net.said import Said
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.patches import PatchSet
from dialtell.synth.shared.terms import ZONES, Zone

LEAST_ZONE_PATCHES = 4  # fewer strokes have nothing to be compared with (judgement)
LEAST_PATCHES = 6  # on the whole dial


@dataclass(frozen=True)
class ProcessEvidence:
    """Evidence of a zone or dial. log10_lr : positive for hand, None where nothing was judged.

    capped : the ratio was larger than validation can vouch for. patches : how many it rests on.
    withheld : the photograph does not resolve strokes, so no call is made whatever the ratio.
    """

    patches: int
    log10_lr: float | None = None
    capped: bool = False
    withheld: bool = False

    @property
    def judged(self) -> bool:
        """Whether there was anything to judge."""
        return self.log10_lr is not None

    @property
    def call(self) -> str:
        """Hand-painted, printed or undetermined."""
        return UNDETERMINED if self.withheld else call_for(self.log10_lr)

    @property
    def probability_hand(self) -> float | None:
        """At prior odds 1:1; None where nothing was judged or the call is withheld."""
        return None if self.log10_lr is None or self.withheld else probability(self.log10_lr)


@dataclass(frozen=True)
class PrintEvidence:
    """How a print was made. log10_lr : positive for photographic, negative for transfer, None where the weights carry
    no calibration for it. capped : as of ProcessEvidence."""

    log10_lr: float | None = None
    capped: bool = False

    @property
    def call(self) -> str:
        """transfer, photographic or cannot tell."""
        return print_call_for(self.log10_lr)

    @property
    def probability_photographic(self) -> float | None:
        """Against transfer, at prior odds 1:1."""
        return None if self.log10_lr is None else probability(self.log10_lr)


@dataclass(frozen=True)
class Verdict:
    """A dial judged. whole : the dial taken together. zones : every zone. printing : see print_process.

    explanation : what the ratio of the whole is the sum of, None where nothing was judged and from baselines that are
    no such sums. unlike : its strokes look like none the net was taught on, so no call is made.
    """

    whole: ProcessEvidence
    zones: dict[Zone, ProcessEvidence]
    printing: PrintEvidence | None = None
    explanation: Explanation | None = None
    unlike: bool = False

    @property
    def print_process(self) -> PrintEvidence | None:
        """How it was printed; None unless the dial is called printed, for the ratio speaks of prints alone."""
        return (self.printing or PrintEvidence()) if self.call == PRINTED else None

    @property
    def mixed(self) -> bool:
        """Whether some part is called hand-painted and another, or the whole, printed."""
        calls = {self.whole.call, *(evidence.call for evidence in self.zones.values())}
        return HAND in calls and PRINTED in calls

    @property
    def call(self) -> str:
        """The dial's call; undetermined where its parts contradict each other."""
        return UNDETERMINED if self.mixed else self.whole.call

    @property
    def withheld(self) -> bool:
        """Whether no call of the dial is made whatever its ratio."""
        return self.whole.withheld or self.mixed

    @property
    def probability_hand(self) -> float | None:
        """Of the dial at prior odds 1:1; None where nothing was judged or the call is withheld."""
        return None if self.withheld else self.whole.probability_hand

    def without(self, zone: Zone) -> Verdict:
        """The same dial with a zone not judged, because it was not found; the ratio of the whole stays."""
        return replace(self, zones={**self.zones, zone: ProcessEvidence(0)})

    def shown_as(self, zone: Zone) -> Verdict:
        """A close-up judged as one zone, `other`, under the name of the zone that it is said to show."""
        own = self.zones[Zone.OTHER]
        return replace(self, zones={each: own if each is zone else ProcessEvidence(0) for each in self.zones})

    def called(self, call: str) -> list[Zone]:
        """Judged zones with this call, in the examiner's order."""
        return [zone for zone, evidence in self.zones.items() if evidence.judged and evidence.call == call]


def judge(patches: PatchSet, weights: Weights, *, withheld: bool = False, said: Said | None = None) -> Verdict:
    """Judge a dial's patches; `withheld` makes no call of it, nor is one made where they are like none the net was
    taught on. said : what the net says of them, None to ask it. Raises ArithmeticError when the net gives no finite
    number."""
    counts = np.bincount(patches.zone, minlength=len(ZONES))
    enough = counts >= LEAST_ZONE_PATCHES
    if len(patches) < LEAST_PATCHES or not enough.any():
        zones = {zone: ProcessEvidence(int(count)) for zone, count in zip(ZONES, counts, strict=True)}
        return Verdict(ProcessEvidence(len(patches)), zones)
    said = said or weights.asks.said(patches)
    zone_logits = said.zone.tolist()
    if not all(math.isfinite(logit) for logit in (said.dial, said.photographic, *zone_logits)):
        raise ArithmeticError(
            f"weights {weights.name} {weights.version} gave a number that is not finite; copy them again or give others"
        )
    unlike = _unlike(patches, weights)
    withheld = withheld or unlike
    zones = {}
    for index, name in enumerate(ZONES):
        zones[name] = ProcessEvidence(int(counts[index]))
        if enough[index]:
            ratio, capped = weights.zone_calibration.log10_lr(zone_logits[index], patches.resolution)
            zones[name] = ProcessEvidence(int(counts[index]), ratio, capped, withheld)
    ratio, capped = weights.dial_calibration.log10_lr(said.dial, patches.resolution)
    explanation = explain(said, patches.joined, weights.dial_calibration, weights.zone_calibration)
    whole = ProcessEvidence(len(patches), ratio, capped, withheld)
    verdict = Verdict(whole, zones, explanation=explanation, unlike=unlike)
    if weights.print_calibration is None:
        return verdict
    return replace(
        verdict, printing=PrintEvidence(*weights.print_calibration.log10_lr(said.photographic, patches.resolution))
    )


def _unlike(patches: PatchSet, weights: Weights) -> bool:
    """Whether a dial looks like none that was drawn; never where nobody noted what those look like."""
    if weights.familiar is None:
        return False
    values = weights.asks.plain_numbers(patches.density)
    told = patches.resolution if patches.each is None else patches.each
    return not bool(weights.familiar.knows(traits_of(values, patches.zone, told)[None])[0])
