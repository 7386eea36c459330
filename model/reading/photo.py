"""Reading a photograph, and its linear light, with every refusal in words.

Optical density needs light, not code values: pixels are decoded as the file's colour profile says, without one with
the sRGB curve (IEC 61966-2-1). Transparent parts are laid on a mid grey, not on white: a dial cut out of its ground
would lose its white edge there.
"""

from __future__ import annotations

import io
import logging
import os
import re
import stat
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, UnidentifiedImageError

from dialtell.model.formats import heif
from dialtell.model.formats.colour import LUMINANCE, Colour, colour_of, needs_tables, srgb_through, through_tables
from dialtell.model.formats.other_files import address_words, is_raw, passed_over_words, picture_kind
from dialtell.synth.shared.errors import PhotoError
from dialtell.synth.shared.srgb import codes

log = logging.getLogger("dialtell.photos")

Pixels = NDArray[np.float32]
Codes = NDArray[np.uint8] | NDArray[np.uint16]
Bytes = NDArray[np.uint8]

SMALLEST_SIDE = 32  # px
LONGEST_STRIP = 40  # times as long as wide: no dial is seen in more
GROUND_BEHIND_TRANSPARENT = np.float32(0.18)  # linear light
_STRIP, _ROWS = 32, 512  # rows
_STEPS = 65535  # of linear light, for showing it
# what photographs come in beside HEIC (an MPO is opened as a JPEG); the other formats of Pillow nest files in files,
# run other programs or are guessed from a byte
_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "AVIF", "JPEG2000", "GIF", "BMP", "PPM")
_ORIENTATION_TAG = 0x0112
# in the coded part of a JPEG a marker is FF and anything but a stuffed 00, a restart D0-D7 or a fill FF
_JPEG_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
# a file needs no more: four samples of 16 bits a pixel, and its descriptions
_BYTES_PER_PIXEL, _BYTES_BESIDE = 8, 64 * 2**20
# each scan of a JPEG is a pass over all its pixels; writers make some ten, a bomb thousands of empty ones
_SCANS, _SCANNED_PIXELS = 20, 2e9
_SHOWN = 200  # characters of a decoder's complaint
_NOTES = 8
_pillow = threading.Lock()


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph the right way up. Light is worked out from the code values when it is asked for.

    path : where it was read from.
    codes : (H, W) or (H, W, 3) uint8 or uint16 as stored, red, green, blue; 10 and 12 bits stretched to 16.
    stored_size : (width, height) px in the file, before it was turned; of HEIC, which turns itself, afterwards.
    orientation : EXIF orientation 1..8 that was applied (1 = none).
    warnings : what the reader had to assume, in words.
    cover : (H, W) opacity as stored, of the codes' type, of a picture with transparent parts; else None.
    colour : what the codes mean where that is not sRGB; else None.
    """

    path: Path
    codes: Codes
    stored_size: tuple[int, int]
    orientation: int = 1
    warnings: tuple[str, ...] = ()
    cover: Codes | None = None
    colour: Colour | None = None

    @cached_property
    def pixels(self) -> Pixels:
        """(H, W, 3) float32, red, green, blue of sRGB in linear light, 0..1."""
        light = linear_light(self.codes) if self.colour is None else self.colour.light(self.codes)
        if light.ndim == 2:
            light = np.asarray(cv2.merge([light] * 3), dtype=np.float32)
        return np.ascontiguousarray(self._on_grey(light))

    @cached_property
    def grey(self) -> Pixels:
        """(H, W) float32 luminance, linear light, 0..1."""
        return self._on_grey(grey_light(self.codes) if self.colour is None else self.colour.grey(self.codes))

    def quarter_turned(self, quarters: int) -> Photo:
        """The same photograph turned anticlockwise by so many right angles, no pixel changed."""
        orientation = (1, 8, 3, 6)[quarters % 4]
        codes: Any = _oriented(self.codes, orientation)
        cover: Any = None if self.cover is None else np.ascontiguousarray(_oriented(self.cover, orientation))
        return replace(self, codes=np.ascontiguousarray(codes), cover=cover)

    def _on_grey(self, light: Pixels) -> Pixels:
        """Light of the picture laid on the grey ground, where it has transparent parts; changes `light` in place."""
        if self.cover is not None:
            for top in range(0, len(light), _STRIP):
                share = self.cover[top : top + _STRIP] / np.float32(np.iinfo(self.cover.dtype).max)
                strip = light[top : top + _STRIP]
                strip -= GROUND_BEHIND_TRANSPARENT
                strip *= share if light.ndim == 2 else share[:, :, None]
                strip += GROUND_BEHIND_TRANSPARENT
        return light


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
    """Read one photograph: 8 to 16 bit, grey or colour, with or without transparency, EXIF orientation applied.

    What form it has its content tells, not its name. Of several pictures in a file the main one is read.

    max_pixels : refused above this, before anything is decoded; so is a file of more bytes than they could need. An
        AVIF file that states fewer pixels than it holds is held by libavif's own limit alone, and read as stated.
    Raises PhotoError naming the file, what is wrong and the remedy: missing, a folder, empty, not an image, camera
    raw, cut off or damaged, too large, with a side under 32 px, or a strip over 40 times as long as wide.
    """
    place = Path(path)
    content = _content(place, max_pixels)
    if is_raw(content, place.name):
        raise PhotoError(f"{place} is camera raw (DNG or the like), not yet a picture; export it as JPEG or HEIC")
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            with _pillow_limit(max_pixels), _opened(content) as image:
                photo = _read(place, content, image, max_pixels)
        except PhotoError:
            raise
        except Image.DecompressionBombError as error:
            raise PhotoError(
                f"{place} has far more pixels than the limit of {max_pixels}; scale it down or raise the limit "
                "(--max-pixels)"
            ) from error
        except UnidentifiedImageError as error:
            remedy = "save it as JPEG or PNG" if content[4:8] == b"ftyp" else "give a JPEG, HEIC, PNG or TIFF file"
            raise PhotoError(f"{place} is not an image that can be read; {remedy}") from error
        except MemoryError as error:
            raise PhotoError(f"{place} does not fit in memory; scale it down") from error
        except Exception as error:  # Pillow's decoders raise almost any type on damaged files
            said = _short(str(error) or type(error).__name__)
            raise PhotoError(f"{place} is cut off or damaged ({said}); copy it again from its source") from error
    said_by_pillow = dict.fromkeys(
        _short(str(w.message)) for w in caught if not issubclass(w.category, Image.DecompressionBombWarning)
    )
    notes = [*photo.warnings, *said_by_pillow]
    if len(notes) > _NOTES:
        notes[_NOTES:] = [f"and {len(notes) - _NOTES} further notes on how the file is written"]
    return replace(photo, warnings=tuple(notes))


@contextmanager
def _pillow_limit(max_pixels: int) -> Iterator[None]:
    """Pillow's own limit, twice MAX_IMAGE_PIXELS, lifted where ours is larger; it has no other way to be told."""
    usual = Image.MAX_IMAGE_PIXELS
    if usual is None or max_pixels <= usual:
        yield
        return
    with _pillow:
        Image.MAX_IMAGE_PIXELS = max_pixels
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = usual


