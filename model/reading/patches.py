"""Patches of a dial for the net: optical density at one stated scale, each turned so that like strokes look alike.

Patches of rings and tracks are cut with "up" pointing away from the centre of their circle and set on the
divisions, so that sixty ticks, or twelve figures, give patches that would be equal if the strokes were: what
repeats can be compared. Signature patches stand upright.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import DialGeometry, Image
from dialtell.model.reading.zones import EXTENT, INK, Circle, ZoneMap
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SIDE = 64  # px, rows and columns of a patch
SCALE = 640.0  # px per dial radius: 29 px/mm on an 18 size dial
SPAN = SIDE / SCALE  # dial radii, 0.1
LOW, HIGH = -0.2, 2.0  # range of density kept, before and after division by the full density

CUT_AT_ONCE = 64  # patches: their maps stay in the processor's cache

RESOLUTIONS = (-4.0, 3.0)  # range of log2 resolution the net is told

MOST_HIDDEN = 0.05  # share of a patch that a watch hand, a hole, glare or a watermark may cover
MOST_EDGES = 0.25  # likewise of steps, brass rings and damage, which the net has seen beside strokes
LEAST_INK = 0.012  # share of a patch that is ink, below which there is nothing to read
FULL = (0.97, 0.9, 0.2, 2.0)  # full density: share within a patch, share of patches, least and most D
UNNAMED_ZONE = Zone.OTHER  # what strokes count as in a close-up that does not show where on the dial it lies

MOST_INK = 0.62  # above which the patch lies on a hand, a shadow or off the dial


@dataclass(frozen=True, eq=False)
class PatchSet:
    """Patches of one dial.

    density : (N, SIDE, SIDE) float32, 1 = the dial's full density, within LOW..HIGH. zone : (N,) index into ZONES.
    center : (N, 2) dial radii. right : (N, 2) unit vector on the dial along a patch's columns.
    ink : (N,) share of the patch that is ink. full : D of the dial's fullest strokes, which the density of all
        patches was divided by, so that a thin stroke shows how much fainter it is whatever the exposure.
    resolution : log2 of true photo px per patch px, within RESOLUTIONS (0 or more: as sharp as a patch can show).
    scale : (N,) log2 of each patch's px per dial radius against SCALE, None for all 0. fine : those of other scales,
        None without any: of larger ones that the photograph resolves (fine_patches), and of single shapes, whose
        scales lie between whole octaves (figure_patches).
    each : (N,) `resolution` of each patch by itself where patches of several photographs stand in one set, else None.
    """

    density: Image
    zone: NDArray[np.int64]
    center: Floats
    right: Floats
    ink: Floats
    full: float
    resolution: float
    scale: Floats | None = None
    fine: PatchSet | None = None
    each: Floats | None = None

    def __len__(self) -> int:
        return len(self.zone)

    def grids(self, geometry: DialGeometry) -> Image:
        """(N, SIDE, SIDE, 2) photo px of every patch pixel's centre."""
        return _grids(self.center, self.right, geometry, np.arange(SIDE), self.pixels_per_radius)

    @property
    def scales(self) -> Floats:
        """(N,) `scale`, in numbers also where all are 0."""
        return np.zeros(len(self)) if self.scale is None else self.scale

    @property
    def resolutions(self) -> Floats:
        """(N,) `resolution` of each."""
        return np.full(len(self), self.resolution) if self.each is None else self.each

    @property
    def pixels_per_radius(self) -> float | Floats:
        """Patch px per dial radius, (N,) where there are several."""
        return SCALE if self.scale is None else SCALE * np.exp2(self.scale)

    @property
    def joined(self) -> PatchSet:
        """Those of every scale in one set, the fine ones last."""
        if self.fine is None:
            return self
        sets = (self, self.fine)
        return replace(
            self,
            density=np.concatenate([each.density for each in sets]),
            zone=np.concatenate([each.zone for each in sets]),
            center=np.concatenate([each.center for each in sets]),
            right=np.concatenate([each.right for each in sets]),
            ink=np.concatenate([each.ink for each in sets]),
            scale=np.concatenate([each.scales for each in sets]),
            fine=None,
            each=None if self.each is None else np.concatenate([each.resolutions for each in sets]),
        )

    def chosen(self, which: NDArray[np.int64] | Flags) -> PatchSet:
        """Those of its patches, without the fine ones."""
        return replace(
            self,
            density=self.density[which],
            zone=self.zone[which],
            center=self.center[which],
            right=self.right[which],
            ink=self.ink[which],
            scale=None if self.scale is None else self.scale[which],
            each=None if self.each is None else self.each[which],
            fine=None,
        )


