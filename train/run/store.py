"""Bags held on the device, and batches drawn from them with what changes from use to use."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn.functional import pad

from dialtell.model.reading.figure_patches import LEVELS
from dialtell.model.reading.fine_patches import FINEST
from dialtell.model.reading.patches import HIGH, LOW, RESOLUTIONS, SIDE
from dialtell.model.reading.sharpness import PIXEL_SIGMA
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.bags.bags import FEWEST_PATCHES, Bag
from dialtell.train.run.compiled import compiled

SHARP = -1.2  # log2 resolution, about 13 px/mm on an 18 size dial

# how often a dial is shown without one of its zones, and with few strokes (a close-up, a covered dial)
WITHOUT_ZONE, WITH_FEW = 0.35, 0.2
# A kind is a zone at a scale. How often kinds are drawn one after the other, each as fully as there is room and else a
# run of it (a bag holds it ring by ring), so that like strokes stand beside one another as on a whole dial; otherwise
# some of all kinds, of one n times as large sqrt(n) times as many
FULLY = 0.5
SCALE_SHARE = 0.25  # of an even share between the scales of a bag, that each is given at least, of one kind if it can
# what changes from use to use, alike for twins
GAIN = 0.1  # largest change of all densities, share
OFFSET = 0.03  # largest D added to all of a dial
NOISE = 0.03  # largest SD of noise added, D; none on two uses in five
CURVE = 0.3  # largest change of ln of the exponent of density: the camera's tone curve
SHIFT = 2  # px, largest shift of what a patch shows, each way
BLURRED = 0.4  # share of uses blurred further
BLUR = 1.0  # px, largest SD of that blur: at patch scale it halves the resolution of a sharp dial

_SCALES = np.array(sorted({*range(FINEST + 1), *LEVELS}), dtype=np.float32)  # of the lattice and of single shapes
_KINDS = len(ZONES) * len(_SCALES)
_ALL = slice(None)


@dataclass(frozen=True, eq=False)
class Batch:
    """What one step sees.

    patches : (B, P, S, S) float, 1 = full density; of some rows alone where several processes share a batch.
    zone : (B, P) index into ZONES, -1 no patch. resolution : (B,) log2. hand : (B, Z) 1 painted, 0 printed, -1 unknown.
    dial, photographic : (B,) 1, 0, -1 unknown. twin : (B,) row of the same picture beside it, else its own.
    strokes : (B, P) 1, 0 or -1 of each patch by itself; None: its zone's holds.
    hand, dial and strokes are 0.5 where the twins look alike. scale : (B, P) log2 of each patch's scale, None for 0.
    again : (B,) row of the same dial under another camera, else its own; None: nowhere is one.
    """

    patches: Tensor
    zone: Tensor
    resolution: Tensor
    hand: Tensor
    dial: Tensor
    photographic: Tensor
    twin: Tensor
    strokes: Tensor | None = None
    scale: Tensor | None = None
    again: Tensor | None = None

    def given(self, rows: slice) -> tuple[Tensor, Tensor, Tensor, Tensor | None]:
        """What the net is given of those rows, which are those of `patches`."""
        scale = None if self.scale is None else self.scale[rows]
        return self.patches, self.zone[rows], self.resolution[rows], scale


def unpack(packed: Tensor) -> Tensor:
    """8-bit patches back to D."""
    return packed.float() * ((HIGH - LOW) / 255.0) + LOW


# --- drawing for training ---


@dataclass(frozen=True, eq=False)
class _Epoch:
    """One epoch's bags end to end.

    zones, strokes, scales : (N,) of all patches, where they lie, their own truth and log2 scale. odd : (N,) what was
    planted on a dial. finest : largest whole scale, count : of patches, in_zone : by zone, and odd_kind : (K,)
    whether one planted is of that kind, per bag. groups : (G, 2), first bag and number of bags of each group.
    sharp : (G,) whether a group resolves SHARP.
    """

    zones: Tensor
    strokes: Tensor
    scales: Tensor
    odd: Tensor
    finest: NDArray[np.int64]
    count: NDArray[np.int64]
    in_zone: NDArray[np.int64]
    odd_kind: NDArray[np.bool_]
    truth: dict[str, Tensor]
    groups: NDArray[np.int64]
    sharp: NDArray[np.bool_]


class BagStore:
    """Groups of bags (twins, or one mixed dial), each group used as a whole; patches lie in one tensor."""

    def __init__(self, device: torch.device, window: int) -> None:
        self.device, self.window = device, window
        self._varied = compiled(varied, device)
        self._levels = torch.from_numpy(_SCALES).to(device)
        self._epochs: list[_Epoch] = []
        self._patches = torch.empty((0, SIDE, SIDE), dtype=torch.uint8, device=device)
        self._used = 0
        self._groups = np.empty((0, 2), dtype=np.int64)
        self._sharp = np.empty(0, dtype=bool)

    def __len__(self) -> int:
        """Groups held."""
        return sum(len(epoch.groups) for epoch in self._epochs)

    def add(self, groups: Sequence[Sequence[Bag]]) -> None:
        """One epoch's pictures; the oldest epoch is dropped once there are more than `window`."""
        kept = [list(group) for group in groups if group]
        bags = [bag for group in kept for bag in group]
        sizes = np.array([len(group) for group in kept], dtype=np.int64)
        zones = np.concatenate([bag.zone for bag in bags]) if bags else np.empty(0, np.int8)
        densities = np.concatenate([bag.density for bag in bags]) if bags else np.empty((0, SIDE, SIDE), np.uint8)
        strokes = np.concatenate([bag.targets for bag in bags]) if bags else np.empty(0, np.float32)
        scales = np.concatenate([bag.scales for bag in bags]) if bags else np.empty(0, np.int8)
        odd = np.concatenate([bag.odd for bag in bags]) if bags else np.empty(0, bool)
        self._put(densities)
        self._epochs.append(
            _Epoch(
                zones=torch.from_numpy(zones.astype(np.int64)).to(self.device),
                strokes=torch.from_numpy(strokes).to(self.device),
                scales=torch.from_numpy(scales.astype(np.float32)).to(self.device),
                odd=torch.from_numpy(odd).to(self.device),
                finest=np.array([np.floor(bag.scales.max(initial=0)) for bag in bags], dtype=np.int64),
                count=np.array([len(bag.zone) for bag in bags], dtype=np.int64),
                in_zone=np.array([np.bincount(bag.zone, minlength=len(ZONES)) for bag in bags], dtype=np.int64)
                .reshape(len(bags), len(ZONES)),
                odd_kind=np.array([_odd_kinds(bag) for bag in bags], dtype=bool).reshape(len(bags), _KINDS),
                truth=_truth(bags, self.device),
                groups=np.stack([np.cumsum(sizes) - sizes, sizes], axis=1),
                sharp=np.array([group[0].resolution > SHARP for group in kept], dtype=bool),
            )
        )  # fmt: skip
        if len(self._epochs) > self.window:
            gone = len(self._epochs.pop(0).zones)
            self._patches[: self._used - gone] = self._patches[gone : self._used].clone()
            self._used -= gone
        self._tabulate()

    def _put(self, packed: NDArray[np.uint8]) -> None:
        start, self._used = self._used, self._used + len(packed)
        if self._used > len(self._patches):
            room = max(len(self._patches) * 3 // 2, self._used, 4096)
            grown = torch.empty((room, SIDE, SIDE), dtype=torch.uint8, device=self.device)
            grown[:start] = self._patches[:start]
            self._patches = grown
        self._patches[start : self._used] = torch.from_numpy(packed).to(self.device)

    def _tabulate(self) -> None:
        """One table of all bags held: where each starts, what is known of it, which groups there are."""
        epochs = self._epochs
        before = np.cumsum([0, *(len(epoch.count) for epoch in epochs)])
        self._groups = np.concatenate(
            [epoch.groups + np.array([first, 0]) for epoch, first in zip(epochs, before[:-1], strict=True)]
        )
        self._sharp = np.concatenate([epoch.sharp for epoch in epochs])
        self._count = np.concatenate([epoch.count for epoch in epochs])
        self._in_zone = np.concatenate([epoch.in_zone for epoch in epochs])
        self._odd_kind = np.concatenate([epoch.odd_kind for epoch in epochs])
        self._start = np.cumsum(self._count) - self._count
        self._zones = torch.cat([epoch.zones for epoch in epochs])
        self._strokes = torch.cat([epoch.strokes for epoch in epochs])
        self._scales = torch.cat([epoch.scales for epoch in epochs])
        self._finest = np.concatenate([epoch.finest for epoch in epochs])
        self._odd = torch.cat([epoch.odd for epoch in epochs])
        self._truth = {name: torch.cat([epoch.truth[name] for epoch in epochs]) for name in epochs[0].truth}

    def draw(
        self, size: int, patches: int, *, rng: np.random.Generator, sharp: bool = False, rows: slice = _ALL
    ) -> Batch:
        """`size` dials in twins, `patches` of each, varied alike for twins (see the constants above).

        sharp : only dials that resolve SHARP or better, if there are any. rows : of which patches are made; the draw is
        the same whichever these are. Which patches and the noise come from
        torch's generator of the device, all else from `rng`.
        """
        groups = self._groups[self._sharp] if sharp and self._sharp.any() else self._groups
        if not len(groups):
            raise ParameterError("no picture drawn could be read; give a scope with more pixels_per_radius or pairs")
        chosen = groups[rng.integers(len(groups), size=size)]
        group = np.repeat(np.arange(size), chosen[:, 1])[:size]  # of each row
        first = (np.cumsum(chosen[:, 1]) - chosen[:, 1])[group]  # row its group begins at
        bag = chosen[group, 0] + np.arange(size) - first
        vary = self._sent(rng.uniform(size=(size, 8)).astype(np.float32)[group])
        index, zone = self._pick(bag, patches, group, rng)
        own = self._sent(bag)
        truth = {name: value[own] for name, value in self._truth.items()}
        truth["scale"] = self._scales[index].masked_fill(zone < 0, 0)
        # what a blur leaves of the finest patches must still be a blur that `blurred` knows
        finest = self._sent(self._finest[bag].astype(np.float32))
        density, left = self._vary(index, vary, truth["resolution"], truth["scale"], finest, rows)
        truth["resolution"] = left if rows == _ALL else softened(vary[:, 3], truth["resolution"], finest)[1]
        truth["strokes"] = self._strokes[index].masked_fill(zone < 0, -1)
        return Batch(
            patches=density,
            zone=zone,
            **truth,
            twin=self._sent(_partners(group)),
            again=self._sent(_partners(group, 2)),
        )

    def _sent(self, values: NDArray[Any]) -> Tensor:
        """`values` on the device. From plain memory a copy would first wait for all the device still has to do."""
        held = torch.from_numpy(values)
        if self.device.type != "cuda":
            return held.to(self.device)
        return held.pin_memory().to(self.device, non_blocking=True)

    def _pick(
        self, bag: NDArray[np.int64], patches: int, group: NDArray[np.int64], rng: np.random.Generator
    ) -> tuple[Tensor, Tensor]:
        """Places (B, P) in the store and zones (B, P) of some patches of each bag, padded with -1.

        Which zone is left out, how many are drawn and in which way is alike for a group (group : (B,) its number), so
        that twins show the same zones; which patches is not. See FULLY and SCALE_SHARE. What was planted on a dial
        comes first, with its kind where kinds are drawn fully, but where its zone is left out: by chance a third of
        it would be drawn.
        """
        size = len(bag)
        count, in_zone = self._count[bag], self._in_zone[bag]
        lots = np.where(in_zone > 0, rng.random(in_zone.shape)[group], -1.0)
        dropped = lots.argmax(axis=1)
        left = count - in_zone[np.arange(size), dropped]
        drop = (rng.random(size)[group] < WITHOUT_ZONE) & (left >= FEWEST_PATCHES)
        dropped, left = np.where(drop, dropped, -1), np.where(drop, left, count)
        share = rng.uniform(0.1, 0.6, size)[group]
        few = rng.random(size)[group] < WITH_FEW
        most = np.where(few, np.maximum(FEWEST_PATCHES, (left * share).astype(np.int64)), patches)
        most = np.minimum(np.minimum(most, left), patches)
        # of each kind, where drawn one by one: its turn, and where in it to begin
        turn, begin = rng.random((2, size, _KINDS)).astype(np.float32)[:, group]
        turn -= self._odd_kind[bag]
        fully = rng.random(size)[group] < FULLY
        said = np.stack([self._start[bag], count, dropped, most, fully])
        start, count_, dropped_, most_, fully_ = self._sent(said)[..., None]
        place = torch.arange(max(int(count.max()), patches), device=self.device)
        at = (start + place).clamp(max=len(self._zones) - 1)
        zones, scales = self._zones[at], self._scales[at]
        usable = (place < count_) & (zones != dropped_)
        kind = zones + len(ZONES) * torch.bucketize(scales, self._levels)
        keys = torch.rand((size, len(place)), device=self.device)
        own = usable[..., None] & (kind[..., None] == torch.arange(_KINDS, device=self.device))  # (B, N, K)
        before = own.long().cumsum(1)
        there = before[:, -1]
        run = (before - 1 - (self._sent(begin) * there).long()[:, None]).gather(2, kind[..., None])[..., 0]
        room = there.gather(1, kind).clamp(min=1)
        one_by_one = self._sent(turn).gather(1, kind) + 1e-3 * run.remainder(room) / room
        # the least of exponential deviates, each divided by its weight, are a draw by those weights
        evenly = -keys.clamp(1e-6, 1 - 1e-6).log() * room.sqrt()
        keys = torch.where(fully_ > 0, one_by_one, evenly)
        keys = _ahead(keys, scales, usable, most_)
        keys = (keys - 1000 * self._odd[at].to(keys.dtype)).masked_fill(~usable, 1e6)
        picked = keys.topk(patches, dim=1, largest=False).indices
        real = torch.arange(patches, device=self.device) < most_
        index = (start + picked).masked_fill(~real, 0)
        return index, zones.gather(1, picked).masked_fill(~real, -1)

    def _vary(
        self, index: Tensor, vary: Tensor, resolution: Tensor, scale: Tensor, finest: Tensor, rows: slice
    ) -> tuple[Tensor, Tensor]:
        """Patches (B, P, S, S) of some rows shifted and mirrored, then as `varied`; the resolution that leaves."""
        normal = torch.randn((*index.shape, SIDE, SIDE), device=self.device)[rows]  # as many whichever rows
        index, vary, resolution, scale, finest = (each[rows] for each in (index, vary, resolution, scale, finest))
        place = torch.arange(SIDE, device=self.device)
        shift = (vary[:, :2] * (2 * SHIFT + 1)).long().clamp(max=2 * SHIFT) - SHIFT
        row, column = (place + shift[:, :, None]).clamp(0, SIDE - 1).unbind(1)
        column = torch.where(vary[:, 2:3] < 0.5, column, column.flip(1))
        packed = self._patches[index[:, :, None, None], row[:, None, :, None], column[:, None, None, :]]
        return self._varied(packed, normal, vary[:, 3:], resolution, scale, finest)


def _odd_kinds(bag: Bag) -> NDArray[np.bool_]:
    """(K,) whether something planted on a dial is of that kind."""
    odd = bag.odd
    return np.bincount(bag.zone[odd] + len(ZONES) * np.searchsorted(_SCALES, bag.scales[odd]), minlength=_KINDS) > 0


def _ahead(keys: Tensor, scales: Tensor, usable: Tensor, most: Tensor) -> Tensor:
    """(B, N) keys, the least of which are drawn, with those of each scale that is there brought ahead: SCALE_SHARE of
    an even share of the most (B, 1) patches drawn, at least one."""
    own = [usable & (scales == scale) for scale in _SCALES.tolist()]
    several = torch.stack([one.any(1, keepdim=True) for one in own]).sum(0)
    enough = (SCALE_SHARE * most / several.clamp(min=1)).ceil().long().clamp(min=1)
    for one in own:
        ordered = keys.masked_fill(~one, torch.inf).sort(dim=1).values
        last = ordered.gather(1, enough.clamp(max=keys.shape[1]) - 1)
        keys = torch.where(one & (keys <= last) & (several > 1), keys - 100, keys)
    return keys


def varied(
    packed: Tensor, normal: Tensor, vary: Tensor, resolution: Tensor, scale: Tensor, finest: Tensor
) -> tuple[Tensor, Tensor]:
    """Packed patches (B, P, S, S) as D blurred, of other contrast and noisier; the resolution (B,) that leaves.

    normal : like `packed`, normal deviates. vary : (B, 5) even ones 0..1: blur, gain, offset, noise, tone curve.
    scale : (B, P) log2 of the patches. finest : (B,) the largest whole one of each dial: patches of it are blurred by
    up to BLUR px, the others by as much on the dial.
    """
    variance, left = softened(vary[:, 0], resolution, finest)
    density = blurred(unpack(packed), variance[:, None] * torch.exp2(2 * scale))
    gain, offset = 1 - GAIN + 2 * GAIN * vary[:, 1], OFFSET * (2 * vary[:, 2] - 1)
    noise = NOISE * ((vary[:, 3] - 0.4) / 0.6).clamp(min=0)
    gain, offset, noise = (value[:, None, None, None] for value in (gain, offset, noise))
    bent = density.clamp(min=1e-3).pow(torch.exp(CURVE * (2 * vary[:, 4] - 1))[:, None, None, None])
    density = torch.where(density > 1e-3, bent, density)
    density = torch.addcmul(density * gain + offset, noise, normal)
    return density.clamp(LOW, HIGH), left


def softened(blur: Tensor, resolution: Tensor, finest: Tensor) -> tuple[Tensor, Tensor]:
    """(B,) variance of the blur that even deviates 0..1 stand for, px of a dial's finest patches, and the resolution
    that leaves."""
    variance = BLUR**2 * ((blur - (1 - BLURRED)) / BLURRED).clamp(min=0) * torch.exp2(-2 * finest)
    sigma = torch.hypot(PIXEL_SIGMA * torch.exp2(-resolution), variance.sqrt())
    return variance, torch.log2(PIXEL_SIGMA / sigma).clamp(*RESOLUTIONS)


def blurred(density: Tensor, variance: Tensor) -> Tensor:
    """(B, P, S, S) D blurred by an SD of sqrt(variance) px, variance (B,) or (B, P) 0..2.

    Four times a share, half the variance, of the binomial 1 2 1 kernel each way (which adds a variance of a half), the
    rest as is.
    """
    share = 0.5 * variance.reshape(len(variance), -1, 1, 1)
    for _ in range(4):
        wide = pad(density, (1, 1, 1, 1), mode="replicate")
        down = torch.lerp(wide[..., :-2, :] + wide[..., 2:, :], 2 * wide[..., 1:-1, :], 0.5)
        soft = torch.lerp(down[..., :-2] + down[..., 2:], 2 * down[..., 1:-1], 0.5)
        density = torch.lerp(density, 0.25 * soft, share)
    return density


def _partners(group: NDArray[np.int64], apart: int = 1) -> NDArray[np.int64]:
    """For each row another of its group, else itself: its twin, or, two apart, the same dial by the other camera.

    group : (N,) of each row, rows of a group side by side: twins by one camera, then by another.
    """
    rows = np.arange(len(group))
    first = np.maximum.accumulate(np.where(np.diff(group, prepend=-1) != 0, rows, 0))
    partner = first + ((rows - first) ^ apart)
    there = partner.clip(max=len(group) - 1)
    return np.where((partner == there) & (group[there] == group), there, rows)


# --- whole bags, for validation and figures ---


class HeldOut:
    """Whole bags kept packed on the device, in batches of `size`; iterating gives them unpacked and unvaried."""

    def __init__(self, bags: Sequence[Bag], device: torch.device, size: int = 16) -> None:
        self._batches = [_whole(bags[start : start + size], device) for start in range(0, len(bags), size)]

    def __iter__(self) -> Iterator[Batch]:
        for packed, zone, truth in self._batches:
            yield Batch(patches=unpack(packed), zone=zone, **truth)


def whole_batch(bags: Sequence[Bag], device: torch.device) -> Batch:
    """All patches of some bags, padded to the longest, unvaried."""
    return next(iter(HeldOut(bags, device, len(bags))))


def _whole(bags: Sequence[Bag], device: torch.device) -> tuple[Tensor, Tensor, dict[str, Tensor]]:
    longest = max(len(bag.zone) for bag in bags)
    packed = np.zeros((len(bags), longest, *bags[0].density.shape[1:]), dtype=np.uint8)
    zone = np.full((len(bags), longest), -1, dtype=np.int64)
    for row, bag in enumerate(bags):
        packed[row, : len(bag.zone)] = bag.density
        zone[row, : len(bag.zone)] = bag.zone
    strokes = np.full((len(bags), longest), -1, dtype=np.float32)
    scale = np.zeros((len(bags), longest), dtype=np.float32)
    for row, bag in enumerate(bags):
        strokes[row, : len(bag.zone)], scale[row, : len(bag.zone)] = bag.targets, bag.scales
    truth = _truth(bags, device)
    truth["strokes"], truth["scale"] = torch.from_numpy(strokes).to(device), torch.from_numpy(scale).to(device)
    index = np.array([bag.index for bag in bags], dtype=np.int64)
    truth["twin"], truth["again"] = (torch.from_numpy(_partners(index, apart)).to(device) for apart in (1, 2))
    return torch.from_numpy(packed).to(device), torch.from_numpy(zone).to(device), truth


def _truth(bags: Sequence[Bag], device: torch.device) -> dict[str, Tensor]:
    """What is known of each dial, as tensors."""
    hand = np.array([bag.zone_targets for bag in bags], dtype=np.float32).reshape(len(bags), len(ZONES))
    return {
        "resolution": torch.tensor([bag.resolution for bag in bags], dtype=torch.float32, device=device),
        "hand": torch.from_numpy(hand).to(device),
        "dial": torch.tensor([bag.dial_target for bag in bags], device=device),
        "photographic": torch.tensor([float(bag.photographic) for bag in bags], device=device),
    }
