"""Where the dial ends: the reader's outline, followed to a fraction of a pixel, with how sure it is; or why there is
none.

The reader looks at the whole photograph, then at the dial made a circle, again where that moved the outline much. Its
word is taken for which edge it is; where that edge runs exactly is read from the photograph in a narrow band about it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reader.file import Reader, outline_terms
from dialtell.model.reading.ellipse import Ellipse, fit_ellipse
from dialtell.model.reading.geometry import DialGeometry, sample_points
from dialtell.model.reading.looks import FLATTEST, Look, first_look, square_look
from dialtell.model.reading.photo import Photo
from dialtell.synth.shared.look_sizes import SQUARE
from dialtell.synth.shared.terms import Make

Floats = NDArray[np.float64]

SMALLEST_DIAL = 48  # px across; below this not even the figures are more than blots
LEAST_OUTLINE = 0.42  # share of the outline in the frame, below which the edge alone does not hold an ellipse
NO_DIAL = 0.5  # probability of no dial, above which there is none
LIKE_NO_DIAL = "something round is in the picture, but it does not look like a dial"
_MOST_LOOKS = 4
_FURTHEST = 4.0  # square looks, the largest dial told from a part of it
_SETTLED = 0.012  # dial radii: a look that moves the outline by less was the last
_EIGHTHS = np.arange(16) * (np.pi / 8)
_REACHES = (0.014, 0.007)  # dial radii to either side, in which the edge is followed
_MOST_MOVED = 0.012  # dial radii, mean, by which following may move the outline


@dataclass(frozen=True)
class NoDial:
    """No dial was found; false in a condition.

    reason : in words, fit to follow "no dial: ".
    """

    reason: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, eq=False)
class Found:
    """A dial in a photograph.

    geometry : the outline, rotation 0. look : the last, square one. agreement : dial radii, mean distance of the two
    ways the outline is told. moved : dial radii, by how much the last look moved it. terms : see
    model.reader.file.outline_terms. certainty : 0..1 that it is right to 2 % of the radius.
    """

    geometry: DialGeometry
    look: Look
    agreement: float
    moved: float
    terms: tuple[float, ...]
    certainty: float


def find_outline(photo: Photo, reader: Reader, first: Look | None = None) -> Found | NoDial:
    """Where the dial of a photograph ends, at least LEAST_OUTLINE of it in the frame.

    first : the look at the whole photograph, where there has been one.
    """
    shape = photo.codes.shape[:2]
    if min(shape) < 32:
        return NoDial(f"the picture is only {min(shape)} px on its short side; give a larger photograph")
    first = first or first_look(photo.codes, reader)
    start = first.outline(shape) or first.placed(shape)
    if start is None:
        return NoDial("nothing in the picture looks like a dial")
    current = first.in_photo(start)
    wider = False
    for number in range(1, _MOST_LOOKS + 1):
        look = square_look(photo.codes, current, reader)
        seen = share_in_frame(current, shape)
        told, placed = look.outline(shape), look.placed(shape)
        own = told if told is not None and seen >= LEAST_OUTLINE else (placed or told)
        if own is None or max(own.axes) > _FURTHEST * SQUARE:
            if not wider and number < _MOST_LOOKS:  # a small dial may have been missed by the first look
                a, b = current.axes
                current, wider, own = Ellipse(current.center, (1.35 * a, 1.35 * b), current.angle), True, None
                continue
            own = None
            break
        following = look.in_photo(own)
        moved = apart(current, following)
        current = following
        if moved < _SETTLED:
            break
    if own is None:
        return NoDial("something round is in the picture, but a second look at it shows no dial")
    if look.make[Make.NONE] > NO_DIAL:
        return NoDial(LIKE_NO_DIAL)
    if min(current.axes) < FLATTEST * max(current.axes):  # each look may have flattened it a little
        return NoDial(
            "something round is in the picture, but it is seen too much from the side; photograph it square on"
        )
    agreement = 1.0 if told is None or placed is None else apart(look.in_photo(told), look.in_photo(placed))
    geometry = followed(photo.grey, current)
    terms = outline_terms(agreement, moved, geometry.seen, geometry.support, *look.border(shape, own))
    logit = sum(weight * term for weight, term in zip(reader.certainty.outline, terms, strict=True))
    if geometry.pixels_across < SMALLEST_DIAL:
        return NoDial(f"the dial is only {geometry.pixels_across:.0f} px across; give a larger photograph")
    if geometry.seen < 0.05:
        return NoDial("what looks like a dial lies almost wholly outside the picture")
    return Found(geometry, look, agreement, moved, terms, 1 / (1 + math.exp(-max(min(logit, 30.0), -30.0))))


def followed(grey: NDArray[np.float32], outline: Ellipse) -> DialGeometry:
    """The outline moved onto the edge it lies along, where there is one; as it is elsewhere. grey : linear light."""
    seen = share_in_frame(outline, grey.shape)
    refined = _refine(grey, outline) if seen >= LEAST_OUTLINE else None
    support = 0.0
    if refined is not None and apart(outline, refined[0]) < _MOST_MOVED:
        outline, support = refined
    return DialGeometry(outline.center, outline.axes, outline.angle % math.pi, 0.0, seen, support)


def apart(one: Ellipse, other: Ellipse) -> float:
    """Mean distance of two outlines, in radii of the first."""
    return float(np.mean(one.distances(other.points(_EIGHTHS)))) / math.sqrt(one.axes[0] * one.axes[1])


def ellipse_of(geometry: DialGeometry) -> Ellipse:
    """The outline of a geometry."""
    return Ellipse(geometry.center_px, geometry.axes_px, geometry.angle)


def share_in_frame(outline: Ellipse, shape: tuple[int, ...]) -> float:
    """Share of the outline's turn that lies in the frame."""
    turn = np.arange(180) * (np.pi / 90)
    points = outline.points(turn)
    return float(((points > 0) & (points < np.array(shape[1::-1]))).all(axis=1).mean())


