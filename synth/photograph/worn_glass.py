"""A worn crystal: fine scratches in many directions bend the light a little, so that edges beneath look bitten and
enamel blotched. It stands over painted and printed dials alike and belongs to neither."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import dial_noise, enlarge
from dialtell.synth.photograph.view import ViewSpec, homography, mm_grid
from dialtell.synth.shared.errors import require_range

Image = NDArray[np.float32]

WAYS = 4  # directions of its scratches
EDGE = 1.06  # dial radii, where the crystal ends
STEP = 8  # px; what lies under the crystal is told on a coarse grid
INDEX = 0.5  # n - 1 of glass and of acrylic, about (from memory)


@dataclass(frozen=True)
class WornGlass:
    """The relief of a worn crystal and what it does to the picture; lengths as of the dial beneath.

    slope : 0..0.1, RMS slope of the relief. gap_mm : 0.2..30, from the dial to the crystal: a slope shifts what lies
    beneath by slope * (n - 1) * gap (refraction at a small angle). grain_mm : 0.02..5, width of the scratches;
    streak : 1..12, their length over their width. veil : 0..0.5, RMS share of light that they take from one place and
    scatter over another. seed : of the relief.
    """

    slope: float
    gap_mm: float
    grain_mm: float
    streak: float
    veil: float
    seed: int

    def __post_init__(self) -> None:
        require_range("slope", self.slope, 0.0, 0.1)
        require_range("gap_mm", self.gap_mm, 0.2, 30.0, "mm")
        require_range("grain_mm", self.grain_mm, 0.02, 5.0, "mm")
        require_range("streak", self.streak, 1.0, 12.0)
        require_range("veil", self.veil, 0.0, 0.5)

    @property
    def shift_mm(self) -> float:
        """RMS shift of what lies beneath, each way."""
        return self.slope * INDEX * self.gap_mm


def sample_worn_glass(*, rng: np.random.Generator, dial_radius_mm: float) -> WornGlass:
    """Draw a crystal, from lightly rubbed to one worn for a century (judgement; after photographs of real ones, where
    edges are bitten by 0.03 to 0.06 mm)."""
    require_range("dial_radius_mm", dial_radius_mm, 2.0, 500.0, "mm")
    size = float(np.sqrt(dial_radius_mm / 22.0))
    slope, grain, streak, veil = (
        float(np.exp(rng.uniform(np.log(low), np.log(high))))
        for low, high in ((0.002, 0.03), (0.05, 0.5), (1.0, 8.0), (0.003, 0.06))
    )
    return WornGlass(slope, float(rng.uniform(1.2, 3.0)) * size, grain * size, streak, veil, int(rng.integers(2**31)))


def seen_through(glass: WornGlass, view: ViewSpec, radiance: Image, dial_radius_mm: float) -> Image:
    """Radiance (H, W, 3) as it comes through the crystal, the same shape; the relief is fixed to the dial."""
    shape = (int(radiance.shape[0]), int(radiance.shape[1]))
    matrix = homography(view)
    turns = np.random.default_rng(glass.seed).uniform(0.0, np.pi, size=WAYS)
    cell = (glass.grain_mm, glass.grain_mm * glass.streak)

    x, y = mm_grid(view, STEP)
    radii = np.hypot(x, y) / np.float32(dial_radius_mm)
    under = enlarge(np.clip((EDGE - radii) / 0.02, 0.0, 1.0).astype(np.float32), shape)

    def relief(which: int) -> Image:
        fields = [
            dial_noise(glass.seed + 1 + WAYS * which + way, matrix, shape, cell, dial_radius_mm, turn=float(turn))
            for way, turn in enumerate(turns)
        ]
        return np.asarray(under * sum(fields) / np.float32(np.sqrt(WAYS)), dtype=np.float32)

    by = np.float32(glass.shift_mm * view.px_per_mm)
    across = np.arange(shape[1], dtype=np.float32) + by * relief(0)
    down = np.arange(shape[0], dtype=np.float32)[:, None] + by * relief(1)
    bent = cv2.remap(radiance, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    if glass.veil > 0.0:
        scattered = np.float32(glass.veil) * relief(2)
        bright = np.float32(np.percentile(bent[::8, ::8], 90))
        # what is taken where it is dense is light from beneath; what is scattered lies over ink as well
        bent = bent * (1.0 - np.abs(scattered))[..., None] + (bright * np.maximum(scattered, 0.0))[..., None]
    return np.asarray(np.maximum(bent, 0.0), dtype=np.float32)
