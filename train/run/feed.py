"""The pictures of a run, epoch by epoch, rendered ahead of whatever trains on them."""

from __future__ import annotations

import time
from concurrent.futures import Future

from tqdm import tqdm

from dialtell.train.bags.bags import Bag
from dialtell.train.bags.supply import VALIDATION_SEED, Supply, collect_singles, collect_twins
from dialtell.train.run.config import TrainConfig

AHEAD = 2  # epochs ordered before they are needed


class Feed:
    """Epoch e holds pairs e * pairs .. (e + 1) * pairs of set `seed`, and is rendered while earlier ones are used.

    done : epochs trained before, whose newest `config.window` are drawn again for `past`. last : epochs in all.
    waited : seconds spent waiting for pictures so far.
    """

    def __init__(self, supply: Supply, config: TrainConfig, *, seed: int, done: int, last: int) -> None:
        self._supply, self._config, self._seed, self._last = supply, config, seed, last
        self.waited = 0.0
        self.epoch = done
        self._held_out = supply.order_singles(VALIDATION_SEED, config.validation, config.scope)
        first = max(0, done - config.window + 1)
        self._past = [self._order(epoch) for epoch in range(first, done)]
        self._orders = [self._order(epoch) for epoch in range(done, min(done + AHEAD, last))]

    def _order(self, epoch: int) -> list[Future[list[Bag]]]:
        pairs = self._config.pairs
        return self._supply.order_twins(self._seed, epoch * pairs, pairs, self._config.scope)

    @property
    def left(self) -> int:
        """Epochs not yet given."""
        return self._last - self.epoch

    @property
    def all_ordered(self) -> bool:
        """Whether the workers have been asked for everything there is to train on."""
        return self.left <= AHEAD

    def past(self) -> list[list[list[Bag]]]:
        """Pictures of the epochs done before, needed again after a resume; once."""
        epochs = [list(collect_twins(order)) for order in self._past]
        self._past = []
        return epochs

    def validation(self) -> list[Bag]:
        """The held-out dials every epoch is validated on; once."""
        began = time.monotonic()
        bags = collect_singles(self._held_out)
        self._held_out = []
        self.waited += time.monotonic() - began
        return bags

    def next(self) -> tuple[list[list[Bag]], float]:
        """The next epoch's groups of bags, and the seconds waited for them."""
        began = time.monotonic()
        order = self._orders.pop(0)
        groups = list(tqdm(collect_twins(order), total=len(order), desc="render", disable=None))
        self.epoch += 1
        waited = time.monotonic() - began
        self.waited += waited
        ahead = self.epoch + len(self._orders)
        if ahead < self._last:
            self._orders.append(self._order(ahead))
        return groups, waited
