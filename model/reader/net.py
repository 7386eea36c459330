"""The net that sees dials: what every pixel of a picture shows, where the dial's edge runs and which way is up.

One small net looks twice: at the whole photograph, where only the outline counts, and at the dial with its outline
made a circle, where the pixels and the turn count. The turn is read on the picture unrolled round the middle, so that
turning the dial only shifts it: no angle is favoured.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import torch
from torch import Tensor, nn
from torch.nn import functional as F

from dialtell.model.reader.reader_config import ReaderConfig as ReaderConfig
from dialtell.synth.shared import look_sizes
from dialtell.synth.shared.terms import MAKES, SEEN

SIDE, SQUARE, PADDING, TURNS = look_sizes.SIDE, look_sizes.SQUARE, look_sizes.PADDING, look_sizes.TURNS
_RADII = 24  # rings of the unrolled picture
_REACH = 1.04  # dial radii of the outermost


class Sight(NamedTuple):
    """What one look gives, B pictures.

    seen : (B, len(SEEN), SIDE, SIDE) logits. inside : (B, SIDE / 2, SIDE / 2) logits of lying within the outline,
    covered or not. where : (B, 2, SIDE / 2, SIDE / 2) place in the outline made a circle, dial radii from its centre.
    make : (B, len(MAKES)) logits. turn : (B, TURNS) logits of the direction of 12 o'clock, clockwise from up, of a
    square look; None if it was not asked for.
    """

    seen: Tensor
    inside: Tensor
    where: Tensor
    make: Tensor
    turn: Tensor | None


class ReaderNet(nn.Module):
    """Input (B, 3, SIDE, SIDE) sRGB code values 0..255."""

    def __init__(self, config: ReaderConfig | None = None) -> None:
        super().__init__()
        self.config = config or ReaderConfig()
        a, b, c, d, e = self.config.widths
        self.stem = nn.Sequential(nn.Conv2d(3, a, 4, 2, 1, bias=False), nn.BatchNorm2d(a), nn.ReLU(True), _conv(a, a))
        self.down = nn.ModuleList([_conv(a, b, 2), _conv(b, c, 2), _conv(c, d, 2), _conv(d, e, 2)])
        self.here = nn.ModuleList(
            [
                _conv(b, b),
                nn.Sequential(_conv(c, c), _conv(c, c)),
                nn.Sequential(_conv(d, d), _conv(d, d)),
                nn.Sequential(_conv(e, e), _conv(e, e, dilation=2), _conv(e, e, dilation=4)),
            ]
        )
        self.narrow = nn.ModuleList([nn.Conv2d(b, a, 1), nn.Conv2d(c, b, 1), nn.Conv2d(d, c, 1), nn.Conv2d(e, d, 1)])
        self.back = nn.ModuleList([_conv(a, a), _conv(b, b), nn.Sequential(_conv(c, c), _conv(c, c)), _conv(d, d)])
        self.pixels = nn.Conv2d(a, 4 * len(SEEN), 1)
        self.outline = nn.Conv2d(a, 3, 1)
        self.make = nn.Sequential(nn.Linear(2 * e + c, 64), nn.ReLU(True), nn.Linear(64, len(MAKES)))
        self.turn = TurnPart(a + b + len(SEEN), self.config.turn)

    def forward(self, picture: Tensor, turn: bool = False) -> Sight:
        """One look. turn : whether to say where 12 o'clock stands, for pictures of the second look."""
        levels = [self.stem((picture - 127.0) / 64.0)]
        for down, here in zip(self.down, self.here, strict=True):
            levels.append(here(down(levels[-1])))
        deepest = found = levels[-1]
        fine = found
        for index in (3, 2, 1, 0):
            up = F.interpolate(self.narrow[index](found), scale_factor=2.0, mode="nearest")
            found = self.back[index](levels[index] + up)
            if index == 2:
                fine = found
            if index == 1:
                middle = found
        seen = F.pixel_shuffle(self.pixels(found), 2)
        outline = self.outline(found)
        inside = outline[:, 0]
        share = F.adaptive_avg_pool2d(torch.sigmoid(inside.detach())[:, None], deepest.shape[-2:])
        within = (deepest * share).sum((2, 3)) / (share.sum((2, 3)) + 1e-3)
        weight = F.adaptive_avg_pool2d(torch.sigmoid(inside.detach())[:, None], fine.shape[-2:])
        surface = (fine * weight).sum((2, 3)) / (weight.sum((2, 3)) + 1e-3)
        make = self.make(torch.cat([deepest.mean((2, 3)), within, surface], 1))
        turned = None
        if turn:
            names = F.avg_pool2d(seen, 2).softmax(1)
            wide = F.interpolate(middle, scale_factor=2.0, mode="nearest")
            turned = self.turn(torch.cat([found, wide, names], 1))
        return Sight(seen, inside, outline[:, 1:], make, turned)


