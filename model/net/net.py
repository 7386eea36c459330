"""The net: the logit of a zone and of a dial is the exact sum of what its places and its pairs of like strokes
contribute, each judged beside the rest of its zone (after additive multiple-instance learning, Javed et al. 2022).

Texture of a stroke is what the encoder sees in one patch. Repetition is what the spread over a zone and the pairs of
like strokes show: patches are cut so that like strokes look alike (see patches), hence equal strokes give equal codes;
those of single shapes (figure_patches) are paired among themselves, wherever in a zone they stand.
The map of contributions is the call: a zone called painted cannot have a map that speaks for print. n places of a
zone do not count as n independent witnesses: what they add is multiplied by n ** -a, a learnt, the same for all of a
zone; zones likewise, each by a weight of its own. Where nothing is seen nothing is said: no sum begins with a constant,
which could speak for one kind without a place to show for it. Patches of several scales stand in one bag, each told
its own.
"""

from __future__ import annotations

import numpy as np
import torch
from torch import Tensor, nn

from dialtell.model.net.alike import compared as compared_alone
from dialtell.model.net.encoder import Encoder
from dialtell.model.net.likeness import Likeness, compared, looked
from dialtell.model.net.net_config import NetConfig as NetConfig
from dialtell.model.net.output import NetOutput
from dialtell.model.net.voice import Seen, Voice, together
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES

_IN_CACHE = 32  # patches
_ABOUT = 5  # numbers that tell a patch's scale, sharpness and kind


class StrokeNet(nn.Module):
    """Bag of patches -> logits per zone and dial, and the contributions they are the sums of."""

    def __init__(self, config: NetConfig | None = None) -> None:
        super().__init__()
        self.config = config or NetConfig()
        code, beside, zones = self.config.code, self.config.beside, len(ZONES)
        self.encoder = Encoder(self.config.widths, code)
        self.mix = nn.Sequential(nn.Linear(code + zones + _ABOUT, code), nn.GELU(), nn.Linear(code, code))
        if not (self.config.spread or self.config.texture):
            raise ParameterError("spread and texture are both off; leave one on, or the net has nothing to judge by")
        pairs = self.config.pairs if self.config.spread else 0
        self.voices = nn.ModuleList(
            Voice(looks=looks, code=code, known=zones + _ABOUT, beside=beside, pairs=pairs)
            for looks, wanted in ((True, self.config.texture), (False, self.config.spread))
            if wanted
        )
        self.print_head = nn.Sequential(nn.Linear(2 * code, code), nn.GELU(), nn.Dropout(0.1), nn.Linear(code, 1))
        # on a GPU the norms take two thirds of a step where channels do not lie last
        self.encoder.to(memory_format=torch.channels_last)

    def encode(self, patches: Tensor) -> Tensor:
        """(P, S, S) -> (P, code + LOOK ** 2) of patches that exist: the code, and the patch made small, to be compared
        with others."""
        if not self.training and patches.device.type == "cpu" and len(patches) > _IN_CACHE:
            # a few at a time what the layers hand on stays in the cache: the same numbers in half the time
            return torch.cat([self.encode(part) for part in torch.split(patches, _IN_CACHE)])
        codes: Tensor = self.encoder(patches[:, None].contiguous(memory_format=torch.channels_last))
        return torch.cat([codes.float(), looked(patches)], dim=1)

    def forward(self, patches: Tensor, zone: Tensor, resolution: Tensor, scale: Tensor | None = None) -> NetOutput:
        """patches : (B, N, S, S) D. zone : (B, N) index into ZONES, -1 no patch. resolution : (B,) log2, or (B, N)
        where patches of several photographs stand in one bag.

        scale : (B, N) log2 of each patch's px per dial radius against SCALE, None for 0.
        """
        codes = self.encode(patches.flatten(0, 1))
        return self.judge(codes.reshape(*zone.shape, codes.shape[1]), zone, resolution, scale)

    def judge(self, codes: Tensor, zone: Tensor, resolution: Tensor, scale: Tensor | None = None) -> NetOutput:
        """(B, N, code + LOOK ** 2) of `encode` -> logits; see forward."""
        code, looks = codes[..., : self.config.code], codes[..., self.config.code :]
        level = torch.zeros_like(zone, dtype=torch.float32) if scale is None else scale.float()
        own = resolution.float().reshape(len(zone), -1) - level  # log2 of true photo px per px of the patch
        return self.weighed(code, zone, level, own, self._likeness(looks, zone, level, own))

    def weighed(self, code: Tensor, zone: Tensor, level: Tensor, own: Tensor, found: Likeness | None) -> NetOutput:
        """code : (B, N, code). zone : as of forward. level : (B, N) scale. own : (B, N) resolution at that scale.
        found : the pairs, None where nothing is compared."""
        real = zone >= 0
        member = (zone[..., None] == torch.arange(len(ZONES), device=zone.device)).float()
        single = _single(level)
        about = (own, (own / 2).square(), level, own.clamp(max=0), single.float())
        known = torch.cat([member, torch.stack(about, dim=2)], dim=2)
        h = (code + self.mix(torch.cat([code, known], dim=2))) * real[..., None]
        # single shapes differ as letters do: each kind beside its own
        kinds = torch.cat([member * ~single[..., None], member * single[..., None]], dim=2)  # (B, N, 2 Z)
        middles, spreads = _pooled(h, kinds / kinds.sum(1, keepdim=True).clamp(min=1))
        whole, width = _pooled(h, (real.float() / real.sum(1, keepdim=True).clamp(min=1))[..., None])
        if not self.config.spread:
            width, spreads = torch.zeros_like(width), torch.zeros_like(spreads)
        if not self.config.texture:
            whole = torch.zeros_like(whole)
        printing = self.print_head(torch.cat([whole, width], dim=2))[:, 0, 0].float()
        beside, mine, other, numbers = _pairs(code, zone, level, own, found)
        seen = Seen(
            code=h, known=known, member=member, kinds=kinds, middles=middles, spreads=spreads, present=member.any(1),
            beside=beside, mine=mine, other=other, numbers=numbers, printing=printing,
        )  # fmt: skip
        return together([voice(seen) for voice in self.voices])

    def _likeness(self, looks: Tensor, zone: Tensor, level: Tensor, own: Tensor) -> Likeness | None:
        """The pairs; of one photograph alone, where several stand in a bag: what two cameras differ by is no hand."""
        if not (self.config.pairs and self.config.spread):
            return None
        whole = ~_single(level)
        if self.training or looks.device.type != "cpu":
            return compared(looks, zone, own, self.config.pairs, whole=whole)
        given = zip(*(each.detach().numpy() for each in (looks, zone, own, whole)), strict=True)
        rows = [compared_alone(look, z, s, self.config.pairs, whole=w) for look, z, s, w in given]
        beside, alike, residual = (
            torch.from_numpy(np.stack([getattr(row, name) for row in rows])) for name in ("beside", "alike", "residual")
        )
        return Likeness(beside, alike, residual, torch.tensor([row.floor for row in rows]))


