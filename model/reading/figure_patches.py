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
PLANE = 640.0  # px per dial radius of the plane that shapes are looked for on
NEARLY = 1.15  # times below what fills a patch, within which the next coarser scale may begin: at the widest gap
LIKE_SIZE = 0.18  # ln of size within which two shapes may be one
SURER = 0.01  # mean correlation by which another frame must be better than upright
_THUMB = 24  # px, side in which frames are tried


@dataclass(frozen=True, eq=False)
class _Shapes:
    """N shapes on the dial face on. label : (S, S) float32 number of the piece of ink at each place, 0 for none.

    number : (N,) of `label`. zone : (N,) index into ZONES. outline : of each, (M, 2) dial radii.
    """

    label: Image
    number: Index
    zone: Index
    outline: list[Floats]


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
    half = cv2.resize(plane, (side // 2, side // 2), interpolation=cv2.INTER_AREA)
    around = 2 * round(0.25 * BREADTH * PLANE) + 1
    darkest = cv2.resize(cv2.dilate(half, np.ones((around, around), np.uint8)), (side, side))
    ink = (plane > np.maximum(BLACK * full, BESIDE * darkest)).astype(np.uint8)
    covered = cv2.dilate((zones.hidden | zones.edges).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    most = FILLED * SIDE * 2.0 ** -LEVELS[0] * PLANE / SCALE
    outlines, nested = cv2.findContours(ink, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    found: list[Floats] = []
    first: list[tuple[int, int]] = []
    for outline, holds in zip(outlines, nested[0] if len(outlines) else (), strict=True):
        _, _, width, height = cv2.boundingRect(outline)
        if holds[3] < 0 and SMALLEST * PLANE <= max(width, height) <= most:  # what has no parent is no hole
            points = (outline[:, 0] + 0.5 - 0.5 * side) / PLANE
            if not zones.share(covered, points[None]).any():
                found.append(points)
                first.append((int(outline[0, 0, 1]), int(outline[0, 0, 0])))
    center = np.array([0.5 * (one.min(axis=0) + one.max(axis=0)) for one in found]).reshape(-1, 2)
    zone = zones.at(center).astype(np.int64)
    named = np.flatnonzero(zone >= 0)
    chosen = named[_some(zone[named], np.arctan2(center[named, 0], -center[named, 1]))]
    _, label = cv2.connectedComponents(ink, connectivity=8, ltype=cv2.CV_32S)
    number = np.array([label[first[k]] for k in chosen], dtype=np.int64)
    return _Shapes(label.astype(np.float32), number, zone[chosen], [found[k] for k in chosen])


def _some(zone: Index, turn: Floats) -> Index:
    """Places of at most MOST: no zone loses any while another has more."""
    count = np.bincount(zone, minlength=len(ZONES))
    level = next(cap for cap in range(MOST, 0, -1) if np.minimum(count, cap).sum() <= MOST or cap == 1)
    order = [
        own[np.argsort(turn[own], kind="stable")] for k in range(len(ZONES)) if len(own := np.flatnonzero(zone == k))
    ]
    return np.concatenate([own[spread(len(own), level)] for own in order]) if order else np.empty(0, np.int64)


def _turns(plane: Image, shapes: _Shapes, zones: ZoneMap) -> Floats:
    """(N,) radians clockwise by which up is turned at each shape: in a zone all upright or all outwards, whichever
    lets the shapes of like size grow most alike."""
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
        if ZONES[zone] is Zone.NUMERALS:  # the strokes of an hour stand side by side
            outwards = np.round(outwards / (math.pi / 6)) * (math.pi / 6)
        if _worth(plane, shapes, own, outwards) > _worth(plane, shapes, own, turn[own]) + SURER:
            turn[own] = outwards
    return turn


def _worth(plane: Image, shapes: _Shapes, own: Index, turn: Floats) -> float:
    """Mean over shapes of the correlation with the one of like size most like it, all turned so."""
    few = replace(shapes, number=shapes.number[own], outline=[shapes.outline[k] for k in own])
    middle, size = _boxes(few, turn)
    thumbs = np.empty((len(own), _THUMB * _THUMB), np.float32)
    for row, (center, angle, across) in enumerate(zip(middle, turn, size, strict=True)):
        step = across * PLANE / (0.8 * _THUMB)
        c, s = step * math.cos(angle), step * math.sin(angle)
        first = center * PLANE + 0.5 * len(plane) - 0.5 - 0.5 * (_THUMB - 1) * np.array([c - s, s + c])
        matrix = np.array([[c, -s, first[0]], [s, c, first[1]]])
        flags = cv2.WARP_INVERSE_MAP
        light = cv2.warpAffine(plane, matrix, (_THUMB, _THUMB), flags=flags | cv2.INTER_LINEAR)
        mine = cv2.warpAffine(shapes.label, matrix, (_THUMB, _THUMB), flags=flags | cv2.INTER_NEAREST)
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
    for row, (points, angle) in enumerate(zip(shapes.outline, turn, strict=True)):
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
    half = 0.5 * len(shapes.label)
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
    label = cv2.remap(shapes.label, grids[..., 0].copy(), grids[..., 1].copy(), cv2.INTER_NEAREST)
    for patch, pieces, own in zip(found.density, label.reshape(density.shape), shapes.number[chosen], strict=True):
        mine, others = pieces == own, (pieces > 0) & (pieces != own)
        if others.any():  # of what lies between two the nearer one's half
            away, near = (cv2.distanceTransform((~one).astype(np.uint8), cv2.DIST_L2, 3) for one in (mine, others))
            patch[near < away] = 0.0
    return replace(found, ink=np.count_nonzero(found.density * patches.full > INK, axis=(1, 2)) / SIDE**2)
