"""Photographs and other files as they come in over a connection: so many at a time, so large, not too slowly."""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO, TypeVar

from starlette.requests import Request

from dialtell.evaluate.examine.desk import LOOK, Desk
from dialtell.evaluate.examine.record import WAITING, ExaminedDials
from dialtell.evaluate.serving.doors import PATIENCE_S, Refusal
from dialtell.synth.shared.errors import said_in_words

T = TypeVar("T")
LARGEST_PHOTO = 1_100_000_000  # bytes: what the largest photograph that is read could need
LONGEST_NAME = 255
_IN_MEMORY = 16 * 2**20  # bytes of a photograph that is coming, before it goes to the disk
_AT_ONCE = 4  # photographs coming
_FORM = "application/octet-stream"


class Receiving:
    """Keeps what comes for one desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.files = desk, desk.files
        self._coming = asyncio.Semaphore(_AT_ONCE)

    async def add(self, request: Request, dial: int, *, most: int = LARGEST_PHOTO) -> tuple[tuple[str, int], int]:
        """Keep a photograph under a dial: its bytes; ?name= what it was called. Its sha256 and the dial it lies under,
        and its size. most : bytes. Raises Refusal, DialtellError."""

        def there() -> None:
            with self.files.opened() as dials:
                dials.dial(dial)

        await asyncio.to_thread(there)
        return await self._take(request, most, lambda dials, *photo: dials.take(dial, *photo))

    async def begin(self, request: Request) -> tuple[str, int, bool]:
        """Begin a dial with a photograph, as `add`; ?as= what the dial is called, ?blind=1 its call is kept back. A
        photograph that was kept before begins none. Its sha256, the dial it lies under, and whether that is new."""
        given = request.query_params
        called, blind = given.get("as", ""), given.get("blind") == "1"
        (sha256, (lies, fresh)), _ = await self._take(
            request, LARGEST_PHOTO, lambda dials, *photo: dials.take_alone(*photo, called=called, blind=blind)
        )
        return sha256, lies, fresh

    async def _take(
        self, request: Request, most: int, take: Callable[[ExaminedDials, str, str, str], T]
    ) -> tuple[tuple[str, T], int]:
        """take : keeps the photograph of this sha256, file and name; gives where it lies."""
        name = request.query_params.get("name", "").replace("\0", "")[:LONGEST_NAME] or "photograph"
        name = name.encode("utf-8", "replace").decode()

        def kept(sha256: str, file: str) -> tuple[T, bool]:
            with self.files.opened() as dials:
                lies = take(dials, sha256, file, name)
                return lies, dials.photograph(sha256)["state"] == WAITING

        async with self._coming:
            with tempfile.SpooledTemporaryFile(_IN_MEMORY) as content:
                size = await received(request, content, min(most, LARGEST_PHOTO))
                sha256, file = await asyncio.to_thread(self.files.keep, content, name)
        lies, waiting = await asyncio.to_thread(kept, sha256, file)
        if waiting:
            self.desk.want(LOOK, sha256)  # and then read
        return (sha256, lies), size


async def received(request: Request, content: IO[bytes], largest: int) -> int:
    """The request's body into a file; its size in bytes. Raises Refusal, OutputError."""
    if request.headers.get("content-type") != _FORM:
        raise Refusal(415, "send the file's bytes")
    stream, size = request.stream().__aiter__(), 0
    while True:
        try:
            async with asyncio.timeout(PATIENCE_S):
                part = await anext(stream)
        except StopAsyncIteration:
            break
        except TimeoutError as error:
            raise Refusal(408, "the file came too slowly; add it again") from error
        size += len(part)
        if size > largest:
            raise Refusal(413, f"send at most {largest} bytes")
        with said_in_words(Path("the file")):
            content.write(part)
    if not size:
        raise Refusal(400, "the file is empty")
    return size
