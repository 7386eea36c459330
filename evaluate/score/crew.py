"""What each worker of a cluster has to judge photographs: the nets' files, and a process for each of its threads.

Kept apart and light: Dask's worker itself loads no net, so that it answers its scheduler at once and stays small.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from dialtell.evaluate.score.stream import StreamSettings, judge, start_judging
from dialtell.synth.shared.workers import spawned

TRIES = 2  # processes that may die on one photograph before it is set aside
WEIGHTS = "strokes.safetensors"


class Crew:
    """What each worker of one run has: the nets' files, and a process for each of its threads.

    It travels as a plugin: workers get it when they join, once. files : bytes by name. folder : the one that relative
    paths are of.
    """

    def __init__(self, name: str, files: Mapping[str, bytes], settings: StreamSettings, folder: Path) -> None:
        self.name, self.files, self.settings, self.folder = name, dict(files), settings, folder

    def setup(self, worker: Any) -> None:
        """On a worker that joins: write the files down."""
        place = Path(worker.local_directory) / self.name
        place.mkdir(parents=True, exist_ok=True)
        for name, data in self.files.items():
            (place / name).write_bytes(data)
        self.files.clear()
        self.settings = replace(self.settings, weights=place / WEIGHTS)
        self.worker, self.pools = str(worker.address), dict[int, ProcessPoolExecutor]()

    def teardown(self, worker: Any) -> None:
        """On a worker that leaves, or when the run is over."""
        while self.pools:
            self.pools.popitem()[1].shutdown(wait=False, cancel_futures=True)

    def judge(self, path: Path) -> dict[str, Any]:
        """The entry of one photograph; that of an error when it killed the processes that read it."""
        place = self.folder / path
        seen = os.path.lexists(place)
        for _ in range(TRIES):
            pool = self.pools.pop(threading.get_ident(), None) or self._begun()
            try:
                entry = pool.submit(judge, path).result()
            except BrokenProcessPool:
                pool.shutdown(wait=False)
                continue
            self.pools[threading.get_ident()] = pool
            return entry if seen else {**entry, "unseen": self.worker}
        return set_aside(path, f"the process that read it died {TRIES} times, perhaps of too little memory")

    def _begun(self) -> ProcessPoolExecutor:
        # Dask's workers are daemons, which may have no children; these end with their parent (follow_parent)
        multiprocessing.current_process()._config["daemon"] = False  # type: ignore[attr-defined]
        pool = spawned(1)
        try:
            pool.submit(_begin, self.settings, self.folder).result()
        except BaseException:
            pool.shutdown(wait=False)
            raise
        return pool


def _begin(settings: StreamSettings, folder: Path) -> None:
    """In the process that judges: load the nets. What fails here is no photograph's fault."""
    with suppress(OSError):  # else all that is relative to it is not seen, and the command says so
        os.chdir(folder)
    start_judging(settings)


def judge_here(name: str, path: Path) -> dict[str, Any]:
    """A job, on a worker."""
    from distributed import get_worker

    crew: Crew = get_worker().plugins[name]
    return crew.judge(path)


def set_aside(path: Path, why: str) -> dict[str, Any]:
    """The entry of a photograph that what read it did not outlive."""
    return {"photo": str(path), "error": f"{path}: set aside, {why}; score it alone to see why"}