def _refine(grey: NDArray[np.float32], start: Ellipse) -> tuple[Ellipse, float] | None:
    """Follow the edge at full resolution in two narrowing bands; the ellipse and the supported share of the turn."""
    current, support = start, 0.0
    for reach in _REACHES:
        radius = math.sqrt(current.axes[0] * current.axes[1])
        reach = max(reach, 2.0 / radius)
        points, ordered = _edge_points(grey, current, reach)
        fit = fit_ellipse(points, max(0.25 * reach * radius, 0.8), draws=80)
        if fit is None:
            return None
        current = fit[0]
        support = float(fit[1].sum()) / ordered
    return (current, support) if support > 0.5 else None


def _edge_points(grey: NDArray[np.float32], disc: Ellipse, reach: float) -> tuple[Floats, int]:
    """Points of steepest fall of light across the outline within +-reach radii, and how many were looked for."""
    height, width = grey.shape
    radius = math.sqrt(disc.axes[0] * disc.axes[1])
    directions = 720 if radius > 250 else 360
    turn = np.arange(directions) * (2 * np.pi / directions)
    rays = disc.points(turn) - np.asarray(disc.center)
    steps = int(np.clip(round(2 * reach * radius), 8, 80))
    radii = 1 + np.linspace(-reach, reach, steps)
    places = np.asarray(disc.center) + radii[None, :, None] * rays[:, None, :]
    x, y = places[..., 0], places[..., 1]
    seen = np.all((x > 1) & (y > 1) & (x < width - 1) & (y < height - 1), axis=1)
    places = places[seen]
    if len(places) < 5:
        return np.empty((0, 2)), 1
    # in linear light a blurred step is steepest at the step itself
    light: NDArray[Any] = sample_points(grey, places)
    # smoothed across the edge and, further, along it: grain must not decide
    light = cv2.GaussianBlur(light, (0, 0), sigmaX=max(0.02 * steps, 0.8), sigmaY=2.0)
    slope = np.abs(light[:, :-2] - light[:, 2:])
    peak = np.clip(slope.argmax(axis=1), 1, slope.shape[1] - 2)
    row = np.arange(len(slope))
    before, here, after = slope[row, peak - 1], slope[row, peak], slope[row, peak + 1]
    bend = before - 2 * here + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0.0)
    found = radii[peak + 1] + np.clip(shift, -0.5, 0.5) * (radii[1] - radii[0])
    strong = here > 0.25 * np.median(here)
    points = np.asarray(disc.center) + found[:, None] * rays[seen]
    return points[strong], len(points)