def _opened(content: bytes) -> Image.Image:
    """A file's main picture, not decoded yet."""
    if heif.is_heic(content):
        return heif.opened_heic(content)
    image = Image.open(io.BytesIO(content), formats=_FORMATS)
    if image.format == "AVIF":
        image.info.update(heif.told_by_container(content))
    return image


def _short(said: str) -> str:
    """A decoder's words on one line, cut to a length that can be read."""
    said = " ".join(said.split())
    return said if len(said) <= _SHOWN else said[: _SHOWN - 3] + "..."


def _content(place: Path, max_pixels: int) -> bytes:
    try:
        about = place.stat()
        if stat.S_ISDIR(about.st_mode):
            raise PhotoError(f"{place} is a folder; give the photographs in it")
        if not stat.S_ISREG(about.st_mode):  # reading a pipe or device may never end
            raise PhotoError(f"{place} is a pipe or a device; save the photograph to a file and give that")
        most = _BYTES_PER_PIXEL * max_pixels + _BYTES_BESIDE
        if about.st_size > most:
            raise PhotoError(
                f"{place} has {about.st_size} bytes, more than a photograph of {max_pixels} pixels can need ({most}); "
                "scale it down or raise the limit (--max-pixels)"
            )
        content = place.read_bytes()
    except FileNotFoundError as error:
        raise PhotoError(_missing(place)) from error
    except (OSError, ValueError) as error:
        raise PhotoError(_not_opened(place, error)) from error
    if not content:
        raise PhotoError(f"{place} is empty (0 bytes); copy it again from its source")
    return content


