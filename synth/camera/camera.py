"""The photograph: optics, sensor, development, reproduction and compression; radiance to 8-bit pixels."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.camera import lens
from dialtell.synth.camera.capture import merged, mosaicked
from dialtell.synth.camera.chain import Chain, is_magnified, sample_chain, sample_ratio
from dialtell.synth.camera.codecs import SAMPLINGS, compress, heic, webp
from dialtell.synth.camera.eyepiece import look_through
from dialtell.synth.camera.finishing import edited, finish
from dialtell.synth.camera.halftone import screen
from dialtell.synth.camera.tails import spread
from dialtell.synth.photograph.texture import enlarge, pixel_noise, shrink, smooth_noise, soften, stack
from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.shared.srgb import encoded

Image = NDArray[np.float32]
Photo = NDArray[np.uint8]

PALETTES = ("colour", "grey", "sepia")
LUMA = (0.299, 0.587, 0.114)  # ITU-R BT.601, as JPEG uses
LUT_STEPS = 4096
FILM_SHARE = 0.07  # of finished photographs, those on dim, soft film or from old prints of it


@dataclass(frozen=True)
class CameraSpec:
    """One photograph of what lies before the camera; sizes in frame px.

    sigma_px : 0..10, Gaussian blur of lens and sensor; defocus_px : 0..12, radius of the disc of a lens out
        of focus; motion_px : 0 or odd 3..31, length of a shake; motion_deg : 0..180, its direction.
    focus_px : 0..12, extra Gaussian blur where the frame is furthest out of focus; focus_at : 0..1 place of
        the sharp line across the frame; focus_deg : 0..360, direction across it, clockwise from up.
    fringe_px : -3..3, colour fringes at the corners (red outward, blue inward).
    flare : 0..0.5, share of light spread evenly over the frame.
    white_level : 0.2..1.6, where the bright parts of the frame come to lie; above 1 they burn out.
    balance : gains of red, green, blue, 0.4..2.5.
    shot : 0..0.2, noise (standard deviation) at white, growing with the root of light; read : 0..0.1, noise
        in the dark; chroma : 0..1, coloured share of it.
    resolution : 0.2..1, true resolution over frame px: what follows, up to `jpeg_before`, is done that small.
    denoise : 0..1, share of a median filter in the picture.
    contrast : -0.3..1, S-curve; gamma : 0.6..1.6 on top of sRGB; black : 0..0.3, lift of the dark end.
    palette : "colour", "grey" or "sepia".
    sharpen : 0..3 and sharpen_px : 0.5..4, amount and sigma of the unsharp mask.
    retouch : 0..0.5, random bending of the tone curve of each channel.
    jpeg_before, jpeg_after : qualities 10..100 of compressions before and after enlarging to frame size.
    sampling : "420" or "444", chroma of JPEG.
    screen_px : 0 for none, else 2..40, pitch of a half-tone screen; screen_deg : 0..90; dot_gain : 0..0.4;
        rescan_px : 0..6, blur (sigma) of photographing the plate again.
    mottle : 0..0.1, grain of film or paper in the finished picture, share of its tone; mottle_px : 1..12, its size.
    seed : of noise and retouching.
    chain : a finished photograph's further way, see chain.py; None for a plain camera. With it, `resolution` is the
        capture's scale over the frame's, what lens, sensor and sharpening do is in px of the capture, `shot` and `read`
        are those of the merged frames, and `denoise` has no use.
    """

    sigma_px: float
    defocus_px: float
    motion_px: int
    motion_deg: float
    focus_px: float
    focus_at: float
    focus_deg: float
    fringe_px: float
    flare: float
    white_level: float
    balance: tuple[float, float, float]
    shot: float
    read: float
    chroma: float
    resolution: float
    denoise: float
    contrast: float
    gamma: float
    black: float
    palette: str
    sharpen: float
    sharpen_px: float
    retouch: float
    jpeg_before: tuple[int, ...]
    jpeg_after: tuple[int, ...]
    sampling: str
    screen_px: float
    screen_deg: float
    dot_gain: float
    rescan_px: float
    mottle: float
    mottle_px: float
    seed: int
    chain: Chain | None = None

    def __post_init__(self) -> None:
        for name, low, high in (
            ("sigma_px", 0.0, 10.0),
            ("defocus_px", 0.0, 12.0),
            ("motion_deg", 0.0, 180.0),
            ("focus_px", 0.0, 12.0),
            ("focus_at", 0.0, 1.0),
            ("focus_deg", 0.0, 360.0),
            ("fringe_px", -3.0, 3.0),
            ("flare", 0.0, 0.5),
            ("white_level", 0.2, 1.6),
            ("shot", 0.0, 0.2),
            ("read", 0.0, 0.1),
            ("chroma", 0.0, 1.0),
            ("resolution", 0.2, 1.0),
            ("denoise", 0.0, 1.0),
            ("contrast", -0.3, 1.0),
            ("gamma", 0.6, 1.6),
            ("black", 0.0, 0.3),
            ("sharpen", 0.0, 3.0),
            ("sharpen_px", 0.5, 4.0),
            ("retouch", 0.0, 0.5),
            ("screen_deg", 0.0, 90.0),
            ("dot_gain", 0.0, 0.4),
            ("rescan_px", 0.0, 6.0),
            ("mottle", 0.0, 0.1),
            ("mottle_px", 1.0, 12.0),
        ):
            require_range(name, getattr(self, name), low, high)
        for gain in self.balance:
            require_range("balance", gain, 0.4, 2.5)
        for quality in (*self.jpeg_before, *self.jpeg_after):
            require_range("jpeg quality", quality, 10, 100)
        if self.motion_px != 0 and not (3 <= self.motion_px <= 31 and self.motion_px % 2 == 1):
            raise ParameterError(f"motion_px is {self.motion_px}; give 0 or an odd length from 3 to 31 px")
        if self.screen_px != 0.0:
            require_range("screen_px", self.screen_px, 2.0, 40.0, "px")
        if self.palette not in PALETTES:
            raise ParameterError(f"palette is {self.palette!r}; give one of {', '.join(PALETTES)}")
        if self.sampling not in SAMPLINGS:
            raise ParameterError(f"sampling is {self.sampling!r}; give one of {', '.join(SAMPLINGS)}")


def sample_camera(*, rng: np.random.Generator, book_share: float = 0.12) -> CameraSpec:
    """Draw a photograph: from clean to poor, `book_share` 0..1 of them plates from a book."""
    require_range("book_share", book_share, 0.0, 1.0)
    book = bool(rng.random() < book_share)
    poor = float(rng.beta(1.2, 1.5))  # one quality behind blur, noise and compression, so that they come together
    blur = rng.random()
    motion = int(rng.choice([3, 5, 7, 9])) if 0.82 < blur < 0.92 else 0
    resolution = float(rng.uniform(0.4, 0.95)) if rng.random() < 0.15 + 0.35 * poor else 1.0
    qualities = [int(q) for q in np.clip(rng.normal(95 - 45 * poor, 10, size=3), 35, 97).round()]
    before = tuple(qualities[:1]) if rng.random() < 0.35 else ()
    after = tuple(qualities[1 : 1 + int(rng.choice([0, 1, 2], p=[0.15, 0.7, 0.15]))])
    palette = "grey" if book or rng.random() < 0.12 else "sepia" if rng.random() < 0.04 else "colour"
    pitch = float(np.exp(rng.uniform(np.log(2.5), np.log(9.0)))) if book and rng.random() < 0.55 else 0.0
    cast = rng.normal(0.0, 0.06, size=2)
    return CameraSpec(
        sigma_px=float(0.35 + 1.6 * poor * rng.random() ** 1.5),
        defocus_px=float(rng.uniform(0.7, 1.0 + 3.5 * poor)) if blur < 0.18 else 0.0,
        motion_px=motion,
        motion_deg=float(rng.uniform(0.0, 180.0)),
        focus_px=float(rng.uniform(0.8, 5.0)) if rng.random() < 0.15 else 0.0,
        focus_at=float(rng.uniform(0.2, 0.8)),
        focus_deg=float(rng.uniform(0.0, 360.0)),
        fringe_px=float(rng.uniform(-1.2, 1.2)) if rng.random() < 0.2 and not book else 0.0,
        flare=float(0.15 * rng.beta(1.0, 4.0)),
        white_level=float(np.clip(rng.normal(0.74, 0.17), 0.3, 1.25)),
        balance=(float(np.exp(cast[0])), 1.0, float(np.exp(cast[1]))),
        shot=float(0.004 + 0.035 * poor * rng.random()),
        read=float(0.001 + 0.008 * poor * rng.random()),
        chroma=float(rng.uniform(0.1, 0.6)) if rng.random() < 0.6 else 0.0,
        resolution=resolution,
        denoise=float(rng.uniform(0.2, 1.0)) if rng.random() < 0.25 else 0.0,
        contrast=float(rng.uniform(0.3, 0.9) if book else np.clip(rng.normal(0.2, 0.2), -0.15, 0.7)),
        gamma=float(np.exp(rng.normal(0.0, 0.15)).clip(0.75, 1.35)),
        black=float(0.08 * rng.beta(1.0, 4.0)),
        palette=palette,
        sharpen=float(rng.uniform(0.2, 1.8)) if rng.random() < 0.45 else 0.0,
        sharpen_px=float(rng.uniform(0.6, 2.2)),
        retouch=float(rng.uniform(0.02, 0.12)) if rng.random() < 0.2 else 0.0,
        jpeg_before=before,
        jpeg_after=after,
        sampling="420" if rng.random() < 0.75 else "444",
        screen_px=pitch,
        screen_deg=float(rng.uniform(30.0, 60.0)) if rng.random() < 0.8 else float(rng.uniform(0.0, 90.0)),
        dot_gain=float(rng.uniform(0.0, 0.2)),
        rescan_px=float(pitch * rng.uniform(0.22, 0.5)),
        mottle=float(rng.uniform(0.005, 0.025)) if rng.random() < (0.8 if book else 0.1) else 0.0,
        mottle_px=float(np.exp(rng.uniform(np.log(1.5), np.log(5.0)))),
        seed=int(rng.integers(2**31)),
    )


def roughened(camera: CameraSpec, *, rng: np.random.Generator) -> CameraSpec:
    """The same photograph taken worse than `sample_camera` draws any: a cast, and most often strong compression, tones
    bent far and noise or sharpening beyond measure."""
    compressed, bent, grained = rng.random(3) < (0.7, 0.7, 0.5)
    quality, bend, sign = int(rng.integers(24, 45)), float(rng.uniform(0.25, 0.45)), 1 if rng.random() < 0.5 else -1
    red, blue = (float(value) for value in rng.uniform(0.1, 0.4, size=2))
    shot, sharpen = float(rng.uniform(0.03, 0.07)), float(rng.uniform(1.5, 2.5))
    return replace(
        camera,
        jpeg_after=(quality,) if compressed else camera.jpeg_after,
        gamma=float(np.exp(sign * bend)) if bent else camera.gamma,
        balance=(float(np.exp(red)), 1.0, float(np.exp(-blue))),
        shot=shot if grained else camera.shot,
        sharpen=camera.sharpen if grained else sharpen,
    )


def finished(
    camera: CameraSpec,
    *,
    rng: np.random.Generator,
    px_per_mm: float,
    dial_radius_mm: float,
    heic_share: float = 0.0,
    film_share: float = FILM_SHARE,
) -> CameraSpec:
    """The same exposure and tones taken, finished and passed on as photographs are; a plate from a book stays as it is.

    px_per_mm : scale of the frame at the dial's centre. heic_share : 0..1, of pictures kept as HEIC.
    film_share : 0..1, of pictures on film or from old prints.
    """
    require_range("film_share", film_share, 0.0, 1.0)
    if camera.screen_px > 0.0:
        return camera
    ratio = sample_ratio(rng=rng, px_per_mm=px_per_mm, dial_radius_mm=dial_radius_mm)
    chain = sample_chain(
        rng=rng, ratio=ratio, magnified=is_magnified(px_per_mm, dial_radius_mm), heic_share=heic_share,
    )  # fmt: skip
    finer = max(ratio, 1.0)
    poor = float(rng.beta(1.2, 1.8))  # of light: noise and shake come together
    shot = float(np.sqrt(np.exp(np.log(1.5e-4) + poor * np.log(30.0)))) / np.sqrt(finer * chain.capture.frames)
    disc, shake, off, apart = rng.random(4) < (0.3, 0.3 * poor, 0.85, 0.3)
    before, after = int(rng.integers(85, 98)), [int(q) for q in rng.integers(60, 97, size=2)]
    saved = int(rng.choice([0, 1, 2], p=[0.2, 0.6, 0.2]))
    # automatic balance and exposure leave enamel bright and a little warm, and ink black: judged on real dials
    red, blue, white, curve = rng.standard_normal(4) * (0.045, 0.055, 0.18, 0.2) + (0.0, -0.035, 0.68, 0.38)
    grey = camera.palette != "colour" and rng.random() < 0.25  # today's are in colour
    taken = replace(
        camera,
        palette=camera.palette if grey else "colour",
        white_level=float(np.clip(white, 0.35, 1.1)),
        contrast=float(np.clip(curve, -0.1, 0.9)),
        flare=camera.flare * float(rng.uniform(0.1, 0.8)),  # software lowers the veil to black again
        black=camera.black * float(rng.random() ** 2),
        gamma=camera.gamma**0.6,  # cameras' own curves agree better than those of people who edit (judgement)
        balance=(float(np.exp(red)), 1.0, float(np.exp(blue))),
        sigma_px=max(float(rng.uniform(0.45, 1.4)) / finer, 0.3),
        defocus_px=float(rng.uniform(0.0, 1.5)) / finer if disc else 0.0,
        motion_px=3 if shake and finer < 2.0 else 0,
        fringe_px=float(rng.uniform(-0.6, 0.6)) / finer if apart else 0.0,
        shot=float(shot),
        read=float(shot * rng.uniform(0.05, 0.3)),
        chroma=float(rng.uniform(0.2, 1.0)),
        resolution=min(ratio, 1.0),
        denoise=0.0,
        sharpen=float(2.5 * rng.beta(1.5, 1.5)) if off else 0.0,
        sharpen_px=max(float(np.exp(rng.uniform(np.log(0.6), np.log(2.5)))) / finer, 0.5),
        jpeg_before=(before,) if chain.heic == 0 and rng.random() < 0.8 else (),
        jpeg_after=tuple(after[: max(saved - (chain.webp > 0), 0)]),
        chain=chain,
    )
    if chain.eyepiece is not None:  # depth of field is shallow so near
        taken = replace(taken, focus_px=float(rng.uniform(0.5, 7.0)), focus_at=float(rng.uniform(0.2, 0.8)))
    return _on_film(taken, rng) if rng.random() < film_share else taken


def _on_film(camera: CameraSpec, rng: np.random.Generator) -> CameraSpec:
    """The photograph on dim, soft film, or an old print of it scanned: grain, halation, flat tones."""
    assert camera.chain is not None
    tails = replace(camera.chain.tails, share=float(rng.uniform(0.12, 0.35)), warm=float(rng.uniform(0.0, 0.4)))
    return replace(
        camera,
        sigma_px=camera.sigma_px + float(rng.uniform(0.3, 1.4)),
        white_level=float(rng.uniform(0.35, 0.8)),
        contrast=float(rng.uniform(-0.25, 0.1)),
        black=float(rng.uniform(0.03, 0.16)),
        palette="colour" if rng.random() < 0.6 else "sepia" if rng.random() < 0.3 else "grey",
        mottle=float(rng.uniform(0.01, 0.05)),
        mottle_px=float(np.exp(rng.uniform(np.log(1.0), np.log(3.0)))),
        chain=replace(camera.chain, tails=tails),
    )


def expose(camera: CameraSpec, radiance: Image) -> Photo:
    """Take the photograph.

    radiance : (H, W, 3) float32 linear RGB >= 0, not changed.
    Returns (H, W, 3) uint8, sRGB.
    """
    if radiance.ndim != 3 or radiance.shape[2] != 3 or radiance.dtype != np.float32:
        raise ParameterError(f"radiance is {radiance.dtype} of shape {radiance.shape}; give float32 of shape (H, W, 3)")
    shape = (radiance.shape[0], radiance.shape[1])
    photo = _taken(camera, radiance) if camera.chain is None else _captured(camera, camera.chain, radiance)
    for quality in camera.jpeg_before:
        photo = compress(photo, quality, camera.sampling)
    if photo.shape[:2] != shape:
        photo = _u8(cv2.resize(photo, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC))
    if camera.retouch > 0.0:
        photo = _retouch(camera, photo)
    photo = _mottle(camera, _reproduce(camera, photo))
    if camera.chain is not None:
        photo = photo if camera.chain.edit is None else edited(camera.chain.edit, photo)
        photo = photo if camera.chain.webp == 0 else webp(photo, camera.chain.webp)
    for quality in camera.jpeg_after:
        photo = compress(photo, quality, camera.sampling)
    return photo


def _taken(camera: CameraSpec, radiance: Image) -> Photo:
    """A plain camera's picture, at its true resolution."""
    light = blur(camera, _meter(camera, radiance))
    light = shrink(light, _size(camera, radiance))
    return _sharpen(camera, _develop(camera, _add_noise(camera, light)))


