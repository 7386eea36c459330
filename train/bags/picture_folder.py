"""Pictures shared through a folder: one run draws and keeps them, others train on the same ones without drawing.

    dialtell train --preset full --keep pictures --out runs/full
    python -m dialtell.train.study.study --preset full --members strokes-2 --pictures pictures --out runs/second

The others may start while the first still draws. An epoch of the preset full takes about 1 GB. Any number of machines
may draw into the folder beforehand (train.run.drawing): a run that keeps takes what is there and draws the rest.
"""

from __future__ import annotations

import hashlib
import json
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

from dialtell.model.reader.file import SHIPPED
from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.files import content_hash
from dialtell.synth.shared.record import to_record
from dialtell.train.bags.bags import Bag
from dialtell.train.bags.kept_bags import load_bags, save_bags, stamp
from dialtell.train.bags.supply import Supply

LOOKS = 0.2  # s between two looks whether a file is there
PATIENCE = 900.0  # s without the file awaited after which whoever draws is given up


def picture_file(folder: Path, kind: str, seed: int, first: int, count: int, scope: Range) -> Path:
    """Where one order is kept: its name says all that it depends on, the reader that looks at the pictures included."""
    drawn = json.dumps([to_record(scope), content_hash(SHIPPED)], sort_keys=True)
    digest = hashlib.sha256(drawn.encode()).hexdigest()[:12]
    return folder / f"{stamp()}-{kind}-{seed}-{first}-{count}-{digest}.npz"


class KeepingSupply(Supply):
    """A supply that also writes all it draws into `folder`, and does not draw what is there."""

    def __init__(self, folder: Path, workers: int = 0) -> None:
        super().__init__(workers)
        self._folder = folder
        self._there = FolderSupply(folder)
        self._writer = ThreadPoolExecutor(1)
        self._written: list[Future[None]] = []

    def close(self) -> None:
        """End the workers; what is complete is written first, and what writing raised comes up."""
        super().close()
        self._there.close()
        self._writer.shutdown(wait=True)
        for written in self._written:
            written.result()

    def order_twins(self, seed: int, first: int, count: int, scope: Range) -> list[Future[list[Bag]]]:
        """See Supply."""
        path = picture_file(self._folder, "twins", seed, first, count, scope)
        if path.exists():
            return self._there.order_twins(seed, first, count, scope)
        orders = super().order_twins(seed, first, count, scope)
        self._keep(path, lambda: [bag for order in orders for bag in order.result()])
        return orders

    def _start_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        path = picture_file(self._folder, "singles", seed, 0, count, scope)
        if path.exists():
            return self._there.order_singles(seed, count, scope)
        orders = super()._start_singles(seed, count, scope)
        self._keep(path, lambda: [bag for order in orders if (bag := order.result()) is not None])
        return orders

    def _keep(self, path: Path, drawn: Callable[[], list[Bag]]) -> None:
        def write() -> None:
            try:
                bags = drawn()
            except CancelledError:  # the run ended before they were drawn
                return
            save_bags(path, bags, compressed=False)

        self._written.append(self._writer.submit(write))


class FolderSupply(Supply):
    """What another run keeps in `folder`, awaited; draws nothing.

    patience : s without a file that is awaited, after which ParameterError comes in place of its pictures.
    """

    def __init__(self, folder: Path, *, patience: float = PATIENCE) -> None:
        self.workers, self._kept = 0, {}
        self._folder, self._patience = folder, patience
        self._reader = ThreadPoolExecutor(1)
        self._ended = threading.Event()

    def close(self) -> None:
        """Await nothing more."""
        self._ended.set()
        self._reader.shutdown(wait=True, cancel_futures=True)

    def order_twins(self, seed: int, first: int, count: int, scope: Range) -> list[Future[list[Bag]]]:
        """See Supply."""
        orders: dict[int, Future[list[Bag]]] = {first + place: Future() for place in range(count)}

        def hand_out(bags: list[Bag]) -> None:
            groups: dict[int, list[Bag]] = {index: [] for index in orders}
            for bag in bags:
                groups[bag.index].append(bag)
            for index, order in orders.items():
                order.set_result(groups[index])

        path = picture_file(self._folder, "twins", seed, first, count, scope)
        self._reader.submit(self._read, path, list(orders.values()), hand_out)
        return list(orders.values())

    def _start_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        orders: list[Future[Bag | None]] = [Future() for _ in range(count)]

        def hand_out(bags: list[Bag]) -> None:
            found = {bag.index: bag for bag in bags}
            for index, order in enumerate(orders):
                order.set_result(found.get(index))

        path = picture_file(self._folder, "singles", seed, 0, count, scope)
        self._reader.submit(self._read, path, orders, hand_out)
        return orders

    def _read(self, path: Path, orders: Sequence[Future[Any]], hand_out: Callable[[list[Bag]], None]) -> None:
        try:
            began = time.monotonic()
            while not path.exists():  # comes whole or not at all
                if time.monotonic() - began > self._patience:
                    raise ParameterError(
                        f"--pictures {self._folder}: {path.name} has not come in {self._patience:.0f} s; give the "
                        "folder that dialtell train --keep writes, and the settings of that run"
                    )
                if self._ended.wait(LOOKS):
                    raise CancelledError
            hand_out(load_bags(path))
        except BaseException as error:  # whoever waits for the pictures shall know
            for order in orders:
                if not order.done():
                    order.set_exception(error)
