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


def turned(picture: Tensor, seen: Tensor, truth: Tensor, quarters: int) -> tuple[Tensor, Tensor, Tensor]:
    """Pictures (B, 3, S, S), what is seen (B, S, S) and truth (B, 10) turned clockwise by quarters of a turn."""
    if quarters % 4 == 0:
        return picture, seen, truth
    side = picture.shape[-1]
    c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[quarters % 4]
    turn = torch.tensor([[c, -s], [s, c]], device=truth.device)  # x right, y down: clockwise
    found = truth.clone()
    found[:, 1:3] = (truth[:, 1:3] - side / 2) @ turn.T + side / 2
    found[:, 3:7] = (turn @ truth[:, 3:7].reshape(-1, 2, 2) @ turn.T).reshape(-1, 4)
    found[:, 7] = truth[:, 7] + quarters * (torch.pi / 2)
    without = truth[:, 0] == 0
    found[without] = truth[without]
    return torch.rot90(picture, -quarters, (2, 3)), torch.rot90(seen, -quarters, (1, 2)), found
