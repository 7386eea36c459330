"""How a photograph's code values stand for light: its colour profile, ICC or coded by number (CICP), as numbers.

A profile of primaries and curves, as cameras, phones and screens have, becomes three curves and a matrix to linear
sRGB, so that colours beyond sRGB keep their luminance and 16 bits keep their depth. What Little CMS alone can follow,
profiles of tables and of CMYK, goes to 8-bit sRGB codes through it.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

Floats = NDArray[np.float64]
Pixels = NDArray[np.float32]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

# luminance of linear sRGB light (IEC 61966-2-1, from the primaries of ITU-R BT.709)
LUMINANCE = np.array([[0.2126, 0.7152, 0.0722]], dtype=np.float32)
_STRIP, _ROWS = 32, 512  # rows
_CODES = np.linspace(0.0, 1.0, 65536)
_MOST_TAGS = 100
_D50 = np.array([0.9642, 1.0, 0.8249])  # white of ICC.1:2022, 7.2.16
_D65 = (0.3127, 0.3290)
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
# ITU-T H.273, table 2: x, y of red, green, blue and white, by number
_PRIMARIES = {
    1: ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060), _D65),  # ITU-R BT.709, sRGB
    5: ((0.640, 0.330), (0.290, 0.600), (0.150, 0.060), _D65),  # ITU-R BT.601, 625 lines
    6: ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070), _D65),  # ITU-R BT.601, 525 lines
    7: ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070), _D65),  # SMPTE 240M
    9: ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), _D65),  # ITU-R BT.2020
    11: ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), (0.314, 0.351)),  # SMPTE RP 431-2, P3 of cinemas
    12: ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), _D65),  # SMPTE EG 432-1, Display P3
}
# unspecified, and television's curves, which stills that name them do not keep to: all are shown as sRGB
_AS_SRGB = frozenset((1, 2, 6, 13, 14, 15))
_PQ, _HLG = 16, 18
# ITU-R BT.2408: where paper white lies, in cd/m2 of PQ and in code of HLG
_PQ_WHITE, _HLG_WHITE = 203.0, 0.75


@dataclass(frozen=True, eq=False)
class Colour:
    """What code values of a photograph mean where that is not sRGB.

    curves : (3, 65536) float32, linear light 0..1 of evenly spaced codes, of red, green and blue.
    to_srgb : (3, 3) float32, from light of the file's primaries to linear sRGB light of the same white.
    """

    curves: Pixels
    to_srgb: Pixels

    def light(self, codes: Codes) -> Pixels:
        """(H, W[, 3]) codes to linear sRGB light, float32; what lies outside 0..1 is cut off."""
        if codes.ndim == 2:
            return self._own_light(codes)
        light = np.empty(codes.shape, np.float32)
        self._mixed(codes, light, self.to_srgb)
        return light

    def grey(self, codes: Codes) -> Pixels:
        """(H, W[, 3]) codes to (H, W) float32 luminance 0..1, of colours beyond sRGB too."""
        if codes.ndim == 2:
            return self._own_light(codes)
        grey = np.empty(codes.shape[:2], np.float32)
        self._mixed(codes, grey, LUMINANCE @ self.to_srgb)
        return grey

    def _mixed(self, codes: Codes, out: Pixels, matrix: Pixels) -> None:
        for top in range(0, len(codes), _STRIP):  # strips stay in the processor's cache
            mixed = cv2.transform(self._own_light(codes[top : top + _STRIP]), matrix)
            np.clip(mixed.reshape(out[top : top + _STRIP].shape), 0.0, 1.0, out=out[top : top + _STRIP])

    def _own_light(self, codes: Codes) -> Pixels:
        curves = self.curves[:, ::257] if codes.dtype == np.uint8 else self.curves
        if codes.ndim == 2:
            return np.asarray(curves[1][codes])
        if codes.dtype == np.uint8:
            return np.asarray(cv2.LUT(codes, np.ascontiguousarray(curves.T)[None]), dtype=np.float32)
        return np.stack([curve[codes[:, :, at]] for at, curve in enumerate(curves)], axis=2)


def colour_of(info: Mapping[Any, Any], *, grey: bool) -> tuple[Colour | None, str]:
    """What a decoded file says of its colours, and a note where that could not be followed or cuts something off.

    info : of a Pillow image; `icc_profile` bytes go before `nclx_profile`, the numbers of ITU-T H.273.
    grey : the picture has no colours; a profile for colours then says nothing of it, and the other way round.
    Returns None for what is sRGB, or taken for it.
    """
    icc, coded = info.get("icc_profile"), info.get("nclx_profile")
    try:
        with np.errstate(all="ignore"):  # of curves that lead nowhere, which are refused
            if icc:
                return _unlike_srgb(_icc_colour(icc, grey=grey)), ""
            if coded:
                primaries, transfer = int(coded["color_primaries"]), int(coded["transfer_characteristics"])
                said = "light above paper white was cut off" if transfer in (_PQ, _HLG) else ""
                return _unlike_srgb(_coded_colour(primaries, transfer)), said
    except (ValueError, IndexError, KeyError, TypeError, ArithmeticError, struct.error):
        return None, "its colour profile cannot be followed; read as sRGB"
    return None, ""


def needs_tables(icc: bytes) -> bool:
    """Whether a profile of red, green and blue is one of tables, without curves and primaries."""
    if icc[16:20] != b"RGB ":
        return False
    try:
        tags = _tags(icc)
    except (ValueError, struct.error):
        return False
    return "A2B0" in tags and "rTRC" not in tags


def srgb_through(icc: bytes, mode: str) -> Callable[[Image.Image], Image.Image]:
    """What takes images of a mode, "RGB" or "CMYK", with this profile to RGB of sRGB. Raises ImageCms.PyCMSError."""
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    # colours as measured; the perceptual intent, Pillow's default, would shift all tones for the sake of black
    intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
    transform = ImageCms.buildTransform(profile, ImageCms.createProfile("sRGB"), mode, "RGB", intent)

    def through(image: Image.Image) -> Image.Image:
        done = ImageCms.applyTransform(image, transform)
        assert done is not None  # None is for work in place
        return done

    return through


def through_tables(codes: NDArray[np.uint8], icc: bytes) -> None:
    """Take (H, W, 3 or 4) codes of a profile of tables to sRGB codes, in place. Raises ImageCms.PyCMSError."""
    through = srgb_through(icc, "RGB")
    for top in range(0, len(codes), _ROWS):
        part = codes[top : top + _ROWS, :, :3]
        part[:] = np.asarray(through(Image.fromarray(np.ascontiguousarray(part))))


def _unlike_srgb(colour: Colour) -> Colour | None:
    """None for a profile that is sRGB but for its rounding, so that such a file is read like one without profile."""
    same_curves = np.allclose(colour.curves, _srgb(_CODES), rtol=0.01, atol=3e-4)
    return None if same_curves and np.allclose(colour.to_srgb, np.eye(3), atol=4e-3) else colour


# --- ICC ---


def _icc_colour(icc: bytes, *, grey: bool) -> Colour:
    """Of a profile of primaries and curves, or of a grey one; sRGB where it is for other pictures than this."""
    kind = icc[16:20]
    if kind != (b"GRAY" if grey else b"RGB "):
        return _coded_colour(1, 13)
    tags = _tags(icc)
    if grey:
        return Colour(np.tile(_curve(tags["kTRC"]), (3, 1)), np.eye(3, dtype=np.float32))
    columns = [struct.unpack(">3i", tags[name][8:20]) for name in ("rXYZ", "gXYZ", "bXYZ")]
    curves = np.stack([_curve(tags[name]) for name in ("rTRC", "gTRC", "bTRC")])
    return _colour(curves, np.array(columns).T / 65536)


def _tags(icc: bytes) -> dict[str, bytes]:
    """Name: content, of a profile's tags (ICC.1:2022, 7.3)."""
    (count,) = struct.unpack_from(">I", icc, 128)
    if count > _MOST_TAGS:
        raise ValueError("a profile of too many tags")
    found = (struct.unpack_from(">4sII", icc, 132 + 12 * at) for at in range(count))
    return {name.decode("latin-1"): icc[at : at + size] for name, at, size in found}


