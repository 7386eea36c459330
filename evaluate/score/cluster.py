"""`dialtell score --csv --engine cluster`: photographs judged by the workers of a Dask scheduler, in the order given.

Photographs are read where the workers are, by the paths they have here or by address; the nets' files are shipped to
each worker once. A worker judges in a process of its own beside each of its threads, so what kills that process is the
photograph that was being read, and no other. Photographs are handed out a few together, for a scheduler is slower at
it than many cores are at judging; no more are on their way than keep the workers busy.
"""

from __future__ import annotations

import logging
import os
import time
import uuid
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import count, islice
from pathlib import Path
from typing import Any

from dialtell.evaluate.score.addresses import Source
from dialtell.evaluate.score.crew import WEIGHTS, Crew, judge_here, set_aside
from dialtell.evaluate.score.stream import AHEAD, StreamSettings
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.net.weights_file import SHIPPED
from dialtell.model.reader.file import BESIDE
from dialtell.model.reader.file import SHIPPED as SHIPPED_READER
from dialtell.synth.shared.errors import DialtellError, OutputError, ParameterError

log = logging.getLogger("dialtell.cluster")

TOGETHER = 8  # photographs handed out as one job
ROUNDS = 3  # times that Dask may give a photograph up, each after some four dead workers, before it is set aside
PATIENCE_S = 300.0  # that a scheduler may be away
LOSSES = 5  # of the scheduler, one after the other without a row between
LOOK_S = 30.0  # between two looks whether there are workers at all


@dataclass
class _Job:
    place: int  # in the order of all jobs
    paths: list[Source]
    future: Any = None
    given_up: int = 0


