"""Optical density of the strokes against the bare enamel beside them.

D = -log10(R / R_ground), R and R_ground light from the ink and from the enamel at the same place (ISO 5, from
memory), so that uneven light and the enamel's own colour drop out. This is the density *in the photograph*: flare in
lens and crystal and the blur of thin strokes lift the blacks, so a full black seldom reads above 1.5. Compare
strokes within one photograph, not numbers between photographs.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from dialtell.model.reading.geometry import DialGeometry
from dialtell.synth.shared.errors import ParameterError

Image = NDArray[np.float32]

LOWEST, HIGHEST = -0.2, 2.0
EXTENT = 1.05  # dial radii covered
_BLOCKS = 28  # blocks of ground across the dial
_STRIP = 32  # rows worked on at a time
_CELL = 8  # samples a side of one block


def optical_density(grey: Image, geometry: DialGeometry) -> Image:
    """Density against the local enamel: (H, W) float32 in -0.2..2.0, 0 on bare enamel.

    grey : (H, W) float32 luminance, linear light.
    Outside the box that holds 1.05 dial radii it is 0.
    """
    density = np.zeros(grey.shape, np.float32)
    box = _box(grey, geometry)
    _density(grey[box], _ground_map(grey, geometry, box), density[box])
    return density


def _box(grey: Image, geometry: DialGeometry) -> tuple[slice, slice]:
    box = geometry.box(grey.shape, EXTENT)
    if grey[box].size == 0:
        raise ParameterError(f"the dial at {geometry.center_px} lies outside the {grey.shape[::-1]} px picture")
    return box


def _density(light: Image, ground: Image, out: Image) -> None:
    """Density of `light` over the coarse lattice `ground`, into `out` of the same shape."""
    # bilinear interpolation is one way after the other: down once for all, across strip by strip in the cache
    tall = np.asarray(cv2.resize(ground, (ground.shape[1], len(light)), interpolation=cv2.INTER_LINEAR))
    for top in range(0, len(light), _STRIP):
        rows = slice(top, top + _STRIP)
        full = cv2.resize(tall[rows], (light.shape[1], len(tall[rows])), interpolation=cv2.INTER_LINEAR)
        np.maximum(full, 1e-6, out=full)
        ratio = cv2.divide(light[rows], full, dst=full)
        np.clip(ratio, 10**-HIGHEST, 10**-LOWEST, out=ratio)
        cv2.log(ratio, ratio)
        np.multiply(ratio, np.float32(-1 / np.log(10)), out=out[rows])


def _ground_map(grey: Image, geometry: DialGeometry, box: tuple[slice, slice]) -> Image:
    """Enamel light on a coarse lattice over the box.

    In each block the light is taken from the samples near its upper fifth; blocks that ink, hands or glare fill
    stand out from a quadratic surface through the others and are filled from their neighbours.
    """
    light = grey[box]
    block = max(2.2 * geometry.pixels_per_radius / _BLOCKS, 4.0)
    rows, columns = (max(round(side / block), 1) for side in light.shape)
    size = (columns * _CELL, rows * _CELL)
    fold = min(light.shape[0] // size[1], light.shape[1] // size[0]) // 2
    if fold > 1:  # whole pixels first: OpenCV does that several times faster, and what is cut off is under a sample
        rest = (light.shape[1] // fold, light.shape[0] // fold)
        light = np.asarray(cv2.resize(light[: rest[1] * fold, : rest[0] * fold], rest, interpolation=cv2.INTER_AREA))
    way = cv2.INTER_AREA if size[0] < light.shape[1] else cv2.INTER_LINEAR
    small = np.asarray(cv2.resize(light, size, interpolation=way), dtype=np.float32)
    blocks = small.reshape(rows, _CELL, columns, _CELL).transpose(0, 2, 1, 3).reshape(rows, columns, -1)
    upper = np.partition(blocks, int(0.8 * _CELL**2), axis=2)[:, :, int(0.8 * _CELL**2)]
    # the mean of what lies about the upper fifth is less drawn up by grain than that value itself
    about = np.abs(blocks / np.maximum(upper, 1e-6)[:, :, None] - 1) < 0.12
    value = (blocks * about).sum(axis=2) / np.maximum(about.sum(axis=2), 1)
    inside = _block_centres(geometry, box, (rows, columns))
    trusted = _near_surface(value, inside)
    if not trusted.any():
        return np.full((rows, columns), max(float(np.median(value)), 1e-6), np.float32)
    nearest = distance_transform_edt(~trusted, return_distances=False, return_indices=True)
    filled = value[tuple(nearest)].astype(np.float32)
    smooth = cv2.medianBlur(filled, 3) if min(filled.shape) >= 3 else filled
    return np.asarray(cv2.GaussianBlur(smooth, (0, 0), 0.8, borderType=cv2.BORDER_REPLICATE), dtype=np.float32)


def _block_centres(geometry: DialGeometry, box: tuple[slice, slice], shape: tuple[int, int]) -> NDArray[np.float64]:
    """(rows, columns) dial radius of each block's middle."""
    rows, columns = shape
    y = box[0].start + (np.arange(rows) + 0.5) * (box[0].stop - box[0].start) / rows
    x = box[1].start + (np.arange(columns) + 0.5) * (box[1].stop - box[1].start) / columns
    dial = geometry.to_dial(np.stack(np.meshgrid(x, y), axis=-1))
    return np.asarray(np.hypot(dial[..., 0], dial[..., 1]))


def _near_surface(value: Image, radius: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Blocks well inside the dial whose light lies near a robust quadratic surface in log light."""
    inside = radius < 0.95
    log = np.log(np.maximum(value, 1e-6))
    if inside.sum() < 12:
        return inside
    rows, columns = value.shape
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    trusted: NDArray[np.bool_] = inside & (np.abs(log - np.median(log[inside])) < 0.7)
    reach = 0.35  # log light; narrowed as dark blocks fall out
    for reach in (0.35, 0.22, 0.16, 0.16):
        if trusted.sum() < 12:
            break
        surface = terms @ np.linalg.lstsq(terms[trusted], log[trusted], rcond=None)[0]
        away = log - surface
        # ink only ever darkens: be stricter below
        trusted = np.asarray(inside & (away > -0.6 * reach) & (away < reach))
    return np.asarray(trusted)
