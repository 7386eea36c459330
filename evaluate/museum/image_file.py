"""Proof that a downloaded file is a whole photograph, before it gets a photograph's name."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from dialtell.synth.shared.errors import PhotoError

# format as Pillow names it: suffix; MPO is a JPEG with further views behind the first and opened as one
SUFFIXES = {"JPEG": ".jpg", "MPO": ".jpg", "PNG": ".png", "TIFF": ".tif", "WEBP": ".webp"}
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")


@dataclass(frozen=True)
class ImageFile:
    """A file that decodes: the suffix of its format, and width and height in px as stored."""

    suffix: str
    width: int
    height: int


def proved_image(path: Path, *, max_pixels: int) -> ImageFile:
    """Decode a file's first picture in full.

    max_pixels : width times height above which nothing is decoded.
    Raises PhotoError that says what is wrong, without the path: the file's name is a passing one.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of odd tags and large sizes; the size is judged below
        try:
            with Image.open(path, formats=FORMATS) as image:
                width, height = image.size
                if width * height > max_pixels:
                    raise PhotoError(f"has {width} x {height} px, more than the limit of {max_pixels} (--max-pixels)")
                image.load()
                return ImageFile(SUFFIXES[image.format or ""], width, height)
        except PhotoError:
            raise
        except Image.DecompressionBombError as error:
            raise PhotoError(f"has far more px than the limit of {max_pixels} (--max-pixels)") from error
        except UnidentifiedImageError as error:
            raise PhotoError("is no JPEG, PNG, TIFF or WebP image; look at it in a browser") from error
        except Exception as error:  # Pillow's decoders raise almost any type on damaged files
            raise PhotoError(f"is cut off or damaged ({error}); try again later") from error
