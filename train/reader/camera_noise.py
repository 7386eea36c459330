"""Small disturbances of pictures on the device, so that one drawn once is never seen twice alike."""

from __future__ import annotations

import torch
from torch import Tensor


def disturbed(picture: Tensor) -> Tensor:
    """(B, 3, H, W) code values with tone, colour and grain changed at random, 0..255."""
    count, device = len(picture), picture.device

    def drawn(low: float, high: float, wide: int = 1) -> Tensor:
        return low + (high - low) * torch.rand((count, wide, 1, 1), device=device)

    code = (picture / 255.0).clamp(1e-4, 1.0)
    code = code ** torch.exp(drawn(-0.35, 0.35)) * torch.exp(drawn(-0.12, 0.12, 3)) * torch.exp(drawn(-0.2, 0.15))
    grey = code.mean(1, keepdim=True)
    code = grey + (code - grey) * torch.where(drawn(0, 1) < 0.12, torch.zeros_like(grey[:, :, :1, :1]), drawn(0.5, 1.4))
    code = code + 0.03 * drawn(0, 1) ** 3 * torch.randn_like(code)
    padding = (picture == 127.0).all(1, keepdim=True)
    return torch.where(padding, picture, (255.0 * code).clamp(0.0, 255.0))
