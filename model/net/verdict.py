"""From patches to numbers and calls: what the net says, held to what was validated, and only where there is enough.

A zone with few patches shows no repetition, so it is not judged at all rather than judged weakly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import torch
from torch import Tensor, nn

from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED, call_for, print_call_for, probability
from dialtell.model.net.explanation import Explanation, explain
from dialtell.model.net.familiar import Familiar, traits_of
from dialtell.model.net.output import NetOutput
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


def judge(patches: PatchSet, weights: Weights, *, withheld: bool = False) -> Verdict:
    """Judge a dial's patches; `withheld` makes no call of it, nor is one made where they are like none the net was
    taught on. Raises ArithmeticError when the net gives no finite
    number."""
    counts = np.bincount(patches.zone, minlength=len(ZONES))
    enough = counts >= LEAST_ZONE_PATCHES
    if len(patches) < LEAST_PATCHES or not enough.any():
        zones = {zone: ProcessEvidence(int(count)) for zone, count in zip(ZONES, counts, strict=True)}
        return Verdict(ProcessEvidence(len(patches)), zones)
    output = asked(weights.quick, patches)
    dial_logit, zone_logits, print_logit = float(output.dial[0]), output.zone[0].tolist(), float(output.photographic[0])
    if not all(math.isfinite(logit) for logit in (dial_logit, print_logit, *zone_logits)):
        raise ArithmeticError(
            f"weights {weights.name} {weights.version} gave a number that is not finite; copy them again or give others"
        )
    unlike = _unlike(patches, weights.familiar)
    withheld = withheld or unlike
    zones = {}
    for index, name in enumerate(ZONES):
        zones[name] = ProcessEvidence(int(counts[index]))
        if enough[index]:
            ratio, capped = weights.zone_calibration.log10_lr(zone_logits[index], patches.resolution)
            zones[name] = ProcessEvidence(int(counts[index]), ratio, capped, withheld)
    ratio, capped = weights.dial_calibration.log10_lr(dial_logit, patches.resolution)
    reasons = output.reasons
    explanation = None
    if reasons is not None:
        voices = [voice.reasons for voice in output.voices if voice.reasons is not None]
        explanation = explain(reasons, patches.joined, weights.dial_calibration, weights.zone_calibration, voices)
    whole = ProcessEvidence(len(patches), ratio, capped, withheld)
    verdict = Verdict(whole, zones, explanation=explanation, unlike=unlike)
    if weights.print_calibration is None:
        return verdict
    return replace(
        verdict, printing=PrintEvidence(*weights.print_calibration.log10_lr(print_logit, patches.resolution))
    )


def _unlike(patches: PatchSet, familiar: Familiar | None) -> bool:
    """Whether a dial looks like none that was drawn; never where nobody noted what those look like."""
    if familiar is None:
        return False
    return not bool(familiar.knows(traits_of(*tensors(patches)).double().numpy())[0])


def tensors(patches: PatchSet) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """The net's input for one dial: (1, N, S, S) D, (1, N) zone index, (1,) log2 resolution, or (1, N) of patches of
    several photographs."""
    return (
        torch.from_numpy(np.ascontiguousarray(patches.density, dtype=np.float32))[None],
        torch.from_numpy(patches.zone)[None],
        torch.from_numpy(np.atleast_1d(patches.resolution if patches.each is None else patches.each[None])).float(),
    )


def asked(net: nn.Module, patches: PatchSet) -> NetOutput:
    """What a net says of a dial's patches of every scale, nothing learnt; on the CPU, wherever the net runs."""
    net.eval()
    seen = patches.joined
    device = next((numbers.device for numbers in net.parameters()), None)  # a stand-in may have none
    given = (*tensors(seen), torch.from_numpy(seen.scales.astype(np.float32))[None])
    with torch.inference_mode():
        output: NetOutput = net(*(each.to(device) for each in given))
    return output.each(Tensor.cpu)
