"""Rendered dials as the reading side sees them, with their truth: shared by the tests of zones and of hands.

Linear light straight from the scene, no camera: what is measured is finding, not the camera's faults.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from drawn_dial import photographed

from dialtell.model.reading.steps import Reading, read_at
from dialtell.synth.photograph.view import homography
from dialtell.synth.photograph.watch_hands import paint_hands
from dialtell.synth.scene import DialSpec, Range, radiance, sample_spec
from dialtell.synth.shared.terms import ZONES
from dialtell.synth.strokes.paint import mask
from dialtell.synth.truth import paint_of
from dialtell.train.bags.bags import known_geometry

SET = 4711
SCOPE = Range(pixels_per_radius=(320.0, 440.0), tilt=6.0, wear=(0.0, 0.3))


@dataclass(frozen=True, eq=False)
class Rendered:
    """A picture, its spec and its reading with the true outline; truth on the photo's pixels."""

    spec: DialSpec
    reading: Reading
    dial: np.ndarray  # (H, W, 2) dial radii of each pixel's centre
    covered: np.ndarray  # (H, W) share of each pixel under a watch hand

    @property
    def radius(self) -> np.ndarray:
        return np.hypot(self.dial[..., 0], self.dial[..., 1])

    @cached_property
    def strokes(self) -> np.ndarray:
        """(Z, H, W) true where most of a pixel is paint of the zone."""
        found = np.zeros((len(ZONES), *self.spec.view.shape), bool)
        whole = paint_of(self.spec)
        for index in np.unique(whole.zone):
            paint = whole.select(whole.zone == index)
            found[index] = mask(paint, homography(self.spec.view), self.spec.view.shape) > 0.5
        return found

    def confusion(self) -> np.ndarray:
        """(Z, Z + 1) stroke pixels of each true zone by the zone read, the first column none."""
        read = self.reading.zones.at(self.dial)
        rows = self.strokes & (self.radius < 0.99)
        return np.stack([np.bincount(read[row] + 1, minlength=len(ZONES) + 1) for row in rows])


@lru_cache(maxsize=64)
def rendered(index: int) -> Rendered:
    spec = sample_spec(SET, index, SCOPE)
    geometry = known_geometry(spec, rng=np.random.default_rng(0), jitter=0.0)
    reading = read_at(photographed(radiance(spec)), geometry, geometry.twelve_deg)
    rows, columns = np.indices(spec.view.shape)
    dial = reading.geometry.to_dial(np.stack([columns + 0.5, rows + 0.5], axis=-1))
    _, covered = paint_hands(spec.hands, spec.view, np.ones((*spec.view.shape, 3), np.float32))
    return Rendered(spec, reading, dial, covered)