def _captured(camera: CameraSpec, chain: Chain, radiance: Image) -> Photo:
    """What the lens, the sensor and the software of a finished photograph give, at the scale of the capture."""
    seen = radiance if chain.eyepiece is None else look_through(chain.eyepiece, radiance)
    light = _meter(camera, shrink(seen, _size(camera, radiance)))
    light = merged(chain.capture, spread(chain.tails, blur(camera, light)))
    photo = _develop(camera, mosaicked(chain.capture, _add_noise(camera, light)))
    photo = finish(chain.finish, photo, sharpen=camera.sharpen, sharpen_px=camera.sharpen_px)
    return photo if chain.heic == 0 else heic(photo, chain.heic)


def _size(camera: CameraSpec, picture: Image) -> tuple[int, int]:
    """(H, W) of a picture at the camera's true resolution."""
    height, width = picture.shape[:2]
    if camera.resolution == 1.0:
        return height, width
    return max(round(height * camera.resolution), 8), max(round(width * camera.resolution), 8)


def blur(camera: CameraSpec, light: Image) -> Image:
    """All that softens the picture before the sensor; (H, W, 3) float32 in linear light, energy kept."""
    if camera.fringe_px != 0.0:
        light = lens.fringe(light, camera.fringe_px)
    if camera.defocus_px > 0.3:
        light = lens.disc(light, camera.defocus_px)
    if camera.motion_px >= 3:
        size = camera.motion_px
        light = _albumentations(
            "MotionBlur",
            light,
            camera.seed,
            blur_limit=(size, size),
            angle_range=(camera.motion_deg, camera.motion_deg),
            direction_range=(0.0, 0.0),
            allow_shifted=False,
        )
    if camera.sigma_px > 0.0:
        light = lens.gaussian(light, camera.sigma_px)
    if camera.focus_px > 0.0:
        light = lens.shallow_focus(light, camera.focus_px, at=camera.focus_at, deg=camera.focus_deg)
    return light


