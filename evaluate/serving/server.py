"""The server under the doors: at one address of this machine, until Ctrl-C; one for a phone beside it where wanted."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Callable, Iterator

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from dialtell.evaluate.serving.doors import HOST, Doors
from dialtell.synth.shared.errors import OutputError

MOST_CONNECTIONS = 64  # at once: a browser opens six
SLOWEST_S = 10  # that a connection may do nothing


class _Impatient(H11Protocol):
    """Ends a connection on which no whole request came in time, which the server would wait for without end."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._first = self.loop.call_later(SLOWEST_S, self._silent)

    def connection_lost(self, exc: Exception | None) -> None:
        self._first.cancel()
        super().connection_lost(exc)

    def _silent(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.close()


class Beside(uvicorn.Server):
    """A server that leaves Ctrl-C to another."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Do not."""
        yield


def run(
    app: Doors, listener: socket.socket, ready: Callable[[str], None],
    beside: tuple[uvicorn.Config, socket.socket] | None = None,
) -> None:  # fmt: skip
    """Serve until Ctrl-C. ready : told the page's address, token included. beside : another server meanwhile."""
    ready(f"http://{HOST}:{app.port}/?token={app.token}")
    asyncio.run(_both(uvicorn.Server(config(app)), listener, beside))


async def _both(
    main: uvicorn.Server, listener: socket.socket, beside: tuple[uvicorn.Config, socket.socket] | None
) -> None:
    async with _served(beside):
        await main.serve(sockets=[listener])


@contextlib.asynccontextmanager
async def _served(beside: tuple[uvicorn.Config, socket.socket] | None) -> AsyncIterator[None]:
    if beside is None:
        yield
        return
    server, listener = Beside(beside[0]), beside[1]
    task = asyncio.create_task(server.serve(sockets=[listener]))
    try:
        yield
    finally:
        server.should_exit = True
        await task


def config(app: object, connections: int = MOST_CONNECTIONS) -> uvicorn.Config:
    """How an application is served. connections : at once; above them a request is answered 503."""
    return uvicorn.Config(
        app,  # type: ignore[arg-type]
        http=_Impatient,
        log_level="critical",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        limit_concurrency=connections,
        timeout_keep_alive=SLOWEST_S,
        timeout_graceful_shutdown=1,
    )


def listening(address: str, port: int) -> socket.socket:
    """A socket that takes connections at an address of this machine, so that it holds before it is told. port : 0 for
    any free one. Raises OutputError."""
    listener = socket.socket()
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((address, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise OutputError(f"port {port} cannot be used ({error.strerror}); leave --port out for a free one") from error
    return listener
