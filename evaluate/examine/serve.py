"""The examination served to this machine only, until Ctrl-C."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from dialtell.evaluate.examine.app import examination
from dialtell.evaluate.examine.desk import Desk
from dialtell.evaluate.examine.doors import HOST
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.locks import alone

_MOST_CONNECTIONS = 64  # at once: a browser opens six
_SLOWEST_S = 10  # that a connection may do nothing


def serve(
    folder: Path, *, port: int, workers: int, weights: Path | None, max_pixels: int, ready: Callable[[str], None]
) -> None:
    """Serve until Ctrl-C. port : 0 for any free one. ready : told the page's address, token included.

    Raises OutputError where folder or port cannot be used, or another examination has the folder.
    """
    files = KeptFiles(folder)
    files.prepare()
    refusal = f"{folder} is being examined by another program already; close that one, or give another folder"
    with alone(folder / ".dialtell-examine.lock", refusal, made=True), _listening(port) as listener:
        port = int(listener.getsockname()[1])
        desk = Desk(files, workers=workers, weights=weights, max_pixels=max_pixels)
        app = examination(desk, port=port)
        config = uvicorn.Config(
            app,
            log_level="critical",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            ws="none",
            limit_concurrency=_MOST_CONNECTIONS,
            timeout_keep_alive=_SLOWEST_S,
            timeout_graceful_shutdown=1,
        )
        ready(f"http://{HOST}:{port}/?token={app.token}")
        uvicorn.Server(config).run(sockets=[listener])


def _listening(port: int) -> socket.socket:
    """A socket that takes connections from this machine, so that the address holds before it is told."""
    listener = socket.socket()
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((HOST, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise OutputError(f"port {port} cannot be used ({error.strerror}); leave --port out for a free one") from error
    return listener
