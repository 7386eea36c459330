"""Whether a round light thing with strokes is a dial: divisions and figures repeat evenly round it.

Round the turn a minute track repeats 60 times and hour figures repeat 12 times. The Fourier power at those numbers and
their multiples is set against the power at all others: an inscription, a coin or a plate's pattern has no reason to
favour them, and a wheel of 20 or 30 spokes, whose multiples fall on 60 too, shows by its lower ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.density import EXTENT, optical_density
from dialtell.model.reading.geometry import DialGeometry, Image, sample_points

Floats = NDArray[np.float64]

_SCALE = 220.0  # px per dial radius, about, of the copy looked at
_TURN = 720  # samples round the turn
_INNER, _STEP = 0.40, 0.005  # dial radii
_BROAD = 0.09  # dial radii, wider than any stroke: a finger, a shadow
_PERSPECTIVE_FROM = math.radians(12)  # of tilt, from which perspective may set the divisions unevenly
_PUSHES = (0.03, -0.03, 0.06, -0.06, 0.09, -0.09)
_TRACK_FROM = 0.66  # dial radii, no minute track lies further in
_SPOKES_TO = 0.55
_DIVISIONS = (60, 120, 180)
_NOT_DIVISIONS = [k for k in range(40, 256) if min(k % 60, 60 - k % 60) > 3 and k % 12]
# lines of patterns whose multiples fall on 60; 30 and 90 are not among them: blocks alternate round some tracks
_LOWER = (10, 15, 20, 40, 45, 48, 50, 72, 75, 80, 84, 96, 100)
# numbers no dial has round it (decimal tracks apart, and those have others too)
_FOREIGN = [n for n in range(7, 59) if n not in (10, 12, 15, 20, 24, 30, 36, 48) and min(n % 12, 12 - n % 12) > 1]
_FIGURES = (12, 24)
_NOT_FIGURES = [k for k in range(5, 44) if min(k % 12, 12 - k % 12) > 2]


@dataclass(frozen=True)
class Likeness:
    """Power ratios, 1 is chance.

    divisions : at 60 and its multiples against other numbers, on the ring that shows it best.
    under : the strongest line that is no dial's, against that at 60: above 1 a pattern repeats less often.
    within : as `divisions`, but near the centre, where spokes go on and no dial has divisions.
    foreign : largest share of a ring's power at one number that no dial has, and its multiples.
    figures : at 12 and its multiples against other numbers, on the band that shows it best. beside : as `under`.
    """

    divisions: float
    under: float
    within: float
    foreign: float
    figures: float
    beside: float

    @property
    def of_a_dial(self) -> bool:
        """Whether divisions stand out clearly, or divisions and figures together. The bounds were set between drawn
        dials and drawn pictures of wheels, coins, plates and inscriptions (evaluate.negative_pictures)."""
        if self.within > max(9.0, 0.2 * self.divisions) or self.foreign > 0.66:
            return False
        if self.divisions >= 6.0 and self.under < 1.0:
            return True
        if self.divisions < 2.5 or self.under > 4.0 or self.beside > 0.46:
            return False
        # figures differ from one another: what repeats twelve times so perfectly, without divisions, is a pattern
        return self.both >= 24.0 and self.figures < 75.0

    @property
    def beyond_doubt(self) -> bool:
        """As `of_a_dial`, for outlines that are small or not well borne out themselves."""
        return self.of_a_dial and (self.divisions >= 12.0 or self.both >= 60.0)

    @property
    def both(self) -> float:
        """Both together, 0 to 1."""
        return self.divisions * self.figures


def likeness(grey: Image, geometry: DialGeometry) -> Likeness:
    """How much the strokes inside an outline repeat as a dial's do.

    grey : (H, W) float32 luminance, linear light. geometry : its rotation is left out of account.
    """
    box = geometry.box(grey.shape, EXTENT)
    part = grey[box]
    (x, y), (a, b) = geometry.center_px, geometry.axes_px
    block = max(round(geometry.pixels_per_radius / _SCALE), 1)  # OpenCV averages whole blocks several times faster
    if block > 1:
        size = part.shape[1] // block, part.shape[0] // block
        part = np.asarray(cv2.resize(part[: size[1] * block, : size[0] * block], size, interpolation=cv2.INTER_AREA))
    center = (x - box[1].start) / block, (y - box[0].start) / block
    place = DialGeometry(center, (a / block, b / block), geometry.angle)
    density = optical_density(part, place)
    found = _of(_unrolled(density, place, 0.0))
    if not found.of_a_dial and place.tilt > _PERSPECTIVE_FROM:
        for push in _PUSHES:
            pushed = _of(_unrolled(density, place, push))
            if pushed.beyond_doubt and pushed.divisions >= 6.0:
                return pushed
    return found


def _unrolled(density: Image, geometry: DialGeometry, push: float) -> Floats:
    """(R, T) density less its ring's mean; 0 outside the frame and where something broad covers the dial.

    push : of the centre along the short axis, dial radii, as perspective does; the outline stays where it is.
    """
    turn = np.arange(_TURN) * (2 * math.pi / _TURN)
    ray = np.stack([np.sin(turn), -np.cos(turn)], axis=-1)
    radii = np.arange(_INNER, 1.0, _STEP)
    places = geometry.to_photo(_pushed(radii[:, None, None] * ray[None], geometry.angle + math.pi / 2, push))
    x, y = places[..., 0], places[..., 1]
    seen = (x > 1) & (y > 1) & (x < density.shape[1] - 1) & (y < density.shape[0] - 1)
    wide = max(round(_BROAD * geometry.pixels_per_radius), 3)
    blots = cv2.morphologyEx((density > 0.25).astype(np.uint8), cv2.MORPH_OPEN, np.ones((wide, wide), np.uint8))
    if blots.any():
        broad = np.asarray(cv2.dilate(blots, np.ones((wide // 2, wide // 2), np.uint8)), dtype=np.uint8)
        seen &= sample_points(broad, places) < 0.5
    values = np.clip(sample_points(density, places).astype(np.float64), 0.0, 1.0)
    middle = (values * seen).sum(axis=1, keepdims=True) / np.maximum(seen.sum(axis=1, keepdims=True), 1)
    return np.where(seen, values - middle, 0.0)


def _pushed(points: Floats, direction: float, push: float) -> Floats:
    """Points of the unit disc under the projective map that keeps its circle and moves its centre by `push`."""
    c, s = math.cos(direction), math.sin(direction)
    along, aside = points[..., 0] * c + points[..., 1] * s, points[..., 1] * c - points[..., 0] * s
    share = 1 + push * along
    along, aside = (along + push) / share, aside * math.sqrt(1 - push * push) / share
    return np.stack([along * c - aside * s, along * s + aside * c], axis=-1)


def _of(unrolled: Floats) -> Likeness:
    lines = _lines(np.abs(np.fft.rfft(unrolled, axis=1)) ** 2)
    lines[1:-1] = (lines[:-2] + lines[1:-1] + lines[2:]) / 3  # a track is a band, not a line
    at = lines[:, _DIVISIONS].mean(axis=1)
    ratio = at / (lines[:, _NOT_DIVISIONS].mean(axis=1) + 1e-3 * lines[:, 4:256].mean(axis=1) + 1e-9)
    first = round((_TRACK_FROM - _INNER) / _STEP)
    ring = first + int(ratio[first:].argmax())
    under = max(_excess(lines[ring], k) for k in _LOWER) / (float(at[ring]) + 1e-12)
    figures, beside = 0.0, math.inf
    for inner in np.arange(0.45, 0.86, 0.03):
        for width in (0.06, 0.14):
            band = slice(round((inner - _INNER) / _STEP), round((inner + width - _INNER) / _STEP))
            line = _lines(np.abs(np.fft.rfft(unrolled[band].mean(axis=0)))[None] ** 2)[0]
            level = float(line[list(_FIGURES)].mean())
            found = level / (float(line[_NOT_FIGURES].mean()) + 1e-9)
            if found > figures:
                figures, beside = found, float(line[_NOT_FIGURES].max()) / (level + 1e-12)
    within = float(ratio[: round((_SPOKES_TO - _INNER) / _STEP)].max())
    return Likeness(float(ratio[ring]), under, within, _foreign(lines), figures, beside)


def _foreign(lines: Floats) -> float:
    total = lines[:, 4:256].sum(axis=1) / 3  # every line was widened to three
    inked = total > 0.02 * total.max()
    if not inked.any():
        return 0.0
    shares = [lines[inked][:, [k * n for k in (1, 2, 3, 4) if k * n % 12]].sum(axis=1) / total[inked] for n in _FOREIGN]
    return float(np.max(shares))


def _excess(line: Floats, number: int) -> float:
    """Power at a number above that beside it: hands and shadows have much power at low numbers, but no lines."""
    beside = np.concatenate([line[number - 5 : number - 2], line[number + 3 : number + 6]])
    return float(line[number] - beside.max())


def _lines(power: Floats) -> Floats:
    """Power at each number together with that of its neighbours: tilt and a cut-off frame widen a line."""
    wide = power.copy()
    wide[:, 1:-1] = power[:, :-2] + power[:, 1:-1] + power[:, 2:]
    return wide