def _missing(place: Path) -> str:
    return address_words(place) or f"{place} does not exist; check the path"


def _not_opened(place: Path, error: Exception) -> str:
    """Why a path cannot be opened: too long a name, no permission, a link to itself, a null character."""
    reason = getattr(error, "strerror", None) or error
    return address_words(place) or f"{place} cannot be opened ({reason}); check the path and its permissions"


def _read(place: Path, content: bytes, image: Image.Image, max_pixels: int) -> Photo:
    width, height = image.size
    deep = _is_deep(image)
    # 16 bits with transparency take twice the memory of anything else
    most = max_pixels // 2 if deep and "A" in image.mode else max_pixels
    if width * height > most:
        raise PhotoError(
            f"{place} has {width} x {height} = {width * height} pixels, more than the limit of {most}"
            f"{'' if most == max_pixels else ' for 16 bits with transparency'}; "
            "scale it down or raise the limit (--max-pixels)"
        )
    if min(width, height) < SMALLEST_SIDE:
        raise PhotoError(f"{place} is {width} x {height} px; give a photograph of at least {SMALLEST_SIDE} px a side")
    if max(width, height) > LONGEST_STRIP * min(width, height):
        said = f"{place} is {width} x {height} px, a strip"
        raise PhotoError(f"{said}; give a photograph at most {LONGEST_STRIP} times as long as wide")
    notes = []
    # an MPO's further pictures are the camera's previews; to count those of a GIF or TIFF all would have to be walked
    if getattr(image, "is_animated", False) and image.format != "MPO":
        which = "main one" if image.format == "HEIF" else "first"
        notes.append(f"{place.name} holds more than one picture; only the {which} was read")
    # libheif turns by what the file's boxes say, beside which EXIF does not count (ISO/IEC 23008-12, annex A)
    orientation = 1 if image.format == "HEIF" else image.getexif().get(_ORIENTATION_TAG, 1)
    if not isinstance(orientation, int) or orientation not in range(1, 9):
        named = _short(str(orientation))
        notes.append(f"{place.name} names an orientation {named} that does not exist; left as stored")
        orientation = 1
    codes = _decode(content, image, deep)
    if codes.size == 0 or codes.shape[0] * codes.shape[1] != width * height:
        raise ValueError("its parts do not agree on its size")
    if image.format != "TIFF":
        codes = _oriented(codes, orientation)
    elif orientation >= 5:  # both decoders turn a TIFF by themselves, and Pillow names the turned size
        width, height = height, width
    seen: Any = codes[:, :, :3] if codes.ndim == 3 else codes
    cover: Any = None
    if codes.ndim == 3 and codes.shape[2] == 4 and int(codes[:, :, 3].min()) < int(np.iinfo(codes.dtype).max):
        cover = np.ascontiguousarray(codes[:, :, 3])
        notes.append(f"{place.name} has transparent parts; they were laid on a mid grey")
    colour, said = _colour(image, seen)
    if said:
        notes.append(f"{place.name}: {said}")
    return Photo(place, np.ascontiguousarray(seen), (width, height), orientation, tuple(notes), cover, colour)


