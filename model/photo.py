"""Reading a photograph, and its linear light, with every refusal in words.

Pixels are decoded with the sRGB curve (IEC 61966-2-1) whatever colour profile the file names: optical density
needs light, not code values, and profiles of other primaries share that curve or nearly so. Transparent parts
are laid on a mid grey, not on white: a dial cut out of its ground would lose its white edge there.
"""

from __future__ import annotations

import io
import os
import re
import warnings
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from dialtell.synth.errors import PhotoError

Pixels = NDArray[np.float32]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

SMALLEST_SIDE = 32  # px
GROUND_BEHIND_TRANSPARENT = 0.18  # linear light
# luminance of linear sRGB light (IEC 61966-2-1, from the primaries of ITU-R BT.709)
LUMINANCE = np.array([[0.2126, 0.7152, 0.0722]], dtype=np.float32)
_STRIP = 32  # rows
# formats Pillow lists but that are no photographs, or need another program to be drawn
_NOT_PHOTOS = {"BUFR", "EPS", "FITS", "GRIB", "HDF5", "IPTC", "MPEG", "WMF"}
_ORIENTATION_TAG = 0x0112
# in the coded part of a JPEG a marker is FF and anything but a stuffed 00, a restart D0-D7 or a fill FF
_JPEG_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph the right way up. Light is worked out from the code values when it is asked for.

    path : where it was read from.
    codes : (H, W) or (H, W, 3) uint8 or uint16 as stored, red, green, blue.
    stored_size : (width, height) px in the file, before it was turned.
    orientation : EXIF orientation 1..8 that was applied (1 = none).
    warnings : what the reader had to assume, in words.
    cover : (H, W) 0..1 float32 of a picture with transparent parts, else None.
    """

    path: Path
    codes: Codes
    stored_size: tuple[int, int]
    orientation: int = 1
    warnings: tuple[str, ...] = ()
    cover: Pixels | None = None

    @cached_property
    def pixels(self) -> Pixels:
        """(H, W, 3) float32, red, green, blue in linear light, 0..1."""
        light = linear_light(self.codes)
        if light.ndim == 2:
            light = np.asarray(cv2.merge([light] * 3), dtype=np.float32)
        if self.cover is not None:
            share = self.cover[:, :, None]
            light = np.asarray(light * share + GROUND_BEHIND_TRANSPARENT * (1 - share), dtype=np.float32)
        return np.ascontiguousarray(light)

    @cached_property
    def grey(self) -> Pixels:
        """(H, W) float32 luminance, linear light, 0..1."""
        grey = grey_light(self.codes)
        if self.cover is not None:
            grey = np.asarray(grey * self.cover + GROUND_BEHIND_TRANSPARENT * (1 - self.cover), dtype=np.float32)
        return grey


def grey_light(codes: Codes) -> Pixels:
    """(H, W[, 3]) sRGB code values to (H, W) float32 luminance, linear light, 0..1."""
    if codes.ndim == 2:
        return linear_light(codes)
    grey = np.empty(codes.shape[:2], np.float32)
    # in strips that stay in the processor's cache: three colours of a whole photograph in float32 do not
    for top in range(0, len(codes), _STRIP):
        light = linear_light(codes[top : top + _STRIP])
        cv2.transform(light, LUMINANCE, dst=grey[top : top + _STRIP])
    return grey


def luminance(pixels: Pixels) -> Pixels:
    """(H, W, 3) linear light to (H, W) float32 luminance, 0..1."""
    return np.asarray(cv2.transform(pixels, LUMINANCE), dtype=np.float32).reshape(pixels.shape[:2])


def linear_light(codes: Codes) -> Pixels:
    """sRGB code values, 8 or 16 bit of any shape, to linear light 0..1 float32 (IEC 61966-2-1)."""
    table = _table(codes.dtype.itemsize)
    if codes.dtype == np.uint8 and codes.ndim in (2, 3):
        return np.asarray(cv2.LUT(codes, table), dtype=np.float32).reshape(codes.shape)
    return np.asarray(table[codes])


@cache
def _table(itemsize: int) -> Pixels:
    code = np.linspace(0.0, 1.0, 256**itemsize)
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


def read_photo(path: str | os.PathLike[str], *, max_pixels: int = 120_000_000) -> Photo:
    """Read one photograph: 8 or 16 bit, grey or colour, with or without transparency, EXIF orientation applied.

    max_pixels : refused above this, before anything is decoded (never above about 178 megapixels, Pillow's own
        limit).
    Raises PhotoError naming the file, what is wrong and the remedy: missing, a folder, empty, not an image, cut
    off or damaged, too large, or with a side under 32 px.
    """
    place = Path(path)
    content = _content(place)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            with Image.open(io.BytesIO(content)) as image:
                photo = _read(place, content, image, max_pixels)
        except PhotoError:
            raise
        except Image.DecompressionBombError as error:
            raise PhotoError(f"{place} has far more than {max_pixels} pixels; scale it down") from error
        except UnidentifiedImageError as error:
            remedy = "save it as JPEG or PNG" if content[4:8] == b"ftyp" else "give a JPEG, PNG or TIFF file"
            raise PhotoError(f"{place} is not an image that can be read; {remedy}") from error
        except Exception as error:  # Pillow's decoders raise almost any type on damaged files
            raise PhotoError(f"{place} is cut off or damaged ({error}); copy it again from its source") from error
    said = [str(w.message) for w in caught if not issubclass(w.category, Image.DecompressionBombWarning)]
    notes = (*photo.warnings, *dict.fromkeys(said))
    return replace(photo, warnings=notes)


def _content(place: Path) -> bytes:
    try:
        if place.is_dir():
            raise PhotoError(f"{place} is a folder; give the photographs in it")
        content = place.read_bytes()
    except FileNotFoundError as error:
        raise PhotoError(f"{place} does not exist; check the path") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PhotoError(f"{place} cannot be opened ({reason}); check the path and its permissions") from error
    if not content:
        raise PhotoError(f"{place} is empty (0 bytes); copy it again from its source")
    return content


def _read(place: Path, content: bytes, image: Image.Image, max_pixels: int) -> Photo:
    width, height = image.size
    if width * height > max_pixels:
        raise PhotoError(
            f"{place} has {width} x {height} = {width * height} pixels, more than the limit of {max_pixels}; "
            "scale it down or raise the limit"
        )
    if min(width, height) < SMALLEST_SIDE:
        raise PhotoError(f"{place} is {width} x {height} px; give a photograph of at least {SMALLEST_SIDE} px a side")
    notes = []
    frames = int(getattr(image, "n_frames", 1))
    if frames > 1 and image.format != "MPO":  # an MPO's further pictures are the camera's previews
        notes.append(f"{place.name} holds {frames} pictures; only the first was read")
    # asking a PNG for its orientation decodes it, so look at its depth first
    deep = image.mode in ("RGB", "RGBA", "LA") and any(";16" in str(tile[3]) for tile in getattr(image, "tile", ()))
    orientation = image.getexif().get(_ORIENTATION_TAG, 1)
    if orientation not in range(1, 9):
        notes.append(f"{place.name} names an orientation {orientation} that does not exist; left as stored")
        orientation = 1
    codes = _decode(content, image, deep)
    if image.format != "TIFF":
        codes = _oriented(codes, orientation)
    elif orientation >= 5:  # both decoders turn a TIFF by themselves, and Pillow names the turned size
        width, height = height, width
    alpha = codes[:, :, 3] if codes.ndim == 3 and codes.shape[2] == 4 else None
    seen: Any = codes[:, :, :3] if codes.ndim == 3 else codes
    cover = None
    if alpha is not None and int(alpha.min()) < int(np.iinfo(codes.dtype).max):
        cover = np.asarray(alpha / np.float32(np.iinfo(codes.dtype).max), dtype=np.float32)
        notes.append(f"{place.name} has transparent parts; they were laid on a mid grey")
    return Photo(place, np.ascontiguousarray(seen), (width, height), orientation, tuple(notes), cover)


def _decode(content: bytes, image: Image.Image, deep: bool) -> Codes:
    """Code values (H, W) or (H, W, 3 or 4) as stored; a TIFF is turned upright by its decoder."""
    data = np.frombuffer(content, np.uint8)
    if image.format in ("JPEG", "MPO") and image.mode in ("RGB", "L"):
        # OpenCV hands over its array where Pillow has to copy; but it would pass half a picture as a whole one
        if not _jpeg_is_whole(content):
            raise ValueError("the end of the picture is missing")
        grey = image.mode == "L"
        flags = cv2.IMREAD_GRAYSCALE if grey else getattr(cv2, "IMREAD_COLOR_RGB", cv2.IMREAD_COLOR)
        found = cv2.imdecode(data, flags | cv2.IMREAD_IGNORE_ORIENTATION)
        if found is not None:
            turned = flags == cv2.IMREAD_COLOR  # before OpenCV 4.11 colours come the other way round
            return np.asarray(cv2.cvtColor(found, cv2.COLOR_BGR2RGB) if turned else found, dtype=np.uint8)
    image.load()
    if deep:  # Pillow keeps 16 bits in grey pictures only
        found = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
        if found is not None and found.dtype == np.uint16:
            code = {3: cv2.COLOR_BGR2RGB, 4: cv2.COLOR_BGRA2RGBA}.get(found.shape[2] if found.ndim == 3 else 1)
            return np.asarray(found if code is None else cv2.cvtColor(found, code), dtype=np.uint16)
    return _codes(image)


def _codes(image: Image.Image) -> Codes:
    if image.mode.startswith("I"):
        values = np.asarray(image)
        if values.min() < 0 or values.max() > 65535:
            raise ValueError("more than 16 bits a sample; save it with 8 or 16 bits")
        return values.astype(np.uint16)
    if image.mode == "F":
        raise ValueError("floating-point samples; save it with 8 or 16 bits")
    if "A" in image.mode or "a" in image.mode or "transparency" in image.info:
        return np.asarray(image.convert("RGBA"))
    return np.asarray(image.convert("L" if image.mode in ("1", "L") else "RGB"))


def _jpeg_is_whole(content: bytes) -> bool:
    """Whether the first picture of a JPEG file runs to its end marker."""
    at = 2
    while True:
        found = _JPEG_MARKER.search(content, at)
        if found is None:
            return False
        marker = content[found.start() + 1]
        if marker == 0xD9:
            return True
        at = found.end()
        if marker not in (0x01, 0xD8):  # all others carry a length, and a thumbnail may hide inside
            at += int.from_bytes(content[at : at + 2], "big")


def _oriented(codes: Codes, orientation: int) -> Codes:
    """Turn and mirror as EXIF orientation 1..8 says, so that the picture stands upright."""
    if orientation >= 5:
        codes = np.swapaxes(codes, 0, 1)
    if orientation in (3, 4, 7, 8):
        codes = codes[::-1]
    if orientation in (2, 3, 6, 7):
        codes = codes[:, ::-1]
    return codes


def walk_photos(
    paths: Iterable[str | os.PathLike[str]],
) -> tuple[list[Path], list[tuple[Path, PhotoError]]]:
    """Photographs under the given files and folders, and the paths that hold none.

    Files come in the order given, each once; a folder is walked downwards in sorted order, leaving out hidden
    files and folders and suffixes Pillow does not know. A file named outright is kept whatever its suffix.
    """
    files: dict[Path, Path] = {}
    errors: list[tuple[Path, PhotoError]] = []
    for given in paths:
        place = Path(given)
        if place.is_dir():
            inside = list(_inside(place))
            if not inside:
                errors.append((place, PhotoError(f"{place} holds no photographs; give another folder or a file")))
        elif place.exists():
            inside = [place]
        else:
            inside = []
            errors.append((place, PhotoError(f"{place} does not exist; check the path")))
        for file in inside:
            files.setdefault(file.resolve(), file)
    return list(files.values()), errors


def _inside(folder: Path) -> Iterable[Path]:
    suffixes = _suffixes()
    for here, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if not name.startswith(".") and Path(name).suffix.lower() in suffixes:
                yield Path(here) / name


@cache
def _suffixes() -> frozenset[str]:
    Image.init()
    known = Image.registered_extensions().items()
    return frozenset(suffix for suffix, form in known if form in Image.OPEN and form not in _NOT_PHOTOS)
