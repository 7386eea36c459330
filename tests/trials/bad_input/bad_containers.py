"""Image files put together by hand, so that what no writer would write can be written: PNG, TIFF, EXIF, GIF, JPEG.

Layouts: PNG third edition (W3C), TIFF 6.0 (Adobe 1992), EXIF 2.3 (a TIFF after "Exif\\0\\0"), GIF89a, JPEG (ITU T.81).
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Sequence
from typing import NamedTuple

from PIL import Image

PNG_HEAD = b"\x89PNG\r\n\x1a\n"
# bytes of one value of each TIFF field type 1..12
_TYPE_BYTES = (1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8)


def png_chunk(kind: bytes, data: bytes) -> bytes:
    """One chunk with the checksum that belongs to it."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_chunks(content: bytes) -> list[tuple[bytes, bytes]]:
    """Kind and data of each chunk of a sound PNG."""
    at, found = len(PNG_HEAD), []
    while at + 12 <= len(content):
        (length,) = struct.unpack_from(">I", content, at)
        found.append((content[at + 4 : at + 8], content[at + 8 : at + 8 + length]))
        at += 12 + length
    return found


def png_file(chunks: Sequence[tuple[bytes, bytes]]) -> bytes:
    """A PNG of these chunks."""
    return PNG_HEAD + b"".join(png_chunk(kind, data) for kind, data in chunks)


def png_head(width: int, height: int, depth: int, colour: int, interlace: int = 0) -> tuple[bytes, bytes]:
    """The IHDR chunk. depth : bits a sample. colour : 0 grey, 2 RGB, 3 palette, 4 grey and alpha, 6 RGB and alpha."""
    return b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, interlace)


def deflated_zeros(count: int) -> bytes:
    """A zlib stream of `count` zero bytes, about a thousandth as long."""
    deflate = zlib.compressobj(9)
    block = bytes(2**20)
    parts = [deflate.compress(block[: min(2**20, count - at)]) for at in range(0, count, 2**20)]
    return b"".join(parts) + deflate.flush()


class Field(NamedTuple):
    """A field of a TIFF directory. kind : 1..12. data : its values packed, low byte first. number : said of them."""

    tag: int
    kind: int
    data: bytes
    number: int | None = None


def shorts(tag: int, *values: int) -> Field:
    """A field of 16-bit values."""
    return Field(tag, 3, struct.pack(f"<{len(values)}H", *(value & 0xFFFF for value in values)))


def longs(tag: int, *values: int) -> Field:
    """A field of 32-bit values."""
    return Field(tag, 4, struct.pack(f"<{len(values)}I", *(value & 0xFFFFFFFF for value in values)))


