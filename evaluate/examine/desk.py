"""The queue: photographs are looked at, then read, in worker processes, several at a time; nothing waits for them.

What is to be done stands in the record, so a desk that was killed goes on where it stopped. Each worker has a process
pool of its own: one that dies, perhaps for want of memory, takes no other's work with it.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import logging
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from dialtell.evaluate.examine import work
from dialtell.evaluate.examine.fields import called
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.record import READ, WAITING
from dialtell.model.reading.known import MAX_PIXELS, Known
from dialtell.synth.shared.errors import DialtellError, OutputError, PhotoError, fault_of_ours
from dialtell.synth.shared.workers import spawned

log = logging.getLogger("dialtell.examine")
R = TypeVar("R")
DIED = "a worker process was ended twice while reading it, perhaps for want of memory; try a smaller photograph"
MOST_TOGETHER = 12  # photographs of a dial that are held in memory at once
TOO_MANY = (
    f"there are more than {MOST_TOGETHER} of them; lay those that show another dial, or show nothing new, under a dial "
    "of their own"
)
LONGEST_WAIT_S = 0.7  # that a page is kept waiting for news: no longer than the server waits for pages when it ends
# the lower is done the sooner: what a person waits for at the screen comes before what can wait
FULL, PAGE, AGAIN, LOOK, READING, TOGETHER, PLATES = range(7)
_WORDS = {
    FULL: "opening", PAGE: "writing the page of", AGAIN: "reading", LOOK: "looking at", READING: "reading",
    TOGETHER: "reading together", PLATES: "laying dials",
}  # fmt: skip


@dataclass(order=True)
class _Job:
    """what : one of the seven above. of : a photograph's sha256, or a dial's number as text. done : who waits for it,
    with what comes of it. call : a function of work and its values, where somebody waits."""

    what: int
    order: int
    of: str = field(compare=False)
    done: asyncio.Future[Any] | None = field(compare=False, default=None)
    call: tuple[Any, ...] = field(compare=False, default=())


class Desk:
    """Does the work of one folder until `close`. workers : processes. weights : None for the shipped ones."""

    def __init__(
        self, files: KeptFiles, *, workers: int = 1, weights: Path | None = None, max_pixels: int = MAX_PIXELS
    ) -> None:
        self.files, self.workers, self.max_pixels = files, workers, max_pixels
        self._version, self._news = 0, asyncio.Event()
        self.apart: dict[int, str] = {}  # dials whose photographs could not be read together, and why
        self._weights = weights
        self._orders = itertools.count()
        self._queue: asyncio.PriorityQueue[_Job] = asyncio.PriorityQueue()
        self._wanted: set[tuple[int, str]] = set()
        self._doing: dict[int, str] = {}
        self._tasks: list[asyncio.Task[None]] = []
        self._pools: dict[int, ProcessPoolExecutor] = {}

    @property
    def version(self) -> int:
        """Raised with every change that a page should see."""
        return self._version

    @version.setter
    def version(self, number: int) -> None:
        self._version = number
        self._news.set()
        self._news = asyncio.Event()

    async def news(self, since: str) -> None:
        """Wait until the version is another than `since`, or a while has passed."""
        if str(self._version) == since:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LONGEST_WAIT_S):
                    await self._news.wait()

    async def start(self) -> None:
        """Begin, with what was left undone last time."""
        for sha256, seen in await asyncio.to_thread(self._do, lambda dials: dials.waiting()):
            self.want(READING if seen else LOOK, sha256)
        for dial in await asyncio.to_thread(self._do, lambda dials: dials.apart()):
            self.want(TOGETHER, str(dial))
        self._tasks = [asyncio.create_task(self._serve(slot)) for slot in range(self.workers)]

    async def close(self) -> None:
        """Stop; what is undone stays undone until the next start."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for pool in self._pools.values():
            for process in list((getattr(pool, "_processes", None) or {}).values()):
                process.terminate()  # its work would be lost anyway: nothing half done is kept
            pool.shutdown(wait=False, cancel_futures=True)

    def want(self, what: int, of: str, order: int | None = None) -> None:
        """Have something done, once however often it is asked for before it begins. order : among its like, where it
        had one before."""
        if (what, of) not in self._wanted:
            self._wanted.add((what, of))
            if order is None:
                order = next(self._orders)
                if what in (LOOK, READING):  # what was dropped last is on top of the list, and comes first
                    order = -order
            self._queue.put_nowait(_Job(what, order, of))
        self.version += 1

    async def page(self, dial: int) -> Path:
        """The inspection page of a dial from all its photographs that are read, its report beside it, written if they
        are not there. Raises DialtellError."""

        def asked(dials: Any) -> tuple[list[tuple[Path, Any]], list[int], dict[str, str], Any]:
            read = [photo for photo in dials.photographs(dial) if photo["state"] == READ]
            photos = [(self.files.photograph(photo["file"]), dials.said(photo["sha256"])) for photo in read]
            names = {photo["file"]: photo["name"] for photo in read}
            return photos, [photo["reading"] for photo in read], names, dials.dial(dial)

        photos, readings, names, row = await asyncio.to_thread(self._do, asked)
        if not photos:
            raise PhotoError("nothing of it is read yet; wait until it is")
        name = called(row)
        place = self.files.page([*readings, row["year"], name, "with its report"])
        photos = [(path, replace(known, max_pixels=self.max_pixels)) for path, known in photos]
        return await self._made(
            PAGE, place, name, work.write_inspection, photos, place, name.removeprefix("dial "), row["year"], names
        )

    async def full(self, sha256: str) -> Path:
        """A photograph in full resolution, written if it is not there. Raises DialtellError."""
        row = await asyncio.to_thread(self._do, lambda dials: dials.photograph(sha256))
        path, place = self.files.photograph(row["file"]), self.files.full(sha256)
        return await self._made(FULL, place, row["name"], work.write_full, path, place, self.max_pixels)

    async def _made(self, what: int, place: Path, name: str, *call: Any) -> Path:
        if not place.is_file():
            await self.run(what, name, *call)
        return place

    async def run(self, what: int, of: str, function: Callable[..., R], *values: object) -> R:
        """What a function of work gives, done in its turn. of : what it is done to, as the page tells it. Raises
        PhotoError."""
        done: asyncio.Future[R] = asyncio.get_running_loop().create_future()
        self._queue.put_nowait(_Job(what, next(self._orders), of, done, (function, *values)))
        return await done

    def state(self) -> dict[str, Any]:
        """version; waiting : jobs; doing : what each busy worker does, in words."""
        return {"version": self.version, "waiting": self._queue.qsize(), "doing": list(self._doing.values())}

    # --- the work ---

    def _do(self, function: Callable[..., R]) -> R:
        with self.files.opened() as dials:
            return function(dials)

    async def _serve(self, slot: int) -> None:
        while True:
            job = await self._queue.get()
            self._wanted.discard((job.what, job.of))
            self._doing[slot] = _WORDS[job.what] + " photographs"  # until it is known which
            try:
                found = await (self._called(slot, job) if job.call else self._work(slot, job))
                if job.done is not None and not job.done.done():
                    job.done.set_result(found)
            except asyncio.CancelledError:
                raise
            except Exception as error:
                await self._failed(job, error)
            finally:
                self._doing.pop(slot, None)
                self.version += 1

    async def _failed(self, job: _Job, error: Exception) -> None:
        """Said in words at the photograph's place; the queue goes on."""
        if isinstance(error, DialtellError):
            words = str(error)
        else:
            words = DIED if isinstance(error, BrokenProcessPool) else fault_of_ours(error)
            log.debug("traceback", exc_info=error)
        if job.done is not None:
            if not job.done.done():
                job.done.set_exception(PhotoError(words))
            return
        if job.what == TOGETHER:
            self.apart[int(job.of)] = words
        if job.what == TOGETHER or isinstance(error, OutputError):
            log.error("%s: %s", job.of, words)
            return
        try:
            row = await asyncio.to_thread(self._do, lambda dials: dials.photograph(job.of))
            said = words.replace(str(self.files.photograph(row["file"])), row["name"])  # as the person knows it
            await asyncio.to_thread(self._do, lambda dials: dials.keep_failure(job.of, said))
        except DialtellError as worse:
            log.error("%s: %s (%s)", job.of, words, worse)

    async def _run(self, slot: int, function: Callable[..., R], *values: object) -> R:
        """A function's result from the slot's own process; once more where that process died."""
        for last in (False, True):
            pool = self._pools.get(slot)
            if pool is None:
                pool = self._pools[slot] = spawned(1, work.begin, (self._weights,))
            try:
                return await asyncio.get_running_loop().run_in_executor(pool, function, *values)
            except BrokenProcessPool:
                self._pools.pop(slot).shutdown(wait=False)
                if last:
                    raise
        raise AssertionError("not reached")

    async def _called(self, slot: int, job: _Job) -> Any:
        self._doing[slot] = f"{_WORDS[job.what]} {job.of}"
        self.version += 1
        return await self._run(slot, *job.call)

    async def _work(self, slot: int, job: _Job) -> None:
        if job.what == TOGETHER:
            await self._together(slot, int(job.of))
            return
        sha256 = job.of
        row = await asyncio.to_thread(self._do, lambda dials: dials.photograph(sha256))
        known = await asyncio.to_thread(self._do, lambda dials: dials.said(sha256))
        path = self.files.photograph(row["file"])
        self._doing[slot] = f"{_WORDS[job.what]} {row['name']}"
        self.version += 1
        if job.what == LOOK:
            seen = await self._run(slot, work.look, path, self.files.view(sha256), self.max_pixels)
            kept = asyncio.create_task(self._looked(sha256, seen))  # while it is read on
            here = row["state"] == WAITING and self._queue.empty()
            try:
                if here:
                    await self._read(slot, row, known, kept)  # where it is open
            finally:
                await kept
            if row["state"] == WAITING and not here:
                self.want(READING, sha256, job.order)
        elif row["state"] == WAITING:
            await self._read(slot, row, known)

    async def _looked(self, sha256: str, seen: work.Looked) -> None:
        await asyncio.to_thread(self._do, lambda dials: dials.looked(sha256, *seen))
        self.version += 1

    async def _read(
        self, slot: int, row: Mapping[str, Any], known: Known, before: Awaitable[None] | None = None
    ) -> None:
        """Read a photograph and keep that. before : what must be kept first."""
        sha256, path = row["sha256"], self.files.photograph(row["file"])
        self._doing[slot] = f"{_WORDS[READING]} {row['name']}"
        self.version += 1
        found = await self._run(slot, work.read, path, replace(known, max_pixels=self.max_pixels))
        if before is not None:
            await before
        kept = await asyncio.to_thread(
            self._do,
            lambda dials: dials.keep_reading(sha256, known, path, found.likeness, found.weights, found.document),
        )
        if not kept:
            self.want(AGAIN, sha256)
        await self.gather(row["dial"])

    async def gather(self, dial: int) -> None:
        """Have a dial's photographs read together when the last of them is read."""

        def lacks(dials: Any) -> bool:
            photos = dials.photographs(dial)
            read = sum(photo["state"] == READ for photo in photos)
            return read > 1 and all(photo["state"] != WAITING for photo in photos) and dials.whole(dial)[0] is None

        if await asyncio.to_thread(self._do, lacks):
            self.want(TOGETHER, str(dial))

    async def _together(self, slot: int, dial: int) -> None:
        def asked(dials: Any) -> tuple[list[int], list[tuple[Path, Any]], str]:
            read = [photo for photo in dials.photographs(dial) if photo["state"] == READ]
            photos = [(self.files.photograph(photo["file"]), dials.said(photo["sha256"])) for photo in read]
            return [photo["reading"] for photo in read], photos, called(dials.dial(dial))

        self.apart.pop(dial, None)
        readings, photos, name = await asyncio.to_thread(self._do, asked)
        if len(photos) < 2:
            return
        if len(photos) > MOST_TOGETHER:
            self.apart[dial] = TOO_MANY
            return
        self._doing[slot] = f"{_WORDS[TOGETHER]} the photographs of {name}"
        self.version += 1
        document, weights = await self._run(slot, work.read_together, photos, name)
        await asyncio.to_thread(self._do, lambda dials: dials.keep_together(dial, readings, weights, document))
