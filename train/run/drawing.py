"""All pictures of a training, drawn by any number of machines into one shared folder, apart from the training itself.

    python -m dialtell.train.run.drawing --preset full --out SHARED        on each machine, any number of times
    dialtell train --preset full --keep SHARED --out runs/full             on the one that trains, then or meanwhile

Each order of pictures (an epoch's twins, a held-out set) is a file whose name says all that it depends on, and comes
whole or not at all, so that it does not matter who draws it, when, or how often.
"""

from __future__ import annotations

import argparse
import logging
import os
import socket
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from dialtell.synth.shared.errors import DialtellError, said_in_words
from dialtell.train.bags.kept_bags import save_bags
from dialtell.train.bags.picture_folder import picture_file
from dialtell.train.bags.supply import Supply, collect_singles, collect_twins

if TYPE_CHECKING:
    from dialtell.synth.scene import Range
    from dialtell.train.bags.bags import Bag
    from dialtell.train.run.config import TrainConfig

NUMBERS = ("epochs", "pairs", "seed", "calibration")
log = logging.getLogger("dialtell.train")


class Order(NamedTuple):
    """What one file holds; see Supply. kind : "twins" or "singles". number : of pictures, twins as one."""

    kind: str
    seed: int
    first: int
    number: int
    scope: Range


class _Heard(Supply):
    """Draws nothing and notes what it is asked for."""

    def __init__(self) -> None:
        self.orders: list[Order] = []

    def close(self) -> None:
        """Nothing to end."""

    def order_twins(self, seed: int, first: int, count: int, scope: Range) -> list[Future[list[Bag]]]:
        """See Supply."""
        self.orders.append(Order("twins", seed, first, count, scope))
        return []

    def order_singles(self, seed: int, count: int, scope: Range) -> list[Future[Bag | None]]:
        """See Supply."""
        self.orders.append(Order("singles", seed, 0, count, scope))
        return []


def orders_of(config: TrainConfig) -> list[Order]:
    """All that a training of this configuration asks for."""
    from dialtell.train.run.curriculum import Curriculum
    from dialtell.train.run.feed import Feed
    from dialtell.train.run.finish import order_held_out

    heard = _Heard()
    # a run that has done all its epochs, and wants the pictures of each again
    done = replace(config, window=config.epochs + 1)
    Feed(Curriculum(heard, config), done, seed=config.seed, done=config.epochs, last=config.epochs)
    order_held_out(heard, config)
    return heard.orders


def draw_pictures(config: TrainConfig, folder: Path, workers: int = 0) -> Iterator[Path]:
    """Draw what the folder lacks of a training's pictures; yields each file as it is written.

    What another machine is at is left to it until nothing else is left, then drawn here too: it may have died.
    """
    with said_in_words(folder):
        folder.mkdir(parents=True, exist_ok=True)
    orders = [(order, picture_file(folder, *order)) for order in orders_of(config)]
    if all(path.exists() for _, path in orders):
        return
    with Supply(workers) as supply:
        for after_others in (False, True):
            for order, path in orders:
                with _begun(path) as mine:
                    if path.exists() or not (mine or after_others):
                        continue
                    if order.kind == "twins":
                        twins = collect_twins(supply.order_twins(*order[1:]))
                        bags = [bag for both in twins for bag in both]
                    else:
                        bags = collect_singles(supply.order_singles(order.seed, order.number, order.scope))
                    save_bags(path, bags, compressed=False)
                yield path


@contextmanager
def _begun(path: Path) -> Iterator[bool]:
    """A mark beside `path` that this machine is at it; False when there is one of another, which stays."""
    mark = path.with_suffix(".begun")
    with said_in_words(mark):
        try:
            handle = os.open(mark, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644)
        except FileExistsError:
            mine = False
        else:
            mine = True
            os.write(handle, f"{socket.gethostname()} {os.getpid()}\n".encode())
            os.close(handle)
    try:
        yield mine
    finally:
        if mine or path.exists():
            mark.unlink(missing_ok=True)


def main(arguments: Sequence[str] | None = None) -> int:
    """The module's command line."""
    from dialtell.train.run.config import preset

    parser = argparse.ArgumentParser(
        prog="python -m dialtell.train.run.drawing", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--preset", choices=("desk", "full", "tiny"), default="full", help="size (default: full)")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="the shared folder, made if missing")
    for name in NUMBERS:
        parser.add_argument(f"--{name}", type=int, metavar="N", help="as of dialtell train (default: the preset's)")
    parser.add_argument("--workers", type=int, default=0, metavar="N", help="rendering processes (default: one a core)")
    args = parser.parse_args(arguments)
    log.setLevel(logging.INFO)
    if not log.handlers:
        log.addHandler(logging.StreamHandler(sys.stderr))
    try:
        config = preset(args.preset, **{name: getattr(args, name) for name in NUMBERS})
        for path in draw_pictures(config, args.out, args.workers):
            log.info("drew %s", path)
    except DialtellError as error:
        print(f"drawing: error: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
