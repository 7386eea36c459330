"""Adapting a trained net to a few photographs without losing what it knew: small steps, drawn twins in every batch,
and the best moment by dials that were not learnt from."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from copy import deepcopy
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import Parameter
from torch.nn.utils import clip_grad_norm_

from dialtell.model.net.net import StrokeNet
from dialtell.model.net.output import NetOutput
from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.train.bags.bags import Bag
from dialtell.train.photographs.adapt_codes import ENCODER, CodedBag, CodeStore, coded, judge_coded
from dialtell.train.run.loop import judged_batches, losses
from dialtell.train.run.store import BagStore, Batch, HeldOut

log = logging.getLogger("dialtell.train")

LAYERS = ("all", "judging")


@dataclass(frozen=True)
class AdaptConfig:
    """Everything an adaptation depends on besides the net and the pictures."""

    seed: int = 1
    steps: int = 400  # at most
    every: int = 20  # steps between looks at the held-out photographs
    patience: int = 6  # looks without a better one after which it stops
    photos: int = 8  # photographs a step, half of them of painted dials
    drawn: int = 8  # drawn dials a step, in twins
    patches: int = 48  # of each
    rate: float = 1.5e-4  # a fifteenth of a training from nothing
    decay: float = 0.03
    pairs: int = 120  # twins drawn for the batches
    watched: int = 120  # drawn dials on which forgetting is watched
    forget: float = 0.05  # nats by which the loss on those may rise at most
    layers: str = "all"  # or "judging": the encoder of patches stays as it is, which takes a small part of the time

    def __post_init__(self) -> None:
        require_range("seed", self.seed, 0, 1_000_000)
        require_range("steps", self.steps, 1, 100_000)
        require_range("every", self.every, 1, 100_000)
        require_range("patience", self.patience, 1, 100_000)
        require_range("rate", self.rate, 1e-7, 0.1)
        require_range("decay", self.decay, 0.0, 1.0)
        require_range("patches", self.patches, 4, 512)
        require_range("pairs", self.pairs, 1, 100_000)
        require_range("watched", self.watched, 8, 100_000)
        require_range("forget", self.forget, 0.0, 10.0)
        if self.layers not in LAYERS:
            raise ParameterError(f"layers is {self.layers!r}; give {' or '.join(LAYERS)}")
        for name in ("photos", "drawn"):
            value = getattr(self, name)
            if value < 2 or value % 2:
                raise ParameterError(f"{name} is {value}; give an even number of 2 or more")


@dataclass(frozen=True)
class Look:
    """Losses at one moment: on held-out photographs and on the drawn dials watched; kept : whether the best so far."""

    step: int
    photos: float
    drawn: float
    kept: bool


def adapt(
    net: StrokeNet,
    learnt: Sequence[Bag],
    held_out: Sequence[Bag],
    drawn: Sequence[Sequence[Bag]],
    watched: Sequence[Bag],
    config: AdaptConfig,
    device: torch.device,
) -> tuple[StrokeNet, list[Look]]:
    """A copy of `net` adapted to photographs, at its best moment, and what was seen on the way.

    learnt, held_out : bags of photographs, each of both sides. drawn : groups of drawn twins. watched : drawn dials.
    The best moment has the least loss on the held-out photographs among those at which the loss on `watched` has
    risen by no more than `config.forget`; the first moment, before any step, is one of them. Both sides count alike.
    Batch statistics stay those of the net: a few photographs would spoil them.
    """
    net = deepcopy(net).to(device).eval()
    if config.layers == "judging":
        groups = [coded(net, group, device) for group in drawn]
        known, left, old = (coded(net, bags, device) for bags in (learnt, held_out, watched))
        return adapt_coded(net, known, left, groups, old, config, device)
    stores = [_store([[bag] for bag in learnt if side(bag) == which], device) for which in (1, 0)]
    twins = _store(drawn, device)
    photos, watch = HeldOut(held_out, device), HeldOut(watched, device)

    def answered(rng: np.random.Generator) -> tuple[NetOutput, Batch]:
        batch = together([store.draw(config.photos // 2, config.patches, rng=rng) for store in stores]
                         + [twins.draw(config.drawn, config.patches, rng=rng)])  # fmt: skip
        return net(batch.patches, batch.zone, batch.resolution, batch.scale), batch

    def looked() -> tuple[float, float]:
        return balanced_loss(net, photos), balanced_loss(net, watch)

    return net, _learn(net, list(net.parameters()), answered, looked, config)


def adapt_coded(
    net: StrokeNet,
    learnt: Sequence[CodedBag],
    held_out: Sequence[CodedBag],
    drawn: Sequence[Sequence[CodedBag]],
    watched: Sequence[CodedBag],
    config: AdaptConfig,
    device: torch.device,
) -> tuple[StrokeNet, list[Look]]:
    """As `adapt`, of bags that the encoder has read already; it stays as it is, whatever `config.layers` says."""
    net = deepcopy(net).to(device).eval()
    sides = [[bag for bag in learnt if _side(bag) == which] for which in (1, 0)]
    stores = [CodeStore([[bag] for bag in bags]) for bags in sides]
    twins = CodeStore(drawn)
    parameters = [value for name, value in net.named_parameters() if not name.startswith(ENCODER)]

    def answered(rng: np.random.Generator) -> tuple[NetOutput, Batch]:
        parts = [store.draw(config.photos // 2, config.patches, rng=rng) for store in stores]
        parts.append(twins.draw(config.drawn, config.patches, rng=rng))
        batch = together([batch for _, batch in parts])
        return net.judge(torch.cat([codes for codes, _ in parts]), batch.zone, batch.resolution, batch.scale), batch

    def looked() -> tuple[float, float]:
        return balanced(judge_coded(net, held_out)), balanced(judge_coded(net, watched))

    return net, _learn(net, parameters, answered, looked, config)


def _side(coded_bag: CodedBag) -> int:
    return side_of(int(coded_bag.batch.dial[0]), coded_bag.batch.hand[0].cpu().numpy())


def _learn(
    net: StrokeNet,
    parameters: list[Parameter],
    answered: Callable[[np.random.Generator], tuple[NetOutput, Batch]],
    looked: Callable[[], tuple[float, float]],
    config: AdaptConfig,
) -> list[Look]:
    """Learn, and leave the net at its best moment."""
    optimizer = torch.optim.AdamW(parameters, lr=config.rate, weight_decay=config.decay, betas=(0.9, 0.98))
    rng = np.random.default_rng([config.seed, 81])
    torch.manual_seed(config.seed)
    looks = [Look(0, *looked(), kept=True)]
    log.info("adapt: before  held-out photographs %.4f  drawn %.4f", looks[0].photos, looks[0].drawn)
    best, since = deepcopy(net.state_dict()), 0
    for step in range(1, config.steps + 1):
        loss = losses(*answered(rng))
        optimizer.zero_grad(set_to_none=True)
        loss.backward()  # type: ignore[no-untyped-call]
        clip_grad_norm_(parameters, 2.0)
        for group in optimizer.param_groups:
            group["lr"] = config.rate * min(step / 20, 1.0)
        optimizer.step()
        if step % config.every and step != config.steps:
            continue
        now = looked()
        least = min(look.photos for look in looks if look.kept)
        kept = now[0] < least and now[1] <= looks[0].drawn + config.forget
        looks.append(Look(step, *now, kept))
        log.info("adapt: step %d  held-out photographs %.4f  drawn %.4f%s", step, *now, "  best" if kept else "")
        best, since = (deepcopy(net.state_dict()), 0) if kept else (best, since + 1)
        if since >= config.patience:
            break
    net.load_state_dict(best)
    return looks


def side(bag: Bag) -> int:
    """1 painted, 0 printed: the dial's process, or that of most zones labelled where it has none of its own."""
    return side_of(bag.dial, bag.hand)


