"""A close-up of a part of a dial: where the whole dial would lie, told from an arc of its minute track.

The reader says roughly where the dial's centre lies and how large it is. About the right centre the divisions come
every six degrees, which fixes both: no other centre gives sixty to the turn. How far outside its track the dial ends is
read from the enamel's edge, some of which must be in the frame: without it a seconds bit, or figures, were taken for
the track in a third of drawn close-ups.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.density import optical_density
from dialtell.model.reading.divisions import arc_share_at_sixty
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.looks import Look
from dialtell.model.reading.scale import Scale

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

PLACE_SPREAD = 0.015  # SD of ln radius of a place found, 13 drawn close-ups
LEAST_CONFIDENCE = 0.3  # share of a ring's variation that repeats sixty times a turn
LEAST_SEEN = 0.1  # share of the outline in the frame
LEAST_BARE = 0.72  # share of bare enamel; drawn close-ups have 0.83 and more, a brick wall under 0.5

_ASTRAY = 0.35  # dial radii, or ln radius, furthest from where the reader places it
_LONGEST = 480  # px, long side of the copy that is searched
_MOST_TURN = 0.7  # share of the turn in the frame, above which a ring of sixty is a seconds bit's
_TURN = 720  # samples round the turn: four waves of a division are told


@dataclass(frozen=True)
class DialPlace:
    """Where a close-up lies on its dial.

    geometry : of the whole dial, photo px, no rotation; a circle, found to about 1.5 % of its radius.
    confidence : 0..1, how much of the track's variation repeats with the divisions.
    """

    geometry: DialGeometry
    confidence: float


@dataclass(frozen=True)
class CloseUp:
    """What is known of a close-up. place : on the dial, None where it is not known. scale : and how sure of it."""

    place: DialPlace | None
    scale: Scale


def unnamed_geometry(shape: tuple[int, ...], pixels_per_radius: float) -> DialGeometry:
    """A frame (H, W) whose place on the dial is not known, at a scale: a circle about its middle."""
    return DialGeometry((0.5 * shape[1], 0.5 * shape[0]), (pixels_per_radius, pixels_per_radius))


def frame_geometry(shape: tuple[int, ...]) -> DialGeometry:
    """A circle that holds the whole frame, for the density before anything is known."""
    return unnamed_geometry(shape, 0.55 * math.hypot(shape[0], shape[1]))


def find_place(grey: Image, look: Look) -> DialPlace | None:
    """Where the dial lies of which a photograph shows a part, or None where no arc of track and rim tells.

    grey : (H, W) float32 linear light. look : the reader's, at the whole photograph, which says roughly where to begin.
    """
    rough = look.placed()
    if rough is None:
        return None
    rough = look.in_photo(rough)
    factor = min(1.0, _LONGEST / max(grey.shape))
    size = (max(round(grey.shape[1] * factor), 1), max(round(grey.shape[0] * factor), 1))
    small = grey if factor == 1 else np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    density = np.clip(optical_density(small, frame_geometry(small.shape)), 0.0, 1.0)
    start, about = factor * np.asarray(rough.center), factor * math.sqrt(rough.axes[0] * rough.axes[1])
    share, centre, track = _climbed(density, start, about)
    if share < LEAST_CONFIDENCE or np.hypot(*(centre - start)) > _ASTRAY * about:
        return None
    radius = _enamel_edge(small, centre, track)
    if radius is None or abs(math.log(radius / about)) > _ASTRAY:
        return None
    turn = np.arange(360) * (np.pi / 180)
    x, y = centre[0] + radius * np.sin(turn), centre[1] - radius * np.cos(turn)
    seen = float(((x >= 0) & (y >= 0) & (x <= small.shape[1]) & (y <= small.shape[0])).mean())
    middle, size = (float(centre[0]) / factor, float(centre[1]) / factor), radius / factor
    if seen < LEAST_SEEN or _bare(density, centre, radius) < LEAST_BARE:
        return None
    return DialPlace(DialGeometry(middle, (size, size), seen=seen), share)


def _bare(density: Image, centre: Floats, radius: float) -> float:
    """Share of what is in the frame of the dial that is bare enamel."""
    height, width = density.shape
    y, x = np.arange(height)[:, None] + 0.5 - centre[1], np.arange(width)[None, :] + 0.5 - centre[0]
    inside = np.hypot(x, y) < 0.97 * radius
    return float((density[inside] < 0.1).mean()) if inside.any() else 0.0


def _climbed(density: Image, centre: Floats, about: float) -> tuple[float, Floats, float]:
    """Share at sixty, centre and radius (px) of the best track near a centre of a dial of about that radius, px."""
    reach = max(density.shape)
    share, track = _best_track(density, centre, 0.9 * about, 0.35 * about)
    step = 0.05 * reach
    while step > 0.0015 * reach:
        tried = [
            centre + step * np.array(way)
            for way in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1))
        ]
        found = [
            (*_best_track(density, place, *((track, None) if share > 0.15 else (0.9 * about, 0.35 * about))), place)
            for place in tried
        ]
        top = max(found, key=lambda one: one[0])
        if top[0] > share:
            share, track, centre = top
        else:
            step *= 0.5
    return share, centre, track


def _best_track(density: Image, centre: Floats, near: float, within: float | None = None) -> tuple[float, float]:
    """Share at sixty and radius (px) of the ring about a centre that shows divisions best, near one radius or within
    so many px of it."""
    height, width = density.shape
    corners = np.array([[0.0, 0.0], [width, 0.0], [0.0, height], [width, height]])
    step = max(float(np.hypot(*(corners - centre).T).max()) / 160, 1.0)
    low, high = (near - 8 * step, near + 9 * step) if within is None else (near - within, near + within)
    radii = np.arange(max(low, 10.0), high, step)
    if len(radii) < 5:
        return 0.0, 0.0
    turn = np.arange(_TURN) * (2 * np.pi / _TURN)
    x = (centre[0] + np.outer(radii, np.sin(turn))).astype(np.float32)
    y = (centre[1] - np.outer(radii, np.cos(turn))).astype(np.float32)
    seen = (x > 2) & (y > 2) & (x < width - 2) & (y < height - 2)
    values = cv2.remap(density, x - np.float32(0.5), y - np.float32(0.5), cv2.INTER_LINEAR).astype(np.float64)
    middle = (values * seen).sum(axis=1, keepdims=True) / np.maximum(seen.sum(axis=1, keepdims=True), 1)
    share = arc_share_at_sixty(np.where(seen, values - middle, 0.0), seen)
    share[seen.mean(axis=1) > _MOST_TURN] = 0.0
    band = np.convolve(share, np.ones(3) / 3, mode="same")
    best = int(band.argmax())
    return float(band[best]), float(radii[best])


def _enamel_edge(grey: Image, centre: Floats, track: float) -> float | None:
    """Radius (px) at which the enamel ends outside the track, if that is in the frame; None otherwise."""
    height, width = grey.shape
    radii = track * np.arange(1.0, 1.3, 0.005)
    turn = np.arange(720) * (np.pi / 360)
    x = (centre[0] + np.outer(radii, np.sin(turn))).astype(np.float32)
    y = (centre[1] - np.outer(radii, np.cos(turn))).astype(np.float32)
    seen = (x > 2) & (y > 2) & (x < width - 2) & (y < height - 2)
    values = cv2.remap(grey, x, y, cv2.INTER_LINEAR)
    enough = seen.sum(axis=1) > 36
    if enough.sum() < 12:
        return None
    level = np.array([np.median(row[keep]) if keep.any() else np.nan for row, keep in zip(values, seen, strict=True)])
    # a printed ring is dark as well, but light follows it
    after = np.stack([level[2 + k : len(level) - 8 + k] for k in range(9)])
    change = level[:-10] / np.maximum(np.nanmax(np.where(np.isnan(after), -np.inf, after), axis=0), 1e-6)
    usable = enough[:-10] & enough[2:-8] & (radii[1:-9] > 1.02 * track)
    change = np.where(usable, np.nan_to_num(change), 0.0)
    at = int(change.argmax())
    return float(radii[at + 1]) if change[at] > 1.25 else None