def _curve(tag: bytes) -> Pixels:
    """(65536,) light of a curve: a gamma, a table or a formula (ICC.1:2022, 10.6 and 10.18)."""
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        values = np.array(struct.unpack_from(f">{count}H", tag, 12), np.float64) if count <= 65536 else np.empty(0)
        if count == 0:
            light = _CODES
        elif count == 1:
            light = _CODES ** (values[0] / 256)
        else:
            light = np.interp(_CODES, np.linspace(0.0, 1.0, len(values)), values / 65535)
    elif tag[:4] == b"para":
        (form,) = struct.unpack_from(">H", tag, 8)
        given = [value / 65536 for value in struct.unpack_from(f">{(1, 3, 4, 5, 7)[form]}i", tag, 12)]
        gamma, a, b, c, d, e, f = given + [1.0, 0.0, 0.0, 0.0, 0.0, 0.0][len(given) - 1 :]
        if form in (1, 2):  # straight lines below where the power begins, here level ones
            c, d, e, f = 0.0, -b / a, c, c
        light = np.where(_CODES >= d, np.maximum(a * _CODES + b, 0.0) ** gamma + e, c * _CODES + f)
    else:
        raise ValueError("a curve of another kind")
    if not np.isfinite(light).all() or np.ptp(light) < 0.5:
        raise ValueError("a curve that leads nowhere")
    return np.clip(light, 0.0, 1.0).astype(np.float32)


