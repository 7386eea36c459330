"""A close-up of a part of a dial: where the whole dial would lie, told from an arc of its minute track.

Edges of rings, divisions and stems either point to the dial's centre or run square to that direction, so they vote for
it. About the right centre the divisions come every six degrees, which fixes the distance to it as well: no other
centre gives sixty to the turn. How far outside its track the dial ends is read from the enamel's edge, some of which
must be in the frame: without it a seconds bit, or figures, were taken for the track in a third of drawn close-ups.
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
from dialtell.model.reading.scale import Scale

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

PLACE_SPREAD = 0.015  # SD of ln radius of a place found, 13 drawn close-ups
LEAST_CONFIDENCE = 0.3  # share of a ring's variation that repeats sixty times a turn
CHANCE_ORDER = 24 / 90  # of directions lie within 12 degrees of either
LEAST_ORDER = 0.4
LEAST_SEEN = 0.1  # share of the outline in the frame
LEAST_BARE = 0.72  # share of bare enamel; drawn close-ups have 0.83 and more, a brick wall under 0.5

_LONGEST = 480  # px, long side of the copy that is searched
_VOTERS = 1500
_CELLS = 120  # a side of the field of centres, three frames wide
_CANDIDATES = 24
_FOLLOWED = 4  # of them, after a first look
_MOST_TURN = 0.7  # share of the turn in the frame, above which a ring of sixty is a seconds bit's
_TURN = 720  # samples round the turn: four waves of a division are told


@dataclass(frozen=True)
class DialPlace:
    """Where a close-up lies on its dial.

    geometry : of the whole dial, photo px, no rotation; a circle, found to about 1.5 % of its radius.
    confidence : 0..1, how much of the track's variation repeats with the divisions.
    order : 0..1, share of the strokes' edges that run to the centre or square to that; 0.27 by chance.
    """

    geometry: DialGeometry
    confidence: float
    order: float


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


def find_place(grey: Image) -> DialPlace | None:
    """Where the dial lies of which a photograph shows a part, or None where no arc of track and rim tells.

    grey : (H, W) float32 linear light.
    """
    factor = min(1.0, _LONGEST / max(grey.shape))
    size = (max(round(grey.shape[1] * factor), 1), max(round(grey.shape[0] * factor), 1))
    small = grey if factor == 1 else np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    density = np.clip(optical_density(small, frame_geometry(small.shape)), 0.0, 1.0)
    edges = _edges(density)
    looks = [(_best_track(density, centre, None), centre) for centre in _centres(density.shape, edges)]
    best, most, order = None, 0.0, 0.0
    for _, centre in sorted(looks, key=lambda look: -look[0][0])[:_FOLLOWED]:
        share, place, track = _climbed(density, centre)
        about = _order(edges, place)
        if share * (about - CHANCE_ORDER) > most and share >= LEAST_CONFIDENCE:
            best, most, order = (share, place, track), share * (about - CHANCE_ORDER), about
    if best is None or order < LEAST_ORDER:
        return None
    share, centre, track = best
    radius = _enamel_edge(small, centre, track)
    if radius is None:
        return None
    turn = np.arange(360) * (np.pi / 180)
    x, y = centre[0] + radius * np.sin(turn), centre[1] - radius * np.cos(turn)
    seen = float(((x >= 0) & (y >= 0) & (x <= small.shape[1]) & (y <= small.shape[0])).mean())
    middle, size = (float(centre[0]) / factor, float(centre[1]) / factor), radius / factor
    if seen < LEAST_SEEN or _bare(density, centre, radius) < LEAST_BARE:
        return None
    return DialPlace(DialGeometry(middle, (size, size), seen=seen), share, order)


def _bare(density: Image, centre: Floats, radius: float) -> float:
    """Share of what is in the frame of the dial that is bare enamel."""
    height, width = density.shape
    y, x = np.arange(height)[:, None] + 0.5 - centre[1], np.arange(width)[None, :] + 0.5 - centre[0]
    inside = np.hypot(x, y) < 0.97 * radius
    return float((density[inside] < 0.1).mean()) if inside.any() else 0.0


def _edges(density: Image) -> tuple[Floats, Floats]:
    """Some of the strokes' edges: (N, 2) px, and the unit normals there."""
    smooth = cv2.GaussianBlur(density, (0, 0), 1.5)
    gx, gy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    strength = np.hypot(gx, gy)
    rows, columns = np.nonzero(strength > max(float(np.quantile(strength, 0.9)), 0.05))
    chosen = np.random.default_rng(0).choice(len(rows), min(_VOTERS, len(rows)), replace=False)
    rows, columns = rows[chosen], columns[chosen]
    normal = np.stack([gx[rows, columns], gy[rows, columns]], axis=1) / strength[rows, columns][:, None]
    return np.stack([columns + 0.5, rows + 0.5], axis=1), normal.astype(np.float64)


