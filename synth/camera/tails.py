"""The long tails of a lens: light that film, glass and grease scatter many pixels away from where it belongs.

A blur of one width moves an edge's light a pixel or two; a real one has a share that goes ten times as far. Thin
strokes lose contrast by it that no sharpening of a pixel's width brings back.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import enlarge, shrink, soften
from dialtell.synth.shared.errors import require_range

Image = NDArray[np.float32]

LEAST = 0.02  # share of the light that even a clean lens spreads
STEP = 4  # px; the tails are worked out this coarse
OWN_VARIANCE = (
    STEP**2 / 12 + STEP**2 / 6
)  # px^2 that shrinking by area and enlarging between middles blur by themselves


@dataclass(frozen=True)
class Tails:
    """Light spread far; lengths in px of the capture.

    share : 0..0.6, share of the light that is spread. near_px : 2..10 and far_px : 5..60, sigma of a nearer and a wider
    spread (sources: two Gaussians after veiling-glare measurements; ranges by judgement). near : 0..1, share of it in
    the nearer. warm : -0.6..0.6, how much more of the red is spread than of the blue (halation of film).
    """

    share: float
    near_px: float
    far_px: float
    near: float
    warm: float

    def __post_init__(self) -> None:
        require_range("share", self.share, 0.0, 0.6)
        require_range("near_px", self.near_px, 2.0, 10.0, "px")
        require_range("far_px", self.far_px, 5.0, 60.0, "px")
        require_range("near", self.near, 0.0, 1.0)
        require_range("warm", self.warm, -0.6, 0.6)


def sample_tails(*, rng: np.random.Generator, most: float = 0.16) -> Tails:
    """Draw tails: a share from 2 % to `most` (0.02..0.6), log-uniform.

    Veiling glare of clean lenses is 1 to 4 % (ISO 9358 measures it), of dirty ones and film more (judgement). Thin
    strokes of real prints stay as black as thick ones, so a third of the light, as once drawn here, is too much.
    """
    require_range("most", most, LEAST, 0.6)
    return Tails(
        share=float(np.exp(rng.uniform(np.log(LEAST), np.log(most)))),
        near_px=float(np.exp(rng.uniform(np.log(2.5), np.log(6.0)))),
        far_px=float(np.exp(rng.uniform(np.log(9.0), np.log(26.0)))),
        near=float(rng.uniform(0.35, 0.8)),
        warm=float(np.clip(rng.normal(0.05, 0.1), -0.3, 0.4)),
    )


def spread(tails: Tails, light: Image) -> Image:
    """The picture with its tails; (H, W, 3) float32 linear light, the sum of each channel kept."""
    if tails.share == 0.0:
        return light
    shape = (light.shape[0], light.shape[1])
    coarse = shrink(light, (-(-shape[0] // STEP), -(-shape[1] // STEP)))
    near, far = (
        soften(coarse, max(float(np.sqrt(max(sigma**2 - OWN_VARIANCE, 0.0))) / STEP, 0.2))
        for sigma in (tails.near_px, tails.far_px)
    )
    both = cv2.addWeighted(near, tails.near, far, 1.0 - tails.near, 0.0)
    shares = tails.share * np.array([1.0 + tails.warm, 1.0, 1.0 - tails.warm])
    scattered = enlarge(np.asarray(cv2.transform(both, np.diag(shares)), dtype=np.float32), shape)
    kept = cv2.transform(light, np.diag(1.0 - shares))
    return np.asarray(cv2.add(kept, scattered, dst=scattered), dtype=np.float32)
