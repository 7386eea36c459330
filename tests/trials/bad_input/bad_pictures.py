"""Files that are not the photographs they seem to be, each a function of its kind and an rng: nothing is stored.

    picture = bad_picture(index, seed=1)

Kinds are taken in turn by their share. Names come with them, as bytes: a name, too, can be odd.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from PIL import Image
from trials.bad_input import bad_containers as made
from trials.bad_input.sound_pictures import BASES, DIALS, FORMS, base_picture, sound, suffix_of

Rng = np.random.Generator


@dataclass(frozen=True)
class BadPicture:
    """One file to be. name : without a folder. content : its bytes; None when no file is to be made of that name.

    special : "" a plain file, or "folder", "pipe", "loop" (a link to itself), "dangling" (a link to nothing).
    sound : it can be read, so a refusal is a fault.
    """

    kind: str
    name: bytes
    content: bytes | None
    special: str = ""
    sound: bool = False


@dataclass(frozen=True)
class _Made:
    content: bytes | None
    suffix: str = ".jpg"
    sound: bool = False
    name: bytes | None = None
    special: str = ""


def bad_picture(index: int, *, seed: int) -> BadPicture:
    """File `index` of the endless row that `seed` makes."""
    kind = _TURNS[index % len(_TURNS)]
    rng = np.random.default_rng([seed, index])
    done = _KINDS[kind][1](rng)
    name = f"{index:06d}{done.suffix}".encode() if done.name is None else b"%06d" % index + done.name
    if done.name is not None and done.name[:1] in (b"-", b".", b" ", b"/", b"\\", b"="):
        name = done.name[:1] + b"%06d" % index + done.name[1:] if done.name[:1] != b"/" else name.replace(b"/", b"_")
    return BadPicture(kind, name, done.content, done.special, done.sound)


def _any(rng: Rng, forms: tuple[str, ...] = FORMS) -> tuple[str, bytes]:
    """A sound file: one in twelve of a whole dial, the others of a small piece, which takes less time."""
    form = forms[rng.integers(len(forms))]
    number = rng.integers(DIALS) if rng.random() < 1 / 12 else rng.integers(DIALS, BASES)
    return form, sound(form, int(number))


def _whole(rng: Rng) -> _Made:
    form, content = _any(rng)
    return _Made(content, suffix_of(form), sound=True)


def _wrong_suffix(rng: Rng) -> _Made:
    suffixes = (".jpg", ".png", ".tif", ".gif", ".webp", ".bmp", ".txt", "", ".JPG.exe", ".heic", ".pdf", ".eps")
    return _Made(_any(rng)[1], suffixes[rng.integers(len(suffixes))], sound=True)


def _cut_off(rng: Rng) -> _Made:
    form, content = _any(rng)
    share = rng.random() if rng.random() < 0.7 else 1 - 10 ** rng.uniform(-5, -1)
    return _Made(content[: int(share * len(content))], suffix_of(form))


def _flipped(content: bytes, rng: Rng, low: int, high: int, most: int) -> bytes:
    data = bytearray(content)
    for at in rng.integers(low, max(min(high, len(data)), low + 1), int(rng.integers(1, most + 1))):
        data[at] ^= 1 << int(rng.integers(8))
    return bytes(data)


def _bits_flipped(rng: Rng) -> _Made:
    form, content = _any(rng)
    return _Made(_flipped(content, rng, 0, len(content), 64), suffix_of(form))


def _head_damaged(rng: Rng) -> _Made:
    form, content = _any(rng)
    return _Made(_flipped(content, rng, 2, 400, 6), suffix_of(form))


def _tail_damaged(rng: Rng) -> _Made:
    form, content = _any(rng)
    return _Made(_flipped(content, rng, max(len(content) - 300, 0), len(content), 6), suffix_of(form))


def _block_lost(rng: Rng) -> _Made:
    form, content = _any(rng)
    at, size = int(rng.integers(len(content))), int(10 ** rng.uniform(0, 4))
    put = (b"", bytes(size), b"\xff" * size, rng.bytes(size))[rng.integers(4)]
    return _Made(content[:at] + put + content[at + size :], suffix_of(form))


def _spliced(rng: Rng) -> _Made:
    (form, first), (_, second) = _any(rng), _any(rng)
    return _Made(first[: rng.integers(len(first))] + second[rng.integers(len(second)) :], suffix_of(form))


def _no_image(rng: Rng) -> _Made:
    contents = (
        rng.bytes(int(10 ** rng.uniform(0, 5))), b"not a picture\n" * 9, b"<html><body>404</body></html>",
        b"%PDF-1.7\n" + rng.bytes(500), b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 300 300\n%%EOF\n",
        b"<svg xmlns='http://www.w3.org/2000/svg' width='400' height='400'/>", b"PK\x03\x04" + rng.bytes(400),
        b"\0\0\0\x18ftypheic\0\0\0\0" + rng.bytes(400), b"\0\0\0\x18ftypavif\0\0\0\0avifmif1" + rng.bytes(400),
        b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"GIF89a", b"II*\0", b"MM\0*\0\0\0\x08", b"II+\0\x08\0\0\0", b"BM",
        b"RIFF\x10\0\0\0WEBPVP8 ", b"\0\0\x01\0\x01\0" + rng.bytes(200), b"P6 9", b"8BPS\0\x01" + rng.bytes(200),
        b"SIMPLE  =                    T" + bytes(2850), b"icns" + rng.bytes(300), b"\xd7\xcd\xc6\x9a" + rng.bytes(90),
        b"\x1f\x8b\x08" + rng.bytes(300), b"\x7fELF" + rng.bytes(300), b"\xd0\xcf\x11\xe0" + rng.bytes(900),
    )  # fmt: skip
    return _Made(contents[rng.integers(len(contents))], (".jpg", ".png", ".tif", ".eps", ".ico")[rng.integers(5)])


def _next_to_nothing(rng: Rng) -> _Made:
    return _Made(_any(rng)[1][: int(rng.choice([0, 0, 1, 2, 3, 4, 8, 12, 16, 26]))], ".jpg")


def _orientation(rng: Rng) -> _Made:
    form = ("JPEG", "PNG", "TIFF", "WEBP")[rng.integers(4)]
    values = [*range(1, 9)] * 2 + [0, 9, 255, 65535]
    exif, out = Image.Exif(), io.BytesIO()
    exif[0x0112] = int(rng.choice(values))
    number = int(rng.integers(0 if rng.random() < 0.1 else DIALS, BASES))
    Image.fromarray(base_picture(number)).save(out, form, exif=exif)
    return _Made(out.getvalue(), {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif", "WEBP": ".webp"}[form], sound=True)


def _random_fields(rng: Rng, count: int) -> list[made.Field]:
    tags = (0x0112, 0x8769, 0x8825, 0xA005, 0x010F, 0x0110, 0x0201, 0x0202, 0x02BC, 0x927C, 0x9286, 0x8773, 0x014A)
    counts = (0, 1, 2, 65535, 2**31 - 1, 2**32 - 1)
    return [
        made.Field(
            int(tags[rng.integers(len(tags))] if rng.random() < 0.8 else rng.integers(65536)),
            int(rng.integers(0, 15)), rng.bytes(int(rng.choice([1, 2, 4, 8, 400]))),
            None if rng.random() < 0.5 else counts[rng.integers(len(counts))],
        )
        for _ in range(count)
    ]  # fmt: skip


def _exif_bomb(rng: Rng) -> _Made:
    odd = int(rng.integers(4))
    if odd == 0:
        fields = _random_fields(rng, int(rng.integers(1, 40)))
    elif odd == 1:  # as many as fit in a segment
        fields = [made.Field(int(tag), 3, b"\6\0\0\0", 1) for tag in rng.integers(0, 65536, 5400)]
    elif odd == 2:  # a directory inside itself
        fields = [made.longs(0x8769, 8), made.longs(0x8825, 8), made.longs(0xA005, 8), made.longs(0x014A, 8)]
    else:
        kind = int(rng.integers(1, 13))
        fields = [made.Field(0x0112, kind, rng.bytes(64), int(rng.choice([0, 1, 2, 9])))]
    exif = made.exif_segment(fields, after_last=int(rng.choice([0, 8, 2**31])))[:65000]
    number = int(rng.integers(DIALS, BASES))
    if rng.random() < 0.5:
        return _Made(made.jpeg_with(sound("jpeg", number), 0xE1, exif), ".jpg", sound=True)
    chunks = made.png_chunks(sound("png", number))
    return _Made(made.png_file([chunks[0], (b"eXIf", exif[6:]), *chunks[1:]]), ".png", sound=True)


def _broken_profile(rng: Rng) -> _Made:
    number, profile = int(rng.integers(DIALS, BASES)), rng.bytes(int(10 ** rng.uniform(0, 4.7)))
    if rng.random() < 0.5:  # its size and signature right, the rest not
        profile = struct.pack(">I", len(profile)) + profile[4:36] + b"acsp" + profile[40:]
    odd = int(rng.integers(4))
    if odd == 0:
        head = b"ICC_PROFILE\0" + bytes((int(rng.integers(256)), int(rng.integers(256))))
        return _Made(made.jpeg_with(sound("jpeg", number), 0xE2, head + profile[:60000]), ".jpg", sound=True)
    if odd == 1:
        chunks = made.png_chunks(sound("png", number))
        packed = zlib.compress(profile) if rng.random() < 0.6 else profile
        return _Made(made.png_file([chunks[0], (b"iCCP", b"x\0\0" + packed), *chunks[1:]]), ".png")
    out, form = io.BytesIO(), ("TIFF", "WEBP")[odd - 2]
    Image.fromarray(base_picture(number)).save(out, form, icc_profile=profile)
    return _Made(out.getvalue(), (".tif", ".webp")[odd - 2], sound=True)


def _float_tiff(rng: Rng) -> _Made:
    width, height = (int(side) for side in rng.integers(40, 90, 2))
    samples, bits = int(rng.choice([1, 3])), int(rng.choice([16, 32, 64]))
    values = rng.normal(0.5, 0.2, width * height * samples)
    odd = rng.random(values.size) < rng.choice([0.0, 0.01, 1.0])
    values[odd] = rng.choice([np.nan, np.inf, -np.inf, 1e300, -0.0, 5e-324], int(odd.sum()))
    with np.errstate(over="ignore"):
        pixels = values.astype(f"<f{bits // 8}").tobytes()
    page = made.tiff_picture(width, height, pixels, bits=bits, samples=samples, kind=3)
    return _Made(made.tiff_file([page], pixels), ".tif")


def _whole_number_tiff(rng: Rng) -> _Made:
    width, height = (int(side) for side in rng.integers(40, 90, 2))
    bits, samples = int(rng.choice([2, 4, 12, 16, 24, 32, 64])), int(rng.choice([1, 2, 3, 4, 5]))
    pixels = rng.bytes((width * bits * samples + 7) // 8 * height)
    page = made.tiff_picture(width, height, pixels, bits=bits, samples=samples, kind=int(rng.choice([1, 2])))
    return _Made(made.tiff_file([page], pixels), ".tif")


def _tiff_fields(rng: Rng) -> _Made:
    """A sound directory with one to three fields changed, doubled or left out."""
    width, height = (int(side) for side in rng.integers(32, 90, 2))
    pixels = rng.bytes(3 * width * height)
    page = made.tiff_picture(width, height, pixels)
    values = (
        0,
        1,
        2,
        3,
        5,
        6,
        7,
        8,
        9,
        32,
        99,
        255,
        256,
        32773,
        32946,
        34712,
        34925,
        50000,
        50001,
        65535,
        2**31,
        2**32 - 1,
    )
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.integers(len(page)))
        tag = (
            page[at].tag if rng.random() < 0.7 else int(rng.choice([266, 274, 317, 320, 322, 323, 324, 325, 338, 347]))
        )
        put = [values[int(i)] for i in rng.integers(0, len(values), int(rng.choice([1, 1, 1, 3, 300])))]
        new = made.longs(tag, *put) if rng.random() < 0.4 else made.shorts(tag, *put)
        page = [*page[:at], *([new] if rng.random() < 0.9 else []), *page[at + (rng.random() < 0.8) :]]
        if not page:
            page = [new]
    pages = [page] * int(rng.choice([1, 1, 1, 2, 40]))
    return _Made(made.tiff_file(pages, pixels, after_last=int(rng.choice([0, 0, 0, 8, 2**31]))), ".tif")


def _png_chunks(rng: Rng) -> _Made:
    """Chunks changed, doubled, dropped or moved, their checksums right."""
    form = ("png", "png palette alpha", "png deep", "png animated", "png one bit", "png grey alpha")[rng.integers(6)]
    chunks = made.png_chunks(sound(form, int(rng.integers(DIALS, BASES))))
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.integers(len(chunks)))
        kind, data = chunks[at]
        what = int(rng.integers(6))
        if what == 0 and data:
            chunks[at] = kind, _flipped(data, rng, 0, len(data), 8)
        elif what == 1:
            chunks[at] = kind, data[: rng.integers(len(data) + 1)]
        elif what == 2:
            chunks.insert(int(rng.integers(len(chunks))), chunks[at])
        elif what == 3 and len(chunks) > 1:
            del chunks[at]
        elif what == 4:
            names = (b"tRNS", b"gAMA", b"cHRM", b"PLTE", b"acTL", b"fcTL", b"fdAT", b"iTXt", b"zTXt", b"eXIf", b"abcd")
            chunks.insert(at, (names[rng.integers(len(names))], rng.bytes(int(rng.choice([0, 1, 4, 8, 26, 300])))))
        else:
            width, height = (int(side) for side in rng.integers(32, 90, 2))
            depth, colour = int(rng.choice([1, 2, 4, 8, 16, 3, 0])), int(rng.choice([0, 2, 3, 4, 6, 1, 7]))
            chunks[0] = made.png_head(width, height, depth, colour, int(rng.integers(3)))
    return _Made(made.png_file(chunks), ".png")


def _jpeg_segments(rng: Rng) -> _Made:
    """Markers changed (other processes, arithmetic coding among them), segments put in, cut short or doubled."""
    form = ("jpeg", "jpeg progressive", "jpeg grey", "jpeg cmyk", "jpeg restarts")[rng.integers(5)]
    content = sound(form, int(rng.integers(DIALS, BASES)))
    odd = int(rng.integers(5))
    frame = max(content.find(b"\xff\xc0"), content.find(b"\xff\xc2"))
    if odd == 0:  # lossless, differential and arithmetic processes
        content = content[: frame + 1] + bytes((0xC1 + int(rng.integers(15)),)) + content[frame + 2 :]
    elif odd == 1:  # precision, height, width, components and their sampling
        content = _flipped(content, rng, frame + 4, frame + 19, 3)
    elif odd == 2:
        marker = int(rng.choice([0xC4, 0xCC, 0xDB, 0xDC, 0xDD, 0xE0, 0xE1, 0xE2, 0xED, 0xEE, 0xFE, 0xDA, 0xD8, 0xD9]))
        content = made.jpeg_with(content, marker, rng.bytes(int(rng.choice([0, 1, 12, 14, 600]))))
    elif odd == 3:
        scan = content.find(b"\xff\xda")
        content = content[:scan] + content[scan:-2] * int(rng.integers(2, 5)) + b"\xff\xd9"
    else:
        content = content[:frame] + content[frame : frame + 19] * 2 + content[frame + 19 :]
    return _Made(content, ".jpg")


def _many_frames(rng: Rng) -> _Made:
    odd = int(rng.integers(4))
    if odd == 0:
        return _Made(made.gif_frames(64, 48, int(rng.choice([2, 300, 40_000]))), ".gif", sound=True)
    if odd == 1:
        chunks = made.png_chunks(sound("png animated", int(rng.integers(DIALS, BASES))))
        claimed = struct.pack(">II", int(rng.choice([0, 1, 2, 2**31 - 1, 2**32 - 1])), 0)
        return _Made(made.png_file([(k, claimed if k == b"acTL" else d) for k, d in chunks]), ".png")
    pixels = rng.bytes(3 * 40 * 40)
    pages = [made.tiff_picture(40, 40, pixels)] * int(rng.choice([2, 50, 2000]))
    if odd == 3:  # further pages far larger than the first
        pages = [*pages[:2], made.tiff_picture(30_000, 30_000, pixels)]
    return _Made(made.tiff_file(pages, pixels, after_last=8 if rng.random() < 0.3 else 0), ".tif", sound=odd == 2)


def _odd_shape(rng: Rng) -> _Made:
    shapes = (
        (1, 1),
        (1, 30_000),
        (30_000, 1),
        (31, 31),
        (31, 400),
        (32, 32),
        (32, 33),
        (32, 30_000),
        (30_000, 33),
        (40, 900),
    )
    width, height = shapes[rng.integers(len(shapes))]
    image, out = Image.new("L", (width, height), int(rng.integers(256))), io.BytesIO()
    if rng.random() < 0.5:
        image.putdata(rng.bytes(width * height))
    form = ("PNG", "TIFF", "BMP", "JPEG")[rng.integers(4)]
    image.save(out, form)
    return _Made(out.getvalue(), "." + form.lower(), sound=min(width, height) >= 32 and max(width, height) <= 1280)


def _flat_light(rng: Rng) -> _Made:
    side = int(rng.choice([32, 64, 200]))
    rows, columns = np.mgrid[:side, :side]
    pictures = (
        np.zeros((side, side)), np.full((side, side), 255), np.full((side, side), 7), (rows + columns) % 2 * 255,
        rows * 255 // side, np.where((rows == side // 2) & (columns == side // 2), 255, 0), rows % 2 * 255,
        np.hypot(rows - side / 2, columns - side / 2) % 9 * 28, rng.integers(0, 256, (side, side)),
    )  # fmt: skip
    out = io.BytesIO()
    Image.fromarray(pictures[rng.integers(len(pictures))].astype(np.uint8)).save(out, "PNG")
    return _Made(out.getvalue(), ".png", sound=True)


def _declared_huge(rng: Rng) -> _Made:
    forms = ("png", "bmp", "gif", "tiff", "ppm", "webp", "jpeg", "jp2")
    form = forms[rng.integers(len(forms))]
    sides = (
        (30_000, 30_000),
        (65_535, 65_535),
        (2**31 - 1, 2**31 - 1),
        (11_000, 11_000),
        (13_000, 13_000),
        (2**31 - 1, 40),
    )
    width, height = sides[rng.integers(len(sides))]
    return _Made(made.huge_head(form, width, height), "." + form)


@lru_cache(16)
def _zeros_png(side: int, depth: int, colour: int) -> bytes:
    samples = {0: 1, 2: 3, 6: 4}[colour]
    packed = made.deflated_zeros((1 + side * depth * samples // 8) * side)
    return made.png_file([made.png_head(side, side, depth, colour), (b"IDAT", packed), (b"IEND", b"")])


def _large_but_allowed(rng: Rng) -> _Made:
    """Small files of many pixels, one in four of up to 119 million: within the limit, so they are decoded."""
    odd, most = int(rng.integers(6)), rng.random() < 0.25
    if odd < 4:
        side, depth, colour = ((10_912, 1, 0), (10_912, 8, 2), (7_680, 16, 6), (10_912, 8, 6))[odd]
        side = side if most else 2_400
        return _Made(_zeros_png(side, depth, colour), ".png", sound=True)
    side = 10_900 if most else 2_400
    if odd == 4:
        return _Made(made.huge_head("jpeg", side, side), ".jpg")
    zeros = made.deflated_zeros(side * side)
    page = made.tiff_picture(side, side, zeros, samples=1, compression=8)
    return _Made(made.tiff_file([page], zeros), ".tif", sound=True)


@lru_cache(1)
def _zeros() -> bytes:
    return made.deflated_zeros(200 * 2**20)


def _zip_bomb(rng: Rng) -> _Made:
    chunks = made.png_chunks(sound("png", int(rng.integers(DIALS, BASES))))
    odd = int(rng.integers(5))
    if odd == 4:
        page = made.tiff_picture(60, 60, _zeros(), samples=1, compression=8)
        return _Made(made.tiff_file([page], _zeros()), ".tif")
    bombs = (b"zTXt", b"x\0\0"), (b"iTXt", b"x\0\1\0\0\0"), (b"iCCP", b"x\0\0"), (b"IDAT", b"")
    kind, head = bombs[odd]
    if kind == b"IDAT":
        return _Made(made.png_file([made.png_head(60, 60, 8, 0), (kind, _zeros()), (b"IEND", b"")]), ".png")
    times = int(rng.choice([1, 1, 40]))
    data = head + (_zeros() if times == 1 else made.deflated_zeros(2**20 - 100))
    return _Made(made.png_file([chunks[0], *[(kind, data)] * times, *chunks[1:]]), ".png")


def _many_scans(rng: Rng) -> _Made:
    """A progressive JPEG of a large declared size with thousands of empty scans, each a pass over all of it."""
    content = sound("jpeg progressive", int(rng.integers(DIALS, BASES)))
    frame = content.find(b"\xff\xc2")
    side = struct.pack(">HH", *[int(rng.choice([64, 2000, 8000, 10_900]))] * 2)
    content = content[: frame + 5] + side + content[frame + 9 :]
    scan = b"\xff\xda\0\x08\x01\x01\0\x01\x3f\0" + bytes(8)
    return _Made(content[:-2] + scan * int(rng.choice([20, 600, 5000])) + b"\xff\xd9", ".jpg")


_NAMES = (
    b"a\nb.jpg", b"a\rb.jpg", b"a\tb.jpg", b"\x1b[31mred.jpg", b"'quote'.jpg", b'"quote".jpg', b"-leading.jpg",
    b"--help", b".hidden.jpg", "مرحبا\u202egpj.x.jpg".encode(), "\u200f\u2066.jpg".encode(), b"\xff\xfe\x80.jpg",
    b"\xed\xa0\x80.jpg", b" spaces .jpg ", b"=1+1,2;3.jpg", b"@sum|x.jpg", b"a;b&c|d$(e)`f`.jpg", b"%s%n{0}.jpg",
    b"\\back\\slash.jpg", "\u0000".encode() + b"null.jpg", "é".encode(), "e\u0301.jpg".encode(), "𝒲🕰️.jpg".encode(),
    b"l" * 245, b"l" * 4000, b"CON", b"nul.jpg", b"<b>&amp;.jpg", "\u2028line.jpg".encode(), b"*?[a].jpg", b"~.jpg",
    b"\x7f.jpg",
)  # fmt: skip


def _odd_name(rng: Rng) -> _Made:
    name = _NAMES[rng.integers(len(_NAMES))]
    writable = len(name) <= 245 and b"\0" not in name
    content = sound("jpeg", int(rng.integers(DIALS, BASES))) if rng.random() < 0.6 else rng.bytes(40)
    return _Made(content if writable else None, name=name, sound=writable and len(content) > 40)


def _no_file(rng: Rng) -> _Made:
    special = ("folder", "pipe", "loop", "dangling", "")[rng.integers(5)]
    return _Made(None, special=special)


# kind: its share, what makes it
_KINDS: dict[str, tuple[int, Callable[[Rng], _Made]]] = {
    "whole": (24, _whole),
    "wrong suffix": (8, _wrong_suffix),
    "cut off": (36, _cut_off),
    "bits flipped": (40, _bits_flipped),
    "head damaged": (40, _head_damaged),
    "tail damaged": (12, _tail_damaged),
    "block lost or overwritten": (24, _block_lost),
    "two files spliced": (14, _spliced),
    "no image": (16, _no_image),
    "empty or nearly": (8, _next_to_nothing),
    "orientation": (12, _orientation),
    "EXIF bomb": (14, _exif_bomb),
    "broken profile": (12, _broken_profile),
    "floating-point TIFF": (10, _float_tiff),
    "whole-number TIFF": (12, _whole_number_tiff),
    "TIFF fields": (40, _tiff_fields),
    "PNG chunks": (30, _png_chunks),
    "JPEG segments": (30, _jpeg_segments),
    "many frames": (8, _many_frames),
    "odd shape": (10, _odd_shape),
    "flat light": (6, _flat_light),
    "declared huge": (24, _declared_huge),
    "large but allowed": (1, _large_but_allowed),
    "zip bomb": (8, _zip_bomb),
    "many scans": (3, _many_scans),
    "odd name": (16, _odd_name),
    "no file": (6, _no_file),
}
KINDS = tuple(_KINDS)
_ORDER = np.random.default_rng(0).permutation(
    [number for number, kind in enumerate(KINDS) for _ in range(_KINDS[kind][0])]
)
_TURNS = tuple(KINDS[number] for number in _ORDER)
