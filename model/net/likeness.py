"""How alike like strokes are: patches of a zone laid over one another, and what is left against the photograph's noise.

For every shift the sums of squared differences are one product of matrices. All pairs of a bag are compared at once, so
that shapes depend on its width alone and the step of training compiles; a photograph is compared by alike.py, those of
a zone and scale by themselves. Patches of single shapes meet among themselves, for their scales are their own; so do
those of the lattice.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn.functional import avg_pool2d, max_pool2d, pad

from dialtell.model.net.alike import BARE, CALM, FEW_BARE, INK, LEAST, LOOK, REACH, SOFT

_NOTHING = -1e4  # of a pair that is none


@dataclass(frozen=True, eq=False)
class Likeness:
    """Each patch and the K of its zone and scale that are most like it.

    beside : (B, N, K) which, -1 for none. alike : (B, N, K) 1 the same, 0 nothing in common, of the densities aligned.
    residual : (B, N, K) ln RMS density that differs over the ink, aligned. floor : (B,) ln RMS that two bare places
    of the same photograph differ by. Numbers of pairs that are none are finite and mean nothing.
    """

    beside: Tensor
    alike: Tensor
    residual: Tensor
    floor: Tensor


def looked(patches: Tensor) -> Tensor:
    """(P, S, S) D -> (P, LOOK ** 2), smaller, each px the mean of four by four."""
    side = patches.shape[-1] // LOOK
    wide = pad(patches.float()[:, None], (1, 1, 1, 1), mode="replicate")
    return avg_pool2d(wide, 2 * side, side)[:, 0].flatten(1)


def compared(looks: Tensor, zone: Tensor, scale: Tensor, most: int, *, whole: Tensor | None = None) -> Likeness:
    """looks : (B, N, LOOK ** 2). zone : (B, N) -1 for no patch. scale : (B, N) log2. most : K, fewer in small bags.

    whole : (B, N) patches that show all there is, whose enamel tells the noise; None for all.
    """
    with torch.autocast(looks.device.type, enabled=False):  # differences of sums: 8 bits of mantissa lose them
        sharp = looks.float().reshape(*zone.shape, LOOK, LOOK)
        image, most = _softened(sharp), min(most, zone.shape[1])
        beside, alike, residual = _nearest(image, zone, scale, most)
        noise = _noise(sharp, zone >= 0 if whole is None else whole & (zone >= 0))
        floor = 0.5 * (2 * CALM * noise + LEAST).log()
        return Likeness(beside, alike, residual, floor)


def _softened(image: Tensor) -> Tensor:
    """Likewise through the kernel 1 4 6 4 1 each way: where edges lie between pixels, and the grain of the ink, differ
    by more than strokes of two hands do."""
    flat = pad(image.flatten(0, 1)[:, None], (SOFT // 2,) * 4, mode="replicate")
    for _ in range(SOFT):
        flat = avg_pool2d(flat, 2, 1)
    return flat.view_as(image)


def _nearest(image: Tensor, zone: Tensor, scale: Tensor, most: int) -> tuple[Tensor, Tensor, Tensor]:
    """`beside`, `alike` and `residual` of a Likeness, all pairs at once."""
    left, ink = _differences(image)
    energy = image.square().sum((2, 3))
    alike = 1 - left / (energy[:, :, None] + energy[:, None]).clamp(min=1.0)
    like = (zone[:, :, None] == zone[:, None]) & (scale[:, :, None] == scale[:, None])
    like = like & (zone >= 0)[:, :, None] & ~torch.eye(zone.shape[1], dtype=torch.bool, device=zone.device)
    best, beside = alike.masked_fill(~like, _NOTHING).topk(most, dim=2)
    over = left.gather(2, beside) / (0.5 * (ink[:, :, None] + ink.gather(1, beside.flatten(1)).view_as(best)) + 4)
    real = best > 0.5 * _NOTHING
    residual = 0.5 * (over.clamp(min=0) + LEAST).log()
    return torch.where(real, beside, -1), torch.where(real, best, 0.0), residual


def _differences(image: Tensor) -> tuple[Tensor, Tensor]:
    """(B, N, N) least sum of squared differences of the middle of patch i and a shifted part of patch j, between the
    shifts by a parabola each way; and (B, N) px of ink in the middle."""
    inner = LOOK - 2 * REACH
    parts = image.unfold(2, inner, 1).unfold(3, inner, 1)  # (B, N, V, V, inner, inner), V = 2 REACH + 1
    middle = parts[:, :, REACH, REACH]
    moved = parts.flatten(4).permute(0, 2, 3, 1, 4)  # (B, V, V, N, inner ** 2)
    still = middle.flatten(2)[:, None, None]
    cross = still @ moved.transpose(3, 4)  # (B, V, V, N, N)
    left = still.square().sum(4)[..., None] + moved.square().sum(4)[..., None, :] - 2 * cross
    here = left[:, 1:-1, 1:-1]
    gain = _dip(left[:, :-2, 1:-1], here, left[:, 2:, 1:-1]) + _dip(left[:, 1:-1, :-2], here, left[:, 1:-1, 2:])
    # no less than a tenth of what is there: where both ways dip the parabolas may promise too much
    between = torch.maximum(here - gain, 0.1 * here)
    least = torch.minimum(between.flatten(1, 2).amin(1), left.flatten(1, 2).amin(1))
    return least.clamp(min=0), (middle > INK).flatten(2).sum(2).float()


def _dip(before: Tensor, here: Tensor, after: Tensor) -> Tensor:
    """How far the parabola through three neighbours dips below the one between them, 0 where that is not the least."""
    bend = (before + after - 2 * here).clamp(min=1e-3)
    slope = 0.5 * (after - before)
    return torch.where((here <= before) & (here <= after), 0.5 * slope.square() / bend, 0.0)


def _noise(image: Tensor, real: Tensor) -> Tensor:
    """(B,) variance of a px in bare enamel: the median over patches of what a mean of nine leaves; 0 where none is."""
    flat = image.flatten(0, 1)[:, None]
    even = avg_pool2d(flat, 3, 1, 1, count_include_pad=False)
    rough = (flat - even).square() * (9 / 8)
    bare = (max_pool2d(even, 3, 1, 1) < BARE).float()
    pixels = bare.sum((1, 2, 3))
    variance = ((rough * bare).sum((1, 2, 3)) / pixels.clamp(min=1)).view_as(real)
    told = real & (pixels.view_as(real) >= FEW_BARE)
    ordered = variance.masked_fill(~told, torch.inf).sort(dim=1).values
    number = told.sum(1)
    at = ((number - 1).clamp(min=0) // 2)[:, None]
    return torch.where(number > 0, ordered.gather(1, at)[:, 0], 0.0)
