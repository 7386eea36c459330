"""Patches of single shapes: each connected piece of ink of a figure's, a letter's or a dot's size in the middle of a
patch of its own, so that equal ones lie over one another wherever on the dial they stand.

The patches of the lattice are cut by place: a digit of 10 lies elsewhere in its patch than in 1, and figures that stand
upright all round are turned against each other. Here a shape alone is shown, its neighbours left out, turned as most of
its zone's shapes grow alike. Scales lie half an octave off those of the lattice: a scale tells which kind a patch is,
and pairs of one scale are of one kind.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.fine_patches import SHORT, spread
from dialtell.model.reading.geometry import DialGeometry, Image, rectify
from dialtell.model.reading.patches import HIGH, LOW, SCALE, SIDE, Floats, PatchSet, cut_at, reduced, within
from dialtell.model.reading.zones import EXTENT, INK, ZoneMap
from dialtell.synth.shared.terms import ZONES, Zone

Index = NDArray[np.int64]

LEVELS = (-1.5, -0.5, 0.5, 1.5)  # log2 of their px per dial radius against SCALE
ALWAYS = 0.5  # level up to which shapes are cut whatever the photograph resolves
SMALLEST = 0.015  # dial radii across or down, a dot
FILLED = 0.84  # of a patch's side at most: the middle that is compared, and room for what is left of a stroke's blur
MOST = 72  # shapes of a dial
# ink of a shape is darker than a share of the full density, and than a share of the darkest within a stroke's breadth:
# of an even level, faint strokes break or neighbours run together
BLACK, BESIDE, BREADTH = 0.2, 0.3, 0.04  # shares, dial radii
PLANE = 400.0  # px per dial radius of the plane that shapes are looked for on
FEWEST_PX = 8  # of it, of a shape
NEARLY = 1.15  # times below what fills a patch, within which the next coarser scale may begin: at the widest gap
LIKE_SIZE = 0.18  # ln of size within which two shapes may be one
SURER = 0.01  # mean correlation by which another frame must be better than upright
_THUMB = 24  # px, side in which frames are tried


@dataclass(frozen=True, eq=False)
class _Shapes:
    """N shapes on the dial face on. own : (S, S) float32 number of the piece of ink nearest to each place.

    number : (N,) of `own`. zone : (N,) index into ZONES. pixels : of each, (M, 2) dial radii from the dial's middle.
    """

    own: Image
    number: Index
    zone: Index
    pixels: list[Floats]


def with_figures(
    patches: PatchSet,
    small: tuple[Image, DialGeometry],
    whole: tuple[Image, DialGeometry],
    zones: ZoneMap,
    true_pixels_per_radius: float,
) -> PatchSet:
    """The same set, patches of single shapes at the end of `fine`.

    small : (H, W) D, photo px, reduced to the lattice's scale, and the dial in it. whole : as large as the photograph.
    """
    if not len(patches):
        return patches
    plane = rectify(*small, PLANE, EXTENT)
    shapes = _find(plane, patches.full, zones)
    if not len(shapes.number):
        return patches
    turn = _turns(plane, shapes, zones)
    middle, size = _boxes(shapes, turn)
    resolved = np.log2(max(true_pixels_per_radius, 1.0) / SCALE)
    level = _levels(size, shapes.zone, [one for one in LEVELS if one <= max(ALWAYS, resolved + SHORT)])
    fine = patches.fine
    for one in np.unique(level[np.isfinite(level)]):
        chosen = np.flatnonzero(level == one)
        photo = whole if one > ALWAYS else small
        found = _cut(*photo, shapes, chosen, middle[chosen], turn[chosen], float(one), patches)
        fine = found if fine is None else replace(fine, fine=found).joined
    return patches if fine is None or not len(fine) else replace(patches, fine=fine)


def _find(plane: Image, full: float, zones: ZoneMap) -> _Shapes:
    """Shapes of the right size that nothing lies over, at most MOST, of every zone some, evenly round it."""
    side = len(plane)
    around = 2 * round(0.5 * BREADTH * PLANE) + 1
    darkest = cv2.dilate(plane, np.ones((around, around), np.uint8))
    ink = (plane > np.maximum(BLACK * full, BESIDE * darkest)).astype(np.uint8)
    count, label, stats, _ = cv2.connectedComponentsWithStats(ink, connectivity=8, ltype=cv2.CV_32S)
    covered = cv2.dilate((zones.hidden | zones.edges).astype(np.uint8), np.ones((3, 3), np.uint8))
    over = cv2.resize(covered, (side, side), interpolation=cv2.INTER_NEAREST) > 0
    touched = np.bincount(label[over], minlength=count) > 0
    x, y, width, height, area = stats.T.astype(np.int64)
    longest = np.maximum(width, height)
    most = FILLED * SIDE * 2.0 ** -LEVELS[0] * PLANE / SCALE
    good = (longest >= SMALLEST * PLANE) & (longest <= most) & (area >= FEWEST_PX) & ~touched
    good[0] = False
    number = np.flatnonzero(good)
    center = np.stack([x + 0.5 * width, y + 0.5 * height], axis=1)[number] / PLANE - 0.5 * side / PLANE
    zone = zones.at(center).astype(np.int64)
    number, zone, center = number[zone >= 0], zone[zone >= 0], center[zone >= 0]
    chosen = _some(zone, np.arctan2(center[:, 0], -center[:, 1]))
    number, zone = number[chosen], zone[chosen]
    pixels = []
    for k in number:
        rows, columns = np.nonzero(label[y[k] : y[k] + height[k], x[k] : x[k] + width[k]] == k)
        pixels.append((np.stack([columns + x[k], rows + y[k]], axis=1) + 0.5 - 0.5 * side) / PLANE)
    _, nearest = cv2.distanceTransformWithLabels(1 - ink, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    of = np.zeros(int(nearest.max()) + 1, np.float32)
    of[nearest[ink > 0]] = label[ink > 0]
    return _Shapes(of[nearest], number, zone, pixels)


def _some(zone: Index, turn: Floats) -> Index:
    """Places of at most MOST: no zone loses any while another has more."""
    count = np.bincount(zone, minlength=len(ZONES))
    level = next(cap for cap in range(MOST, 0, -1) if np.minimum(count, cap).sum() <= MOST or cap == 1)
    order = [
        own[np.argsort(turn[own], kind="stable")] for k in range(len(ZONES)) if len(own := np.flatnonzero(zone == k))
    ]
    return np.concatenate([own[spread(len(own), level)] for own in order]) if order else np.empty(0, np.int64)


def _turns(plane: Image, shapes: _Shapes, zones: ZoneMap) -> Floats:
    """(N,) radians clockwise by which up is turned at each shape: in a zone all upright, or all outwards, or as their
    hour stands, whichever lets the shapes of like size grow most alike."""
    turn = np.zeros(len(shapes.number))
    middle, _ = _boxes(shapes, turn)
    for zone in np.unique(shapes.zone):
        ring = ZONES[zone] in (Zone.NUMERALS, Zone.MINUTE_TRACK, Zone.SECONDS_BIT)
        own = np.flatnonzero(shapes.zone == zone)
        if not ring or not zones.named or len(own) < 3:
            continue
        about = np.zeros(2)
        if ZONES[zone] is Zone.SECONDS_BIT and zones.seconds is not None:
            about = np.array([zones.seconds.x, zones.seconds.y])
        away = middle[own] - about
        outwards = np.arctan2(away[:, 0], -away[:, 1])
        by_hour = np.round(outwards / (math.pi / 6)) * (math.pi / 6)
        best = _worth(plane, shapes, own, turn[own]) + SURER
        for tried in (by_hour, outwards):
            worth = _worth(plane, shapes, own, tried)
            if worth > best:
                best, turn[own] = worth, tried
    return turn


def _worth(plane: Image, shapes: _Shapes, own: Index, turn: Floats) -> float:
    """Mean over shapes of the correlation with the one of like size most like it, all turned so."""
    few = replace(shapes, number=shapes.number[own], pixels=[shapes.pixels[k] for k in own])
    middle, size = _boxes(few, turn)
    thumbs = np.empty((len(own), _THUMB * _THUMB), np.float32)
    for row, (center, angle, across) in enumerate(zip(middle, turn, size, strict=True)):
        step = across * PLANE / (0.8 * _THUMB)
        c, s = step * math.cos(angle), step * math.sin(angle)
        first = center * PLANE + 0.5 * len(plane) - 0.5 - 0.5 * (_THUMB - 1) * np.array([c - s, s + c])
        matrix = np.array([[c, -s, first[0]], [s, c, first[1]]])
        flags = cv2.WARP_INVERSE_MAP
        light = cv2.warpAffine(plane, matrix, (_THUMB, _THUMB), flags=flags | cv2.INTER_LINEAR)
        mine = cv2.warpAffine(shapes.own, matrix, (_THUMB, _THUMB), flags=flags | cv2.INTER_NEAREST)
        thumbs[row] = np.where(mine == few.number[row], light, np.float32(0)).ravel()
    thumbs -= thumbs.mean(axis=1, keepdims=True)
    thumbs /= np.maximum(np.linalg.norm(thumbs, axis=1, keepdims=True), 1e-6)
    alike = thumbs @ thumbs.T
    alike[np.abs(np.log(size[:, None] / size[None])) > LIKE_SIZE] = 0.0
    np.fill_diagonal(alike, 0.0)
    return float(alike.max(axis=1).mean())


def _boxes(shapes: _Shapes, turn: Floats) -> tuple[Floats, Floats]:
    """(N, 2) middles of the shapes' boxes and (N,) the boxes' longer sides, dial radii, each in its own frame."""
    middle, size = np.empty((len(turn), 2)), np.empty(len(turn))
    for row, (points, angle) in enumerate(zip(shapes.pixels, turn, strict=True)):
        c, s = math.cos(angle), math.sin(angle)
        frame = np.array([[c, -s], [s, c]])  # columns: right and down
        own = points @ frame
        low, high = own.min(axis=0), own.max(axis=0)
        middle[row], size[row] = frame @ (0.5 * (low + high)), float((high - low).max()) + 1 / PLANE
    return middle, size


def _levels(size: Floats, zone: Index, allowed: list[float]) -> Floats:
    """(N,) level of each shape, the finest that holds it, NaN where none does. Where a finer one ends follows the
    widest gap between the sizes there, so that like shapes are not parted."""
    level = np.full(len(size), np.nan)
    for one in np.unique(zone):
        left = zone == one
        for at in sorted(allowed, reverse=True):
            end = FILLED * SIDE / (SCALE * 2.0**at)
            near = np.sort(size[left & (size > end / NEARLY) & (size <= end * NEARLY)])
            edges = np.concatenate([[end / NEARLY], near, [end * NEARLY]])
            starts = np.flatnonzero(edges[:-1] <= end)
            gap = np.log(np.minimum(edges[1:], end * NEARLY) / edges[:-1])[starts]
            limit = min(float(edges[starts[int(gap.argmax())]]), end)
            fits = left & (size <= limit)
            level[fits] = at
            left = left & ~fits
    return level


def _cut(
    photo: Image, geometry: DialGeometry, shapes: _Shapes, chosen: Index, center: Floats, turn: Floats, level: float,
    patches: PatchSet,
) -> PatchSet:  # fmt: skip
    scale = SCALE * 2.0**level
    right = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    photo, geometry = reduced(photo, geometry, scale)
    inside = within(photo, center, right, geometry, scale)
    chosen, center, right = chosen[inside], center[inside], right[inside]
    density = cut_at(photo, center, right, geometry, scale)
    half = 0.5 * len(shapes.own)
    found = PatchSet(
        density=np.clip(density / patches.full, LOW, HIGH),
        zone=shapes.zone[chosen],
        center=center,
        right=right,
        ink=np.zeros(len(chosen)),
        full=patches.full,
        resolution=patches.resolution,
        scale=np.full(len(chosen), level),
        each=None if patches.each is None else np.full(len(chosen), patches.resolution),
    )
    if not len(chosen):
        return found
    grids = found.grids(DialGeometry((half, half), (PLANE, PLANE))).reshape(-1, SIDE, 2) - np.float32(0.5)
    own = cv2.remap(shapes.own, grids[..., 0].copy(), grids[..., 1].copy(), cv2.INTER_NEAREST).reshape(density.shape)
    alone = np.where(own == shapes.number[chosen, None, None], found.density, np.float32(0))
    return replace(found, density=alone, ink=np.count_nonzero(alone * patches.full > INK, axis=(1, 2)) / SIDE**2)