class TurnPart(nn.Module):
    """Where 12 o'clock stands, from features (B, C, SIDE / 2, SIDE / 2) of a square look: (B, TURNS) logits."""

    unrolled: Tensor

    def __init__(self, features: int, width: int) -> None:
        super().__init__()
        self.register_buffer("unrolled", _unrolling(), persistent=False)
        self.first = nn.Conv2d(features, width, 1)
        self.rings = nn.ModuleList(
            [_Round(width, width, 3, 5, 2), _Round(width, width, 3, 5, 2), _Round(width, width, 3, 5, 2)]
        )
        self.flat = nn.Conv2d(width * (_RADII // 8), width, 1)
        self.far = nn.ModuleList([_Round(width, width, 1, 5, 1, step) for step in (1, 3, 9, 27, 60)])
        self.last = nn.Conv2d(width, 1, 1)

    def forward(self, features: Tensor) -> Tensor:
        """Logits of each direction, clockwise from up in degrees."""
        grid = self.unrolled.to(features.dtype).expand(len(features), -1, -1, -1)
        found = F.relu(self.first(F.grid_sample(features, grid, align_corners=False)))
        for part in self.rings:
            found = part(found)
        found = F.relu(self.flat(found.flatten(1, 2)[:, :, None]))
        for part in self.far:
            found = found + part(found)
        return torch.as_tensor(self.last(found)).flatten(1)


class _Round(nn.Module):
    """A convolution on a picture unrolled round the turn, whose ends meet."""

    def __init__(self, into: int, out: int, rows: int, columns: int, pool: int, step: int = 1) -> None:
        super().__init__()
        self.wide = step * (columns // 2)
        self.tall = rows // 2
        self.conv = nn.Conv2d(into, out, (rows, columns), dilation=(1, step), bias=False)
        self.norm = nn.BatchNorm2d(out)
        self.pool = pool

    def forward(self, picture: Tensor) -> Tensor:
        picture = F.pad(picture, (self.wide, self.wide, 0, 0), mode="circular")
        found = F.relu(self.norm(self.conv(F.pad(picture, (0, 0, self.tall, self.tall)))))
        return F.max_pool2d(found, (self.pool, 1)) if self.pool > 1 else found


def _conv(into: int, out: int, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(into, out, 3, stride, dilation, dilation, bias=False), nn.BatchNorm2d(out), nn.ReLU(True)
    )


def _unrolling() -> Tensor:
    """(1, _RADII, TURNS, 2) places of the unrolled picture's samples in a square look, -1..1 of its sides."""
    turn = torch.arange(TURNS) * (2 * math.pi / TURNS)
    radius = (torch.arange(_RADII) + 0.5) / _RADII * _REACH * SQUARE / (SIDE / 2)
    x, y = radius[:, None] * torch.sin(turn), -radius[:, None] * torch.cos(turn)
    return torch.stack([x, y], -1)[None]
