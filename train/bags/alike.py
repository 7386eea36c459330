"""Where a camera left nothing to tell twins by: patches that show the same of the painted and of the printed picture.

Both pictures are read with the same geometry, so their densities can be compared pixel by pixel.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import sample_points
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import ZONES

ALIKE = 0.05  # RMS difference over the ink, share of the full density: twice a compressed picture's noise (judgement)
INK = 0.15  # share of the full density from which on a pixel is compared
TELLING = 0.05  # share of a zone's patches that may differ while the zone counts as alike
APART = 4  # px between the points of a patch that are compared


def alike(own: Reading, twin: Reading, chosen: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(N,) whether each patch chosen, of those of all scales, shows what the twin's picture shows at the same place."""
    full = max(own.patches.full, twin.patches.full)
    darker = np.maximum(own.density, twin.density)
    ink = (darker > INK * full).astype(np.float32)
    square = ink * (own.density - twin.density) ** 2
    grid = own.patches.joined.grids(own.geometry)[chosen][:, ::APART, ::APART]
    points = grid.reshape(len(chosen), -1, 2).astype(np.float64)
    off, seen = (sample_points(image, points).reshape(len(chosen), -1).sum(axis=1) for image in (square, ink))
    return np.asarray(off < (ALIKE * full) ** 2 * np.maximum(seen, 1e-6))


def alike_zones(zones: NDArray[np.int8], patches: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(Z,) zones of which hardly any patch tells. zones, patches : (N,) zone and `alike` of both twins' patches."""
    count = np.bincount(zones, minlength=len(ZONES))
    telling = np.bincount(zones, weights=~patches, minlength=len(ZONES))
    return np.asarray(telling <= TELLING * count)
