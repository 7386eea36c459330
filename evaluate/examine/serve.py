"""The examination served to this machine only, until Ctrl-C; beside it, where asked for, the phone's door."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from dialtell.evaluate.examine.app import examination
from dialtell.evaluate.examine.desk import Desk
from dialtell.evaluate.examine.doors import HOST
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.phone import Phone, PhoneDoors
from dialtell.evaluate.examine.receiving import Receiving
from dialtell.synth.shared.errors import OutputError

_MOST_CONNECTIONS = 64  # at once: a browser opens six
_MOST_OF_PHONES = 16
_SLOWEST_S = 10  # that a connection may do nothing
_ELSEWHERE = "192.0.2.1"  # an address of no machine (RFC 5737): asking the way there sends nothing


class _Impatient(H11Protocol):
    """Ends a connection on which no whole request came in time, which the server would wait for without end."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._first = self.loop.call_later(_SLOWEST_S, self._silent)

    def connection_lost(self, exc: Exception | None) -> None:
        self._first.cancel()
        super().connection_lost(exc)

    def _silent(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.close()


class _Beside(uvicorn.Server):
    """A server that leaves Ctrl-C to the one it stands beside."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Do not."""
        yield


def serve(
    folder: Path, *, port: int, workers: int, weights: Path | None, max_pixels: int, network: bool,
    ready: Callable[[str], None],
) -> None:  # fmt: skip
    """Serve until Ctrl-C. port : 0 for any free one. network : let phones add photographs, at this machine's address
    on its local network. ready : told the page's address, token included.

    Raises OutputError where folder or port cannot be used, there is no local network, or another examination has the
    folder.
    """
    files = KeptFiles(folder)
    files.prepare()
    with contextlib.ExitStack() as held:
        held.enter_context(files.held())
        listener = held.enter_context(_listening(HOST, port))
        port = int(listener.getsockname()[1])
        desk = Desk(files, workers=workers, weights=weights, max_pixels=max_pixels)
        receiving, phone, beside = Receiving(desk), None, None
        if network:
            address = own_address()
            outside = held.enter_context(_listening(address, 0))
            phone = Phone(f"{address}:{outside.getsockname()[1]}")
            config = _config(PhoneDoors(phone, receiving), _MOST_OF_PHONES)
            beside = (_Beside(config), outside)
        app = examination(desk, port=port, receiving=receiving, phone=phone)
        ready(f"http://{HOST}:{port}/?token={app.token}")
        asyncio.run(_both(uvicorn.Server(_config(app, _MOST_CONNECTIONS)), listener, beside))


async def _both(main: uvicorn.Server, listener: socket.socket, beside: tuple[_Beside, socket.socket] | None) -> None:
    async with _served(beside):
        await main.serve(sockets=[listener])


@contextlib.asynccontextmanager
async def _served(beside: tuple[_Beside, socket.socket] | None) -> AsyncIterator[None]:
    if beside is None:
        yield
        return
    server, listener = beside
    task = asyncio.create_task(server.serve(sockets=[listener]))
    try:
        yield
    finally:
        server.should_exit = True
        await task


def _config(app: object, connections: int) -> uvicorn.Config:
    return uvicorn.Config(
        app,  # type: ignore[arg-type]
        http=_Impatient,
        log_level="critical",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        limit_concurrency=connections,
        timeout_keep_alive=_SLOWEST_S,
        timeout_graceful_shutdown=1,
    )


def own_address() -> str:
    """This machine's address on its local network. Raises OutputError where it has none, or one that the whole
    internet may reach."""
    remedy = "connect this machine to a network of your own, or leave --on-my-network out"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect((_ELSEWHERE, 9))
            address = str(way.getsockname()[0])
        except OSError as error:
            raise OutputError(f"this machine is on no network ({error.strerror}); {remedy}") from error
    found = ipaddress.ip_address(address)
    if found.is_loopback or found.is_unspecified or not found.is_private:
        raise OutputError(f"this machine's address {address} is not one of a local network; {remedy}")
    return address


def _listening(address: str, port: int) -> socket.socket:
    """A socket that takes connections at an address of this machine, so that it holds before it is told."""
    listener = socket.socket()
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((address, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise OutputError(f"port {port} cannot be used ({error.strerror}); leave --port out for a free one") from error
    return listener
