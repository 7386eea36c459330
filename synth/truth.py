"""What is true of a picture, from its spec alone: outline, zones, processes and labels of strokes.

Photo px are continuous: pixel (row, column) spans [column, column + 1) x [row, row + 1).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.design.design import DialDesign
from dialtell.synth.design.layout import EDGE_WORD, lay_out
from dialtell.synth.making import make
from dialtell.synth.photograph.view import ViewSpec, homography, local_scale, to_px
from dialtell.synth.scene import DialSpec
from dialtell.synth.shared.terms import ZONES, Process, Zone
from dialtell.synth.strokes.edge_band import edge_band
from dialtell.synth.strokes.paint import Cue, Paint, join, mask
from dialtell.synth.strokes.raster import coverage
from dialtell.synth.strokes.stroke import Floats, Item
from dialtell.synth.strokes.transfer import displaced

STROKES = "strokes"  # the mask of all paint, beside those of the cues
CUES: tuple[Cue, ...] = (
    Cue.FADING, Cue.OVERSHOOT, Cue.GAP, Cue.POOL, Cue.RETOUCH, Cue.GRAIN, Cue.GUIDE,
)  # fmt: skip
MARGIN = 0.015  # dial radii by which a zone reaches past its strokes as designed, for the hand's scatter
ROUND = 72  # points of a circle

Polygon = tuple[Floats, ...]
"""Rings (N, 2) of one region: the outside first, then holes; last points are not repeated."""


@dataclass(frozen=True)
class Ellipse:
    """center_px : (x, y). axes_px : semi-axes (a, b), a >= b. angle_rad : of the major axis from +x to +y, [0, pi)."""

    center_px: tuple[float, float]
    axes_px: tuple[float, float]
    angle_rad: float


def image_of_circle(matrix: Floats, x: float, y: float, radius: float) -> Ellipse:
    """The exact picture of a circle of the dial plane (mm) under a homography.

    A conic C (p' C p = 0) becomes H^-T C H^-1 (Hartley and Zisserman, Multiple View Geometry, result 2.13: from
    memory); its centre is not the picture of the circle's centre once the view has perspective.
    """
    inverse = np.linalg.inv(matrix @ np.array([[radius, 0.0, x], [0.0, radius, y], [0.0, 0.0, 1.0]]))
    conic = inverse.T @ np.diag([1.0, 1.0, -1.0]) @ inverse
    block, middle = conic[:2, :2], -np.linalg.solve(conic[:2, :2], conic[:2, 2])
    level = -(conic[2, 2] + conic[:2, 2] @ middle)
    values, vectors = np.linalg.eigh(block / level)
    long_axis = vectors[:, 0]
    return Ellipse(
        center_px=(float(middle[0]), float(middle[1])),
        axes_px=(float(values[0] ** -0.5), float(values[1] ** -0.5)),
        angle_rad=float(math.atan2(long_axis[1], long_axis[0]) % math.pi),
    )


def outline(view: ViewSpec) -> Ellipse:
    """The edge of the enamel disc in the photograph."""
    return image_of_circle(homography(view), 0.0, 0.0, view.dial_radius_mm)


def px_per_mm(view: ViewSpec) -> float:
    """Photo px per mm at the dial centre, the geometric mean over directions."""
    return float(local_scale(homography(view), np.zeros(2)))


def zone_processes(spec: DialSpec) -> dict[Zone, Process]:
    """The process behind each zone, also of zones this design leaves empty."""
    return {zone: spec.making.process_of(zone) for zone in ZONES}


def process_label(spec: DialSpec) -> str:
    """The process of the whole dial, or "mixed"."""
    processes = set(spec.making.processes)
    return str(spec.making.processes[0]) if len(processes) == 1 else "mixed"


def zones_mm(spec: DialSpec) -> dict[Zone, tuple[Polygon, ...]]:
    """Where each zone lies on the dial, mm, moved as the design was when it was laid; empty for a zone not there.

    Signature: one hull a line. Numerals: one hull a figure. Minute track: a ring from its innermost to its
    outermost stroke, figures included. Seconds bit: its disc. Other: discs of further sub-dials, rings about the centre
    (of dates, a spiral, the centre ring), and one hull a line of lettering at the rim.
    """
    design = spec.design
    margin = MARGIN * design.radius_mm
    items = lay_out(design)
    by_zone = {zone: [item for item in items if item.zone is zone] for zone in ZONES}
    discs = [(dial.x, dial.y, dial.radius) for dial in design.subdials]
    found: dict[Zone, tuple[Polygon, ...]] = {
        Zone.SIGNATURE: _hulls(by_zone[Zone.SIGNATURE], margin),
        Zone.NUMERALS: _hulls(by_zone[Zone.NUMERALS], margin),
        Zone.MINUTE_TRACK: _annulus(by_zone[Zone.MINUTE_TRACK], margin),
        Zone.SECONDS_BIT: tuple(_disc(*disc, design.radius_mm) for disc in discs[:1]),
        Zone.OTHER: tuple(_disc(*disc, design.radius_mm) for disc in discs[1:]),
    }
    at_rim = [item for item in by_zone[Zone.OTHER] if item.word >= EDGE_WORD]
    centred = [item for item in by_zone[Zone.OTHER] if item.word < EDGE_WORD and not _on_any(item, discs[1:], design)]
    found[Zone.OTHER] += _annuli(centred, margin) + _hulls(at_rim, margin)
    making = spec.making
    moved = {}
    for zone, polygons in found.items():
        process = making.process_of(zone)
        sheet = making.exposure.placing if process is Process.PHOTOGRAPHIC else making.pull
        if process is Process.HAND:  # a painter's layout is off centre and off upright as a sheet is, not stretched
            sheet = replace(sheet, stretch=0.0)
        moved[zone] = tuple(tuple(displaced(ring, sheet) for ring in polygon) for polygon in polygons)
    return moved


def zones_px(spec: DialSpec) -> dict[Zone, tuple[Polygon, ...]]:
    """`zones_mm` in photo px; may reach outside the frame."""
    matrix = homography(spec.view)
    return {
        zone: tuple(tuple(to_px(matrix, ring) for ring in polygon) for polygon in polygons)
        for zone, polygons in zones_mm(spec).items()
    }


def zone_cover(spec: DialSpec, zone: Zone) -> NDArray[np.float32]:
    """Share of each pixel inside a zone, (H, W) 0..1."""
    cover = np.zeros(spec.view.shape, dtype=np.float32)
    for rings in zones_px(spec)[zone]:
        inside = coverage(rings[:1], spec.view.shape)
        if len(rings) > 1:
            inside = inside - coverage(rings[1:], spec.view.shape)
        cover = np.maximum(cover, inside)
    return np.clip(cover, 0.0, 1.0)


def paint_of(spec: DialSpec, zone: Zone | None = None, stroke: int | None = None) -> Paint:
    """All paint of the dial in mm, or that of one zone, or of one stroke by its number in `Paint.stroke`."""
    paint = join([part for coat in make(spec.design, spec.making) for part in (coat.beneath, coat.paint)])
    keep = np.ones(len(paint.density), dtype=np.bool_)
    if zone is not None:
        keep &= paint.zone == ZONES.index(zone)
    if stroke is not None:
        keep &= paint.stroke == stroke
    return paint.select(keep)


def label_masks(spec: DialSpec, zone: Zone | None = None, stroke: int | None = None) -> dict[str, NDArray[np.float32]]:
    """Share of each pixel covered, (H, W) float32 0..1: "strokes" for all paint, and one mask a cue that occurs.

    Keys are lower-case names of Cue. The paint is as laid: before wear, holes of a film, hands, light and camera.
    Cues lie within the strokes but for "grain": a band of the grain's size, one pixel at least, about the edges of a
    photographic print, with its stray grains.
    """
    paint = paint_of(spec, zone, stroke)
    matrix, shape = homography(spec.view), spec.view.shape
    masks = {STROKES: mask(paint, matrix, shape).astype(np.float32)}
    for cue in CUES:
        if cue is Cue.GRAIN:
            printed = paint.select((paint.cue & int(cue)) != 0)
            if printed.follows.any():
                grain, pixel = spec.making.exposure.grain_mm, 1.0 / px_per_mm(spec.view)
                masks["grain"] = edge_band(printed, matrix, shape, grain_mm=grain, least_mm=pixel)
        elif (paint.cue & int(cue)).any():
            share = mask(paint, matrix, shape, cue).astype(np.float32)
            # where the two sides of a stroke cross, a slice next to it may take area off the sum of all
            masks[str(cue.name).lower()] = np.minimum(share, masks[STROKES])
    return masks


def _points(item: Item) -> Floats:
    """Edges of an item's strokes, to half their width in the eight main directions, (N, 2) mm."""
    turn = np.arange(8) * np.pi / 4
    star = 0.5 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    parts = [stroke.path[:, None] + stroke.width[:, None, None] * star for stroke in item.strokes]
    return np.concatenate(parts).reshape(-1, 2)