def _u8(array: object) -> Photo:
    """What cv2 returned, which is uint8 already, with its type."""
    return np.asarray(array, dtype=np.uint8)


def _albumentations(name: str, image: Any, seed: int, **options: Any) -> Any:
    """One albumentations transform with fixed parameters and its own generator."""
    os.environ.setdefault("NO_ALBUMENTATIONS_UPDATE", "1")  # it would ask the network for a newer version
    import albumentations

    transform = getattr(albumentations, name)(p=1.0, **options)
    return albumentations.Compose([transform], seed=seed)(image=image)["image"]


def _meter(camera: CameraSpec, radiance: Image) -> Image:
    """Exposure, white balance and flare in one affine step per channel."""
    balanced = 0.0 if camera.chain is None else camera.chain.balanced
    height, width = radiance.shape[:2]
    small = shrink(radiance, (max(height // 8, 1), max(width // 8, 1)))
    level = small @ np.array(LUMA, dtype=np.float32)
    bright = float(np.percentile(level, 95.0))
    gain = camera.white_level / max(bright, 1e-3)
    # of what is bright, each place as much as it is, but for the burnt out: a lamp's image need not be white
    white = np.average(small.reshape(-1, 3), axis=0, weights=(np.minimum(level, bright) ** 2 + 1e-9).reshape(-1))
    cast = np.clip(white[1] / np.maximum(white, 1e-6), 0.4, 2.5) ** balanced
    matrix = np.zeros((3, 4), dtype=np.float32)
    for channel, balance in enumerate(camera.balance):
        own = gain * balance * cast[channel]
        matrix[channel, channel] = own * (1.0 - camera.flare)
        matrix[channel, 3] = own * camera.flare * float(small[..., channel].mean())
    return np.asarray(cv2.transform(radiance, matrix), dtype=np.float32)


def _add_noise(camera: CameraSpec, light: Image) -> Image:
    """Shot and read noise, mostly common to the three channels, plus a coarser coloured part."""
    if camera.shot == 0.0 and camera.read == 0.0:
        return light
    shape = (light.shape[0], light.shape[1])
    level = _luma(light)
    np.maximum(level, 0.0, out=level)
    level *= np.float32(camera.shot**2)
    level += np.float32(camera.read**2)
    np.sqrt(level, out=level)
    grain = pixel_noise(camera.seed, shape)
    grain *= level
    noise = [grain, grain, grain]
    if camera.chroma > 0.0:
        level *= np.float32(camera.chroma)
        half = (-(-shape[0] // 2), -(-shape[1] // 2))
        for channel in (0, 2):
            coarse = enlarge(pixel_noise(camera.seed + 1 + channel, half), shape)
            coarse *= level
            coarse += grain
            noise[channel] = coarse
    result = stack(noise)
    result += light
    return result


def _luma(light: Image) -> Image:
    """Luminance (H, W) of a picture (H, W, 3)."""
    return np.asarray(cv2.transform(light, np.array([LUMA], dtype=np.float32)), dtype=np.float32)


def _develop(camera: CameraSpec, light: Image) -> Photo:
    """Tone curve: sRGB, gamma, S-curve, lift of black; then median filter and palette."""
    linear = np.linspace(0.0, 1.0, LUT_STEPS)
    curve = encoded(linear) ** camera.gamma
    curve = (1.0 - camera.contrast) * curve + camera.contrast * curve**2 * (3.0 - 2.0 * curve)
    curve = np.clip(camera.black + (1.0 - camera.black) * curve, 0.0, 1.0)
    table = np.round(255.0 * curve).astype(np.uint8)
    level = light if camera.palette == "colour" else _luma(light)
    index = level * np.float32(LUT_STEPS - 1)
    np.clip(index, 0.0, np.float32(LUT_STEPS - 1), out=index)
    photo: Photo = table[index.astype(np.uint16)]
    if camera.denoise > 0.0:
        calm = cv2.medianBlur(photo, 3)
        photo = _u8(cv2.addWeighted(photo, 1.0 - camera.denoise, calm, camera.denoise, 0.0))
    if camera.palette == "colour":
        return photo
    return _tint(photo) if camera.palette == "sepia" else _u8(cv2.merge((photo, photo, photo)))


def _tint(grey: Photo) -> Photo:
    """Brown shadows and cream lights."""
    level = np.arange(256)
    picture = np.empty((*grey.shape, 3), dtype=np.uint8)
    for channel, (power, top) in enumerate(((0.88, 1.0), (1.0, 0.96), (1.22, 0.84))):
        table = np.round(255.0 * (level / 255.0) ** power * top).astype(np.uint8)
        picture[..., channel] = cv2.LUT(grey, table)
    return picture


def _sharpen(camera: CameraSpec, photo: Photo) -> Photo:
    """Unsharp mask: leaves halos beside strong edges, as cameras and editors do."""
    if camera.sharpen == 0.0:
        return photo
    soft = cv2.GaussianBlur(photo, (0, 0), camera.sharpen_px)
    return _u8(cv2.addWeighted(photo, 1.0 + camera.sharpen, soft, -camera.sharpen, 0.0))


def _retouch(camera: CameraSpec, photo: Photo) -> Photo:
    """Tone curves bent at random, a little differently for each channel of a colour picture."""
    per_channel = camera.palette == "colour"
    return _u8(_albumentations("RandomToneCurve", photo, camera.seed, scale=camera.retouch, per_channel=per_channel))


def _reproduce(camera: CameraSpec, photo: Photo) -> Photo:
    """The picture as a half-tone plate, photographed again; unchanged without a screen."""
    if camera.screen_px == 0.0:
        return photo
    tone = photo[..., 1].astype(np.float32) * np.float32(1.0 / 255.0)
    plate = screen(tone, pitch_px=camera.screen_px, angle_deg=camera.screen_deg, dot_gain=camera.dot_gain)
    if camera.rescan_px > 0.0:
        plate = soften(plate, camera.rescan_px)
    level = _u8(cv2.convertScaleAbs(plate, alpha=255.0))
    return _tint(level) if camera.palette == "sepia" else _u8(cv2.merge((level, level, level)))


def _mottle(camera: CameraSpec, photo: Photo) -> Photo:
    """Soft grain of film or paper, at two sizes; unchanged without it."""
    if camera.mottle == 0.0:
        return photo
    shape, size = (photo.shape[0], photo.shape[1]), camera.mottle_px
    field = smooth_noise(camera.seed + 5, shape, (size, size))
    field += np.float32(0.5) * smooth_noise(camera.seed + 6, shape, (4 * size, 4 * size))
    field *= np.float32(camera.mottle)
    field += np.float32(1.0)
    return _u8(np.clip(photo * field[..., None] + np.float32(0.5), 0, 255).astype(np.uint8))
