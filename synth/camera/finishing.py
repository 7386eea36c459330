"""What a camera's software does to a developed picture, and what people do to it afterwards.

Denoising, local tone, sharpening with its halos, the look of learned enlargement; then, of some, a file made smaller or
larger and sharpened again. All on 8-bit sRGB, luma apart from colour, as cameras do.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import enlarge, shrink, soften
from dialtell.synth.shared.errors import ParameterError, require_range

Image = NDArray[np.float32]
Photo = NDArray[np.uint8]

DENOISERS = ("none", "bilateral", "median", "guided")
BASE_STEP = 8  # px; what local tone is measured against varies slowly


@dataclass(frozen=True)
class Finish:
    """Software of a camera; lengths in px of the capture, levels in 1/255.

    denoise : "none", "bilateral", "median" or "guided", of luma; strength : 2..60 levels, differences it takes for
    noise (a median is wide from 14 on).
    colour_px : 0..8, blur (sigma) of colour, which is always denoised more.
    local_px : 4..80, sigma of what local tone is measured against; local_gain : 0.8..2, factor on what differs from it;
    levelled : 0..0.6, share of the large differences of light taken out.
    threshold : 0..12 levels below which sharpening leaves things alone; limit : 0 for none, else 2..100 levels, the
    most it changes a pixel.
    learned : 0..1, share of a picture halved, enlarged and drawn sharp again without halos.
    saturation : 0.3..1.8.
    """

    denoise: str
    strength: float
    colour_px: float
    local_px: float
    local_gain: float
    levelled: float
    threshold: float
    limit: float
    learned: float
    saturation: float

    def __post_init__(self) -> None:
        if self.denoise not in DENOISERS:
            raise ParameterError(f"denoise is {self.denoise!r}; give one of {', '.join(DENOISERS)}")
        require_range("strength", self.strength, 2.0, 60.0, "levels")
        require_range("colour_px", self.colour_px, 0.0, 8.0, "px")
        require_range("local_px", self.local_px, 4.0, 80.0, "px")
        require_range("local_gain", self.local_gain, 0.8, 2.0)
        require_range("levelled", self.levelled, 0.0, 0.6)
        require_range("threshold", self.threshold, 0.0, 12.0, "levels")
        if self.limit != 0.0:
            require_range("limit", self.limit, 2.0, 100.0, "levels")
        require_range("learned", self.learned, 0.0, 1.0)
        require_range("saturation", self.saturation, 0.3, 1.8)


@dataclass(frozen=True)
class Edit:
    """A file made again: share : 0.2..1.5, its size over the frame's. sharpen : 0..3 and sharpen_px : 0.5..4, amount
    and sigma of its unsharp mask."""

    share: float
    sharpen: float
    sharpen_px: float

    def __post_init__(self) -> None:
        require_range("share", self.share, 0.2, 1.5)
        require_range("sharpen", self.sharpen, 0.0, 3.0)
        require_range("sharpen_px", self.sharpen_px, 0.5, 4.0, "px")


def sample_finish(*, rng: np.random.Generator) -> Finish:
    """Draw the software of a camera, from next to none to heavy.

    Dials are photographed in good light, where software calms little and leaves thin strokes black, as real prints'
    are (judgement; wide medians and strong smoothing, which keep edges and wash lines out, are few).
    """
    return Finish(
        denoise=str(rng.choice(DENOISERS, p=[0.45, 0.32, 0.05, 0.18])),
        strength=float(np.exp(rng.uniform(np.log(4.0), np.log(18.0)))),
        colour_px=float(rng.uniform(0.4, 2.5)) if rng.random() < 0.7 else 0.0,
        local_px=float(np.exp(rng.uniform(np.log(8.0), np.log(40.0)))),
        local_gain=float(rng.uniform(1.0, 1.7)) if rng.random() < 0.8 else 1.0,
        levelled=float(rng.uniform(0.0, 0.35)) if rng.random() < 0.5 else 0.0,
        threshold=float(rng.uniform(0.0, 4.0)) if rng.random() < 0.6 else 0.0,
        limit=float(np.exp(rng.uniform(np.log(8.0), np.log(60.0)))) if rng.random() < 0.5 else 0.0,
        learned=float(rng.uniform(0.5, 1.0)) if rng.random() < 0.08 else 0.0,
        saturation=float(np.clip(np.exp(rng.normal(0.0, 0.15)), 0.7, 1.4)),
    )


def sample_edit(*, rng: np.random.Generator, least: float = 0.3) -> Edit:
    """Draw a file made again; `least` 0.2..1, the smallest share: 1 of a picture that was made smaller already."""
    require_range("least", least, 0.2, 1.0)
    reduced = least == 1.0  # small files are nearly all sharpened, and most by more
    return Edit(
        share=1.0 if rng.random() < 0.35 else float(np.exp(rng.uniform(np.log(least), np.log(1.2)))),
        sharpen=float(rng.uniform(0.3, 1.6 if reduced else 1.0)) if rng.random() < 0.7 + 0.2 * reduced else 0.0,
        sharpen_px=float(rng.uniform(0.6, 1.6)),
    )


def finish(spec: Finish, photo: Photo, *, sharpen: float = 0.0, sharpen_px: float = 1.0) -> Photo:
    """What the camera's software makes of a developed (H, W, 3) uint8 RGB picture.

    sharpen : 0..3 and sharpen_px : 0.5..4, amount and sigma of the sharpening.
    """
    luma, *colour = map(_u8, cv2.split(cv2.cvtColor(photo, cv2.COLOR_RGB2YCrCb)))
    level = _calmed(spec, luma).astype(np.float32)
    if spec.learned > 0.0:
        level = np.float32(1.0 - spec.learned) * level + np.float32(spec.learned) * _drawn_sharp(level)
    if spec.local_gain != 1.0 or spec.levelled > 0.0:
        level = _local_tone(spec, level)
    if sharpen > 0.0:
        level += _halo(spec, level, sharpen, sharpen_px)
    done = [_u8(cv2.convertScaleAbs(np.maximum(level, 0.0)))]
    for part in colour:
        soft = _softened(part, spec.colour_px) if spec.colour_px > 0.0 else part
        done.append(_u8(cv2.convertScaleAbs(soft, alpha=spec.saturation, beta=128.0 * (1.0 - spec.saturation))))
    return _u8(cv2.cvtColor(cv2.merge(done), cv2.COLOR_YCrCb2RGB))


def edited(edit: Edit, photo: Photo) -> Photo:
    """The file made again and shown at the size it had; (H, W, 3) uint8."""
    size = (photo.shape[1], photo.shape[0])
    there, smaller = photo, edit.share < 1.0
    if edit.share != 1.0:
        file = (max(round(size[0] * edit.share), 8), max(round(size[1] * edit.share), 8))
        there = _u8(cv2.resize(photo, file, interpolation=cv2.INTER_AREA if smaller else cv2.INTER_CUBIC))
    if edit.sharpen > 0.0:
        soft = cv2.GaussianBlur(there, (0, 0), edit.sharpen_px)
        there = _u8(cv2.addWeighted(there, 1.0 + edit.sharpen, soft, -edit.sharpen, 0.0))
    if edit.share == 1.0:
        return there
    return _u8(cv2.resize(there, size, interpolation=cv2.INTER_CUBIC if smaller else cv2.INTER_AREA))


def _calmed(spec: Finish, luma: Photo) -> Photo:
    """Luma (H, W) denoised."""
    if spec.denoise == "bilateral":
        return _u8(cv2.bilateralFilter(luma, 5, spec.strength, 1.5))
    if spec.denoise == "median":
        if spec.strength < 14.0:
            return _u8(cv2.medianBlur(luma, 3))
        return _u8(cv2.medianBlur(cv2.medianBlur(luma, 5), 5))  # as if painted in water colours
    if spec.denoise == "guided":
        level = luma.astype(np.float32)
        mean = cv2.boxFilter(level, -1, (7, 7))
        spread = cv2.boxFilter(level * level, -1, (7, 7)) - mean * mean
        # flat places become their mean, edges stay: He's guided filter with the picture as its own guide
        share = spread / (spread + np.float32(0.5 * spec.strength**2))
        return _u8(cv2.convertScaleAbs(mean + share * (level - mean)))
    return luma


def _softened(field: Photo, sigma: float) -> Photo:
    """A colour difference blurred, at half its size."""
    half = cv2.resize(field, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(half, (0, 0), max(0.5 * sigma, 0.3))
    return _u8(cv2.resize(soft, field.shape[::-1], interpolation=cv2.INTER_LINEAR))


def _drawn_sharp(level: Image) -> Image:
    """Halved, enlarged, and its edges steepened within what stood beside them, so that no halos arise."""
    shape = (level.shape[0], level.shape[1])
    half = shrink(level, (-(-shape[0] // 2), -(-shape[1] // 2)))
    found = np.asarray(cv2.resize(half, shape[::-1], interpolation=cv2.INTER_CUBIC), dtype=np.float32)
    around = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    for _ in range(2):
        low, high = cv2.erode(found, around), cv2.dilate(found, around)
        found = found + np.float32(1.5) * (found - soften(found, 1.2))
        found = np.asarray(np.minimum(np.maximum(found, low), high), dtype=np.float32)
    return soften(found, 0.6)  # slanted edges would come out as stairs


def _local_tone(spec: Finish, level: Image) -> Image:
    """Detail raised against the light round about, and that levelled."""
    shape = (level.shape[0], level.shape[1])
    coarse = shrink(level, (-(-shape[0] // BASE_STEP), -(-shape[1] // BASE_STEP)))
    base = soften(coarse, max(spec.local_px / BASE_STEP, 0.4))
    middle = float(base.mean())
    # gain (level - base) + middle + (1 - levelled) (base - middle), the slow part enlarged at once
    slow = (1.0 - spec.levelled - spec.local_gain) * base + np.float32(spec.levelled * middle)
    return np.asarray(cv2.scaleAdd(level, spec.local_gain, enlarge(slow.astype(np.float32), shape)), dtype=np.float32)


def _halo(spec: Finish, level: Image, amount: float, sigma: float) -> Image:
    """What sharpening adds to luma."""
    added = level - soften(level, sigma)
    added *= np.float32(amount)
    if spec.threshold > 0.0:
        added -= np.clip(added, -spec.threshold, spec.threshold)
    if spec.limit > 0.0:
        np.clip(added, -spec.limit, spec.limit, out=added)
    return added


def _u8(array: object) -> Photo:
    """What cv2 returned, which is uint8 already, with its type."""
    return np.asarray(array, dtype=np.uint8)