def cut_patches(
    density: Image, geometry: DialGeometry, zones: ZoneMap, tick_phase: float, true_pixels_per_radius: float
) -> PatchSet:
    """Cut all patches with ink in them.

    density : (H, W) D, photo px. tick_phase : radians, turn of the division nearest to 12 o'clock.
    true_pixels_per_radius : what the photograph resolves (sharpness.Sharpness), not what it stores.
    """
    centers, rights = places(zones, tick_phase)
    label = zones.at(centers)
    keep = label >= 0
    points = lattice(centers, rights, 8)
    keep &= zones.share(zones.hidden, points) < MOST_HIDDEN
    keep &= zones.share(zones.edges, points) < MOST_EDGES
    centers, rights, label = centers[keep], rights[keep], label[keep]
    photo, place = reduced(density, geometry)
    inside = within(photo, centers, rights, place)
    centers, rights, label = centers[inside], rights[inside], label[inside]
    patches = cut_at(photo, centers, rights, place)
    ink = np.count_nonzero(patches > INK, axis=(1, 2)) / SIDE**2
    good = (ink >= LEAST_INK) & (ink <= MOST_INK)
    full = full_density(patches[good])
    return PatchSet(
        density=np.clip(patches[good] / full, LOW, HIGH),
        zone=label[good].astype(np.int64),
        center=centers[good],
        right=rights[good],
        ink=ink[good],
        full=full,
        resolution=float(np.clip(np.log2(max(true_pixels_per_radius, 1.0) / SCALE), *RESOLUTIONS)),
    )


def within(photo: Image, center: Floats, right: Floats, geometry: DialGeometry, scale: float = SCALE) -> Flags:
    """(N,) whether a photograph holds all of a patch. scale : px per dial radius of the patches."""
    corners = _grids(center, right, geometry, np.array([0, SIDE - 1]), scale)  # of a parallelogram bound it
    return np.asarray(((corners >= 0) & (corners <= np.array(photo.shape[1::-1]))).all(axis=(1, 2, 3)))


def cut_at(photo: Image, center: Floats, right: Floats, geometry: DialGeometry, scale: float = SCALE) -> Image:
    """(N, SIDE, SIDE) photo values within LOW..HIGH, cubic. scale : px per dial radius of the patches."""
    patches = np.empty((len(center), SIDE, SIDE), dtype=np.float32)
    for start in range(0, len(center), CUT_AT_ONCE):
        some = slice(start, start + CUT_AT_ONCE)
        x, y = (p.reshape(-1, SIDE) for p in _grid_xy(center[some], right[some], geometry, np.arange(SIDE), scale))
        x -= np.float32(0.5)
        y -= np.float32(0.5)
        into = patches[some].reshape(-1, SIDE)
        cv2.remap(photo, x, y, cv2.INTER_CUBIC, dst=into, borderMode=cv2.BORDER_REPLICATE)
    return np.clip(patches, LOW, HIGH, out=patches)


def full_density(patches: Image) -> float:
    """D of the dial's fullest strokes: the 90th percentile over patches of each one's 97th; 1 without patches."""
    if len(patches) == 0:
        return 1.0
    within, over, least, most = FULL
    at = int(within * SIDE * SIDE)
    dark = np.partition(patches.reshape(len(patches), -1), at, axis=1)[:, at]
    return float(np.clip(np.quantile(dark, over), least, most))


def reduced(density: Image, geometry: DialGeometry, scale: float = SCALE) -> tuple[Image, DialGeometry]:
    """A copy with at most a quarter more px per dial radius than patches have, so that sampling cannot alias.

    scale : px per dial radius of the patches.
    """
    factor = 1.25 * scale / geometry.pixels_per_radius
    if factor > 0.99:  # or reduced already
        return density, geometry
    shape = (max(round(density.shape[1] * factor), 1), max(round(density.shape[0] * factor), 1))
    small = cv2.resize(density, shape, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.float32), geometry.scaled(shape[0] / density.shape[1])