def _colour(image: Image.Image, codes: Codes) -> tuple[Colour | None, str]:
    """What the codes mean where that is not sRGB, and a note; codes that only Little CMS follows are made sRGB."""
    icc = image.info.get("icc_profile") or b""
    if codes.ndim == 3 and codes.dtype == np.uint8 and needs_tables(icc):
        try:
            through_tables(np.asarray(codes, dtype=np.uint8), icc)
        except ImageCms.PyCMSError:
            return None, "its colour profile cannot be followed; read as sRGB"
        return None, ""
    return colour_of(image.info, grey=codes.ndim == 2)


def _is_deep(image: Image.Image) -> bool:
    """Whether a picture that is not loaded yet has 16 bits a sample of which Pillow would keep 8."""
    if image.info.get("bit_depth", 8) > 8:  # HEIC or AVIF
        return True
    return image.mode in ("RGB", "RGBA", "LA") and any(";16" in str(tile[3]) for tile in getattr(image, "tile", ()))


def _decode(content: bytes, image: Image.Image, deep: bool) -> Codes:
    """Code values (H, W) or (H, W, 3 or 4) as stored; a TIFF is turned upright by its decoder."""
    data = np.frombuffer(content, np.uint8)
    if image.format in ("JPEG", "MPO"):
        scans, whole = _jpeg_scans(content)
        if scans > _SCANS and scans * image.width * image.height > _SCANNED_PIXELS:
            raise ValueError(f"{scans} scans in one picture")
        if image.mode in ("RGB", "L"):
            # OpenCV hands over its array where Pillow has to copy; but it would pass half a picture as a whole one
            if not whole:
                raise ValueError("the end of the picture is missing")
            grey = image.mode == "L"
            flags = cv2.IMREAD_GRAYSCALE if grey else getattr(cv2, "IMREAD_COLOR_RGB", cv2.IMREAD_COLOR)
            found = cv2.imdecode(data, flags | cv2.IMREAD_IGNORE_ORIENTATION)
            if found is not None:
                turned = flags == cv2.IMREAD_COLOR  # before OpenCV 4.11 colours come the other way round
                return np.asarray(cv2.cvtColor(found, cv2.COLOR_BGR2RGB) if turned else found, dtype=np.uint8)
    if deep and image.format == "HEIF":
        return heif.deep_heic(content)
    image.load()
    if deep:  # Pillow keeps 16 bits in grey pictures only
        _dropped(image)  # its copy has proved the file whole
        found = cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
        if found is None or found.dtype != np.uint16:  # better 8 bits than none
            with _opened(content) as again:
                return _codes(again)
        if found.ndim == 3 and found.shape[2] >= 3:
            for top in range(0, len(found), _STRIP):  # in place, as a picture twice may not fit in memory
                found[top : top + _STRIP, :, :3] = found[top : top + _STRIP, :, 2::-1].copy()
        if image.format == "AVIF":
            found = heif.stretched(np.asarray(found, dtype=np.uint16), image.info["bit_depth"])
        return np.asarray(found, dtype=np.uint16)
    codes = _codes(image)
    _dropped(image)
    return codes


def _dropped(image: Image.Image) -> None:
    """Free Pillow's pixels: a large picture twice, and then its light, may not fit in memory."""
    image.im = Image.new("L", (1, 1)).im


def _codes(image: Image.Image) -> Codes:
    if image.mode.startswith("I"):
        values = np.asarray(image)
        if values.min() < 0 or values.max() > 65535:
            raise ValueError("more than 16 bits a sample; save it with 8 or 16 bits")
        return values.astype(np.uint16)
    if image.mode == "F":
        raise ValueError("floating-point samples; save it with 8 or 16 bits")
    if "A" in image.mode or "a" in image.mode or "transparency" in image.info:
        return _converted(image, "RGBA", 4)
    if image.mode in ("1", "L"):
        return _converted(image, "L", 1)
    icc = image.info.get("icc_profile") or b""
    if image.mode == "CMYK" and icc[16:20] == b"CMYK":
        with suppress(ImageCms.PyCMSError):
            return _converted(image, "RGB", 3, srgb_through(icc, "CMYK"))
    return _converted(image, "RGB", 3)


