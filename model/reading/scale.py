"""How large a dial is drawn in a close-up that does not show where it lies: from the thickness of its strokes.

Thick stems and heavy marks are a fairly steady share of a dial's radius. Measured on close-ups of drawn dials; the
scatter is from dial to dial and belongs to the estimate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.looks import Look
from dialtell.synth.shared.errors import require_range
from dialtell.synth.shared.sizes import size_mm

Image = NDArray[np.float32]

# ln dial radii in mm of watches differ by this SD (American sizes 0 to 18)
SIZES_SPREAD = 0.2
USUAL_RADIUS_MM = 0.5 * size_mm(16)
INK = 0.3  # optical density of a stroke's inside
THICK = 0.96  # quantile of thickness along strokes, by length
RADII = 44.0  # dial radii, as so many thick strokes laid side by side, median of 31 drawn close-ups
SPREAD = 0.42  # SD of ln of that, the same
BROADEST = 0.03  # of the frame's short side, half of the thickest stroke
FEWEST = 400  # px of strokes' middle lines
LEAST_COVERED = 0.15  # share of the look that is dial
LOOK_SPREAD = 0.22  # SD of ln of the scale the reader tells, 58 drawn close-ups


@dataclass(frozen=True)
class Scale:
    """Photo px per dial radius. spread : SD of its natural logarithm, 0 if it was given. source : in words.

    pixels_per_radius is None where it cannot be told; source then says why.
    """

    pixels_per_radius: float | None
    spread: float
    source: str

    @property
    def known(self) -> bool:
        """Whether the scale could be told."""
        return self.pixels_per_radius is not None

    def allows(self, pixels_per_radius: float) -> bool:
        """Whether another finding agrees: within 10 % and two SD."""
        if self.pixels_per_radius is None:
            return True
        return abs(math.log(pixels_per_radius / self.pixels_per_radius)) < 0.1 + 2 * self.spread

    def steps(self) -> tuple[float, ...]:
        """The scale itself, and one SD below and above where it is an estimate."""
        if self.pixels_per_radius is None:
            return ()
        if self.spread == 0:
            return (self.pixels_per_radius,)
        return tuple(self.pixels_per_radius * math.exp(k * self.spread) for k in (0, -1, 1))


def given_scale(pixels_per_mm: float, diameter_mm: float | None) -> Scale:
    """Scale from px per mm and the dial's diameter; without that a usual watch dial is assumed, and the scale rough."""
    require_range("px_per_mm", pixels_per_mm, 0.5, 2000.0, "px/mm")
    if diameter_mm is not None:
        return Scale(0.5 * pixels_per_mm * diameter_mm, 0.0, "as given")
    return Scale(pixels_per_mm * USUAL_RADIUS_MM, SIZES_SPREAD, "px/mm as given, on a dial of usual size")


def thickness(density: Image) -> NDArray[np.float64]:
    """Thickness in px along the middle lines of the strokes, one value a px of line.

    density : (H, W) float32 D above the local enamel.
    """
    ink = (density > INK).astype(np.uint8)
    depth = cv2.distanceTransform(ink, cv2.DIST_L2, 5)
    # a stroke is thin beside the frame; what is not is a watch hand, the case or a shadow
    count, label = cv2.connectedComponents(ink)
    deepest = np.zeros(count, np.float32)
    np.maximum.at(deepest, np.asarray(label, dtype=np.int64).ravel(), depth.ravel())
    depth = np.where(deepest[label] > BROADEST * min(density.shape), np.float32(0), depth)
    ridge = (depth > 0) & (depth >= cv2.dilate(depth, np.ones((3, 3), np.uint8)) - 1e-3)
    # the distance transform counts from pixel to pixel: half a px less on each side than the stroke
    return np.asarray(2.0 * depth[ridge].astype(np.float64) - 0.5)


def scale_from_look(look: Look) -> Scale:
    """Scale from where the reader places what it sees on the dial. look : at the whole close-up."""
    covered = float((look.inside > 0).mean())
    placed = look.placed() if covered >= LEAST_COVERED else None
    if placed is None:
        return Scale(None, 0.0, "no dial was recognised in it; give --px-per-mm")
    radius = math.sqrt(placed.axes[0] * placed.axes[1]) * look.photo_px
    return Scale(radius, LOOK_SPREAD, "from the curve and size of what is seen")


def scale_from_strokes(density: Image) -> Scale:
    """Scale from the thick strokes of a close-up. density : (H, W) D."""
    widths = thickness(density)
    if len(widths) < FEWEST:
        return Scale(None, 0.0, "too few strokes to tell how large the dial is drawn; give --px-per-mm")
    thick = float(np.quantile(widths, THICK))
    if thick < 2.0:
        return Scale(None, 0.0, "the strokes are less than 2 px thick, too thin to tell the scale; give --px-per-mm")
    return Scale(thick * RADII, SPREAD, "from the thickness of its strokes")
