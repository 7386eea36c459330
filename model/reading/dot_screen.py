"""A printer's dot screen in a picture: the two crossed waves of one period in which a halftone lays its dots.

What is like one but none: parallel bars (blinds mirrored in the glass, brushed metal, the stems of figures) are one
wave; strokes and engine turning change from place to place; JPEG blocks, repeated pixels and scanner lines lie along
the axes. So a screen is asked to be a lattice, and the same one in most of the bare ground.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import DialGeometry

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

_TILE, _CELL = 64, 16  # px, side of a tile and step of its places
_APART = 3  # cells from tile to tile: under their windows tiles so far apart share next to nothing
_MOST_TILES, _FEWEST_TILES = 24, 3
_EXTENT = 0.93  # dial radii looked at
_BLOCK = 8  # px, over whose mean dots are gone and strokes still dark
_INKED = 0.25  # density above the ground
_MOST_INKED = 0.15  # of a tile
_LEAST_GRAIN = 0.004  # density, grain below this is not looked into
_LOWEST = 0.08  # cycles per px: a period of 12.5 px
_OFF_AXIS = 0.045  # cycles per px
_RING = 0.04  # cycles per px, width within which a spectrum is compared
_CORNER = 0.62  # cycles per px: beyond lie only the corners of the plane, too few frequencies for rings of their own
_CLEAR = 6.0  # times the spectrum round it, chosen on drawn dials with and without a screen
_CANDIDATES = 24
_UNEQUAL = 0.12  # relative, of the two waves' frequencies, besides one step of the spectrum
_CROSSED = np.cos(np.radians(60.0))  # square or hexagonal, also seen askew
_ONE_WAVE = 3.0 / _TILE  # cycles per px, within which two peaks are one
_ONE_SIDED = 10.0  # times the power of the weaker wave, of any wave


def screen_period(dial: Image, geometry: DialGeometry, box: tuple[slice, slice]) -> float | None:
    """Period in px of a regular dot screen in the bare enamel, or None.

    dial : (H, W) float32 density within `box` of the photograph.
    """
    tiles = _bare_tiles(dial, geometry, box)
    if len(tiles) < _FEWEST_TILES:
        return None
    window = np.outer(np.hanning(_TILE), np.hanning(_TILE)).astype(np.float32)
    calm = np.clip(tiles, -0.2, 0.3)
    calm -= calm.mean(axis=(1, 2), keepdims=True)
    powers = np.abs(np.fft.rfft2(calm * window)) ** 2
    fy, fx = np.meshgrid(np.fft.fftfreq(_TILE), np.fft.rfftfreq(_TILE), indexing="ij")
    frequency = np.hypot(fx, fy)
    usable = (frequency > _LOWEST) & (np.abs(fx) > _OFF_AXIS) & (np.abs(fy) > _OFF_AXIS)
    floor = _LEAST_GRAIN**2 * float(np.sum(window**2))
    clear = np.zeros((len(powers), *fx.shape))
    # the spectrum falls with frequency: compare within its own ring, and let every tile count alike
    ring = np.digitize(frequency, np.arange(_LOWEST, _CORNER, _RING))
    for k in np.unique(ring[usable]):
        here = usable & (ring == k)
        clear[:, here] = powers[:, here] / (np.median(powers[:, here], axis=1, keepdims=True) + floor)
    # a screen is in every tile, an edge or a scratch in a few: the weaker half of the tiles must show it
    return _lattice(np.quantile(clear, 0.25, axis=0), np.median(powers, axis=0), fx, fy)


def _bare_tiles(dial: Image, geometry: DialGeometry, box: tuple[slice, slice]) -> Image:
    """(N, 64, 64) the tiles of the dial with the least ink, N up to 24, next to none of them on the same ground."""
    rows, columns = dial.shape[0] // _BLOCK, dial.shape[1] // _BLOCK
    across, step = _TILE // _BLOCK, _CELL // _BLOCK
    if min(rows, columns) < across:
        return np.empty((0, _TILE, _TILE), np.float32)
    smooth = cv2.resize(dial[: rows * _BLOCK, : columns * _BLOCK], (columns, rows), interpolation=cv2.INTER_AREA)
    # most of a dial is bare; a plate of middling tone is all dots, and its ground is darker than its brightest paper
    ground = max(float(np.median(smooth)), 0.0)
    inked = (smooth > ground + _INKED).astype(np.float32)
    # (of noughts and ones the sums are exact, in whatever order)
    sums = cv2.boxFilter(inked, -1, (across, across), anchor=(0, 0), normalize=False, borderType=cv2.BORDER_CONSTANT)
    share = np.asarray(sums)[: rows - across + 1 : step, : columns - across + 1 : step] / np.float32(across**2)
    row, column = np.indices(share.shape)
    x, y = column * _CELL + box[1].start, row * _CELL + box[0].start
    # the dial is convex: a tile lies on it if its corners do
    corners = np.stack([np.stack([x + i, y + j], axis=-1) for i in (0, _TILE) for j in (0, _TILE)])
    free = (np.linalg.norm(geometry.to_dial(corners.astype(float)), axis=-1) < _EXTENT).all(axis=0)
    free &= share < _MOST_INKED
    tiles: list[Image] = []
    while free.any() and len(tiles) < _MOST_TILES:
        at = np.unravel_index(int(np.argmin(np.where(free, share, np.inf))), share.shape)
        free &= np.maximum(np.abs(row - at[0]), np.abs(column - at[1])) >= _APART
        top, left = int(at[0]) * _CELL, int(at[1]) * _CELL
        tiles.append(dial[top : top + _TILE, left : left + _TILE])
    return np.array(tiles, np.float32).reshape(-1, _TILE, _TILE)


def _lattice(clear: Floats, power: Floats, fx: Floats, fy: Floats) -> float | None:
    """Period in px of the clearest two crossed waves of one frequency, or None.

    clear : times the spectrum round it; power; fx, fy : cycles per px; all over one half of the plane of frequencies.
    """
    best = np.argsort(clear, axis=None)[::-1][:_CANDIDATES]
    best = best[clear.flat[best] >= _CLEAR]
    if len(best) < 2:
        return None
    wave = np.stack([fx.flat[best], fy.flat[best]], axis=-1)
    length = np.linalg.norm(wave, axis=-1)
    cosine = np.abs(wave @ wave.T) / np.outer(length, length)
    alike = np.abs(length[:, None] - length) <= _UNEQUAL * np.minimum.outer(length, length) + 1.0 / _TILE
    # at the end of the spectrum a wave and its mirror image are one: whole cycles per px make no difference
    offsets = np.stack([wave[:, None] - wave, wave[:, None] + wave])
    apart = (np.abs(offsets - np.round(offsets)).max(axis=-1) > _ONE_WAVE).all(axis=0)
    strength = power.flat[best]
    # the lattice outshines all else: an echo of parallel bars, from resizing or JPEG, is far weaker than they are
    even = np.minimum.outer(strength, strength) * _ONE_SIDED >= strength.max()
    weaker = np.where(
        alike & even & apart & (cosine <= _CROSSED), np.minimum.outer(clear.flat[best], clear.flat[best]), 0.0
    )
    pair = np.unravel_index(int(np.argmax(weaker)), weaker.shape)
    if weaker[pair] < _CLEAR:
        return None
    return float(1.0 / np.mean([_middle(power, fx, fy, int(best[k])) for k in pair]))


def _middle(power: Floats, fx: Floats, fy: Floats, at: int) -> float:
    """Cycles per px of a peak, between the whole frequencies."""
    row, column = np.unravel_index(at, power.shape)
    near = np.ix_(np.arange(row - 1, row + 2) % _TILE, np.clip(np.arange(column - 1, column + 2), 0, _TILE // 2))
    weight = power[near] / power[near].sum()
    return float(np.hypot((fx[near] * weight).sum(), (np.abs(fy[near]) * weight).sum()))
