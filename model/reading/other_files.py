"""What lies beside photographs, or is given for one, and cannot be read: addresses, phones' and cameras' formats."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

# pictures that people have in folders, by suffix, and what they call them
_KINDS = {
    **dict.fromkeys(("heic", "heif", "hif"), "HEIC"),
    **dict.fromkeys(("dng", "cr2", "cr3", "nef", "arw", "orf", "rw2", "raf", "pef", "srw"), "camera raw"),
    "psd": "PSD", "pdf": "PDF", "svg": "SVG", "eps": "EPS", "jxl": "JPEG XL",
}  # fmt: skip
_ADDRESS = re.compile(r"(https?|ftp|file|data):/*", re.IGNORECASE)
# brands of ISO/IEC 23008-12 (HEIF): coded as HEVC, and containers of any coding
_HEIC_BRANDS = frozenset((b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"))
_NAMED = 3  # of each kind
_SHOWN = 120  # characters of an address


def picture_kind(name: str) -> str:
    """The kind of a picture that is not read, from its file's name: "HEIC", "camera raw"; "" for all else."""
    return _KINDS.get(Path(name).suffix.lower().removeprefix("."), "")


def passed_over_words(files: Sequence[Path]) -> str:
    """One line on pictures of kinds that are not read: how many of each, the first names, and what to do."""
    kinds: dict[str, list[str]] = {}
    for file in files:
        kinds.setdefault(picture_kind(file.name), []).append(file.name)
    counted = []
    for kind, names in kinds.items():
        more = ", ..." if len(names) > _NAMED else ""
        counted.append(f"{len(names)} {kind} ({', '.join(names[:_NAMED])}{more})")
    what, them = ("1 picture was", "it") if len(files) == 1 else (f"{len(files)} pictures were", "them")
    return f"{what} passed over: {', '.join(counted)}; export {them} as JPEG or PNG to have {them} read"


def address_words(place: Path) -> str | None:
    """What is wrong with an address such as https://example.org/a.jpg given as a path; None for any other name."""
    found = _ADDRESS.match(str(place))
    if found is None:
        return None
    scheme, rest = found[1].lower(), str(place)[found.end() :]
    if scheme == "file":
        return f"file:///{rest} is an address; give the file's path alone"
    said = f"data:{rest}" if scheme == "data" else f"{found[1]}://{rest}"  # a Path has made one of two slashes
    if len(said) > _SHOWN:
        said = said[: _SHOWN - 3] + "..."
    return f"{said} is an address, and nothing is fetched; save the photograph first and give the file's path"


def is_heic(content: bytes) -> bool:
    """Whether a file's first bytes are those of HEIC, as phones write it, whatever its name."""
    size = int.from_bytes(content[:4], "big")
    brands = {content[8:12], *(content[at : at + 4] for at in range(16, min(size, 128), 4))}
    return content[4:8] == b"ftyp" and content[8:12] in _HEIC_BRANDS and not brands & {b"avif", b"avis"}