def _single(level: Tensor) -> Tensor:
    """Which patches show one shape alone, see figure_patches."""
    return level != level.round()


def _pairs(
    code: Tensor, zone: Tensor, level: Tensor, own: Tensor, found: Likeness | None
) -> tuple[Tensor, Tensor | None, Tensor | None, Tensor | None]:
    """`beside`, `mine`, `other` and `numbers` of Seen."""
    if found is None:
        return torch.full((*zone.shape, 1), -1, device=zone.device), None, None, None
    k = found.beside.shape[2]
    at = found.beside.clamp(min=0).flatten(1)[..., None].expand(-1, -1, code.shape[2])
    other, mine = code.gather(1, at).reshape(*zone.shape, k, -1), code[:, :, None]
    floor, shape = found.floor[:, None, None], found.alike.shape
    about = (found.alike, found.residual, floor, found.residual - floor)
    each = (own, level, _single(level).to(level.dtype))
    numbers = torch.stack([*(n.expand(shape) for n in about), *(n[..., None].expand(shape) for n in each)], dim=3)
    return found.beside, mine, other, numbers


def _pooled(h: Tensor, share: Tensor) -> tuple[Tensor, Tensor]:
    """Mean and SD (B, G, code) of (B, N, code) over groups. share : (B, N, G), each group's adding to 1."""
    weight = share.transpose(1, 2).to(h.dtype)
    middle = weight @ h
    return middle, (weight @ h.square() - middle.square()).clamp(min=0).add(1e-5).sqrt()


def count_parameters(net: nn.Module) -> int:
    """Numbers learnt."""
    return sum(p.numel() for p in net.parameters())
