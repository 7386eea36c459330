"""The net: a small encoder of patches, and pooling over a bag of them that keeps both their mean and their spread.

Texture of a stroke is what the encoder sees in one patch. Repetition is what the spread over a zone shows: patches
are cut so that like strokes look alike (see patches), hence equal strokes give equal codes and a small spread.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import asdict, dataclass

import torch
from torch import Tensor, nn
from torch.nn.utils.fusion import fuse_conv_bn_eval

from dialtell.model.reading.patches import HIGH, LOW
from dialtell.synth.shared.terms import ZONES

_IN_CACHE = 32  # patches
SHARPEST = 1.0  # log2 resolution, the most the net that looks at one scale was told in its training


@dataclass(frozen=True)
class NetConfig:
    """Size of the net.

    widths : channels at a half, a quarter and an eighth of the patch's side, and of the last layer. code : length of
    a patch's code. spread : use the spread over a zone (repetition). texture : use the mean over a zone. beside : units
    that judge a patch beside its zone and its dial, 0 for none: each patch is then judged from itself alone.
    additive : an AdditiveNet, whose logits are sums over places and pairs, and which takes patches of several scales
    (see additive); else the net of the first shipped weights. pairs : of its: like strokes each patch is compared with.
    """

    widths: tuple[int, int, int, int] = (16, 32, 64, 112)
    code: int = 96
    spread: bool = True
    texture: bool = True
    beside: int = 80
    additive: bool = False
    pairs: int = 4

    def record(self) -> dict[str, object]:
        """Its fields as plain values."""
        return asdict(self)


@dataclass(frozen=True, eq=False)
class Reasons:
    """What each place and each pair of like strokes adds to a logit, nats, the sums being exact to rounding.

    dial[b] = dial_base[b] + place_dial[b].sum() + pair_dial[b].sum(), and likewise zone[b, z] with `place_zone` and
    `pair_zone` of the patches of that zone. place_* : (B, N), 0 where there is no patch. pair_* : (B, N, K), of patch n
    with patch pair_with[b, n, k] of its zone and scale, 0 where pair_with is -1. dial_base : (B,). zone_base : (B, Z).
    """

    place_dial: Tensor
    place_zone: Tensor
    pair_dial: Tensor
    pair_zone: Tensor
    pair_with: Tensor
    dial_base: Tensor
    zone_base: Tensor

    def each(self, do: Callable[[Tensor], Tensor]) -> Reasons:
        """Likewise with every tensor through `do`."""
        return Reasons(**{name: do(value) for name, value in vars(self).items()})


@dataclass(frozen=True, eq=False)
class NetOutput:
    """Logits at prior 1:1; positive speaks for the hand.

    dial : (B,). zone : (B, Z). patch : (B, N) of each patch, judged beside the others of its zone and dial.
    photographic : (B,) positive for photographic against transfer print.
    present : (B, Z) true where the zone has patches. reasons : what the logits are the sums of, None for nets that are
    not additive.
    """

    dial: Tensor
    zone: Tensor
    patch: Tensor
    photographic: Tensor
    present: Tensor
    reasons: Reasons | None = None

    def each(self, do: Callable[[Tensor], Tensor]) -> NetOutput:
        """Likewise with every tensor through `do`."""
        tensors = {name: do(value) for name, value in vars(self).items() if isinstance(value, Tensor)}
        return NetOutput(**tensors, reasons=None if self.reasons is None else self.reasons.each(do))

    def row(self, at: int) -> NetOutput:
        """That of one dial, as a batch of one."""
        return self.each(lambda value: value[at : at + 1])


class Same(nn.Module):
    """A 3x3 convolution added to its input. Plain convolutions: depthwise ones took five times as long on a CPU."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(channels, channels, 3, padding=1, bias=False), nn.BatchNorm2d(channels), nn.ReLU()
        )

    def forward(self, x: Tensor) -> Tensor:
        """(P, C, H, W) -> the same shape."""
        out: Tensor = x + self.body(x)
        return out


def _step(before: int, after: int, stride: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(before, after, 3, stride=stride, padding=1, bias=False), nn.BatchNorm2d(after), nn.ReLU()
    )


