"""One way of judging what the encoder saw: logits of zones and dial as the exact sum of what places and pairs add.

Two voices hear the same patches, are taught apart and speak with equal weight. The one that looks judges the strokes as
such, beside the rest of their zone. The one that compares is told only how a patch differs from its like, how widely
its zone spreads and how alike pairs are: cameras, crystals and inks change all strokes of a dial together and leave
that alone, so where they are strange to the first voice the second still knows what it hears.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import torch
from torch import Tensor, nn

from dialtell.model.net.output import NetOutput, Reasons
from dialtell.synth.shared.terms import ZONES

PAIR_NUMBERS = 7  # of a pair besides the codes
_PAIR_UNITS = 48
_TOGETHER = 64  # places of a zone up to which more add more, about as many as training shows together; then their mean
# where the exponents of n, of the number of pairs and of that of zones begin: between a sum and a mean
_PLACES, _PAIRS, _ZONES = 0.6, 0.8, 0.5
_SUMMED = tuple(field.name for field in fields(Reasons) if field.name != "pair_with")


@dataclass(frozen=True, eq=False)
class Seen:
    """What voices are told of B bags of N patches; G kinds are the zones, then the zones' single shapes.

    code : (B, N, C) each patch, told of its zone, scale and sharpness. known : (B, N, A) these. member : (B, N, Z) and
    kinds : (B, N, G), 0 or 1. middles, spreads : (B, G, C) of kinds. present : (B, Z). beside : (B, N, K) the patches
    most like each, -1 for none, K = 1 of -1 where nothing is compared. mine, other : (B, N, 1, C) and (B, N, K, C)
    codes of a pair as the encoder gave them, numbers : (B, N, K, PAIR_NUMBERS) of it; None where nothing is compared.
    printing : (B,) logit, photographic against transfer.
    """

    code: Tensor
    known: Tensor
    member: Tensor
    kinds: Tensor
    middles: Tensor
    spreads: Tensor
    present: Tensor
    beside: Tensor
    mine: Tensor | None
    other: Tensor | None
    numbers: Tensor | None
    printing: Tensor


class Voice(nn.Module):
    """Seen -> logits and their reasons.

    looks : whether it is told what a patch shows by itself, or only how patches differ. code, known : lengths of
    what it is told. beside : units that judge a place. pairs : like strokes each patch is compared with, 0 for none.
    """

    def __init__(self, *, looks: bool, code: int, known: int, beside: int, pairs: int) -> None:
        super().__init__()
        self.looks, self.pairs = looks, pairs
        told = 3 * code if looks else 2 * code + known
        self.place = nn.Sequential(nn.Linear(told, beside), nn.GELU(), nn.Dropout(0.1), nn.Linear(beside, 1))
        if pairs:
            told = (2 if looks else 1) * code + PAIR_NUMBERS
            self.pair = nn.Sequential(nn.Linear(told, _PAIR_UNITS), nn.GELU(), nn.Linear(_PAIR_UNITS, 1))
        self.weigh = nn.Linear((2 if looks else 1) * code + len(ZONES), 1)
        self.witness = nn.Parameter(torch.logit(torch.tensor([_PLACES, _PAIRS, _ZONES])))

    def forward(self, seen: Seen) -> NetOutput:
        """What it says."""
        member, present = seen.member, seen.present
        count = member.sum(1)  # (B, Z)
        real = member.sum(2)  # (B, N)
        place = self.place(torch.cat(self._of_places(seen), dim=2))[..., 0].float() * real

        # what one unit of evidence counts in its zone, and a zone's in the dial
        many, pairs_many, zones_many = torch.sigmoid(self.witness.float()).unbind()
        zones = len(ZONES)
        eye = torch.eye(zones, device=member.device).expand(len(member), -1, -1)
        whole = [seen.middles[:, :zones]] if self.looks else []
        gate = self.weigh(torch.cat([*whole, seen.spreads[:, :zones], eye], dim=2))[..., 0].float()
        gate = 2 * torch.sigmoid(gate) * present.sum(1, keepdim=True).float().clamp(min=1) ** -zones_many
        compared = (seen.beside >= 0).float()
        pair = self._of_pairs(seen) * compared
        pair_count = (member.transpose(1, 2) @ compared.sum(2)[..., None])[..., 0]  # (B, Z)
        place_zone = place * _of_zone(member, _worth(count, many, _TOGETHER))
        pair_zone = pair * _of_zone(member, _worth(pair_count, pairs_many, _TOGETHER * self.pairs))[..., None]
        into = _of_zone(member, gate)
        reasons = Reasons(
            place_dial=place_zone * into,
            place_zone=place_zone,
            pair_dial=pair_zone * into[..., None],
            pair_zone=pair_zone,
            pair_with=seen.beside,
            dial_base=torch.zeros(len(member), device=member.device),
            zone_base=torch.zeros((len(member), zones), device=member.device),
        )
        by_place = reasons.place_zone + reasons.pair_zone.sum(2)
        zone_logit = reasons.zone_base + (member.transpose(1, 2) @ by_place[..., None])[..., 0]
        dial = reasons.dial_base + reasons.place_dial.sum(1) + reasons.pair_dial.sum((1, 2))
        patch = place + pair.sum(2) / compared.sum(2).clamp(min=1)
        return NetOutput(dial, zone_logit, patch, seen.printing, present, reasons)

    def _of_places(self, seen: Seen) -> list[Tensor]:
        """What is told of each place. Beside its zone alone: beside the whole dial, zones would say what others do."""
        apart, width = seen.code - seen.kinds @ seen.middles, seen.kinds @ seen.spreads
        return [seen.code, apart, width] if self.looks else [apart, width, seen.known]

    def _of_pairs(self, seen: Seen) -> Tensor:
        """(B, N, K) what each pair adds."""
        if not self.pairs or seen.mine is None or seen.other is None or seen.numbers is None:
            return torch.zeros(seen.beside.shape, device=seen.beside.device)
        whole = [(seen.mine + seen.other) / 2] if self.looks else []
        told = torch.cat([*whole, (seen.mine - seen.other).abs(), seen.numbers], dim=3)
        pair: Tensor = self.pair(told)[..., 0]
        return pair.float()


def together(voices: list[NetOutput]) -> NetOutput:
    """What several voices say on the mean, their own words kept with it."""
    if len(voices) == 1:
        return voices[0]
    first, share = voices[0], 1 / len(voices)

    def mean(tensors: list[Tensor]) -> Tensor:
        return torch.stack(tensors).sum(0) * share

    heard = [voice.reasons for voice in voices if voice.reasons is not None]
    reasons = None
    if heard:
        sums = {name: mean([getattr(own, name) for own in heard]) for name in _SUMMED}
        reasons = Reasons(**sums, pair_with=heard[0].pair_with)
    dial, zone, patch = (mean([getattr(voice, name) for voice in voices]) for name in ("dial", "zone", "patch"))
    return NetOutput(dial, zone, patch, first.photographic, first.present, reasons, tuple(voices))


def _worth(count: Tensor, exponent: Tensor, most: int) -> Tensor:
    """Share of what it says that each of `count` witnesses adds: count ** -exponent; beyond `most` their sum stays."""
    return count.clamp(1, max(most, 1)) ** (1 - exponent) / count.clamp(min=1)


def _of_zone(member: Tensor, value: Tensor) -> Tensor:
    """(B, N) each patch's zone's value; 0 without a patch. member : (B, N, Z) 0 or 1. value : (B, Z)."""
    return (member * value[:, None]).sum(2)