def places(zones: ZoneMap, tick_phase: float) -> tuple[Floats, Floats]:
    """Centres (N, 2) and right vectors (N, 2), dial radii, of all patches a layout asks for.

    Without named zones they stand upright on a lattice over all of the map.
    """
    if not zones.named:
        axis = np.arange(-EXTENT + 0.5 * SPAN, EXTENT - 0.5 * SPAN, 0.85 * SPAN)
        x, y = np.meshgrid(axis, axis)
        everywhere = np.stack([x.ravel(), y.ravel()], axis=1)
        return everywhere, np.tile([1.0, 0.0], (len(everywhere), 1))
    parts: list[tuple[Floats, Floats]] = []
    inner, outer = zones.numerals
    band = zones.track or (outer, min(outer + 0.1, 0.98))
    # the divisions, one patch each; figures beside the track get a ring of their own
    middle = 0.5 * (band[0] + band[1]) if zones.ticks is None else zones.ticks
    rings = [middle]
    # figures on either side of the divisions
    rings += [r for r in (middle - 0.9 * SPAN, middle + 0.9 * SPAN) if band[0] < r < min(band[1], 0.97)]
    if band[1] < 0.93:
        rings.append(min(band[1] + 0.45 * SPAN, 0.97))
    parts += [_ring(0.0, 0.0, r, 60, tick_phase) for r in rings]
    rows = max(int(np.ceil((outer - inner) / (0.9 * SPAN))), 1)
    for row in range(rows):
        r = inner + (row + 0.5) * (outer - inner) / rows
        count = 12 * max(round(2 * np.pi * r / (0.9 * SPAN) / 12), 2)
        parts.append(_ring(0.0, 0.0, r, count, tick_phase))
    for circle in (zones.seconds, *zones.counters):
        if circle is not None:
            parts += _sub_dial(circle)
    step = 0.85 * SPAN
    axis = np.arange(-0.72, 0.72 + 1e-9, step)
    x, y = np.meshgrid(axis, axis)
    upright = np.stack([x.ravel(), y.ravel()], axis=1)
    lettered = np.isin(zones.at(upright), [ZONES.index(Zone.SIGNATURE), ZONES.index(Zone.OTHER)])
    near = np.zeros(len(upright), dtype=bool)
    for circle in zones.counters:
        near |= np.hypot(upright[:, 0] - circle.x, upright[:, 1] - circle.y) < circle.radius
    upright = upright[lettered & ~near]
    parts.append((upright, np.tile([1.0, 0.0], (len(upright), 1))))
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _ring(x: float, y: float, radius: float, count: int, phase: float) -> tuple[Floats, Floats]:
    turn = phase + np.arange(count) * 2 * np.pi / count
    center = np.stack([x + radius * np.sin(turn), y - radius * np.cos(turn)], axis=1)
    return center, np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _sub_dial(circle: Circle) -> list[tuple[Floats, Floats]]:
    outer = max(circle.radius - 0.04, 0.05)
    parts = [_ring(circle.x, circle.y, outer, 24, 0.0)]
    if outer > 0.1:
        parts.append(_ring(circle.x, circle.y, outer - 0.75 * SPAN, 12, 0.0))
    return parts


def _grids(
    center: Floats, right: Floats, geometry: DialGeometry, at: NDArray[np.int64], scale: float | Floats = SCALE
) -> Image:
    """(N, A, A, 2) photo px of the patch pixels in rows and columns `at` (A,)."""
    return np.stack(_grid_xy(center, right, geometry, at, scale), axis=-1)


def _grid_xy(
    center: Floats, right: Floats, geometry: DialGeometry, at: NDArray[np.int64], scale: float | Floats
) -> tuple[Image, Image]:
    """x and y apart, (N, A, A) each; the map is affine, so a patch is its middle and two steps.

    scale : px per dial radius, of all or (N,) of each.
    """
    middle = geometry.to_photo(center)
    by = scale if isinstance(scale, float) else scale[:, None]
    across = right @ geometry.matrix.T / by
    down = np.stack([-right[:, 1], right[:, 0]], axis=1) @ geometry.matrix.T / by
    offset = (at + 0.5 - SIDE / 2).astype(np.float32)
    x, y = (
        (middle[:, None, k] + offset * down[:, None, k]).astype(np.float32)[:, :, None]
        + (offset * across[:, None, k].astype(np.float32))[:, None]
        for k in (0, 1)
    )
    return x, y


def lattice(center: Floats, right: Floats, side: int, span: float = SPAN) -> Floats:
    """(N, side, side, 2) dial radii of evenly spaced points of each patch. span : dial radii across a patch."""
    offset = ((np.arange(side) + 0.5) / side - 0.5) * span
    j = offset[None, None, :, None] * right[:, None, None, :]
    down = np.stack([-right[:, 1], right[:, 0]], axis=1)
    i = offset[None, :, None, None] * down[:, None, None, :]
    return np.asarray(center[:, None, None, :] + j + i)
