"""The errors a user can cause, one small tree.

DialtellError
 ├─ ParameterError    a value out of range or of the wrong kind: names parameter, value and remedy
 ├─ PhotoError        a file that cannot be read as a photograph
 ├─ WeightsError      a weights file that is missing, damaged or of another renderer or schema
 └─ OutputError       a place that cannot be written, or that would be overwritten
"""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class DialtellError(Exception):
    """Base of every error whose message is meant for the user; the command line prints it and exits 1."""


class ParameterError(DialtellError, ValueError):
    """A parameter is out of range; the message names the parameter, the value given and what to give instead."""


class PhotoError(DialtellError):
    """A file cannot be read as a photograph; the message names the file and the remedy."""


class WeightsError(DialtellError):
    """A weights file is missing, damaged, tampered with or made for something else."""


class OutputError(DialtellError):
    """A result cannot be written, or would overwrite something of the user's."""


def fault_of_ours(error: Exception) -> str:
    """In words, that something failed which no photograph and no flag should have made fail."""
    said = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    return f"internal error: {said}; please report it"


def require_range(name: str, value: float, low: float, high: float, unit: str = "") -> None:
    """Raise ParameterError unless low <= value <= high (NaN never passes)."""
    if not low <= value <= high:
        suffix = f" {unit}" if unit else ""
        raise ParameterError(f"{name} is {value}{suffix}; give a value from {low} to {high}{suffix}")


@contextmanager
def said_in_words(path: Path) -> Iterator[None]:
    """Turn an OSError about `path` into an OutputError that says what to do."""
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise OutputError(
                f"{path} cannot be written: the disk is full; make room and run the same command again, which goes on "
                "where this one stopped"
            ) from error
        raise OutputError(f"{path} cannot be written ({error.strerror}); give another place") from error
