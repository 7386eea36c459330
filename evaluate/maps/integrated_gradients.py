"""Where on the dial a score comes from: integrated gradients and occlusion over a bag of patches.

A bag is (N, 1, S, S) float32 optical density; a score is one number for the whole bag, positive for hand. An
attribution has the bag's shape and the score's sign: positive density of evidence for hand, negative for
print.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import torch
from numpy.typing import ArrayLike, NDArray
from torch import Tensor

from dialtell.synth.shared.errors import ParameterError

Score = Callable[[Tensor], Tensor]


def _checked_bag(patches: Tensor) -> Tensor:
    if patches.ndim != 4 or patches.shape[1] != 1 or not patches.numel():
        raise ParameterError(f"patches have shape {tuple(patches.shape)}; give (N, 1, S, S) with N >= 1")
    return patches.detach()


def _baseline_like(patches: Tensor, baseline: Tensor | None) -> Tensor:
    """Bare enamel, density 0, unless another baseline broadcasts to the bag."""
    if baseline is None:
        return torch.zeros_like(patches)
    try:
        return baseline.detach().to(patches).expand_as(patches)
    except RuntimeError:
        raise ParameterError(
            f"baseline has shape {tuple(baseline.shape)}; give None for bare enamel or one that broadcasts "
            f"to {tuple(patches.shape)}"
        ) from None


def _one_number(score: Score, bag: Tensor) -> Tensor:
    value = score(bag)
    if value.numel() != 1:
        raise ParameterError(f"score returned shape {tuple(value.shape)}; it must give one number for a bag")
    return value.reshape(())


def integrated_gradients(
    score: Score,
    patches: Tensor,
    baseline: Tensor | None = None,
    *,
    steps: int = 32,
    change: float | None = None,
) -> tuple[Tensor, float]:
    """Integrated gradients of a bag's score along the straight line from baseline to patches.

    score : (N, 1, S, S) -> one number, differentiable in its input.
    patches : (N, 1, S, S) optical density.
    baseline : broadcast to the bag; None is bare enamel, density 0.
    steps : Gauss-Legendre nodes on the line, each one forward and backward pass of the whole bag.
    change : score(patches) - score(baseline) where it is known, which saves two passes.

    Returns the attribution, shaped as the bag, and the completeness error |sum(attribution) -
    (score(patches) - score(baseline))| in units of the score: 0 for an exact integral. Report it beside the
    map, and take more steps when it is not small against the score.

    Source: Sundararajan, Taly, Yan, Axiomatic attribution for deep networks, ICML 2017.
    """
    if steps < 1:
        raise ParameterError(f"steps is {steps}; give at least 1, 32 as a rule")
    bag = _checked_bag(patches)
    start = _baseline_like(bag, baseline)
    nodes, weights = np.polynomial.legendre.leggauss(steps)
    mean_gradient = torch.zeros_like(bag)
    with torch.enable_grad():
        for node, weight in zip((nodes + 1) / 2, weights / 2, strict=True):
            point = (start + float(node) * (bag - start)).requires_grad_(True)
            (gradient,) = torch.autograd.grad(_one_number(score, point), point)
            mean_gradient += float(weight) * gradient
    attribution = (bag - start) * mean_gradient
    if change is None:
        with torch.no_grad():
            change = float(_one_number(score, bag)) - float(_one_number(score, start))
    return attribution, abs(float(attribution.double().sum()) - change)


def occlusion(score: Score, patches: Tensor, window: int, stride: int, baseline: Tensor | None = None) -> Tensor:
    """Fall of the bag's score when a window of one patch is replaced by baseline, averaged over the windows.

    window, stride : px, 1 <= stride <= window <= S. The last window of a row or column is moved inwards to
    end at
        the border, so every pixel is covered by a whole window.
    Costs N * ceil((S - window) / stride + 1)^2 + 1 passes of the bag without gradients.
    """
    bag = _checked_bag(patches)
    height, width = bag.shape[2:]
    if not 1 <= stride <= window <= min(height, width):
        most = min(height, width)
        raise ParameterError(f"window is {window} px and stride {stride} px; give 1 <= stride <= window <= {most} px")
    fill = _baseline_like(bag, baseline)
    fall, covered = torch.zeros_like(bag), torch.zeros_like(bag)
    with torch.no_grad():
        whole = _one_number(score, bag)
        for index in range(bag.shape[0]):
            for top in _positions(height, window, stride):
                for left in _positions(width, window, stride):
                    place = (index, 0, slice(top, top + window), slice(left, left + window))
                    hidden = bag.clone()
                    hidden[place] = fill[place]
                    fall[place] += whole - _one_number(score, hidden)
                    covered[place] += 1
    return fall / covered


def _positions(length: int, window: int, stride: int) -> list[int]:
    return sorted({*range(0, length - window + 1, stride), length - window})


def paint_map(attributions: Tensor | ArrayLike, grids: ArrayLike, shape: tuple[int, int]) -> NDArray[np.float32]:
    """Attributions of overlapping patches painted onto one photograph.

    attributions : (N, 1, S, S) or (N, S, S), signed.
    grids : (N, S, S, 2) photo px (x, y) that each patch pixel's centre samples; the first photo pixel's
    centre is
        (0.5, 0.5). Samples outside the photo are left out.
    shape : (H, W) of the photo.

    Returns (H, W) float32: the mean of the samples near a pixel, each weighted bilinearly by its distance,
    where patches overlap the mean of all; 0 where no patch reached. Being a mean it keeps sign and height,
    not the sum.
    """
    tensor = attributions.detach().cpu().numpy() if isinstance(attributions, Tensor) else attributions
    value = np.asarray(tensor, dtype=np.float64)
    if value.ndim == 4 and value.shape[1] == 1:
        value = value[:, 0]
    grid = np.asarray(grids, dtype=np.float64)
    if value.ndim != 3 or grid.shape != (*value.shape, 2):
        raise ParameterError(
            f"attributions are {value.shape} and grids {grid.shape}; give (N, 1, S, S) and (N, S, S, 2)"
        )
    height, width = shape
    total, weight = np.zeros(height * width), np.zeros(height * width)
    for patch, place in zip(value, grid, strict=True):
        _splat(*_densified(patch, place), shape, total, weight)
    painted = np.divide(total, weight, out=np.zeros_like(total), where=weight > 1e-9)
    return painted.reshape(height, width).astype(np.float32)


def _densified(
    patch: NDArray[np.float64], place: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Patch and places resampled until neighbours lie at most 1 photo px apart, so that no holes stay."""
    gaps = [np.linalg.norm(np.diff(place, axis=axis), axis=-1).max(initial=0.0) for axis in (0, 1)]
    factor = min(16, max(1, math.ceil(max(gaps) - 1e-6)))
    if factor == 1:
        return patch, place
    layers = torch.from_numpy(np.concatenate([patch[None], np.moveaxis(place, -1, 0)]))[None]
    size = [factor * (side - 1) + 1 for side in patch.shape]
    fine = torch.nn.functional.interpolate(layers, size=size, mode="bilinear", align_corners=True)[0].numpy()
    return fine[0], np.moveaxis(fine[1:], 0, -1)