def _converted(
    image: Image.Image, mode: str, samples: int, through: Callable[[Image.Image], Image.Image] | None = None
) -> Codes:
    """The pixels in another mode, a strip after the other: Pillow would hold three copies of a whole picture."""
    codes = np.empty((image.height, image.width, samples)[: 2 if samples == 1 else 3], np.uint8)
    for top in range(0, image.height, _ROWS):
        part = image.crop((0, top, image.width, min(top + _ROWS, image.height)))
        part.info = image.info  # a transparent colour is named there
        if through is not None:
            part = through(part)
        codes[top : top + _ROWS] = np.asarray(part if part.mode == mode else part.convert(mode))
    return codes


def _jpeg_scans(content: bytes) -> tuple[int, bool]:
    """How many scans the first picture of a JPEG file has, and whether it runs to its end marker."""
    at, scans = 2, 0
    while True:
        found = _JPEG_MARKER.search(content, at)
        if found is None:
            return scans, False
        marker = content[found.start() + 1]
        if marker == 0xD9:
            return scans, True
        scans += marker == 0xDA
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


def display(light: NDArray[np.float32]) -> Bytes:
    """Linear light (H, W) or (H, W, 3), what lies outside 0..1 cut off, to 8-bit sRGB code values, by a table."""
    shown = np.empty(light.shape, np.uint8)
    for top in range(0, len(light), _STRIP):
        steps = light[top : top + _STRIP] * np.float32(_STEPS) + np.float32(0.5)
        shown[top : top + _STRIP] = _codes_of_steps()[np.clip(steps, 0, _STEPS).astype(np.uint16)]
    return shown


@cache
def _codes_of_steps() -> Bytes:
    """Code values of even steps of linear light; even the darkest code spans some twenty of them."""
    return codes(np.arange(_STEPS + 1) / _STEPS)


def walk_photos(
    paths: Iterable[str | os.PathLike[str]],
) -> tuple[list[Path], list[tuple[Path, PhotoError]]]:
    """Photographs under the given files and folders, and the paths that hold none.

    Files come in the order given, each once; a folder is walked downwards in sorted order, leaving out hidden
    files and folders and suffixes of other things. A file named outright is kept whatever its suffix. Pictures in
    folders of kinds that are not read (camera raw, PDF and such) are logged as one warning.
    """
    files: dict[str, Path] = {}
    errors: list[tuple[Path, PhotoError]] = []
    passed_over: dict[str, Path] = {}
    for given in paths:
        place = Path(given)
        try:
            folder = stat.S_ISDIR(place.stat().st_mode)
            inside, others = _inside(place) if folder else ([place], [])
            if not inside:
                said = "holds no photographs that can be read" if others else "holds no photographs"
                errors.append((place, PhotoError(f"{place} {said}; give another folder or a file")))
        except FileNotFoundError:
            inside, others = [], []
            errors.append((place, PhotoError(_missing(place))))
        except (OSError, ValueError) as error:
            inside, others = [], []
            errors.append((place, PhotoError(_not_opened(place, error))))
        for found, kept in ((inside, files), (others, passed_over)):
            for file in found:
                kept.setdefault(os.path.realpath(file), file)
    if passed_over:
        log.warning("%s", passed_over_words(list(passed_over.values())))
    return list(files.values()), errors


def _inside(folder: Path) -> tuple[list[Path], list[Path]]:
    """Photographs below a folder, and pictures of kinds that are not read."""
    suffixes = _suffixes()
    inside, others = [], []
    for here, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if name.startswith("."):
                continue
            if Path(name).suffix.lower() in suffixes:
                inside.append(Path(here) / name)
            elif picture_kind(name):
                others.append(Path(here) / name)
    return inside, others


@cache
def _suffixes() -> frozenset[str]:
    Image.init()
    known = Image.registered_extensions().items()
    own = (suffix for suffix, form in known if form in Image.OPEN and form in _FORMATS)
    return frozenset((*own, *heif.SUFFIXES))