def tiff_file(pages: Sequence[Sequence[Field]], pixels: bytes = b"", *, after_last: int = 0) -> bytes:
    """A TIFF of these directories; `pixels` lie at byte 8. after_last : where the last directory says the next is."""
    body = b"II*\0" + struct.pack("<I", 8 + len(pixels) + len(pixels) % 2) + pixels + bytes(len(pixels) % 2)
    for number, fields in enumerate(pages):
        extra = len(body) + 2 + 12 * len(fields) + 4
        table, aside = struct.pack("<H", len(fields)), b""
        for tag, kind, data, number_said in fields:
            size = _TYPE_BYTES[kind - 1] if 1 <= kind <= 12 else 1
            table += struct.pack("<HHI", tag, kind, len(data) // size if number_said is None else number_said)
            if len(data) <= 4:
                table += data.ljust(4, b"\0")
            else:
                table += struct.pack("<I", extra + len(aside))
                aside += data + bytes(len(data) % 2)
        following = after_last if number == len(pages) - 1 else extra + len(aside)
        body += table + struct.pack("<I", following) + aside
    return body


def tiff_picture(
    width: int, height: int, pixels: bytes, *, bits: int = 8, samples: int = 3, kind: int = 1, compression: int = 1
) -> list[Field]:
    """Directory of one strip. kind : 1 whole numbers, 2 signed, 3 floating point. compression : 1 none, 8 deflate."""
    return [
        longs(256, width), longs(257, height), shorts(258, *[bits] * samples), shorts(259, compression),
        shorts(262, 2 if samples >= 3 else 1), longs(273, 8), shorts(277, samples), longs(278, height),
        longs(279, len(pixels)), shorts(284, 1), shorts(339, *[kind] * samples),
    ]  # fmt: skip


def jpeg_with(content: bytes, marker: int, data: bytes) -> bytes:
    """A JPEG with a segment put in behind its start marker. data : up to 65533 bytes."""
    return content[:2] + bytes((0xFF, marker)) + struct.pack(">H", len(data) + 2) + data + content[2:]


def exif_segment(fields: Sequence[Field], after_last: int = 0) -> bytes:
    """EXIF as it stands in a JPEG's APP1 segment."""
    return b"Exif\0\0" + tiff_file([fields], after_last=after_last)


def gif_frames(width: int, height: int, count: int) -> bytes:
    """A GIF of one full picture and count - 1 further ones of a single pixel, 15 bytes each."""
    out = io.BytesIO()
    Image.new("L", (width, height), 200).save(out, "GIF")
    # LZW with 2-bit codes: clear, colour 0, end
    small = b"," + struct.pack("<HHHHB", 0, 0, 1, 1, 0) + b"\x02\x02\x44\x01\0"
    return out.getvalue()[:-1] + small * (count - 1) + b";"


def huge_head(form: str, width: int, height: int) -> bytes:
    """The head of a file that declares a size, with next to no pixels: png, bmp, gif, tiff, ppm, webp, jpeg, jp2."""
    wide, high = width & 0xFFFF, height & 0xFFFF
    if form == "png":
        return png_file([png_head(width, height, 8, 2), (b"IDAT", zlib.compress(bytes(99))), (b"IEND", b"")])
    if form == "bmp":
        return b"BM" + struct.pack("<IHHIIiiHHIIiiII", 54, 0, 0, 54, 40, width, height, 1, 24, 0, 0, 0, 0, 0, 0)
    if form == "gif":
        head = b"GIF89a" + struct.pack("<HHBBB", wide, high, 0x80, 0, 0) + b"\0\0\0\xff\xff\xff"
        return head + b"," + struct.pack("<HHHHB", 0, 0, wide, high, 0) + b"\x02\x02\x44\x01\0;"
    if form == "tiff":
        return tiff_file([tiff_picture(width, height, bytes(64))], bytes(64))
    if form == "ppm":
        return b"P6\n%d %d\n255\n" % (width, height) + bytes(99)
    if form == "webp":
        out = io.BytesIO()
        Image.new("RGB", (9, 9), "grey").save(out, "WEBP", lossless=True)
        size = struct.pack("<I", (width - 1 & 0x3FFF) | (height - 1 & 0x3FFF) << 14)
        return out.getvalue()[:21] + size + out.getvalue()[25:]  # four bits of the last byte are flags, all 0 here
    if form == "jpeg":
        frame = struct.pack(">BHHB", 8, high, wide, 3) + b"\x01\x11\0\x02\x11\0\x03\x11\0"
        return (
            b"\xff\xd8\xff\xc0"
            + struct.pack(">H", len(frame) + 2)
            + frame
            + b"\xff\xda\0\x0c\x03\x01\0\x02\0\x03\0\0?\0\xff\xd9"
        )
    box = struct.pack(">I4s4sI4s", 20, b"ftyp", b"jp2 ", 0, b"jp2 ")
    image = struct.pack(">IIHBBBB", height, width, 3, 7, 7, 0, 0)
    head = struct.pack(">I4s", 14 + 8, b"ihdr") + image
    head += struct.pack(">I4sBBBI", 15, b"colr", 1, 0, 0, 16)
    stream = b"\xff\x4f\xff\x51" + struct.pack(">HHIIIIIIIIH", 47, 0, width, height, 0, 0, width, height, 0, 0, 3)
    stream += b"\x07\x01\x01" * 3 + b"\xff\xd9"
    return (
        struct.pack(">I4sI", 12, b"jP  ", 0x0D0A870A) + box + struct.pack(">I4s", 8 + len(head), b"jp2h") + head
        + struct.pack(">I4s", 0, b"jp2c") + stream
    )  # fmt: skip
