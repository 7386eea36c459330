"""Bags held for training on the device, and batches drawn from them with what changes from use to use."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor

from dialtell.model.patches import HIGH, LOW
from dialtell.train.bags import Bag


@dataclass(frozen=True, eq=False)
class Batch:
    """patches : (B, P, S, S) float D. zone : (B, P), -1 none. hand : (B, Z) 1, 0. dial, photographic : (B,), -1 unknown."""

    patches: Tensor
    zone: Tensor
    resolution: Tensor
    hand: Tensor
    dial: Tensor
    photographic: Tensor


def unpack(packed: Tensor) -> Tensor:
    """8-bit patches back to D."""
    return packed.float() * ((HIGH - LOW) / 255.0) + LOW


class BagStore:
    """Groups of bags (twins, or one mixed dial), each group used as a whole."""

    def __init__(self, device: torch.device, window: int) -> None:
        self.device, self.window = device, window
        self._epochs: list[list[list[tuple[Tensor, Tensor, Bag]]]] = []

    def add(self, groups: list[list[Bag]]) -> None:
        """One epoch's pictures; the oldest epoch is dropped once there are more than `window`."""
        kept = []
        for group in groups:
            entries = []
            for bag in group:
                packed = torch.from_numpy(bag.density).to(self.device)
                zone = torch.from_numpy(bag.zone.astype(np.int64)).to(self.device)
                light = Bag(
                    bag.density[:0], bag.zone, bag.resolution, bag.hand, bag.dial, bag.photographic, bag.index
                )
                entries.append((packed, zone, light))
            if entries:
                kept.append(entries)
        self._epochs = [*self._epochs, kept][-self.window :]

    def __len__(self) -> int:
        return sum(len(epoch) for epoch in self._epochs)

    def draw(self, size: int, patches: int, *, rng: np.random.Generator) -> Batch:
        """`size` dials in twins, `patches` of each, with gain, veil, noise and mirroring shared by twins."""
        groups = [group for epoch in self._epochs for group in epoch]
        rows: list[tuple[Tensor, Tensor, Bag, int]] = []
        number = 0
        while len(rows) < size:
            for packed, zone, bag in groups[int(rng.integers(len(groups)))]:
                rows.append((packed, zone, bag, number))
            number += 1
        rows = rows[:size]
        taken = [self._pick(zone, bag, patches, rng) for _, zone, bag, _ in rows]
        patch = torch.stack([packed[index] for (packed, *_), (index, _) in zip(rows, taken, strict=True)])
        zones = torch.stack([z for _, z in taken])
        draws = rng.uniform(size=(number, 4)).astype(np.float32)
        which = torch.tensor([row[3] for row in rows], device=self.device)
        vary = torch.from_numpy(draws).to(self.device)[which]
        density = self._vary(unpack(patch), vary)
        return Batch(
            patches=density,
            zone=zones,
            resolution=torch.tensor([bag.resolution for _, _, bag, _ in rows], device=self.device),
            hand=torch.tensor(np.stack([bag.hand for _, _, bag, _ in rows]), device=self.device).float(),
            dial=torch.tensor([float(bag.dial) for _, _, bag, _ in rows], device=self.device),
            photographic=torch.tensor([float(bag.photographic) for _, _, bag, _ in rows], device=self.device),
        )

    def _pick(self, zone: Tensor, bag: Bag, patches: int, rng: np.random.Generator) -> tuple[Tensor, Tensor]:
        """Some patches of a bag, at times without one of its zones, padded with -1."""
        zones = bag.zone
        free = np.arange(len(zones))
        if rng.random() < 0.35:
            dropped = rng.choice(np.unique(zones))
            free = free[zones != dropped] if (zones != dropped).sum() >= 6 else free
        if rng.random() < 0.25:  # a close-up or a covered dial shows few strokes
            free = rng.permutation(free)[: max(6, int(len(free) * rng.uniform(0.1, 0.6)))]
        chosen = rng.permutation(free)[:patches]
        index = np.zeros(patches, dtype=np.int64)
        index[: len(chosen)] = chosen
        label = np.full(patches, -1, dtype=np.int64)
        label[: len(chosen)] = zones[chosen]
        return torch.from_numpy(index).to(self.device), torch.from_numpy(label).to(self.device)

    @staticmethod
    def _vary(density: Tensor, vary: Tensor) -> Tensor:
        gain = 0.8 + 0.45 * vary[:, 0]
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
        resolution=torch.tensor([bag.resolution for bag in bags], device=device),
        hand=torch.from_numpy(np.stack([bag.hand for bag in bags])).to(device).float(),
        dial=torch.tensor([float(bag.dial) for bag in bags], device=device),
        photographic=torch.tensor([float(bag.photographic) for bag in bags], device=device),
    )
