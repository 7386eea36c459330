"""Hard light from one side: the bezel's shadow across the edge of the dial."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import enlarge_blocks, stack
from dialtell.synth.photograph.view import ViewSpec, mm_grid
from dialtell.synth.shared.errors import require_range

Image = NDArray[np.float32]

STEP = 8  # px; distances vary slowly, the shadow's border is found between them
SKY = (1.0, 0.97, 0.9)  # of the light lost: shadows are lit by the sky


@dataclass(frozen=True)
class Sun:
    """A bezel's cast shadow; lengths in dial radii.

    depth : 0..0.95, share of light lost in the shadow. bezel : 0.9..1.2, radius of the edge that casts it. reach :
    0.005..0.6, how far it falls onto the dial, the bezel's height over the tangent of the light's. soft : 0.001..0.3,
    width of its border.
    """

    depth: float
    bezel: float
    reach: float
    soft: float

    def __post_init__(self) -> None:
        require_range("depth", self.depth, 0.0, 0.95)
        require_range("bezel", self.bezel, 0.9, 1.2, "dial radii")
        require_range("reach", self.reach, 0.005, 0.6, "dial radii")
        require_range("soft", self.soft, 0.001, 0.3, "dial radii")


def sample_sun(*, rng: np.random.Generator) -> Sun:
    """Draw a shadow: from the sun's, with a border of half a degree, to a window's."""
    reach = float(np.exp(rng.uniform(np.log(0.02), np.log(0.3))))
    soft = float(np.exp(rng.uniform(np.log(0.02), np.log(0.8)))) * reach
    return Sun(
        depth=float(rng.uniform(0.25, 0.8)), bezel=float(rng.uniform(0.99, 1.05)), reach=reach, soft=max(soft, 0.002)
    )


def bezel_shadow(sun: Sun, view: ViewSpec, azimuth_deg: float, dial_radius_mm: float) -> Image:
    """Factor of light left, (H, W, 3) float32 in 0..1. azimuth_deg : clockwise from 12, where the light comes from."""
    x, y = (grid * np.float32(1.0 / dial_radius_mm) for grid in mm_grid(view, STEP))
    angle = np.radians(azimuth_deg)
    # a place lies in the shadow where the bezel's edge, carried along the light, has passed it
    towards = np.hypot(x + np.float32(sun.reach * np.sin(angle)), y - np.float32(sun.reach * np.cos(angle)))
    past = enlarge_blocks((towards - np.float32(sun.bezel)) / np.float32(sun.soft), view.shape, STEP)
    own = np.float32(view.px_per_mm * dial_radius_mm) * (np.float32(sun.bezel) - np.hypot(x, y))
    shade = np.clip(past + np.float32(0.5), 0.0, 1.0)
    shade *= np.clip(enlarge_blocks(np.asarray(own, np.float32), view.shape, STEP), 0.0, 1.0)
    return stack([1.0 - np.float32(sun.depth * lost) * shade for lost in SKY])
