"""ICC profiles as bytes, written here from published numbers: Pillow makes none but sRGB."""

import struct

# D50-adapted colorants as the Display P3 profile of phones has them, and the curve of IEC 61966-2-1
DISPLAY_P3 = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))
# Adobe RGB (1998) Color Image Encoding, annex C: colorants; the exponent is 563/256
ADOBE_RGB = ((0.60974, 0.31111, 0.01947), (0.20528, 0.62567, 0.06087), (0.14919, 0.06322, 0.74457))
SRGB_CURVE = b"para\0\0\0\0\0\3\0\0" + struct.pack(
    ">5i", *(round(v * 65536) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
)
GAMMA_2_2 = b"curv\0\0\0\0\0\0\0\1" + struct.pack(">H", 563)


def curve_table(values: list[int]) -> bytes:
    """A sampled curve of 16-bit values."""
    return b"curv\0\0\0\0" + struct.pack(f">I{len(values)}H", len(values), *values)


def xyz(values: tuple[float, float, float]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(v * 65536) for v in values))


def profile(tags: dict[bytes, bytes], *, space: bytes = b"RGB ") -> bytes:
    """A display profile with these tags (ICC.1:2022, 7), white and a description added."""
    said = "made".encode("utf-16-be")
    text = b"mluc\0\0\0\0" + struct.pack(">II", 1, 12) + b"enUS" + struct.pack(">II", len(said), 28) + said
    tags = {b"desc": text, b"cprt": text, b"wtpt": xyz((0.9642, 1.0, 0.8249)), **tags}
    at, table, body = 132 + 12 * len(tags), b"", b""
    for name, content in tags.items():
        padded = content + bytes(-len(content) % 4)
        table += struct.pack(">4sII", name, at + len(body), len(content))
        body += padded
    head = struct.pack(">I4sI4s4s4s", at + len(body), b"\0\0\0\0", 0x04300000, b"mntr", space, b"XYZ ")
    head += bytes(12) + b"acsp" + bytes(28) + struct.pack(">3i", 63190, 65536, 54061)
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def matrix_profile(colorants: tuple[tuple[float, float, float], ...], curve: bytes) -> bytes:
    """A profile of three primaries and one curve."""
    names = zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants, strict=True)
    return profile({name: xyz(value) for name, value in names} | {tag: curve for tag in (b"rTRC", b"gTRC", b"bTRC")})
