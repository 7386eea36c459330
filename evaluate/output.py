"""Files of the user: never overwritten unasked, never left half written."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from dialtell.synth.errors import OutputError


def require_free(path: Path, *, overwrite: bool) -> None:
    """Raise OutputError when `path` is taken (unless overwrite) or lies in no folder."""
    if path.is_dir():
        raise OutputError(f"{path} is a folder; give a file in it")
    if path.exists() and not overwrite:
        raise OutputError(f"{path} exists; give another path, or --overwrite to replace it")
    if not path.parent.is_dir():
        raise OutputError(f"{path} cannot be written, there is no folder {path.parent}; make it first")


def write_text(path: Path, text: str, *, overwrite: bool = False) -> None:
    """Write UTF-8 text under a temporary name, then move it into place. Raises OutputError."""
    require_free(path, overwrite=overwrite)
    try:
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".dialtell-", suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
                stream.write(text)
            os.chmod(draft, 0o644)
            os.replace(draft, path)
        except BaseException:
            os.unlink(draft)
            raise
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise OutputError(f"{path} cannot be written ({reason}); give another place") from error
