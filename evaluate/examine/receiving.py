"""Photographs and other files as they come in over a connection: so many at a time, so large, not too slowly."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path
from typing import IO

from starlette.requests import Request

from dialtell.evaluate.examine.desk import LOOK, Desk
from dialtell.evaluate.examine.record import WAITING
from dialtell.evaluate.serving.doors import PATIENCE_S, Refusal
from dialtell.synth.shared.errors import said_in_words

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
        name = request.query_params.get("name", "").replace("\0", "")[:LONGEST_NAME] or "photograph"
        name = name.encode("utf-8", "replace").decode()

        def there() -> None:
            with self.files.opened() as dials:
                dials.dial(dial)

        def kept(sha256: str, file: str) -> tuple[int, bool]:
            with self.files.opened() as dials:
                lies = dials.take(dial, sha256, file, name)
                return lies, dials.photograph(sha256)["state"] == WAITING

        await asyncio.to_thread(there)
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
