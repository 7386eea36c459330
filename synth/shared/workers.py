"""Worker processes: spawned, one thread each, Ctrl-C left to the parent, and no life without it."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

from dialtell.synth.shared.errors import DialtellError

_POLITE = 5  # niceness of a worker beside its parent

J = TypeVar("J")
R = TypeVar("R")


class WorkerDied(DialtellError):
    """A worker process was killed. job : one of those that were being worked on, the first in order."""

    def __init__(self, job: object) -> None:
        super().__init__(
            "a worker process was killed, perhaps for want of memory; run again with fewer of them or more memory"
        )
        self.job = job


def in_order(
    function: Callable[[J], R],
    jobs: Iterable[J],
    workers: int,
    *,
    ahead: int = 2,
    start: Callable[..., object] | None = None,
    arguments: tuple[Any, ...] = (),
) -> Iterator[R]:
    """Results of `function` in the order of the jobs, from so many processes; with one, in this process.

    ahead : jobs handed out to each process before the first of them is taken, however many there are. start : called
    with `arguments` before the first job, in each process. Raises WorkerDied, and what `function` raises.
    """
    if workers <= 1:
        if start is not None:
            start(*arguments)
        yield from map(function, jobs)
        return
    pool = spawned(workers, start, arguments)
    waiting: deque[tuple[J, Future[R]]] = deque()
    job: object = None
    try:
        for job in jobs:
            waiting.append((job, pool.submit(function, job)))
            if len(waiting) > ahead * workers:
                yield waiting.popleft()[1].result()
        while waiting:
            yield waiting.popleft()[1].result()
    except BrokenProcessPool as error:
        raise WorkerDied(waiting[0][0] if waiting else job) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def spawned(
    workers: int, start: Callable[..., object] | None = None, arguments: tuple[Any, ...] = ()
) -> ProcessPoolExecutor:
    """A pool of such processes, for whoever hands out the jobs; `start` as for in_order."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # read when numpy is loaded, which in a spawned process is still to come
    # a forked copy of a process that has used torch can hang
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_begin, initargs=(start, arguments))


def _begin(start: Callable[..., object] | None, arguments: tuple[Any, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(_POLITE)  # who hands out the jobs comes first: a training waits for its own launches, not for pictures
    follow_parent()
    import cv2

    cv2.setNumThreads(1)
    if start is not None:
        start(*arguments)


def follow_parent() -> None:
    """No life without the process that hands out the work: killed, it cannot end its workers itself."""
    parent = multiprocessing.parent_process()
    if parent is not None:

        def follow() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=follow, daemon=True).start()
