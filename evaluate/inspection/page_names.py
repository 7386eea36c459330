"""File names for pages made from photographs: safe on every system, told apart where the photographs' are alike."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path

LONGEST = 60  # characters; four bytes each still leave room for a suffix in 255
# names that Windows keeps for devices, whatever their suffix
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def page_names(photos: Iterable[Path], taken: Iterable[str] = ("index",)) -> list[str]:
    """A name without suffix for each photograph, in order: letters, digits, "-", "_" and "." of its own name.

    No two are alike where capitals do not count, and none is one of `taken`; the second of a name gets "-2".
    """
    used = {name.casefold() for name in taken}
    names = []
    for photo in photos:
        name = stem = _safe(photo.stem)
        count = 1
        while name.casefold() in used:
            count += 1
            name = f"{stem}-{count}"
        used.add(name.casefold())
        names.append(name)
    return names


def _safe(stem: str) -> str:
    text = unicodedata.normalize("NFC", stem)
    kept = "".join(mark if mark.isalnum() or mark in "_." else "-" for mark in text)
    name = re.sub(r"-+", "-", kept)[:LONGEST].strip("-.")
    if not name:
        return "photo"
    return f"photo-{name}" if name.split(".")[0].casefold() in _DEVICES else name
