"""A supply that renders in the test's own process and remembers: the same bags as train.supply.Supply gives."""

from concurrent.futures import Future
from functools import lru_cache

from dialtell.train.bags import bags

_twins, _single = lru_cache(maxsize=None)(bags.twin_bags), lru_cache(maxsize=None)(bags.single_bag)


def _done(value):
    future = Future()
    future.set_result(value)
    return future


class InlineSupply:
    def order_twins(self, seed, first, count, scope):
        return [_done(_twins(seed, index, scope)) for index in range(first, first + count)]

    def order_singles(self, seed, count, scope):
        return [_done(_single(seed, index, scope)) for index in range(count)]