class Encoder(nn.Module):
    """(P, 1, S, S) optical density -> (P, code)."""

    def __init__(self, config: NetConfig) -> None:
        super().__init__()
        a, b, c, d = config.widths
        self.body = nn.Sequential(
            _step(1, a, 2), Same(a), _step(a, b, 2), Same(b), _step(b, c, 2), Same(c), _step(c, d, 1)
        )
        self.head = nn.Sequential(nn.Linear(3 * d, config.code), nn.LayerNorm(config.code))

    def forward(self, patches: Tensor) -> Tensor:
        """(P, 1, S, S) D -> (P, code)."""
        x = (patches - LOW) / (HIGH - LOW) * 2 - 0.2
        x = self.body(x).flatten(2)
        mean, peak = x.mean(2), x.max(2).values  # compiled, the gradient of amax is not a number in bfloat16
        spread = (x - mean[..., None]).square().mean(2).add(1e-5).sqrt()
        code: Tensor = self.head(torch.cat([mean, peak, spread], dim=1))
        return code


class StrokeNet(nn.Module):
    """Bag of patches -> logits per zone and dial. every_scale : whether it looks at patches of scales other than 0."""

    every_scale = False

    def __init__(self, config: NetConfig | None = None) -> None:
        super().__init__()
        self.config = config or NetConfig()
        self.encoder = Encoder(self.config)
        self._make_heads(self.config.code, len(ZONES))
        # on a GPU the norms take two thirds of a step where channels do not lie last
        self.encoder.to(memory_format=torch.channels_last)

    def _make_heads(self, code: int, zones: int) -> None:
        """All that judges codes. code : their length. zones : how many there are."""
        self.mix = nn.Sequential(nn.Linear(code + zones + 2, code), nn.GELU(), nn.Linear(code, code))
        self.look = nn.Linear(code, code)
        self.gate = nn.Linear(code, code)
        self.attention = nn.Linear(code, 1)
        self.opinion = nn.Linear(code, 1)
        if self.config.beside:
            self.compare = nn.Sequential(
                nn.Linear(5 * code, self.config.beside), nn.GELU(), nn.Linear(self.config.beside, 1)
            )
        pooled = 2 * code + zones + 5
        self.zone_head = nn.Sequential(nn.Linear(pooled, code), nn.GELU(), nn.Dropout(0.1), nn.Linear(code, 2))
        self.weigh = nn.Linear(pooled, 1)
        self.dial_head = nn.Sequential(nn.Linear(pooled - zones, code), nn.GELU(), nn.Dropout(0.1), nn.Linear(code, 2))

    def encode(self, patches: Tensor) -> Tensor:
        """(P, S, S) -> (P, code) of patches that exist."""
        if not self.training and patches.device.type == "cpu" and len(patches) > _IN_CACHE:
            # a few at a time what the layers hand on stays in the cache: the same numbers in half the time
            return torch.cat([self.encode(part) for part in torch.split(patches, _IN_CACHE)])
        codes: Tensor = self.encoder(patches[:, None].contiguous(memory_format=torch.channels_last))
        return codes

    def forward(self, patches: Tensor, zone: Tensor, resolution: Tensor, scale: Tensor | None = None) -> NetOutput:
        """patches : (B, N, S, S) D. zone : (B, N) index into ZONES, -1 no patch. resolution : (B,) log2.

        scale : (B, N) log2 of each patch's px per dial radius against SCALE, None for 0; this net looks at those of
        scale 0 alone, the additive one at all.
        """
        codes = self.encode(patches.flatten(0, 1))
        return self.judge(codes.reshape(*zone.shape, codes.shape[1]), zone, resolution, scale)

    def judge(self, codes: Tensor, zone: Tensor, resolution: Tensor, scale: Tensor | None = None) -> NetOutput:
        """(B, N, code) codes of patches -> logits; see forward."""
        if scale is not None:
            zone = torch.where(scale == 0, zone, -1)
        resolution = resolution.reshape(len(zone), -1).mean(1).clamp(max=SHARPEST)  # of several photographs, their mean
        real = zone >= 0
        member = nn.functional.one_hot(zone.clamp(min=0), len(ZONES)).to(codes.dtype) * real[..., None]
        about = resolution[:, None, None].expand(*zone.shape, 1).to(codes.dtype)
        known = torch.cat([member, about, (about / 2).square()], dim=2)
        h = codes + self.mix(torch.cat([codes, known], dim=2))
        score = self.attention(torch.tanh(self.look(h)) * torch.sigmoid(self.gate(h)))[..., 0]
        # (B, Z, N) attention within each zone
        inside = member.transpose(1, 2) > 0
        present = inside.any(2)
        score = score[:, None, :].expand_as(inside).masked_fill(~inside, -1e4)
        weight = torch.softmax(score.float(), dim=2).to(h.dtype) * inside
        mean = weight @ h
        evenly = inside.to(h.dtype) / inside.sum(2, keepdim=True).clamp(min=1)
        middle = evenly @ h
        spread = (evenly @ h.square() - middle.square()).clamp(min=0).add(1e-5).sqrt()
        opinion = self.opinion(h)
        if not self.config.spread:
            spread = torch.zeros_like(spread)
        patch = opinion[..., 0]
        if self.config.beside:
            patch = patch + self._beside(h, member, middle, spread)
        votes = torch.cat([weight @ opinion, evenly @ opinion], dim=2)
        if not self.config.texture:
            mean, votes = torch.zeros_like(mean), torch.zeros_like(votes)
        count = inside.sum(2).clamp(min=1).to(h.dtype).log()[..., None] / 3
        eye = torch.eye(len(ZONES), device=h.device, dtype=h.dtype).expand(len(h), -1, -1)
        level = resolution[:, None, None].expand(-1, len(ZONES), 1).to(h.dtype)
        pooled = torch.cat([mean, spread, votes, count, level, (level / 2).square(), eye], dim=2)
        out = self.zone_head(pooled)
        share = torch.softmax(self.weigh(pooled)[..., 0].masked_fill(~present, -1e4).float(), dim=1).to(h.dtype)
        whole = (share[:, None, :] @ pooled[..., : -len(ZONES)])[:, 0]
        dial = self.dial_head(whole)
        return NetOutput(dial[:, 0].float(), out[..., 0].float(), patch.float(), dial[:, 1].float(), present)

    def _beside(self, h: Tensor, member: Tensor, middle: Tensor, spread: Tensor) -> Tensor:
        """(B, N): what a patch's logit gains from what stands beside it, the mean and spread of its zone and its dial.

        One odd figure shows by how it differs from its like, which no patch tells by itself.
        """
        real = member.sum(2, keepdim=True)
        count = real.sum(1, keepdim=True).clamp(min=1)
        whole = (h * real).sum(1, keepdim=True) / count
        width = ((h.square() * real).sum(1, keepdim=True) / count - whole.square()).clamp(min=0).add(1e-5).sqrt()
        if not self.config.spread:
            width = torch.zeros_like(width)
        zone, zone_width = member @ middle, member @ spread
        seen = [h, h - zone, zone_width, h - whole, width.expand_as(h)]
        found: Tensor = self.compare(torch.cat(seen, dim=2))[..., 0]
        return found


def folded(net: StrokeNet) -> StrokeNet:
    """A copy to be read only, its norms folded into the convolutions before them: the same numbers to rounding, about a
    sixth sooner, and no gradients of its own."""
    copy = deepcopy(net).eval().requires_grad_(False)
    for module in [module for module in copy.modules() if isinstance(module, nn.Sequential)]:
        for place, layer in enumerate(module):
            after = module[place + 1] if place + 1 < len(module) else None
            if isinstance(layer, nn.Conv2d) and isinstance(after, nn.BatchNorm2d):
                module[place], module[place + 1] = fuse_conv_bn_eval(layer, after), nn.Identity()
    return copy.requires_grad_(False)


def count_parameters(net: nn.Module) -> int:
    """Numbers learnt."""
    return sum(p.numel() for p in net.parameters())
