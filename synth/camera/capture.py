"""What a sensor and the merging of its frames make of the light: burst and mosaic, at the scale of the capture.

A phone takes several frames and lays them over each other in tiles, each tile shifted as fits it best. What is left of
the shifts differs from tile to tile: straight edges come out wavy by tens of micrometres where the capture has ten
pixels to the millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.shared.errors import ParameterError, require_range

Image = NDArray[np.float32]

MOSAICS = ("none", "bilinear", "edges")
_DEMOSAIC = {"bilinear": cv2.COLOR_BayerRGGB2RGB, "edges": cv2.COLOR_BayerRGGB2RGB_EA}
_WHITE, _PEDESTAL = 15000.0, 1500.0  # counts of light 1 and of darkness in 16 bits: noise below black is kept
COPIES = 2  # shifted pictures that stand for all frames but the first


@dataclass(frozen=True)
class Capture:
    """Sensor and burst; lengths in px of the capture.

    frames : 1..12, merged. residual_px : 0..1.5, what is left of a tile's shift in one frame, standard deviation in x
    and in y (0.58 where tiles are aligned to half of a picture halved, as openly built merging does; less in phones).
    tile_px : 8..128. dropped : 0..1, share of tiles that a frame does not give, as it fitted badly there.
    mosaic : "none" (three colours everywhere), or how the colours between the sensor's are found: "bilinear" or along
    "edges". seed : of the shifts.
    """

    frames: int
    residual_px: float
    tile_px: int
    dropped: float
    mosaic: str
    seed: int

    def __post_init__(self) -> None:
        require_range("frames", self.frames, 1, 12)
        require_range("residual_px", self.residual_px, 0.0, 1.5, "px")
        require_range("tile_px", self.tile_px, 8, 128, "px")
        require_range("dropped", self.dropped, 0.0, 1.0)
        if self.mosaic not in MOSAICS:
            raise ParameterError(f"mosaic is {self.mosaic!r}; give one of {', '.join(MOSAICS)}")


def sample_capture(*, rng: np.random.Generator, mosaic_share: float = 0.35) -> Capture:
    """Draw sensor and burst; `mosaic_share` 0..1 of them with one colour a pixel."""
    require_range("mosaic_share", mosaic_share, 0.0, 1.0)
    frames = int(rng.choice([1, 3, 6], p=[0.4, 0.3, 0.3]))
    return Capture(
        frames=frames,
        residual_px=float(rng.uniform(0.0, 0.7)),
        tile_px=int(rng.choice([16, 24, 32, 48, 64])),
        dropped=float(rng.uniform(0.0, 0.4)) if rng.random() < 0.5 else 0.0,
        mosaic=("bilinear" if rng.random() < 0.2 else "edges") if rng.random() < mosaic_share else "none",
        seed=int(rng.integers(2**31)),
    )


def merged(capture: Capture, light: Image) -> Image:
    """The mean of the frames: the first as it is, the others with the shifts left in their tiles; (H, W, 3) float32.

    Two shifted copies stand for all others: their shifts are smaller by as much as a mean of so many would be.
    """
    others = capture.frames - 1
    if others == 0 or capture.residual_px < 0.03:
        return light
    copies = min(others, COPIES)
    deviation = capture.residual_px * np.sqrt(copies / others)
    rng = np.random.default_rng(capture.seed)
    height, width = light.shape[:2]
    tiles = (-(-height // capture.tile_px) + 1, -(-width // capture.tile_px) + 1)
    x, y = np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32)[:, None]
    total: Image = light * np.float32(1.0 / capture.frames)
    for _ in range(copies):
        kept = rng.random(tiles) >= capture.dropped
        shift = [deviation * kept * rng.standard_normal(tiles) for _ in range(2)]
        # tiles overlap by half and fade into each other: between their middles shifts change evenly
        across, down = (cv2.resize(s.astype(np.float32), (width, height)) for s in shift)
        moved = cv2.remap(light, across + x, down + y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
        cv2.addWeighted(total, 1.0, moved, others / (copies * capture.frames), 0.0, dst=total)
    return total


def mosaicked(capture: Capture, light: Image) -> Image:
    """One colour a pixel, red at the upper left of each four, the others found from the neighbours; (H, W, 3) float32,
    clipped at 4 times white."""
    if capture.mosaic == "none":
        return light
    counts = np.clip(light * np.float32(_WHITE) + np.float32(_PEDESTAL + 0.5), 0, 65535).astype(np.uint16)
    raw = np.ascontiguousarray(counts[..., 1])
    raw[::2, ::2], raw[1::2, 1::2] = counts[::2, ::2, 0], counts[1::2, 1::2, 2]
    found = cv2.demosaicing(raw, _DEMOSAIC[capture.mosaic])
    return np.asarray(cv2.addWeighted(found, 1 / _WHITE, found, 0.0, -_PEDESTAL / _WHITE, dtype=cv2.CV_32F), np.float32)
