"""Files of the user: never overwritten unasked, never left half written."""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dialtell.synth.errors import OutputError

# lists of numbers, then lists of those, as json.dumps lays them out; text in JSON holds no bare line break
_NUMBER, _LIST = r"-?\d[-+.\deE]*", r"\[[^\[\]\n]*\]"
_SPREAD = [re.compile(rf"\[\n\s+({part}(?:,\n\s+{part})*)\n\s+\]") for part in (_NUMBER, _LIST)]


def json_text(document: Mapping[str, Any]) -> str:
    """Strict JSON (no NaN) without a final newline, a line for each entry, lists of numbers on one line."""
    text = json.dumps(document, indent=1, allow_nan=False)
    for spread in _SPREAD:
        text = spread.sub(lambda found: "[" + re.sub(r"\n\s+", " ", found[1]) + "]", text)
    return text


def require_free(path: Path, *, overwrite: bool) -> None:
    """Raise OutputError when `path` is taken (unless overwrite) or lies in no folder."""
    if path.is_dir():
        raise OutputError(f"{path} is a folder; give a file in it")
    if path.exists() and not overwrite:
        raise OutputError(f"{path} exists; give another path, or --overwrite to replace it")
    if not path.parent.is_dir():
        raise OutputError(
            f"{path} cannot be written, there is no folder {path.parent}; make it first, or give a folder that exists"
        )


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
