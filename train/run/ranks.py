"""One training by several processes (torchrun), each on a device of its own, whose step is that of one process.

Every rank holds all pictures, draws the same batch and takes its rows of it. What the net says of them is brought
together before the loss, which compares rows; norms take mean and spread over all ranks; gradients are averaged. Every
rank differentiates the sum of all ranks' losses, each of which is the whole loss: hence the mean of their gradients is
the gradient of one process. Dropout alone differs, as each rank drops by itself. The first rank draws the pictures,
validates and writes; the others hear of it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, cast

import torch
import torch.distributed as dist
from torch import Tensor, nn
from torch.distributed._functional_collectives import all_reduce, wait_tensor

from dialtell.model.net.device import pick_device
from dialtell.model.net.output import NetOutput
from dialtell.model.net.voice import together
from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.bags.bags import Bag
from dialtell.train.bags.supply import Supply


@dataclass(frozen=True)
class Ranks:
    """Which of how many processes this is. device : its own, None where there is but one, who picks for itself."""

    rank: int = 0
    count: int = 1
    device: torch.device | None = None

    @property
    def first(self) -> bool:
        """Whether this process draws the pictures and writes."""
        return self.rank == 0

    def rows(self, batch: int) -> slice:
        """This rank's rows of a batch. Raises ParameterError where it cannot be shared evenly."""
        if batch % self.count:
            raise ParameterError(f"batch is {batch}, for {self.count} processes; give --batch a multiple of both and 2")
        share = batch // self.count
        return slice(self.rank * share, (self.rank + 1) * share)

    def shared(self, net: nn.Module) -> nn.Module:
        """The net with norms over all ranks; the same numbers under the same names."""
        if self.count > 1:
            for module in net.modules():
                if isinstance(module, nn.BatchNorm2d):
                    module.__class__ = NormOverRanks
                    norm = cast(NormOverRanks, module)
                    norm.rank, norm.ranks = self.rank, self.count
        return net

    def together(self, output: NetOutput) -> NetOutput:
        """What all ranks' nets say, of all rows in their order; without reasons."""
        if self.count == 1:
            return output
        parts = [output.photographic[:, None], output.present]
        parts += [part for voice in output.spoken for part in (voice.dial[:, None], voice.zone, voice.patch)]
        widths = [part.shape[1] for part in parts]
        mine = torch.cat([part.float() for part in parts], dim=1)
        whole: Tensor = _Together.apply(mine, self.rank, self.count)
        printing, present, *said = torch.split(whole, widths, dim=1)
        each = [
            NetOutput(dial[:, 0], zone, patch, printing[:, 0], present > 0.5)
            for dial, zone, patch in zip(said[::3], said[1::3], said[2::3], strict=True)
        ]
        return together(each)

    def average(self, parameters: Iterable[nn.Parameter]) -> None:
        """The mean of the ranks' gradients in place of each rank's own."""
        if self.count == 1:
            return
        gradients = [parameter.grad for parameter in parameters if parameter.grad is not None]
        whole = torch.cat([gradient.flatten() for gradient in gradients])  # one message, not one a weight
        dist.all_reduce(whole)
        whole /= self.count
        parts = torch.split(whole, [gradient.numel() for gradient in gradients])
        torch._foreach_copy_(gradients, [part.view_as(own) for part, own in zip(parts, gradients, strict=True)])

    def part(self) -> None:
        """Leave the others: what follows is for the first rank alone."""
        if self.count > 1:
            dist.destroy_process_group()


ALONE = Ranks()


def joined(device: str, *, at: str = "env://") -> Ranks:
    """The ranks torchrun has started, met; ALONE where it has not.

    device : as `pick_device` takes it; of CUDA devices each rank takes that of its number on its machine. at : where
    ranks meet, for torch.distributed.
    """
    count = int(os.environ.get("WORLD_SIZE", "1"))
    if count == 1:
        return ALONE
    rank, here = int(os.environ["RANK"]), int(os.environ.get("LOCAL_RANK", "0"))
    kind, _ = pick_device(device)
    if kind.type == "mps":
        raise ParameterError("several processes train on cpu or cuda; give --device cpu")
    if kind.type == "cuda":
        if here >= torch.cuda.device_count():
            raise ParameterError(
                f"{torch.cuda.device_count()} CUDA devices are here, for more processes; give torchrun fewer of them"
            )
        kind = torch.device("cuda", here)
        torch.cuda.set_device(kind)
    dist.init_process_group("cpu:gloo,cuda:nccl" if kind.type == "cuda" else "gloo", at, rank=rank, world_size=count)
    return Ranks(rank, count, kind)


