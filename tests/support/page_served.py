"""An application served from a thread, at a socket, as our pages are served."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from dialtell.evaluate.serving import server


@contextmanager
def served(app, listener, *limits) -> Iterator[None]:
    """Until the block ends. limits : those of server.config."""
    running = server.Beside(server.config(app, *limits))
    thread = threading.Thread(target=lambda: asyncio.run(running.serve(sockets=[listener])))
    thread.start()
    try:
        while not running.started and thread.is_alive():
            time.sleep(0.005)
        yield
    finally:
        running.should_exit = True
        thread.join(10)
        assert not thread.is_alive()
