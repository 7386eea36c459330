"""HEIC, as phones write it, opened by libheif; and what AVIF files of the same build say of their pictures.

pillow_heif is loaded when the first such file comes, so that nothing else waits for it.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

SUFFIXES = (".heic", ".heif", ".hif", ".heics", ".heifs")
# brands of ISO/IEC 23008-12 (HEIF): coded as HEVC, and containers of any coding
_HEIC_BRANDS = frozenset((b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"))


def is_heic(content: bytes) -> bool:
    """Whether a file's first bytes are those of HEIC, as phones write it, whatever its name."""
    size = int.from_bytes(content[:4], "big")
    brands = {content[8:12], *(content[at : at + 4] for at in range(16, min(size, 128), 4))}
    return content[4:8] == b"ftyp" and content[8:12] in _HEIC_BRANDS and not brands & {b"avif", b"avis"}


def is_cut_off(content: bytes) -> bool:
    """Whether a box of a HEIC file reaches beyond its end; libheif would leave the tiles that are missing blank.

    Only of the boxes that pictures need: what makers append need not keep to the form.
    """
    at = 0
    while at + 8 <= len(content):
        size, kind = int.from_bytes(content[at : at + 4], "big"), content[at + 4 : at + 8]
        if size == 1:  # a length of 64 bits follows
            size = int.from_bytes(content[at + 8 : at + 16], "big")
        if kind in (b"meta", b"mdat") and at + size > len(content):
            return True
        if size < 8:  # 0: to the end of the file
            return False
        at += size
    return False


def opened_heic(content: bytes) -> Image.Image:
    """The main picture of a HEIC file, not decoded yet, of 8 bits and upright once it is.

    Damage within a tile libheif covers up without a word: that cannot be told from a picture so written. `info` has
    bit_depth and, where the file has them, icc_profile or nclx_profile. Raises SyntaxError on damaged files,
    ValueError on cut off ones.
    """
    if is_cut_off(content):
        raise ValueError("the end of the picture is missing")
    from pillow_heif import options
    from pillow_heif.as_plugin import HeifImageFile

    # what lies beside the main picture, depth and gain maps and previews, is not asked for
    options.THUMBNAILS = options.DEPTH_IMAGES = options.AUX_IMAGES = False
    return HeifImageFile(io.BytesIO(content))  # type: ignore[no-untyped-call,no-any-return,unused-ignore]


def told_by_container(content: bytes) -> dict[str, Any]:
    """bit_depth and nclx_profile of an AVIF file's main picture, which Pillow keeps to itself; {} where unknown."""
    import pillow_heif

    try:
        said = pillow_heif.open_heif(content).info
    except Exception:  # what is wrong with the file its decoder will say
        return {}
    return {name: said[name] for name in ("bit_depth", "nclx_profile") if name in said}


def deep_heic(content: bytes) -> NDArray[np.uint16]:
    """Code values (H, W), (H, W, 3) or (H, W, 4) of a HEIC file of 10 or 12 bits, stretched to 16; upright."""
    import pillow_heif

    found = pillow_heif.open_heif(content, convert_hdr_to_8bit=False, hdr_to_16bit=False)
    main = found[found.primary_index]
    if "a" in main.mode:
        raise ValueError("transparent parts of 10 bits multiplied into the colours")
    values = np.asarray(main)
    values = values[:, :, (0, 0, 0, 1)] if values.shape[2:] == (2,) else values.copy()
    return stretched(values, int(str(main.info["bit_depth"])))


def stretched(values: NDArray[np.uint16], bits: int) -> NDArray[np.uint16]:
    """Code values of so many bits brought to 16, white to white, in place."""
    if bits < 16:
        table = np.round(np.arange(65536) * (65535 / (2**bits - 1))).clip(0, 65535).astype(np.uint16)
        np.take(table, values, out=values)
    return values
