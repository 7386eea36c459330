"""Which places of a dial would most likely settle it, were they photographed from near.

A frame is worth the places in it that are not shown finely enough, thin strokes more than broad ones. Like strokes of
a zone are no independent witnesses, so what a zone has to say grows with the root of what is seen of it: frames are
chosen one after the other, each for what it adds to those before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.next_fields.reasons import Within, reason_words
from dialtell.evaluate.next_fields.spots import CLOSE, Spots, spots_of
from dialtell.evaluate.words.support import LEAST_SUPPORT
from dialtell.model.net.calibration import UNDETERMINED
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.verdict import Verdict
from dialtell.model.reading.patches import SPAN
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import ZONES, Zone

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

WIDTH = 0.6  # dial radii: at CLOSE some 920 px, 13 mm of an 18 size dial
LEAST, MOST = 3, 5  # frames
FADES = 0.25  # of the first frame's worth, below which none is added to the least
DISAGREEING = 2.0  # what a place counts in a zone that another contradicts
STEP, REACH = 0.04, 0.84  # dial radii: between middles tried, and how far out they lie
ALL = 2.1  # dial radii, a frame of the whole dial
# px per dial radius of a whole view: 10 px/mm on 18 size, below which every second drawn dial stays open and above
# three of ten; and 22 px/mm, about where fewest do (figures of the weights)
COARSE, SHARP = 220.0, 480.0
LEAST_WHOLE = 60.0  # px per dial radius truly resolved, below which no close-up can be laid on a whole view


@dataclass(frozen=True)
class NextField:
    """A square to photograph next. x, y : its middle, dial radii from the dial's, x to the right with 12 up, y down.
    width : dial radii. pixels_per_radius : that it should be taken at, at least. reason : in words."""

    x: float
    y: float
    width: float
    pixels_per_radius: float
    reason: str

    def record(self, diameter_mm: float | None) -> dict[str, object]:
        """Ready for JSON. pixels : across the frame; px_per_mm : None where the dial's size is not known."""
        per_mm = None if diameter_mm is None else round(2.0 * self.pixels_per_radius / diameter_mm, 1)
        return {
            "x": round(self.x, 3), "y": round(self.y, 3), "width": round(self.width, 3),
            "pixels": round(self.width * self.pixels_per_radius), "px_per_mm": per_mm, "reason": self.reason,
        }  # fmt: skip


def next_fields(reading: Reading, verdict: Verdict, resolution: Resolution) -> tuple[NextField, ...]:
    """Three to five frames, the one that would most likely settle the dial first; none of a dial that is settled.

    The whole dial comes first where it is shown coarsely, and alone of a close-up and where it is shown so small that
    nothing can be laid on it.
    """
    if verdict.call != UNDETERMINED or resolution.screened or reading.sharpness.halftone:
        return ()  # of a picture of a printed picture there is nothing to come nearer to
    if reading.close_up is not None:
        if reading.close_up.place is not None:
            return (_whole(resolution, "this photograph shows only a part of it"),)
        return (_whole(resolution, "a close-up by itself does not say which part of it is shown"),)
    if resolution.true < 2 * LEAST_WHOLE:
        return (_whole(resolution, "too little of it is resolved to lay close-ups on it"),)
    again: tuple[NextField, ...] = ()
    if resolution.true < 2 * COARSE:
        again = (_whole(resolution, "of dials seen as coarsely as here, half stay undecided"),)
    wished = max(CLOSE, 0.5 * resolution.needed)
    spots = spots_of(reading, wished)
    whole = reading.sharpness.true_pixels_per_radius
    found, said = frames(spots, zone_weights(verdict), MOST - len(again)), set[str]()
    near = tuple(
        NextField(
            x,
            y,
            WIDTH,
            wished,
            reason_words(within, verdict, resolution.diameter_mm, said, WIDTH, whole),
        )
        for x, y, within in found
    )
    return again + near


def _whole(resolution: Resolution, why: str) -> NextField:
    wished = max(0.5 * resolution.needed, SHARP)
    reason = f"The whole dial, sharp and at least {round(ALL * wished, -2):.0f} pixels across: {why}."
    return NextField(0.0, 0.0, ALL, wished, reason)


def zone_weights(verdict: Verdict) -> Floats:
    """(Z,) what a place of each zone counts: more where zones contradict each other."""
    ratios: Mapping[Zone, float] = {
        zone: evidence.log10_lr
        for zone, evidence in verdict.zones.items()
        if evidence.log10_lr is not None and not evidence.withheld and abs(evidence.log10_lr) > LEAST_SUPPORT
    }
    both = min(ratios.values(), default=0.0) < 0 < max(ratios.values(), default=0.0)
    return np.array([DISAGREEING if both and zone in ratios else 1.0 for zone in ZONES])


def frames(spots: Spots, weights: Floats, most: int = MOST) -> list[tuple[float, float, Within]]:
    """Middle of each frame, and what it would newly show, the best first."""
    centers = _centers()
    half = 0.5 * (WIDTH - SPAN)  # whole patches alone are read
    inside = np.asarray((np.abs(centers[:, None] - spots.center[None]) <= half + 1e-9).all(axis=2))  # (G, N)
    worth = spots.worth * weights[spots.zone]
    member = (spots.zone[:, None] == np.arange(len(ZONES))).astype(np.float64)
    told = member.T @ (worth * (1.0 - spots.lacking))
    lacking = spots.lacking.copy()
    found: list[tuple[float, float, Within]] = []
    first = 0.0
    while len(found) < most:
        added = inside @ (member * (worth * lacking)[:, None])  # (G, Z)
        gain = (np.sqrt(told + added) - np.sqrt(told)).sum(axis=1)
        best = int(gain.argmax())
        if gain[best] <= 1e-9 or (len(found) >= LEAST and gain[best] < FADES * first):
            break
        first = first or float(gain[best])
        x, y = centers[best]
        found.append((float(x), float(y), Within(spots, inside[best] & (lacking > 0), added[best])))
        told = told + added[best]
        lacking[inside[best]] = 0.0
    return found


def _centers() -> Floats:
    axis = np.arange(-REACH, REACH + 1e-9, STEP)
    x, y = np.meshgrid(axis, axis)
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    return np.asarray(points[np.hypot(*points.T) <= REACH])