def side_of(dial: int, hand: NDArray[Any]) -> int:
    """`side` of a dial's truth and its zones'."""
    if dial >= 0:
        return dial
    known = hand[hand >= 0]
    return int(known.mean() > 0.5) if len(known) else 0


def _store(groups: Sequence[Sequence[Bag]], device: torch.device) -> BagStore:
    store = BagStore(device, 1)
    store.add(groups)
    return store


def together(batches: Sequence[Batch]) -> Batch:
    """Several batches as one; twins stay beside each other."""
    before = np.cumsum([0, *(len(batch.dial) for batch in batches)])
    names = [field.name for field in fields(Batch) if all(getattr(batch, field.name) is not None for batch in batches)]
    parts: dict[str, Tensor] = {name: torch.cat([getattr(batch, name) for batch in batches]) for name in names}
    for name in {"twin", "again"} & set(names):  # rows of the whole
        starts = zip(batches, before, strict=False)
        parts[name] = torch.cat([getattr(batch, name) + int(start) for batch, start in starts])
    return Batch(**parts)


def balanced_loss(net: StrokeNet, bags: HeldOut) -> float:
    """Cross entropy, nats, of dials and of zones, painted and printed counting alike; the mean of those there are."""
    return balanced(judged_batches(net, bags))


def balanced(judgements: Iterable[tuple[Batch, NetOutput]]) -> float:
    """`balanced_loss` of what was said of each batch."""
    sums: dict[tuple[str, int], list[float]] = {}
    for batch, output in judgements:
        for what, logit, truth, known in (
            ("dial", output.dial, batch.dial, batch.dial >= 0),
            ("zone", output.zone, batch.hand, output.present & (batch.hand >= 0)),
        ):
            each = torch.nn.functional.binary_cross_entropy_with_logits(logit, truth.clamp(min=0), reduction="none")
            for which in (0, 1):
                chosen = known & (truth == which)
                sums.setdefault((what, which), []).extend(each[chosen].tolist())
    means = [float(np.mean(values)) for values in sums.values() if values]
    return float(np.mean(means))