# --- by number ---


def _coded_colour(primaries: int, transfer: int) -> Colour:
    """Of colour primaries and transfer characteristics of ITU-T H.273; KeyError for those not known."""
    curve = np.clip(_transfer(transfer), 0.0, 1.0).astype(np.float32)
    return _colour(np.tile(curve, (3, 1)), _xyz_d50(1 if primaries == 2 else primaries))


def _transfer(number: int) -> Floats:
    """(65536,) light of all codes, paper white 1."""
    if number in _AS_SRGB:
        return _srgb(_CODES)
    if number == _PQ:  # SMPTE ST 2084, equation 4.1
        power = _CODES ** (32 / 2523)
        share = np.maximum(power - 107 / 128, 0.0) / (2413 / 128 - 2392 / 128 * power)
        return np.asarray(share ** (8192 / 1305) * 10_000 / _PQ_WHITE)
    if number == _HLG:  # ITU-R BT.2100, table 5, light of the scene
        return _hlg(_CODES) / float(_hlg(np.array([_HLG_WHITE]))[0])
    return np.asarray(_CODES ** {4: 2.2, 5: 2.8, 8: 1.0}[number])


def _srgb(code: Floats) -> Floats:
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def _hlg(code: Floats) -> Floats:
    return np.where(code <= 0.5, code**2 / 3, (np.exp((code - 0.55991073) / 0.17883277) + 0.28466892) / 12)


def _xyz_d50(number: int) -> Floats:
    """(3, 3) XYZ under D50, in columns, of red, green and blue that together make white."""
    *corners, white = (np.array([x / y, 1.0, (1 - x - y) / y]) for x, y in _PRIMARIES[number])
    columns = np.array(corners).T
    columns = columns * np.linalg.solve(columns, white)
    to_d50 = np.linalg.solve(_BRADFORD, np.diag(_BRADFORD @ _D50 / (_BRADFORD @ white)) @ _BRADFORD)
    return np.asarray(to_d50 @ columns)


def _colour(curves: Pixels, xyz_d50: Floats) -> Colour:
    return Colour(curves, np.linalg.solve(_xyz_d50(1), xyz_d50).astype(np.float32))