def _summed(own: Tensor) -> Tensor:
    """The sum over all ranks, as a new tensor: in a compiled net, summed in place, torch 2.11 loses the gradients."""
    group = cast(dist.ProcessGroup, dist.group.WORLD)
    found: Tensor = wait_tensor(all_reduce(own.contiguous(), "sum", group))  # type: ignore[no-untyped-call]
    return found


class _Together(torch.autograd.Function):
    """All ranks' rows in their order, for each of them. Of calls that a compiled net holds within its graph."""

    @staticmethod
    def forward(context: Any, mine: Tensor, rank: int, count: int) -> Tensor:
        context.rows = slice(rank * len(mine), (rank + 1) * len(mine))
        whole = mine.new_zeros((count * len(mine), *mine.shape[1:]))
        whole[context.rows] = mine
        return _summed(whole)  # gathering has not had one name in all versions of torch that are met

    @staticmethod
    def backward(context: Any, gradient: Tensor) -> tuple[Tensor, None, None]:
        return _summed(gradient)[context.rows], None, None  # of the sum of all ranks' losses


class NormOverRanks(nn.BatchNorm2d):
    """Batch norm whose mean and spread are those of all ranks' rows, of which each has as many; on CPUs too, unlike
    torch's own, and within a compiled net."""

    rank: int
    ranks: int

    def forward(self, x: Tensor) -> Tensor:
        """(P, C, H, W) -> the same shape."""
        if not self.training:
            return super().forward(x)
        wide = x.to(torch.promote_types(x.dtype, torch.float32))
        # each rank's spread about its own mean, as squares of the values themselves lose digits
        own = torch.stack(torch.var_mean(wide, (0, 2, 3), correction=0))[None]
        spreads, means = _Together.apply(own, self.rank, self.ranks).unbind(1)
        mean = means.mean(0)
        spread = (spreads + (means - mean).square()).mean(0)
        with torch.no_grad():
            n = self.ranks * wide.numel() // wide.shape[1]
            self._note(mean, spread * (n / (n - 1)))
        scale = self.weight * (spread + self.eps).rsqrt()
        out: Tensor = (wide - mean[:, None, None]) * scale[:, None, None] + self.bias[:, None, None]
        return out.to(x.dtype)

    def _note(self, mean: Tensor, spread: Tensor) -> None:
        share = cast(float, self.momentum)
        for kept, new in ((self.running_mean, mean), (self.running_var, spread)):
            cast(Tensor, kept).lerp_(new.to(cast(Tensor, kept).dtype), share)
        cast(Tensor, self.num_batches_tracked).add_(1)


class SharedSupply(Supply):
    """Pictures of twins that the first rank's supply renders, shown to all ranks as they are asked for, in order.

    own : the supply of the first rank, None on others. Held-out dials stay with the first.
    """

    def __init__(self, own: Supply | None) -> None:
        self._own = own

    def close(self) -> None:
        """End the supply beneath."""
        if self._own is not None:
            self._own.close()

    def order_twins(self, seed: int, first: int, count: int, scope: Range) -> list[Future[list[Bag]]]:
        """See Supply."""
        orders = [None] * count if self._own is None else self._own.order_twins(seed, first, count, scope)
        return [cast("Future[list[Bag]]", _Shown(order)) for order in orders]

    def order_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        """See Supply; none on others than the first rank."""
        return [] if self._own is None else self._own.order_singles(seed, count, scope)


class _Shown:
    """A pair as the first rank rendered it."""

    def __init__(self, order: Future[list[Bag]] | None) -> None:
        self._order = order

    def result(self) -> list[Bag]:
        found: list[Any] = [None if self._order is None else self._order.result()]
        dist.broadcast_object_list(found, src=0, device=torch.device("cpu"))
        return cast("list[Bag]", found[0])
