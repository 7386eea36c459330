"""A dial of each kind to hold beside a photograph: drawn to a like design, painted and printed, at one magnification.

An examiner compares with a dial known to be of the other kind. When none is at hand, the renderer's design nearest to
what was read is drawn under both processes, as sharp as the photograph and no sharper. A drawn dial is no evidence.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.geometry import DialGeometry, rectify
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import Reading
from dialtell.synth.design.design import DialDesign, sample_design
from dialtell.synth.making import Making, sample_making
from dialtell.synth.shared.srgb import codes
from dialtell.synth.shared.terms import Process
from dialtell.synth.specimen import ENAMEL, part, plain_making

CANDIDATES, SHORTLIST = 500, 10  # designs drawn at random, and those of them whose strokes are looked at
SEED = 20_003
SMALL = 240  # px, side of the pictures compared
MARGIN = 1.06  # dial radii from the middle to the edge of a whole drawn dial's picture
NO_TRACK = (0.9, 0.94)  # dial radii assumed where none was read

Bytes = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class ReferenceDial:
    """design : nearest to the photograph's. painted, printed : how each was made. true_px : px per dial radius that
    the photograph resolves, which the pictures are softened to."""

    design: DialDesign
    painted: Making
    printed: Making
    true_px: float

    def crop(
        self, process: Process, center: tuple[float, float], right: tuple[float, float], view: float, px: int
    ) -> Bytes:
        """(px, px, 3) sRGB of the square of `view` dial radii about `center`, its columns along `right`."""
        radius = self.design.radius_mm
        making = self.painted if process is Process.HAND else self.printed
        turn = float(np.arctan2(right[1], right[0]))
        picture = part(self.design, making, center[0] * radius, center[1] * radius, view * radius, px, turn=turn)
        sigma = 0.5 * (px / view) / max(self.true_px, 1.0)
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), max(sigma, 0.3)), dtype=np.uint8)

    def photographed(self, process: Process, scale: float, grain: float) -> tuple[Photo, DialGeometry]:
        """The whole dial as a photograph as sharp as the subject's. scale : px per dial radius. grain : SD of light on
        bare enamel, of the enamel's light."""
        making = self.painted if process is Process.HAND else self.printed
        side = round(2 * MARGIN * scale)
        picture = part(self.design, making, 0.0, 0.0, 2 * MARGIN * self.design.radius_mm, side)
        light = cv2.GaussianBlur(
            Photo(Path("drawn"), picture, (side, side)).pixels, (0, 0), max(0.5 * scale / max(self.true_px, 1.0), 0.3)
        )
        noise = np.random.default_rng(SEED).normal(0.0, grain * ENAMEL, picture.shape[:2])
        pixels = codes(np.clip(light + noise[..., None], 0.0, 1.0))
        radius = 0.5 * side / MARGIN
        return Photo(Path("drawn"), pixels, (side, side)), DialGeometry((0.5 * side, 0.5 * side), (radius, radius))


@lru_cache(maxsize=1)
def reference_dial(reading: Reading) -> ReferenceDial:
    """A dial to compare a reading with; the same for the same reading, the last one kept."""
    design = nearest_design(reading)
    rng = np.random.default_rng(SEED)
    painted, printed = (
        sample_making(rng=rng, design=design, process=process, steadiness=(0.5, 0.8))
        for process in (Process.HAND, Process.TRANSFER)
    )
    return ReferenceDial(design, painted, printed, reading.sharpness.true_pixels_per_radius)


def nearest_design(reading: Reading) -> DialDesign:
    """Of many designs the one whose parts lie most like those read, and whose strokes lie most like the ink."""
    wanted = _read_layout(reading)
    far = np.array([np.abs(_layout(design) - wanted).sum() for design in _designs()])
    ink = rectify(reading.density, reading.geometry, SMALL / 2, extent=1.0) / max(reading.patches.full, 0.2)
    ink = _soft(np.clip(ink, 0.0, 1.0))
    shortlist = [_designs()[index] for index in np.argsort(far)[:SHORTLIST]]
    best: DialDesign = max(shortlist, key=lambda design: _likeness(design, ink))
    return best


@cache
def _designs() -> tuple[DialDesign, ...]:
    return tuple(sample_design(rng=np.random.default_rng([SEED, index])) for index in range(CANDIDATES))


def _layout(design: DialDesign) -> NDArray[np.float64]:
    track = (design.track.inner, design.track.outer) if design.track else NO_TRACK
    chapter = design.chapter
    band = (chapter.outer - chapter.height, chapter.outer) if chapter else (track[0], track[0])
    seconds = [(dial.y, dial.radius) for dial in design.subdials[:1]]
    return _vector(track, band, seconds[0] if seconds else None, len(design.subdials[1:]))


def _read_layout(reading: Reading) -> NDArray[np.float64]:
    zones = reading.zones
    seconds = (zones.seconds.y, zones.seconds.radius) if zones.seconds else None
    return _vector(zones.track or NO_TRACK, zones.numerals, seconds, len(zones.counters))


def _vector(
    track: tuple[float, float], band: tuple[float, float], seconds: tuple[float, float] | None, others: int
) -> NDArray[np.float64]:
    place = (1.0, *seconds) if seconds else (0.0, 0.5, 0.2)
    return np.array([2 * track[0], 2 * track[1], *band, *place, min(others, 1)], dtype=np.float64)


def _likeness(design: DialDesign, ink: NDArray[np.float32]) -> float:
    """Correlation of the design's strokes with the ink read, over the dial."""
    picture = part(design, plain_making(Process.TRANSFER), 0.0, 0.0, 2 * design.radius_mm, SMALL)
    drawn = _soft(1.0 - picture[..., 0].astype(np.float32) / 255.0)
    axis = np.linspace(-1, 1, SMALL)
    inside = np.hypot(*np.meshgrid(axis, axis)) < 0.97
    return float(np.corrcoef(drawn[inside], ink[inside])[0, 1])


def _soft(image: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(cv2.GaussianBlur(image, (0, 0), 2.0), dtype=np.float32)
