"""Bags held for training on the device, and batches drawn from them with what changes from use to use."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from dialtell.model.patches import HIGH, LOW, SIDE
from dialtell.synth.errors import ParameterError
from dialtell.train.bags import Bag

SHARP = -1.2  # log2 resolution, about 13 px/mm on an 18 size dial


@dataclass(frozen=True, eq=False)
class Batch:
    """What one step sees.

    patches : (B, P, S, S) float, 1 = full density. zone : (B, P) index into ZONES, -1 no patch. resolution : (B,) log2.
    hand : (B, Z) 1 painted, 0 printed, -1 unknown. dial, photographic : (B,) 1, 0, -1 unknown. twin : (B,) row of the
    same picture beside it, else its own.
    """

    patches: Tensor
    zone: Tensor
    resolution: Tensor
    hand: Tensor
    dial: Tensor
    photographic: Tensor
    twin: Tensor


def unpack(packed: Tensor) -> Tensor:
    """8-bit patches back to D."""
    return packed.float() * ((HIGH - LOW) / 255.0) + LOW


@dataclass(frozen=True, eq=False)
class _Held:
    """Where a bag's patches start in the store, and the rest of it."""

    start: int
    bag: Bag


class BagStore:
    """Groups of bags (twins, or one mixed dial), each group used as a whole; patches lie in one tensor."""

    def __init__(self, device: torch.device, window: int) -> None:
        self.device, self.window = device, window
        self._epochs: list[list[list[_Held]]] = []
        self._patches = torch.empty((0, SIDE, SIDE), dtype=torch.uint8, device=device)
        self._used = 0

    def add(self, groups: list[list[Bag]]) -> None:
        """One epoch's pictures; the oldest epoch is dropped once there are more than `window`."""
        kept = []
        for group in groups:
            if group:
                kept.append([_Held(self._put(bag.density), replace(bag, density=bag.density[:0])) for bag in group])
        self._epochs.append(kept)
        if len(self._epochs) > self.window:
            self._drop(self._epochs.pop(0))

    def _put(self, packed: NDArray[np.uint8]) -> int:
        start, self._used = self._used, self._used + len(packed)
        if self._used > len(self._patches):
            grown = torch.empty((max(2 * len(self._patches), self._used, 4096), SIDE, SIDE), dtype=torch.uint8,
                                device=self.device)  # fmt: skip
            grown[:start] = self._patches[:start]
            self._patches = grown
        self._patches[start : self._used] = torch.from_numpy(packed).to(self.device)
        return start

    def _drop(self, epoch: list[list[_Held]]) -> None:
        """Forget the oldest epoch's patches, which lie at the start of the tensor."""
        gone = sum(len(held.bag.zone) for group in epoch for held in group)
        self._patches[: self._used - gone] = self._patches[gone : self._used].clone()
        self._used -= gone
        self._epochs = [
            [[_Held(held.start - gone, held.bag) for held in group] for group in kept] for kept in self._epochs
        ]

    def __len__(self) -> int:
        """Groups held."""
        return sum(len(epoch) for epoch in self._epochs)

    def draw(self, size: int, patches: int, *, rng: np.random.Generator, sharp: bool = False) -> Batch:
        """`size` dials in twins, `patches` of each, with gain, noise and mirroring shared by twins.

        sharp : only dials that resolve SHARP or better, if there are any.
        """
        groups = [group for epoch in self._epochs for group in epoch]
        if sharp:
            groups = [group for group in groups if group[0].bag.resolution > SHARP] or groups
        if not groups:
            raise ParameterError("no picture drawn could be read; give a scope with more pixels_per_radius or pairs")
        rows: list[tuple[_Held, int]] = []
        number = 0
        while len(rows) < size:
            rows += [(held, number) for held in groups[int(rng.integers(len(groups)))]]
            number += 1
        rows = rows[:size]
        taken = [self._pick(held.bag.zone, patches, rng) for held, _ in rows]
        index = np.stack([held.start + pick for (held, _), (pick, _) in zip(rows, taken, strict=True)])
        vary = rng.uniform(size=(number, 4)).astype(np.float32)[[n for _, n in rows]]
        bags = [held.bag for held, _ in rows]
        density = unpack(self._patches[torch.from_numpy(index).to(self.device)])
        return Batch(
            patches=self._vary(density, torch.from_numpy(vary).to(self.device)),
            zone=torch.from_numpy(np.stack([label for _, label in taken])).to(self.device),
            **_truth(bags, self.device),
        )

    @staticmethod
    def _pick(
        zones: NDArray[np.int8], patches: int, rng: np.random.Generator
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Some patches of a bag, at times without one of its zones, padded with -1."""
        free = np.arange(len(zones))
        if rng.random() < 0.35:
            dropped = rng.choice(np.unique(zones))
            free = free[zones != dropped] if (zones != dropped).sum() >= 6 else free
        if rng.random() < 0.2:  # a close-up or a covered dial shows few strokes
            free = rng.permutation(free)[: max(6, int(len(free) * rng.uniform(0.1, 0.6)))]
        chosen = rng.permutation(free)[:patches]
        index = np.zeros(patches, dtype=np.int64)
        index[: len(chosen)] = chosen
        label = np.full(patches, -1, dtype=np.int64)
        label[: len(chosen)] = zones[chosen]
        return index, label

    @staticmethod
    def _vary(density: Tensor, vary: Tensor) -> Tensor:
        gain = 0.9 + 0.2 * vary[:, 0]
        noise = 0.05 * torch.clamp(vary[:, 1] - 0.4, min=0)
        density = density * gain[:, None, None, None]
        density = density + noise[:, None, None, None] * torch.randn_like(density)
        mirrored = torch.where((vary[:, 2] < 0.5)[:, None, None, None], density, density.flip(3))
        return mirrored.clamp(LOW, HIGH)


def whole_batch(bags: list[Bag], device: torch.device) -> Batch:
    """All patches of some bags, padded to the longest, unvaried: for validation and scoring figures."""
    longest = max(len(bag.zone) for bag in bags)
    side = bags[0].density.shape[1]
    packed = np.zeros((len(bags), longest, side, side), dtype=np.uint8)
    zone = np.full((len(bags), longest), -1, dtype=np.int64)
    for row, bag in enumerate(bags):
        packed[row, : len(bag.zone)] = bag.density
        zone[row, : len(bag.zone)] = bag.zone
    return Batch(
        patches=unpack(torch.from_numpy(packed).to(device)),
        zone=torch.from_numpy(zone).to(device),
        **_truth(bags, device),
    )


def _truth(bags: list[Bag], device: torch.device) -> dict[str, Tensor]:
    """What is known of each dial, as tensors."""
    return {
        "resolution": torch.tensor([bag.resolution for bag in bags], dtype=torch.float32, device=device),
        "hand": torch.from_numpy(np.stack([bag.hand for bag in bags]).astype(np.float32)).to(device),
        "dial": torch.tensor([float(bag.dial) for bag in bags], device=device),
        "photographic": torch.tensor([float(bag.photographic) for bag in bags], device=device),
        "twin": torch.tensor(_twins([bag.index for bag in bags]), device=device),
    }


def _twins(indices: list[int]) -> list[int]:
    """For each row the row beside it that shows the same picture (twins lie next to each other), else itself."""
    rows = list(range(len(indices)))
    for row in range(len(indices) - 1):
        if indices[row] == indices[row + 1] and rows[row] == row:
            rows[row], rows[row + 1] = row + 1, row
    return rows
