"""The encoder: what is seen in one patch, whatever stands beside it, as a code."""

from __future__ import annotations

import torch
from torch import Tensor, nn

from dialtell.model.reading.patches import HIGH, LOW


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
    """(P, 1, S, S) optical density -> (P, code). widths, code : as of NetConfig."""

    def __init__(self, widths: tuple[int, int, int, int], code: int) -> None:
        super().__init__()
        a, b, c, d = widths
        self.body = nn.Sequential(
            _step(1, a, 2), Same(a), _step(a, b, 2), Same(b), _step(b, c, 2), Same(c), _step(c, d, 1)
        )
        self.head = nn.Sequential(nn.Linear(3 * d, code), nn.LayerNorm(code))

    def forward(self, patches: Tensor) -> Tensor:
        """(P, 1, S, S) D -> (P, code)."""
        x = (patches - LOW) / (HIGH - LOW) * 2 - 0.2
        x = self.body(x).flatten(2)
        mean, peak = x.mean(2), x.max(2).values  # compiled, the gradient of amax is not a number in bfloat16
        spread = (x - mean[..., None]).square().mean(2).add(1e-5).sqrt()
        code: Tensor = self.head(torch.cat([mean, peak, spread], dim=1))
        return code
