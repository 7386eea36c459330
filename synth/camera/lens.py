"""What a lens does to a picture: blur of a Gaussian, an even disc or a shallow focus, and colour fringes.

Pictures are (H, W, 3) float32 in linear light; their energy is kept, the border is mirrored.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import enlarge, mix, shrink, soften, stack

Image = NDArray[np.float32]


def gaussian(light: Image, sigma: float) -> Image:
    """Gaussian blur; wide ones at half size, where they cost a quarter."""
    if sigma < 4.0 or min(light.shape[:2]) < 64:
        return soften(light, sigma)
    shape = (light.shape[0], light.shape[1])
    half = shrink(light, (-(-shape[0] // 2), -(-shape[1] // 2)))
    # halving by area and enlarging add 1/4 + 1/2 px^2 or so of variance themselves
    return enlarge(gaussian(half, float(np.sqrt(sigma**2 - 0.75)) / 2.0), shape)


def disc(light: Image, radius: float) -> Image:
    """Blur with an even disc of `radius` px; large ones at half size."""
    if radius > 4.0 and min(light.shape[:2]) >= 64:
        shape = (light.shape[0], light.shape[1])
        half = shrink(light, (-(-shape[0] // 2), -(-shape[1] // 2)))
        return enlarge(disc(half, radius / 2.0), shape)
    reach = int(np.ceil(radius + 0.5))
    fine = (np.arange((2 * reach + 1) * 8) + 0.5) / 8 - (reach + 0.5)
    inside = (fine[:, None] ** 2 + fine**2 <= radius**2).astype(np.float32)
    kernel = inside.reshape(2 * reach + 1, 8, 2 * reach + 1, 8).mean(axis=(1, 3))
    blurred = cv2.filter2D(light, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)
    return np.asarray(blurred, dtype=np.float32)


def shallow_focus(light: Image, sigma: float, *, at: float, deg: float) -> Image:
    """Blur that grows away from a sharp line, to a Gaussian of `sigma` px; three levels mixed by distance.

    at : 0..1, place of the line across the frame. deg : direction across it, degrees clockwise from up.
    """
    height, width = light.shape[:2]
    angle = np.radians(deg)
    x = np.linspace(-0.5, 0.5, width // 8 + 1, dtype=np.float32) * np.float32(np.sin(angle))
    y = np.linspace(-0.5, 0.5, height // 8 + 1, dtype=np.float32) * np.float32(-np.cos(angle))
    span = np.float32(abs(np.sin(angle)) + abs(np.cos(angle)))
    place = (x + y[:, None]) / span + 0.5
    away = np.abs(place - np.float32(at)) / np.float32(max(at, 1.0 - at))
    level = enlarge(away.astype(np.float32), (height, width))
    middle = gaussian(light, 0.5 * sigma)
    wide = gaussian(light, sigma)
    near = mix(light, middle, np.clip(2.0 * level, 0.0, 1.0))
    return mix(near, wide, np.clip(2.0 * level - 1.0, 0.0, 1.0))


def fringe(light: Image, shift: float) -> Image:
    """Red and blue pictures of slightly different size: `shift` px outward and inward at the corners."""
    height, width = light.shape[:2]
    red, green, blue = cv2.split(light)
    turned: list[Image] = []
    for channel, sign in ((red, 1.0), (blue, -1.0)):
        zoom = 1.0 + sign * shift / (0.5 * float(np.hypot(height, width)))
        matrix = np.array([[zoom, 0, (1 - zoom) * (width - 1) / 2], [0, zoom, (1 - zoom) * (height - 1) / 2]])
        moved = cv2.warpAffine(channel, matrix, (width, height), borderMode=cv2.BORDER_REFLECT)
        turned.append(np.asarray(moved, dtype=np.float32))
    return stack((turned[0], np.asarray(green, dtype=np.float32), turned[1]))
