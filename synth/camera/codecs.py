"""Pictures saved and opened again by real codecs: JPEG, WebP and HEIC, as cameras, markets and phones write them.

Every picture is (H, W, 3) uint8 RGB. HEIC is slow and its encoder need not give the same bytes everywhere, so it is
drawn only where a set asks for it (`Range.heic`).
"""

from __future__ import annotations

import io

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from dialtell.synth.shared.errors import ParameterError

Photo = NDArray[np.uint8]

SAMPLINGS = {"420": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420, "444": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444}
WEBP_EFFORT = 0  # of 0..6: the fastest; effort makes files smaller, pictures of a quality are much the same
HEIC_EFFORT = {"preset": "ultrafast"}  # a seventh of the time, and the same loss


def compress(photo: Photo, quality: int, sampling: str) -> Photo:
    """One JPEG generation; quality 1..100, sampling of chroma "420" or "444"."""
    if sampling not in SAMPLINGS:
        raise ParameterError(f"sampling is {sampling!r}; give one of {', '.join(SAMPLINGS)}")
    turned = cv2.cvtColor(photo, cv2.COLOR_RGB2BGR)  # codecs take blue first; their luma weights depend on it
    options = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, SAMPLINGS[sampling]]
    decoded = cv2.imdecode(cv2.imencode(".jpg", turned, options)[1], cv2.IMREAD_COLOR)
    return np.asarray(cv2.cvtColor(np.asarray(decoded), cv2.COLOR_BGR2RGB), dtype=np.uint8)


def webp(photo: Photo, quality: int) -> Photo:
    """One lossy WebP generation; quality 1..100. What the format cannot hold (some large noisy pictures) is a JPEG."""
    file = io.BytesIO()
    try:
        Image.fromarray(photo).save(file, "WEBP", quality=quality, method=WEBP_EFFORT)
    except ValueError:  # its first partition, of 512 KiB, ran over
        return compress(photo, quality, "420")
    return _opened(file)


def heic(photo: Photo, quality: int) -> Photo:
    """One HEIC generation; quality 1..100. Needs pillow-heif with an encoder."""
    import pillow_heif

    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(photo)).save(file, quality=quality, enc_params=HEIC_EFFORT)
    file.seek(0)
    opened = pillow_heif.open_heif(file, convert_hdr_to_8bit=True).to_pillow()
    return np.array(opened.convert("RGB"), dtype=np.uint8)


def _opened(file: io.BytesIO) -> Photo:
    file.seek(0)
    return np.array(Image.open(file).convert("RGB"), dtype=np.uint8)
