"""Clocks: the median of several calls, seconds by stage, and what this processor can do at best."""

from __future__ import annotations

import contextlib
import functools
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np

PRODUCT = "a product of two 1024 x 1024 matrices"
COPY = "a copy of 48 MB"
# where a function is looked up, by which name, and the stage it is counted for
Stage = tuple[Any, str, str]

_SIDE = 1024
_COPIED = 48_000_000  # bytes: the light of 12 megapixels


def median_of(work: Callable[[int], object], n: int, clock: Callable[[], float] = time.process_time) -> float:
    """Seconds of the n calls work(0), work(1) ..., their median, after one call unclocked."""
    work(0)
    seconds = []
    for index in range(n):
        start = clock()
        work(index)
        seconds.append(clock() - start)
    return statistics.median(seconds)


def product_seconds() -> float:
    """The plainest yardstick of arithmetic: float32, by numpy, whose product takes the core nearest to what it can."""
    one = np.random.default_rng(0).random((_SIDE, _SIDE), dtype=np.float32)
    return median_of(lambda _: one @ one, 7)


def half_product_seconds() -> float:
    """The same in bfloat16, by torch."""
    import torch

    torch.set_num_threads(1)
    one = torch.ones(_SIDE, _SIDE, dtype=torch.bfloat16)
    return median_of(lambda _: one @ one, 7)


def arithmetic_seconds(multiply_adds: float, product: float) -> float:
    """What so many take at the pace of that product."""
    return multiply_adds / _SIDE**3 * product


def multiply_adds(work: Callable[[], object]) -> int:
    """How many of matrix products and convolutions torch makes in a call."""
    from torch.utils.flop_counter import FlopCounterMode

    with FlopCounterMode(display=False) as counter:
        work()
    return int(counter.get_total_flops()) // 2


def copy_seconds() -> float:
    """The plainest yardstick of memory: read and written once, one thread."""
    source = np.ones(_COPIED // 4, np.float32)
    target = np.empty_like(source)
    return median_of(lambda _: np.copyto(target, source), 7)


def touching_seconds(read: float, written: float, copy: float) -> float:
    """What so many bytes take at the pace of that copy."""
    return (read + written) / (2 * _COPIED) * copy


class Clock:
    """Processor seconds by stage; what is spent in a stage begun within another counts for the inner one alone."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}
        self._inner: list[float] = []

    def timed(self, stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """The function with its own time added to a stage."""

        @functools.wraps(function)
        def run(*args: Any, **kwargs: Any) -> Any:
            self._inner.append(0.0)
            start = time.process_time()
            try:
                return function(*args, **kwargs)
            finally:
                whole = time.process_time() - start
                self.spent[stage] = self.spent.get(stage, 0.0) + whole - self._inner.pop()
                if self._inner:
                    self._inner[-1] += whole

        return run

    def watching(self, stages: Sequence[Stage]) -> contextlib.AbstractContextManager[None]:
        """The stages under this clock for the length of a `with`."""
        return wrapped(stages, self.timed)


@contextlib.contextmanager
def wrapped(stages: Sequence[Stage], wrap: Callable[[str, Callable[..., Any]], Callable[..., Any]]) -> Iterator[None]:
    """Functions replaced by `wrap(stage, function)` where they are looked up, for the length of a `with`."""
    before = [getattr(place, name) for place, name, _ in stages]
    try:
        for (place, name, stage), function in zip(stages, before, strict=True):
            setattr(place, name, wrap(stage, function))
        yield
    finally:
        for (place, name, _), function in zip(stages, before, strict=True):
            setattr(place, name, function)


def stage_medians(
    repeats: int, work: Callable[[], object], beside: Callable[[], object], stages: Sequence[Stage]
) -> dict[str, float]:
    """Seconds of one call and of its stages, in their order, medians of the calls after the first; "rest" is the
    remainder, what the first call took stands under "first", and `beside`, called in turn with it, under "beside"."""
    rows, others = [], []
    for _ in range(repeats + 1):
        start = time.process_time()
        beside()
        others.append(time.process_time() - start)
        clock = Clock()
        with clock.watching(stages):
            start = time.process_time()
            work()
            whole = time.process_time() - start
        rows.append({"whole": whole, **clock.spent, "rest": whole - sum(clock.spent.values())})
    names = ["whole", *dict.fromkeys(stage for _, _, stage in stages), "rest"]
    found = {name: statistics.median(row.get(name, 0.0) for row in rows[1:]) for name in names}
    return {**found, "first": rows[0]["whole"], "beside": statistics.median(others[1:])}
