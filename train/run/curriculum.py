"""Which pictures an epoch gets: easy ones first, then wider and wider, in the end those of the whole scope."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import fields, replace
from typing import Any

from dialtell.synth.scene import Range
from dialtell.train.bags.bags import Bag
from dialtell.train.bags.supply import Supply
from dialtell.train.run.config import TrainConfig


def scope_at(config: TrainConfig, epoch: int) -> Range:
    """What epoch `epoch` (from 0) draws its pictures from: `start`, then on the way to `scope`, then `scope`."""
    if config.start is None:
        return config.scope
    easy, widening = config.start_share * config.epochs, config.widen_share * config.epochs
    if epoch < easy:
        return config.start
    return blend(config.start, config.scope, min((epoch + 1 - easy) / (widening + 1), 1.0))


def blend(one: Range, other: Range, share: float) -> Range:
    """Numbers and limits between two ranges, `share` 0..1 of the way; what is no number is the other's."""
    if share >= 1.0:
        return other
    names = [field.name for field in fields(Range)]
    return replace(other, **{name: _between(getattr(one, name), getattr(other, name), share) for name in names})


def _between(a: Any, b: Any, share: float) -> Any:
    if isinstance(a, tuple) and isinstance(b, tuple):
        return tuple(_between(x, y, share) for x, y in zip(a, b, strict=True))
    if isinstance(a, int) and isinstance(b, int):
        return round(a + share * (b - a))
    if isinstance(a, int | float) and isinstance(b, int | float):
        return a + share * (b - a)
    return b


class Curriculum(Supply):
    """A supply that draws each epoch's twins from what `scope_at` says; held-out sets are left as ordered."""

    def __init__(self, supply: Supply, config: TrainConfig) -> None:
        self._supply, self._config = supply, config

    def close(self) -> None:
        """End the supply beneath."""
        self._supply.close()

    def order_twins(self, seed: int, first: int, count: int, scope: Range) -> list[Future[list[Bag]]]:
        """See Supply; `scope` gives way to the epoch's own."""
        return self._supply.order_twins(seed, first, count, scope_at(self._config, first // self._config.pairs))

    def order_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        """See Supply."""
        return self._supply.order_singles(seed, count, scope)