def _order(edges: tuple[Floats, Floats], centre: Floats) -> float:
    """Share of edges that run to the centre or square to that within 12 degrees: CHANCE_ORDER by chance."""
    point, normal = edges
    ray = point - centre
    across = np.abs((ray * normal).sum(axis=1)) / np.maximum(np.hypot(*ray.T), 1e-9)
    return float(((across > math.cos(math.radians(12))) | (across < math.sin(math.radians(12)))).mean())


def _centres(shape: tuple[int, ...], edges: tuple[Floats, Floats]) -> list[Floats]:
    """Places, px, that the directions of strokes point to, the likeliest first."""
    point, normal = edges
    if len(point) < 200:
        return []
    height, width = shape
    cell = 3.0 * max(height, width) / _CELLS
    corner = np.array([0.5 * width, 0.5 * height]) - 0.5 * _CELLS * cell
    votes = np.zeros((_CELLS, _CELLS))
    along = np.arange(-2.0 * _CELLS, 2.0 * _CELLS, 0.7) * cell
    for direction in (normal, np.stack([-normal[:, 1], normal[:, 0]], axis=1)):
        place = (point[:, None] + along[None, :, None] * direction[:, None] - corner) / cell
        inside = ((place >= 0) & (place < _CELLS)).all(axis=2)
        at = place[inside].astype(int)
        # a direction is off by some degrees, which spreads far from the stroke: far votes count for more
        weight = np.minimum(np.abs(np.broadcast_to(along, inside.shape)[inside]) / max(height, width), 1.5)
        np.add.at(votes, (at[:, 1], at[:, 0]), weight)
    smooth_votes = cv2.GaussianBlur(votes, (0, 0), 1.2) - cv2.GaussianBlur(votes, (0, 0), 8.0)
    found = []
    for _ in range(_CANDIDATES):
        row, column = np.unravel_index(int(smooth_votes.argmax()), smooth_votes.shape)
        found.append(corner + cell * (np.array([column, row]) + 0.5))
        smooth_votes[max(row - 3, 0) : row + 4, max(column - 3, 0) : column + 4] = -np.inf
    return found


def _climbed(density: Image, centre: Floats) -> tuple[float, Floats, float]:
    """Share at sixty, centre and radius (px) of the best track near a centre."""
    reach = max(density.shape)
    share, track = _best_track(density, centre, None)
    step = 0.03 * reach
    while step > 0.0015 * reach:
        tried = [
            centre + step * np.array(way)
            for way in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1))
        ]
        found = [(*_best_track(density, place, track if share > 0.15 else None), place) for place in tried]
        top = max(found, key=lambda one: one[0])
        if top[0] > share:
            share, track, centre = top
        else:
            step *= 0.5
    return share, centre, track


def _best_track(density: Image, centre: Floats, near: float | None) -> tuple[float, float]:
    """Share at sixty and radius (px) of the ring about a centre that shows divisions best, near one radius or any."""
    height, width = density.shape
    corners = np.array([[0.0, 0.0], [width, 0.0], [0.0, height], [width, height]])
    far = float(np.hypot(*(corners - centre).T).max())
    step = max(far / 160, 1.0)
    low, high = (0.12 * far, far) if near is None else (near - 8 * step, near + 9 * step)
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
