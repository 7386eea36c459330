"""One process at a time: locks on open files, which go with the process however it ends."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dialtell.synth.shared.errors import OutputError, said_in_words


def locked(handle: int) -> bool | None:
    """Lock an open file until its handle is closed. False when another holds it, None where there are no such locks:
    on this system or this file system."""
    try:
        import fcntl
    except ImportError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


@contextmanager
def alone(path: Path, refusal: str, *, made: bool = False) -> Iterator[None]:
    """Hold a file or folder against other processes; where there are no locks, nothing is held.

    made : the file is there for the lock alone: made for it, never through a link, and taken away with it.
    Raises OutputError: in the words of `refusal` when another has it, or when it cannot be opened.
    """
    while True:
        with said_in_words(path):
            handle = _opened(path, made)
        free = locked(handle)
        if free is False:
            os.close(handle)
            raise OutputError(refusal)
        if free is None or not made or stands(handle, path):
            break
        os.close(handle)  # its owner has just left and taken it away: once more
    try:
        yield
    finally:
        if made:
            path.unlink(missing_ok=True)
        os.close(handle)


def _opened(path: Path, made: bool) -> int:
    if made:
        return os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
    return os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))


def stands(handle: int, path: Path) -> bool:
    """Whether a path still leads to the file that was opened there."""
    try:
        return os.path.samestat(os.fstat(handle), os.stat(path))
    except FileNotFoundError:
        return False