def judged_on_cluster(
    paths: Sequence[Source], settings: StreamSettings, scheduler: str
) -> Iterator[tuple[Source, dict[str, Any]]]:
    """(path, entry) in the order of the paths, as stream_calls wants them. scheduler : "tcp://host:8786".

    Raises ParameterError without the extra `cluster` or when no scheduler answers, OutputError when one stays away or
    its workers do not see the photographs.
    """
    if not paths:
        return
    run = _Run(scheduler, settings)
    waiting: deque[_Job] = deque()
    left, places = iter(paths), count()
    run.connect(10.0)
    try:
        while True:
            together = min(TOGETHER, max(1, len(paths) // run.room()))  # of few photographs, some for every worker
            while len(waiting) < run.room() and (some := list(islice(left, together))):
                waiting.append(_Job(next(places), some))
            if not waiting:
                return
            for job in waiting:
                if job.future is None:
                    job.future = run.submit(job)
            for path, entry in run.entries_of(waiting):
                if "unseen" in entry and os.path.lexists(path):
                    raise OutputError(
                        f"the worker {entry['unseen']} does not see {plain_name(path)}; give photographs in a "
                        "folder that workers have under the same path, and run again to go on"
                    )
                entry.pop("unseen", None)
                yield path, {**entry, "photo": str(path)}
    finally:
        run.close()


class _Run:
    """One run's ties to the scheduler."""

    def __init__(self, scheduler: str, settings: StreamSettings) -> None:
        self.scheduler, self.name = scheduler, f"dialtell-{uuid.uuid4().hex[:12]}"
        weights = settings.weights or SHIPPED
        beside = weights.with_name(BESIDE)
        reader = beside if beside.is_file() else SHIPPED_READER
        files = {}
        for name, path in ((WEIGHTS, weights), (BESIDE, reader)):
            files[name] = path.read_bytes()
            files[str(Path(name).with_suffix(".json"))] = path.with_suffix(".json").read_bytes()
        self.crew = (self.name, files, replace(settings, weights=None), Path.cwd())
        self.client: Any = None
        self._room, self._looked, self._losses = 0, 0.0, 0

    def connect(self, patience_s: float) -> None:
        """Find the scheduler and equip its workers."""
        try:
            from distributed import Client, WorkerPlugin
        except ImportError as error:
            raise ParameterError(
                "--engine is cluster and Dask is not installed; pip install 'dialtell[cluster]', here and for the "
                "workers, or give --engine local"
            ) from error
        for name in list(logging.root.manager.loggerDict):
            if name.split(".")[0] == "distributed":  # tracebacks of each lost connection; what matters is said here
                logging.getLogger(name).setLevel(logging.CRITICAL)
        end = time.monotonic() + patience_s
        while True:
            self.close()
            try:
                self.client = Client(self.scheduler, timeout=10, set_as_default=False, name=self.name)
                plugin = type("CrewPlugin", (Crew, WorkerPlugin), {})(*self.crew)
                self.client.register_plugin(plugin, name=self.name)
                self._room = 0
                return
            except (OSError, TimeoutError, CancelledError) as error:
                if time.monotonic() > end:
                    raise OutputError(
                        f"no Dask scheduler answers at {plain_name(self.scheduler)}; start one (dask scheduler), or "
                        "run again to go on when it is back"
                    ) from error
                time.sleep(1.0)
            except ModuleNotFoundError as error:
                raise OutputError(
                    f"a worker lacks {error.name}; install dialtell[cluster] where the workers run, of this version"
                ) from error
            except ValueError as error:
                raise ParameterError(f"--scheduler is {self.scheduler} ({error}); give tcp://HOST:8786") from error

    def room(self) -> int:
        """Jobs that may be on their way."""
        if not self._room or time.monotonic() - self._looked > LOOK_S:
            with suppress(OSError, TimeoutError, CancelledError):
                self._room = AHEAD * sum(self.client.nthreads().values())
            self._room, self._looked = max(self._room, AHEAD), time.monotonic()
        return self._room

    def submit(self, job: _Job) -> Any:
        """Hand a job out; one handed out again comes before those behind it, which wait for its rows."""
        return self.client.submit(judge_here, self.name, job.paths, pure=False, priority=-job.place)

    def entries_of(self, waiting: deque[_Job]) -> list[tuple[Source, dict[str, Any]]]:
        """The first job's photographs with their entries, the job taken off; nothing when it is to be asked again."""
        from distributed import KilledWorker

        job = waiting[0]
        try:
            entries: list[dict[str, Any]] = job.future.result(timeout=LOOK_S)
            self._losses = 0
            waiting.popleft()
            return list(zip(job.paths, entries, strict=True))
        except KilledWorker:
            job.given_up, job.future = job.given_up + 1, None
            if len(job.paths) > 1:  # one of them may be at fault, the others are not
                waiting.popleft()
                waiting.extendleft(_Job(job.place, [path]) for path in reversed(job.paths))
            elif job.given_up >= ROUNDS:
                waiting.popleft()
                return [(path, set_aside(path, "workers that had it died again and again")) for path in job.paths]
        except DialtellError:
            raise
        except TimeoutError:
            if self.client.status == "running" and not self.client.scheduler_info()["workers"]:
                log.warning("%s has no worker; waiting for one (dask worker %s)", self.scheduler, self.scheduler)
        except (CancelledError, OSError) as error:  # the scheduler went, and with it all that was on its way
            self._losses += 1
            if self._losses > LOSSES:
                raise OutputError(
                    f"the scheduler at {plain_name(self.scheduler)} or its workers fail again and again "
                    f"({plain_name(error)}); see their logs, and run again to go on"
                ) from error
            log.warning("the scheduler at %s went away; waiting for it up to %.0f s", self.scheduler, PATIENCE_S)
            for one in waiting:
                one.future = None
            self.connect(PATIENCE_S)
        except BrokenProcessPool:  # a process died while it loaded the nets
            job.given_up, job.future = job.given_up + 1, None
            if job.given_up >= ROUNDS:
                raise OutputError(
                    "a process that was to score photographs died as it began, perhaps of too little memory; start "
                    "workers with fewer --nthreads and run again to go on"
                ) from None
        return []

    def close(self) -> None:
        """Leave the scheduler, with nothing left on its workers."""
        if self.client is not None:
            with suppress(Exception):
                if self.client.status == "running":
                    self.client.unregister_worker_plugin(self.name)
            with suppress(Exception):
                self.client.close(timeout=5)
            self.client = None
