"""Flat pictures of strokes drawn by exact area, softened as a lens does, ready to be measured. Lengths in mm."""

import cv2
import numpy as np

from dialtell.evaluate.measurements.sheet import sheet_of
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.zones import unnamed_zones
from dialtell.synth.strokes.raster import coverage

RADIUS_MM = 22.4  # of the dial the pictures are pieces of
BLACK = 0.06  # light of full paint
SOFT_PX = 0.6  # SD of an edge, the pixel's own width included


def bar(x, y, length, width, angle=0.0):
    """Corners (4, 2) of a stroke from (x, y) downwards, turned clockwise by `angle` radians."""
    down = np.array([-np.sin(angle), np.cos(angle)])
    aside = 0.5 * width * np.array([down[1], -down[0]])
    top, foot = np.array([x, y]), np.array([x, y]) + length * down
    return np.array([top + aside, top - aside, foot - aside, foot + aside])


def swelling(x, y, length, width, amplitude, waves=3.0, count=200):
    """Outline of a stroke whose width goes as width * (1 + amplitude sin)."""
    at = np.linspace(0, 1, count)
    half = 0.5 * width * (1 + amplitude * np.sin(2 * np.pi * waves * at))
    left = np.stack([x - half, y + length * at], axis=1)
    right = np.stack([x + half, y + length * at], axis=1)
    return np.concatenate([left, right[::-1]])


def picture(polygons, absorbed, size_mm, px_per_mm, soft_px=SOFT_PX, noise=0.0, rng=None):
    """(H, W) float32 light: enamel 1, each polygon takes away its share `absorbed` of the light."""
    shape = tuple(int(np.ceil(side * px_per_mm)) for side in size_mm[::-1])
    dark = coverage([p * px_per_mm for p in polygons], shape, np.asarray(absorbed, dtype=float))
    light = 1.0 - dark
    extra = np.sqrt(max(soft_px**2 - 1 / 12, 1e-6))  # a pixel's own box has variance 1/12
    light = cv2.GaussianBlur(light, (0, 0), extra, borderType=cv2.BORDER_REPLICATE)
    if noise:
        light = light + rng.normal(0, noise, shape).astype(np.float32)
    return light.astype(np.float32)


def flat(light, px_per_mm, soft_px=SOFT_PX, zones=None, corner=(0.0, 0.0)):
    """A sheet of the picture; one zone, `other`, unless zones are given."""
    scale = px_per_mm * RADIUS_MM
    geometry = DialGeometry((-corner[0] * scale, -corner[1] * scale), (scale, scale))
    low = np.asarray(corner, dtype=np.float64)
    high = low + np.array(light.shape[::-1]) / scale
    return sheet_of(light.astype(np.float32), geometry, zones or unnamed_zones(), low, high, scale, soft_px)
