"""Bags as the codes a net's encoder makes of their patches, worked out once: what adapting with the encoder left as it
is needs, at a small part of the cost.

Patches are not varied here as in training; which of a bag's patches a step sees is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from dialtell.model.net.net import StrokeNet
from dialtell.model.net.output import NetOutput
from dialtell.train.bags.bags import Bag
from dialtell.train.run.store import Batch, whole_batch

ENCODER = "encoder."  # what the names of the encoder's parameters begin with


@dataclass(frozen=True, eq=False)
class CodedBag:
    """One bag: codes : (N, code) float32, on the device. batch : its truth as a batch of one, without patches."""

    codes: Tensor
    batch: Batch


def coded(net: StrokeNet, bags: Sequence[Bag], device: torch.device) -> list[CodedBag]:
    """Each bag's patches through the encoder as it is."""
    net.eval()
    found = []
    for bag in bags:
        whole = whole_batch([bag], device)
        with torch.no_grad():
            codes = net.encode(whole.patches[0])
        found.append(CodedBag(codes, _without_patches(whole)))
    return found


def _without_patches(batch: Batch) -> Batch:
    return Batch(
        patches=batch.patches[:, :, :0, :0], zone=batch.zone, resolution=batch.resolution, hand=batch.hand,
        dial=batch.dial, photographic=batch.photographic, twin=batch.twin, strokes=batch.strokes, scale=batch.scale,
    )  # fmt: skip


def judge_coded(net: StrokeNet, bags: Sequence[CodedBag]) -> Iterator[tuple[Batch, NetOutput]]:
    """What the net says of whole bags, one by one, nothing learnt; as `loop.judged`."""
    net.eval()
    for bag in bags:
        with torch.no_grad():
            output = net.judge(bag.codes[None], bag.batch.zone, bag.batch.resolution, bag.batch.scale)
        yield bag.batch, output


class CodeStore:
    """Groups of coded bags (twins, or one dial) from which batches are drawn."""

    def __init__(self, groups: Sequence[Sequence[CodedBag]]) -> None:
        self._groups = [list(group) for group in groups if group]

    def draw(self, size: int, patches: int, *, rng: np.random.Generator) -> tuple[Tensor, Batch]:
        """((B, P, code) codes, the batch they belong to) of `size` dials in twins, `patches` of each or as
        many as it has."""
        bags: list[CodedBag] = []
        twin: list[int] = []
        while len(bags) < size:
            group = self._groups[int(rng.integers(len(self._groups)))][: size - len(bags)]
            first = len(bags)
            twin += [first + (place ^ 1 if place ^ 1 < len(group) else place) for place in range(len(group))]
            bags += group
        chosen = [_some(len(bag.codes), patches, rng) for bag in bags]
        device, width = bags[0].codes.device, bags[0].codes.shape[1]
        codes = torch.zeros((size, patches, width), device=device)
        zone = torch.full((size, patches), -1, dtype=torch.long, device=device)
        scale = torch.zeros((size, patches), device=device)
        strokes = torch.full((size, patches), -1.0, device=device)
        for row, (bag, places) in enumerate(zip(bags, chosen, strict=True)):
            at = torch.from_numpy(places).to(device)
            codes[row, : len(places)] = bag.codes[at]
            zone[row, : len(places)] = bag.batch.zone[0, at]
            if bag.batch.scale is not None:
                scale[row, : len(places)] = bag.batch.scale[0, at]
            if bag.batch.strokes is not None:
                strokes[row, : len(places)] = bag.batch.strokes[0, at]
        truth = {
            name: torch.cat([getattr(bag.batch, name) for bag in bags])
            for name in ("resolution", "hand", "dial", "photographic")
        }
        empty = torch.empty((size, patches, 0, 0), device=device)
        beside = torch.tensor(twin, device=device)
        return codes, Batch(patches=empty, zone=zone, **truth, twin=beside, strokes=strokes, scale=scale)


def _some(count: int, most: int, rng: np.random.Generator) -> NDArray[np.int64]:
    return np.sort(rng.permutation(count)[:most]).astype(np.int64)
