"""A progress bar for work that the same command takes up again where it was cut off."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

T = TypeVar("T")


@contextlib.contextmanager
def progress(total: int, *, unit: str, done: int = 0, quiet: bool = False, reached: Callable[[], str]) -> Iterator[Any]:
    """A bar on standard error, shown on terminals only; its `update()` counts one more.

    done : so many of `total` are there already. reached : says how far it came, asked for when the user interrupts; the
    interrupt then goes on its way.
    """
    from tqdm import tqdm  # --help does without

    bar = tqdm(total=total, initial=done, unit=unit, disable=True if quiet else None, file=sys.stderr)
    try:
        yield bar
    except KeyboardInterrupt:
        bar.close()
        print(f"interrupted; {reached()}; the same command goes on from there", file=sys.stderr)
        raise
    finally:
        bar.close()


def watched(items: Iterable[T], total: int, *, quiet: bool, unit: str = "photo") -> Iterator[T]:
    """The items, with a bar on standard error while they come: on terminals, of two or more, unless `quiet`."""
    from tqdm import tqdm

    hidden = True if quiet or total < 2 else None
    yield from tqdm(items, total=total, unit=unit, leave=False, disable=hidden, file=sys.stderr)
