"""What lies beside photographs, or is given for one, and cannot be read: addresses, camera raw, documents."""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from pathlib import Path

RAW = "camera raw"
# pictures that people have in folders, by suffix, and what they call them
_KINDS = {
    **dict.fromkeys(("dng", "cr2", "cr3", "nef", "nrw", "arw", "orf", "rw2", "raf", "pef", "srw"), RAW),
    "psd": "PSD", "pdf": "PDF", "svg": "SVG", "eps": "EPS", "jxl": "JPEG XL",
}  # fmt: skip
_ADDRESS = re.compile(r"(https?|ftp|file|data):/*", re.IGNORECASE)
# first bytes of camera raw that is no TIFF, or one with a mark of its own
_RAW_HEADS = frozenset((b"IIR", b"MMO", b"IIU", b"FUJI", b"FOVb", b"\0MRM"))
# tags of TIFF 6.0, TIFF/EP and DNG, and what photometric interpretation says of pictures still to be developed
_KIND, _PHOTOMETRIC, _BELOW, _DNG_VERSION = 254, 262, 330, 50706
_MOSAICS = (32803, 34892)
_NAMED = 3  # of each kind
_SHOWN = 120  # characters of an address


def picture_kind(name: str) -> str:
    """The kind of a picture that is not read, from its file's name: "camera raw", "PDF"; "" for all else."""
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


def is_raw(content: bytes, name: str) -> bool:
    """Whether a file is camera raw, such as DNG: by its first bytes, whatever its name, or a TIFF named as raw."""
    if content[:3] in _RAW_HEADS or content[:4] in _RAW_HEADS or content[4:12] == b"ftypcrx " or content[8:10] == b"CR":
        return True
    order = {b"II": "<", b"MM": ">"}.get(content[:2])
    if order is None or content[2:4] not in (b"*\0", b"\0*", b"+\0", b"\0+"):
        return False
    if picture_kind(name) == RAW:
        return True
    try:  # the first directory of a TIFF; of these tags one value, which stands in the entry itself
        (at,) = struct.unpack_from(f"{order}I", content, 4)
        (count,) = struct.unpack_from(f"{order}H", content, at)
        entries = [struct.unpack_from(f"{order}HHI", content, at + 2 + 12 * n) for n in range(count)]
        values = [struct.unpack_from(f"{order}{'H' if entry[1] == 3 else 'I'}", content, at + 10 + 12 * n)[0]
                  for n, entry in enumerate(entries)]  # fmt: skip
    except struct.error:
        return False
    tags = {entry[0]: value for entry, value in zip(entries, values, strict=True)}
    # else its first picture is a preview, and what it is a preview of lies in a directory below
    return _DNG_VERSION in tags or tags.get(_PHOTOMETRIC) in _MOSAICS or (tags.get(_KIND) == 1 and _BELOW in tags)