def _splat(
    patch: NDArray[np.float64],
    place: NDArray[np.float64],
    shape: tuple[int, int],
    total: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> None:
    """Add each sample to the four pixels around it, in place: within the patch's own box, whatever the photo's size."""
    height, width = shape
    # The pixel whose centre is at (0.5, 0.5) has index 0.
    x, y = place[..., 0].ravel() - 0.5, place[..., 1].ravel() - 0.5
    column, row = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    top, bottom = max(int(row.min()), 0), min(int(row.max()) + 2, height)
    left, end = max(int(column.min()), 0), min(int(column.max()) + 2, width)
    if top >= bottom or left >= end:
        return
    high, wide = bottom - top, end - left
    box = np.zeros((2, high * wide))
    value, right, down = patch.ravel(), x - column, y - row
    for step_down, share_down in ((0, 1 - down), (1, down)):
        for step_right, share_right in ((0, 1 - right), (1, right)):
            at_row, at_column = row + step_down - top, column + step_right - left
            inside = (at_row >= 0) & (at_row < high) & (at_column >= 0) & (at_column < wide)
            flat = at_row[inside] * wide + at_column[inside]
            share = (share_down * share_right)[inside]
            box[0] += np.bincount(flat, share * value[inside], high * wide)
            box[1] += np.bincount(flat, share, high * wide)
    for into, own in ((total, box[0]), (weight, box[1])):
        into.reshape(height, width)[top:bottom, left:end] += own.reshape(high, wide)
