"""Bags rendered by worker processes, in the order of their indices whatever the number of workers."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import Future

from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import require_range
from dialtell.synth.shared.workers import spawned
from dialtell.train.bags.bags import Bag, single_bag, twin_bags

VALIDATION_SEED = 1_000_003  # sets no training seed reaches
CALIBRATION_SEED = 2_000_003
BEYOND_SEED = 2_500_009
FIGURES_SEED = 3_000_017


class Supply:
    """Worker processes that render, `workers` of them (0: one per core); `close` them, or use as a context manager.

    A held-out set is rendered once however often it is ordered: ahead of its use, or for several nets measured on it.
    """

    def __init__(self, workers: int = 0) -> None:
        self._kept: dict[tuple[int, int, Range], list[Future[Bag | None]]] = {}
        require_range("workers", workers, 0, 1024)
        self.workers = workers or len(os.sched_getaffinity(0))
        # workers are spawned and read these at their start: pictures then come from kept memory, not fresh pages
        os.environ.setdefault("MALLOC_MMAP_THRESHOLD_", str(32 << 20))
        os.environ.setdefault("MALLOC_TRIM_THRESHOLD_", str(1 << 30))
        self._pool = spawned(self.workers)

    def __enter__(self) -> Supply:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the workers; what has not begun is dropped."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def order_twins(self, seed: int, first: int, count: int, scope: Range) -> list[Future[list[Bag]]]:
        """Start rendering pairs first .. first + count."""
        return [self._pool.submit(twin_bags, seed, index, scope) for index in range(first, first + count)]

    def order_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        """Start rendering `count` dials of a held-out set; one ordered before comes as it was."""
        key = (seed, count, scope)
        if key not in self._kept:
            self._kept[key] = self._start_singles(seed, count, scope)
        return list(self._kept[key])

    def _start_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        return [self._pool.submit(single_bag, seed, index, scope) for index in range(count)]


def collect_twins(futures: list[Future[list[Bag]]]) -> Iterator[list[Bag]]:
    """Bags of each pair, in order of index."""
    for future in futures:
        yield future.result()


def collect_singles(futures: list[Future[Bag | None]]) -> list[Bag]:
    """The bags that could be read, in order of index."""
    return [bag for future in futures if (bag := future.result()) is not None]
