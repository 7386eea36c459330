"""The turned rings of a case about its opening: each a band of the lathe's profile, plain or with a pattern."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import smooth_noise
from dialtell.synth.settings.finish import Finish, Room, grain, mottling, shine_of
from dialtell.synth.settings.plate import Image, lattice
from dialtell.synth.shared.errors import ParameterError, require_range

PATTERNS = ("plain", "reeded", "rope", "beaded", "sunray", "wavy", "ornament")
TABLE = 2048  # samples across all rings
STEEPEST = 0.95


@dataclass(frozen=True)
class Ring:
    """One band of the profile.

    width : 0.002..0.8 dial radii. tilt : -1..1, sine of the slope at its middle, positive where it faces outward.
    bulge : -1..1, by how much that sine grows from the middle to the outer edge; positive for a round moulding,
    negative for a cove. pattern : one of PATTERNS, with `count` repeats round the turn (3..400) and `depth` 0..1.
    crevice : 0..1, darkness of the line at its inner edge.
    """

    width: float
    tilt: float
    bulge: float
    finish: Finish
    pattern: str = "plain"
    count: int = 60
    depth: float = 0.5
    crevice: float = 0.0

    def __post_init__(self) -> None:
        require_range("Ring.width", self.width, 0.002, 0.8, "dial radii")
        require_range("Ring.tilt", self.tilt, -1.0, 1.0)
        require_range("Ring.bulge", self.bulge, -1.0, 1.0)
        if self.pattern not in PATTERNS:
            raise ParameterError(f"Ring.pattern is {self.pattern!r}; give one of {', '.join(PATTERNS)}")
        require_range("Ring.count", self.count, 3, 400)
        require_range("Ring.depth", self.depth, 0.0, 1.0)
        require_range("Ring.crevice", self.crevice, 0.0, 1.0)


class Painted(NamedTuple):
    """Pixels of the flattened square, (N,), with their colour (N, 3) and cover (N,) 0..1."""

    pixels: NDArray[np.intp]
    colour: Image
    cover: Image

    def onto(self, colour: Image, cover: Image) -> None:
        """Lay this on a picture (S, S, 3) and its cover (S, S), in place."""
        flat, covered = colour.reshape(-1, 3), cover.reshape(-1)
        if not cover.any():
            flat[self.pixels], covered[self.pixels] = self.colour, self.cover
            return
        beneath, share = flat[self.pixels], covered[self.pixels]
        # where nothing lies beneath, the colour is this one's, not a mixture with black
        blend = self.cover / np.maximum(self.cover + share * (1.0 - self.cover), np.float32(1e-6))
        flat[self.pixels] = beneath + (self.colour - beneath) * blend[:, None]
        covered[self.pixels] = share + self.cover - share * self.cover


def paint_rings(
    rings: Sequence[Ring], inner: float, scale: int, room: Room, seed: int, lobes: int = 0, lobe_depth: float = 0.0
) -> Painted:
    """The rings from `inner` (dial radii) outward; lobes : waves of the outer border round the turn (piecrust),
    lobe_depth : their height as a share of the width of all rings, 0..0.5."""
    radius = lattice(scale)[2]
    width = sum(ring.width for ring in rings)
    reach = inner + width + 1.0 / scale
    index = np.flatnonzero(((radius > inner - 1.0 / scale) & (radius < reach)).ravel())
    x, y, r = (field.reshape(-1)[index] for field in lattice(scale)[:3])
    turned = lobes > 0 or any(ring.pattern != "plain" for ring in rings)
    theta = lattice(scale)[3].reshape(-1)[index] if turned else r
    span: Image | float = width
    if lobes:
        wave = 1.0 - lobe_depth * (1.0 - np.abs(np.cos(0.5 * lobes * theta)))
        span = np.asarray(width * wave, np.float32)
    across = (r - np.float32(inner)) / span
    cover = np.clip((r - inner) * scale + 0.5, 0.0, 1.0) * np.clip((1.0 - across) * span * scale + 0.5, 0.0, 1.0)
    step = np.clip((across * TABLE).astype(np.int32), 0, TABLE - 1)
    slope, tables, owner, level = _profile(rings, width, scale, seed)
    # even a flat ring is seen from another side at each of its points
    radial, tangent = slope[step] + 0.1 * r, np.zeros_like(r)
    made = tables[step]
    shade = made[:, 5].copy()
    bounds = np.cumsum([0.0] + [ring.width / width for ring in rings]).tolist()
    for place, ring in enumerate(rings):
        if ring.pattern != "plain":
            chosen = np.flatnonzero(owner[step] == place)
            u = (across[chosen] - bounds[place]) / (bounds[place + 1] - bounds[place]) * 2.0 - 1.0
            # lines finer than the pixels average out
            fine = float(np.clip(np.pi * inner * scale / ring.count - 0.5, 0.0, 1.0))
            out, along, dark = _pattern(ring, u, theta[chosen], seed + place)
            radial[chosen] += out * fine
            tangent[chosen] = along * fine
            shade[chosen] *= 1.0 + (dark - 1.0) * fine
    if any(ring.finish.grain for ring in rings):
        shade *= 1.0 + grain(seed, scale).reshape(-1)[index] * made[:, 6]
    if any(ring.finish.mottle for ring in rings):
        shade *= 1.0 + mottling(seed, scale).reshape(-1)[index] * made[:, 7]
    unit_x, unit_y = x / r, y / r
    facing_x, facing_y = unit_x * radial - unit_y * tangent, unit_y * radial + unit_x * tangent
    colour = shine_of(room, facing_x, facing_y, made[:, :5], level[step], shade)
    return Painted(index, colour, np.asarray(cover, np.float32))


def _profile(
    rings: Sequence[Ring], width: float, scale: int, seed: int
) -> tuple[Image, Image, NDArray[np.int_], NDArray[np.int_]]:
    """Across all rings, TABLE samples: sine of slope; colour, mirror, gloss, shade, grain, mottle; ring; level."""
    rng = np.random.default_rng(seed)
    ends = np.round(np.cumsum([0.0] + [ring.width for ring in rings]) / width * TABLE).astype(int)
    slope, tables = np.zeros(TABLE, np.float32), np.zeros((TABLE, 8), np.float32)
    owner, level = np.zeros(TABLE, int), np.zeros(TABLE, int)
    for place, (ring, first, last) in enumerate(zip(rings, ends[:-1], ends[1:], strict=True)):
        count = last - first
        slope[first:last] = np.clip(ring.tilt + ring.bulge * np.linspace(-1.0, 1.0, count), -STEEPEST, STEEPEST)
        made = ring.finish
        shade = np.ones(count)
        if made.turned:
            lines = max(int(ring.width * scale), 2)
            shade += made.turned * np.interp(np.linspace(0, 1, count), np.linspace(0, 1, lines), rng.normal(size=lines))
        if ring.crevice:
            shade *= 1.0 - ring.crevice * np.exp(-np.arange(count) / TABLE * width / 0.008)
        tables[first:last, :5] = (*made.colour, made.mirror, made.gloss)
        tables[first:last, 5] = np.maximum(shade, 0.05)
        tables[first:last, 6:] = made.grain, made.mottle
        owner[first:last], level[first:last] = place, made.level
    pixel = max(round(TABLE / (width * scale)), 1)  # edges are as wide as a pixel, as if a little worn
    worn = cv2.blur(np.vstack([slope, tables.T]), (pixel, 1), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(worn[0], np.float32), np.ascontiguousarray(worn[1:].T, np.float32), owner, level


def _pattern(ring: Ring, u: Image, theta: Image, seed: int) -> tuple[Image, Image, Image]:
    """What the pattern adds to the slope outward and along the turn, and its shade; u : -1..1 across the ring."""
    depth = np.float32(ring.depth)
    flat, full = np.zeros_like(u), np.ones_like(u)
    phase = theta * np.float32(ring.count / (2 * np.pi))
    if ring.pattern == "wavy":
        waves = 1 + seed % 3
        wave = np.sin(2 * np.pi * phase + 2.5 * np.sin(waves * np.pi * u), dtype=np.float32)
        return flat, depth * wave, full - 0.25 * depth * np.maximum(wave, 0.0)
    if ring.pattern == "sunray":
        lines = np.random.default_rng(seed).standard_normal(8 * ring.count).astype(np.float32)
        ray = lines[((theta / (2 * np.pi) + 0.5) * len(lines)).astype(np.int32) % len(lines)]
        return flat, np.asarray(0.4 * depth * ray, np.float32), np.asarray(full - 0.1 * depth * np.abs(ray), np.float32)
    if ring.pattern == "ornament":
        tile = _ornament(seed % 8)
        # each repeat is its own mirror image, as chased leaves are
        along = np.abs(2.0 * (phase / 6.0 - np.floor(phase / 6.0)) - 1.0)
        rows = np.clip((u * 0.5 + 0.5) * tile.shape[1], 0, tile.shape[1] - 1).astype(np.int32)
        place = rows * tile.shape[2] + np.clip(along * tile.shape[2], 0, tile.shape[2] - 1).astype(np.int32)
        out, side, height = tile.reshape(3, -1)[:, place]
        return (
            2.0 * depth * out,
            2.0 * depth * side,
            np.asarray(np.clip(1.0 + 0.8 * depth * height, 0.2, 1.2), np.float32),
        )
    if ring.pattern == "rope":
        phase = phase + 0.7 * u
    v = 2.0 * (phase - np.floor(phase)) - 1.0
    if ring.pattern == "beaded":
        off = u * u + v * v
        bead = np.asarray(off < 1.0, np.float32)
        return 0.85 * u * bead, 0.85 * v * bead, 0.2 + (0.85 - 0.4 * off) * bead
    return flat, depth * v, np.asarray(1.0 - 0.7 * depth * v * v * v * v, np.float32)


@lru_cache(maxsize=8)
def _ornament(variant: int) -> Image:
    """(3, 64, 128): slopes across and along, and height, of chased relief, -1..1."""
    height = smooth_noise(variant, (64, 128), (11.0, 16.0)) + 0.4 * smooth_noise(variant + 50, (64, 128), (4.0, 5.0))
    height = np.tanh(1.2 * height)  # leaves with a ground between them
    out, side = np.gradient(height)
    largest = max(np.abs(out).max(), np.abs(side).max())
    return np.stack([-out / largest, -side / largest, height]).astype(np.float32)
