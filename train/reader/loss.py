"""What the reader is punished for."""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional as F

from dialtell.model.reader.net import SIDE, TURNS, Sight
from dialtell.synth.shared.terms import SEEN, Seen

# rare things count more: ink and what lies over it
WEIGHTS = {
    Seen.NOT_DIAL: 0.5, Seen.ENAMEL: 0.7, Seen.GLARE: 2.0, Seen.STEP: 2.5, Seen.DAMAGE: 1.5, Seen.SIGNATURE: 3.0,
    Seen.NUMERALS: 1.2, Seen.MINUTE_TRACK: 1.5, Seen.SECONDS_BIT: 2.5, Seen.OTHER: 2.5, Seen.HOLE: 3.0, Seen.HAND: 1.2,
    Seen.OVERLAY: 2.5,
}  # fmt: skip
_TURN_SPREAD = 1.2  # of the turn's samples: how far beside the truth is still right
PARTS = {"seen": 1.0, "inside": 1.0, "where": 2.0, "make": 0.3, "turn": 0.25}
EDGE_PX = 4.0  # half-size px about the outline that count most


def losses(sight: Sight, seen: Tensor, truth: Tensor) -> dict[str, Tensor]:
    """Each part's mean loss. seen : (B, SIDE, SIDE) long. truth : (B, 10) as train.reader.pictures.TRUTH."""
    weights = torch.tensor([WEIGHTS[one] for one in SEEN], device=truth.device)
    found = {"seen": F.cross_entropy(sight.seen.float(), seen, weight=weights)}
    dial = truth[:, 0]
    place = places(truth)
    away = place.norm(dim=1)
    inside = ((away < 1.0) & (dial[:, None, None] > 0)).float()
    # px of the half-size picture a dial radius has
    scale = 0.5 / (truth[:, 3] * truth[:, 6] - truth[:, 4] * truth[:, 5]).abs().clamp(min=1e-9).sqrt()
    near = torch.exp(-(((away - 1.0) * scale[:, None, None] / EDGE_PX) ** 2)) * dial[:, None, None]
    each = F.binary_cross_entropy_with_logits(sight.inside.float(), inside, reduction="none")
    found["inside"] = (each * (1.0 + 6.0 * near)).mean()
    within = ((away < 1.1) & (dial[:, None, None] > 0)).float()
    apart = F.smooth_l1_loss(sight.where.float(), place, reduction="none", beta=0.05).sum(1)
    # each dial counts alike, however small it is in the frame
    found["where"] = ((apart * within).sum((1, 2)) / (within.sum((1, 2)) + 20.0)).mean()
    found["make"] = F.cross_entropy(sight.make.float(), truth[:, 8].long())
    if sight.turn is not None:
        asked = ((dial > 0) & (truth[:, 9] == 1)).float()
        log = sight.turn.float().log_softmax(1)
        each_turn = -(turn_target(truth[:, 7]) * log).sum(1)
        found["turn"] = (each_turn * asked).sum() / asked.sum().clamp(min=1.0)
    return found


def places(truth: Tensor) -> Tensor:
    """(B, 2, SIDE / 2, SIDE / 2) dial radii from the centre, once the outline is made a circle."""
    axis = (torch.arange(SIDE // 2, device=truth.device) + 0.5) * 2.0
    x = axis[None, None, :] - truth[:, 1, None, None]
    y = axis[None, :, None] - truth[:, 2, None, None]
    m = truth[:, 3:7, None, None]
    return torch.stack([m[:, 0] * x + m[:, 1] * y, m[:, 2] * x + m[:, 3] * y], 1)


def turn_target(twelve: Tensor) -> Tensor:
    """(B, TURNS) shares about the true direction, radians clockwise from up."""
    at = torch.arange(TURNS, device=twelve.device) * (2 * math.pi / TURNS)
    away = torch.atan2(torch.sin(at - twelve[:, None]), torch.cos(at - twelve[:, None])) * (TURNS / (2 * math.pi))
    share = torch.exp(-0.5 * (away / _TURN_SPREAD) ** 2)
    return share / share.sum(1, keepdim=True)


def total(parts: dict[str, Tensor]) -> Tensor:
    """The weighted sum."""
    return torch.stack([PARTS[name] * value for name, value in parts.items()]).sum()
