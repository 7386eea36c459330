"""What each worker of a cluster has to judge photographs: the nets' files, and a process for each of its threads.

Kept apart and light: Dask's worker itself loads no net, so that it answers its scheduler at once and stays small.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from dialtell.evaluate.score.addresses import Source
from dialtell.evaluate.score.stream import StreamSettings, judge, start_judging
from dialtell.synth.shared.workers import spawned

IDLE_S = 120.0  # after which a process without a photograph is ended: a command that was killed takes none back
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
        self.place = place = Path(worker.local_directory) / self.name
        place.mkdir(parents=True, exist_ok=True)
        for name, data in self.files.items():
            (place / name).write_bytes(data)
        self.files.clear()
        self.settings = replace(self.settings, weights=place / WEIGHTS)
        self.worker, self.over = str(worker.address), threading.Event()
        self.pools = dict[int, tuple[ProcessPoolExecutor, float]]()  # by thread: at rest, since when
        threading.Thread(target=self._end_idle, daemon=True).start()

    def teardown(self, worker: Any) -> None:
        """On a worker that leaves, or when the run is over."""
        self.over.set()
        while self.pools:
            self.pools.popitem()[1][0].shutdown(wait=False, cancel_futures=True)
        shutil.rmtree(self.place, ignore_errors=True)

    def judge(self, path: Source) -> dict[str, Any]:
        """The entry of one photograph; that of an error when it killed the processes that read it."""
        seen = isinstance(path, str) or os.path.lexists(self.folder / path)
        for _ in range(TRIES):
            resting = self.pools.pop(threading.get_ident(), None)
            pool = resting[0] if resting else self._begun()
            try:
                entry = pool.submit(judge, path).result()
            except BrokenProcessPool:
                pool.shutdown(wait=False)
                continue
            self.pools[threading.get_ident()] = pool, time.monotonic()
            return entry if seen else {**entry, "unseen": self.worker}
        return set_aside(path, f"the process that read it died {TRIES} times, perhaps of too little memory")

    def _end_idle(self) -> None:
        while not self.over.wait(IDLE_S / 4):
            for thread, (_, since) in list(self.pools.items()):
                if time.monotonic() - since > IDLE_S and (resting := self.pools.pop(thread, None)):
                    resting[0].shutdown(wait=False)

    def _begun(self) -> ProcessPoolExecutor:
        # Dask's workers are daemons, which may have no children; these end with their parent (follow_parent)
        multiprocessing.current_process()._config["daemon"] = False  # type: ignore[attr-defined]
        # Dask has its workers give memory back at once (MALLOC_TRIM_THRESHOLD_ 65536), and what they begin inherits it:
        # then fresh pages for each photograph take more than half the time
        os.environ["MALLOC_TRIM_THRESHOLD_"] = str(1 << 30)
        os.environ["MALLOC_MMAP_THRESHOLD_"] = str(32 << 20)
        pool = spawned(1)
        try:
            pool.submit(_begin, self.settings, self.folder, self.place).result()
        except BaseException:
            pool.shutdown(wait=False)
            raise
        return pool


def _begin(settings: StreamSettings, folder: Path, drafts: Path) -> None:
    """In the process that judges: load the nets. What fails here is no photograph's fault.

    drafts : where what is brought from an address lies meanwhile; Dask clears it away when the worker dies.
    """
    tempfile.tempdir = str(drafts)
    with suppress(OSError):  # else all that is relative to it is not seen, and the command says so
        os.chdir(folder)
    start_judging(settings)


def judge_here(name: str, paths: list[Source]) -> list[dict[str, Any]]:
    """A job, on a worker: the entries of some photographs."""
    from distributed import get_worker

    crew: Crew = get_worker().plugins[name]
    return [crew.judge(path) for path in paths]


def set_aside(path: Source, why: str) -> dict[str, Any]:
    """The entry of a photograph that what read it did not outlive."""
    return {"photo": str(path), "error": f"{path}: set aside, {why}; score it alone to see why"}