def _hulls(items: list[Item], margin: float) -> tuple[Polygon, ...]:
    """One convex outline a word, `margin` mm outside its strokes."""
    words: dict[int, list[Floats]] = {}
    for item in items:
        words.setdefault(item.word, []).append(_points(item))
    turn = np.arange(16) * np.pi / 8
    star = margin * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    hulls = []
    for points in words.values():
        hull = cv2.convexHull(np.concatenate(points).astype(np.float32))[:, 0]
        wide = (hull[:, None].astype(np.float64) + star).reshape(-1, 2).astype(np.float32)
        outside = cv2.approxPolyDP(cv2.convexHull(wide), 0.2 * margin, True)  # corners that add nothing
        hulls.append((outside[:, 0].astype(np.float64),))
    return tuple(hulls)


def _annulus(items: list[Item], margin: float) -> tuple[Polygon, ...]:
    """The ring about the dial centre that holds the items."""
    if not items:
        return ()
    reach = np.concatenate([np.hypot(*_points(item).T) for item in items])
    inner = float(reach.min()) - margin
    outside = _circle(0.0, 0.0, float(reach.max()) + margin)
    return ((outside, _circle(0.0, 0.0, inner)),) if inner > 0 else ((outside,),)


def _annuli(items: list[Item], margin: float) -> tuple[Polygon, ...]:
    """Rings about the dial centre that hold the items, one for all that lie within `margin` of each other."""
    reach = [np.hypot(*_points(item).T) for item in items]
    order = sorted(range(len(items)), key=lambda index: float(reach[index].min()))
    groups: list[list[Item]] = []
    end = -math.inf
    for index in order:
        if not groups or reach[index].min() > end + 2 * margin:
            groups.append([])
        groups[-1].append(items[index])
        end = max(end, float(reach[index].max()))
    return tuple(ring for group in groups for ring in _annulus(group, margin))


def _on_any(item: Item, discs: list[tuple[float, float, float]], design: DialDesign) -> bool:
    """Whether an item that is not about the dial's centre stands on one of the sub-dials (x, y, radius)."""
    x, y = (value / design.radius_mm for value in item.anchor)
    return (x, y) != (0.0, 0.0) and any(math.hypot(x - cx, y - cy) < size for cx, cy, size in discs)


def _disc(x: float, y: float, radius: float, dial_radius_mm: float) -> Polygon:
    return (_circle(x * dial_radius_mm, y * dial_radius_mm, radius * dial_radius_mm),)


def _circle(x: float, y: float, radius: float) -> Floats:
    turn = np.arange(ROUND) * 2 * np.pi / ROUND
    # the polygon goes round the circle, so that it holds it
    reach = radius / np.cos(np.pi / ROUND)
    return np.stack([x + reach * np.sin(turn), y - reach * np.cos(turn)], axis=1)
