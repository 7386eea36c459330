"""The additive net: the logit of a zone and of a dial is the exact sum of what its places and its pairs of like strokes
contribute, each judged beside the rest (after additive multiple-instance learning, Javed et al. 2022).

Hence the map of contributions is the call: a zone called painted cannot have a map that speaks for print. n places of a
zone do not count as n independent witnesses: what they add is multiplied by n ** -a, a learnt, the same for all of a
zone; zones likewise, each by a weight of its own. Where nothing is seen nothing is said: no sum begins with a constant,
which could speak for one kind without a place to show for it. Patches of several scales stand in one bag, each told
its own.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn

from dialtell.model.net.likeness import Likeness, compared, looked
from dialtell.model.net.net import NetConfig, NetOutput, Reasons, StrokeNet
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES

_ABOUT = 4  # numbers that tell a patch's scale and sharpness
_PAIR = 6  # numbers of a pair besides the codes
_PAIR_UNITS = 48
_TOGETHER = 64  # places of a zone up to which more add more, about as many as training shows together; then their mean
# where the exponents of n, of the number of pairs and of that of zones begin: between a sum and a mean
_PLACES, _PAIRS, _ZONES = 0.6, 0.8, 0.5


class AdditiveNet(StrokeNet):
    """Bag of patches -> logits per zone and dial, and the contributions they are the sums of."""

    every_scale = True

    def __init__(self, config: NetConfig) -> None:
        if not (config.additive and config.beside):
            raise ParameterError(f"net is {config}; an additive one needs additive and beside")
        super().__init__(config)

    def _make_heads(self, code: int, zones: int) -> None:
        beside, seen = self.config.beside, 5 * code
        self.mix = nn.Sequential(nn.Linear(code + zones + _ABOUT, code), nn.GELU(), nn.Linear(code, code))
        self.place = nn.Sequential(nn.Linear(seen, beside), nn.GELU(), nn.Dropout(0.1), nn.Linear(beside, 1))
        if self.config.pairs:
            self.pair = nn.Sequential(nn.Linear(2 * code + _PAIR, _PAIR_UNITS), nn.GELU(), nn.Linear(_PAIR_UNITS, 1))
        self.weigh = nn.Linear(2 * code + zones, 1)
        self.witness = nn.Parameter(torch.logit(torch.tensor([_PLACES, _PAIRS, _ZONES])))
        self.print_head = nn.Sequential(nn.Linear(2 * code, code), nn.GELU(), nn.Dropout(0.1), nn.Linear(code, 1))

    def encode(self, patches: Tensor) -> Tensor:
        """(P, S, S) -> (P, code + LOOK ** 2): the code, and the patch made small, to be compared with others."""
        codes = super().encode(patches)
        if codes.shape[1] > self.config.code:  # a part of many, see StrokeNet.encode
            return codes
        return torch.cat([codes.float(), looked(patches)], dim=1)

    def judge(self, codes: Tensor, zone: Tensor, resolution: Tensor, scale: Tensor | None = None) -> NetOutput:
        """(B, N, code + LOOK ** 2) of `encode` -> logits; see forward.

        resolution : (B,), or (B, N) where patches of several photographs stand in one bag.
        """
        code, looks = codes[..., : self.config.code], codes[..., self.config.code :]
        real = zone >= 0
        level = torch.zeros_like(zone, dtype=torch.float32) if scale is None else scale.float()
        own = resolution.float().reshape(len(zone), -1) - level  # log2 of true photo px per px of the patch
        member = (zone[..., None] == torch.arange(len(ZONES), device=zone.device)).float()
        known = torch.cat([member, torch.stack([own, (own / 2).square(), level, own.clamp(max=0)], dim=2)], dim=2)
        h = (code + self.mix(torch.cat([code, known], dim=2))) * real[..., None]
        present = member.any(1)

        count = member.sum(1)  # (B, Z)
        share = member / count.clamp(min=1)[:, None]  # (B, N, Z)
        middle, spread = _pooled(h, share)
        whole, width = _pooled(h, (real.float() / real.sum(1, keepdim=True).clamp(min=1))[..., None])
        if not self.config.spread:
            spread, width = torch.zeros_like(spread), torch.zeros_like(width)
        seen = [h, h - member @ middle, member @ spread, h - whole, width.expand_as(h)]
        if not self.config.texture:  # how a patch differs from its like alone
            seen[0], seen[3] = torch.zeros_like(h), torch.zeros_like(h)
            middle, whole = torch.zeros_like(middle), torch.zeros_like(whole)
        place = self.place(torch.cat(seen, dim=2))[..., 0].float() * real

        # what one unit of evidence counts in its zone, and a zone's in the dial
        many, pairs_many, zones_many = torch.sigmoid(self.witness.float()).unbind()
        eye = torch.eye(len(ZONES), device=h.device).expand(len(h), -1, -1)
        gate = 2 * torch.sigmoid(self.weigh(torch.cat([middle, spread, eye], dim=2))[..., 0].float())
        gate = gate * present.sum(1, keepdim=True).clamp(min=1) ** -zones_many
        pair, beside = self._pairs(code, looks, zone, level, own)
        pair_count = (member.transpose(1, 2) @ (beside >= 0).float().sum(2)[..., None])[..., 0]  # (B, Z)
        place_zone = place * _of_zone(member, _worth(count, many, _TOGETHER))
        pair_zone = pair * _of_zone(member, _worth(pair_count, pairs_many, _TOGETHER * self.config.pairs))[..., None]
        into = _of_zone(member, gate)
        reasons = Reasons(
            place_dial=place_zone * into,
            place_zone=place_zone,
            pair_dial=pair_zone * into[..., None],
            pair_zone=pair_zone,
            pair_with=beside,
            dial_base=torch.zeros(len(h), device=h.device),
            zone_base=torch.zeros((len(h), len(ZONES)), device=h.device),
        )
        by_place = reasons.place_zone + reasons.pair_zone.sum(2)
        zone_logit = reasons.zone_base + (member.transpose(1, 2) @ by_place[..., None])[..., 0]
        dial = reasons.dial_base + reasons.place_dial.sum(1) + reasons.pair_dial.sum((1, 2))
        patch = place + pair.sum(2) / (beside >= 0).sum(2).clamp(min=1)
        printing = self.print_head(torch.cat([whole, width], dim=2))[:, 0, 0].float()
        return NetOutput(dial, zone_logit, patch, printing, present, reasons)

    def _pairs(self, code: Tensor, looks: Tensor, zone: Tensor, level: Tensor, own: Tensor) -> tuple[Tensor, Tensor]:
        """(B, N, K) what each patch adds with each of those most like it, and which those are, -1 for none."""
        if not (self.config.pairs and self.config.spread):
            none = torch.full((*zone.shape, 1), -1, device=zone.device)
            return torch.zeros_like(none, dtype=torch.float32), none
        # of one photograph alone, where several stand in a bag: what two cameras differ by is no hand
        found: Likeness = compared(
            looks, zone, own, self.config.pairs, apart=not self.training and looks.device.type == "cpu"
        )
        real = found.beside >= 0
        k = found.beside.shape[2]
        at = found.beside.clamp(min=0).flatten(1)[..., None].expand(-1, -1, code.shape[2])
        other, mine = code.gather(1, at).reshape(*zone.shape, k, -1), code[:, :, None]
        floor, shape = found.floor[:, None, None], found.alike.shape
        about = (found.alike, found.residual, floor, found.residual - floor, own[..., None], level[..., None])
        numbers = torch.stack([number.expand(shape) for number in about], dim=3)
        mean = (mine + other) / 2 if self.config.texture else torch.zeros_like(other)
        pair = self.pair(torch.cat([mean, (mine - other).abs(), numbers], dim=3))[..., 0]
        return pair.float() * real, found.beside


def _pooled(h: Tensor, share: Tensor) -> tuple[Tensor, Tensor]:
    """Mean and SD (B, G, code) of (B, N, code) over groups. share : (B, N, G), each group's adding to 1."""
    weight = share.transpose(1, 2).to(h.dtype)
    middle = weight @ h
    return middle, (weight @ h.square() - middle.square()).clamp(min=0).add(1e-5).sqrt()


def _worth(count: Tensor, exponent: Tensor, most: int) -> Tensor:
    """Share of what it says that each of `count` witnesses adds: count ** -exponent; beyond `most` their sum stays."""
    return count.clamp(1, most) ** (1 - exponent) / count.clamp(min=1)


def _of_zone(member: Tensor, value: Tensor) -> Tensor:
    """(B, N) each patch's zone's value; 0 without a patch. member : (B, N, Z) 0 or 1. value : (B, Z)."""
    return (member * value[:, None]).sum(2)


def build_net(config: NetConfig) -> StrokeNet:
    """A fresh net of that size and kind, its first weights from torch's generator."""
    return AdditiveNet(config) if config.additive else StrokeNet(config)
