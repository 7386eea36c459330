"""What a patch does not carry, since it is set against its own dial: how black, how light, how lit the dial is."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from trials.realism.dials import Dial

from dialtell.model.reading.geometry import rectify

Floats = NDArray[np.float64]

FACE = 160.0  # px per dial radius of the face-on copy
WITHIN = 0.9  # dial radii
NAMES = {
    "full density": "D of the fullest strokes",
    "ink of patches": "mean share of ink in patches with ink",
    "darkest": "L*, 2nd percentile of the dial",
    "enamel": "L*, median of its lighter half",
    "tint of enamel": "a*, b*: distance from grey, likewise",
    "shading": "SD of L* over the lighter half, ink closed, blurred by a twentieth of the dial",
    "stored to resolved": "px stored per px resolved, log2",
    "zones": "found",
}


def photograph_statistics(dial: Dial) -> Floats:
    """(len(NAMES),) of one dial."""
    patches, codes, geometry = dial.reading.patches, dial.photo.codes, dial.reading.geometry
    factor = min(1.25 * FACE / geometry.pixels_per_radius, 1.0)
    shape = (max(round(codes.shape[1] * factor), 1), max(round(codes.shape[0] * factor), 1))
    small = cv2.resize(codes, shape, interpolation=cv2.INTER_AREA) / np.float32(np.iinfo(codes.dtype).max)
    small = np.repeat(small[..., None], 3, axis=2) if small.ndim == 2 else small
    face = rectify(small.astype(np.float32), geometry.scaled(shape[0] / codes.shape[1]), FACE, 1.0)
    lab = cv2.cvtColor(np.clip(face, 0, 1), cv2.COLOR_RGB2LAB)
    side = len(lab)
    y, x = np.ogrid[:side, :side]
    disc = np.hypot(x - 0.5 * side, y - 0.5 * side) < WITHIN * 0.5 * side
    light = lab[..., 0]
    lighter = disc & (light >= np.quantile(light[disc], 0.5))
    closed = cv2.morphologyEx(light, cv2.MORPH_CLOSE, np.ones((15, 15), np.uint8))
    broad = cv2.GaussianBlur(closed, (0, 0), 0.1 * FACE)
    return np.array([
        patches.full, patches.ink.mean() if len(patches) else np.nan, np.quantile(light[disc], 0.02),
        np.median(light[lighter]), np.median(np.hypot(lab[..., 1], lab[..., 2])[lighter]), broad[lighter].std(),
        np.log2(dial.reading.geometry.pixels_per_radius / dial.resolved), len(dial.reading.zones.found),
    ])  # fmt: skip
