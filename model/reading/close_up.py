"""A close-up of a part of a dial: where the whole dial would lie, told from the arc of its edge.

The reader says of every pixel where on the dial it lies, which gives the dial's centre, size and tilt roughly; the arc
of the enamel's edge, some of which must be in the frame, gives centre and size well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.ellipse import Ellipse
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.looks import Look
from dialtell.model.reading.scale import Scale

Floats = NDArray[np.float64]

PLACE_SPREAD = 0.067  # SD of ln radius of a place found, 180 drawn close-ups
LEAST_ARC = 0.14  # of the turn, that the edge must show
_ASTRAY = 0.25  # dial radii, or ln radius, by which the arc may move what the reader said
_PULL = 0.02  # of the reader's own word against the arc's points
_SECTORS = 72


@dataclass(frozen=True)
class DialPlace:
    """Where a close-up lies on its dial.

    geometry : of the whole dial, photo px, no rotation. arc : share of the turn whose edge is seen.
    """

    geometry: DialGeometry
    arc: float


@dataclass(frozen=True)
class CloseUp:
    """What is known of a close-up. place : on the dial, None where it is not known. scale : and how sure of it."""

    place: DialPlace | None
    scale: Scale


def unnamed_geometry(shape: tuple[int, ...], pixels_per_radius: float) -> DialGeometry:
    """A frame (H, W) whose place on the dial is not known, at a scale: a circle about its middle."""
    return DialGeometry((0.5 * shape[1], 0.5 * shape[0]), (pixels_per_radius, pixels_per_radius))


def frame_geometry(shape: tuple[int, ...]) -> DialGeometry:
    """A circle that holds the whole frame, for the density before anything is known."""
    return unnamed_geometry(shape, 0.55 * math.hypot(shape[0], shape[1]))


def find_place(shape: tuple[int, ...], look: Look) -> DialPlace | None:
    """Where the dial lies of which a photograph shows a part, or None where no arc of its edge tells.

    shape : (H, W) of the photograph. look : the reader's, at the whole of it.
    """
    rough, rim = look.placed(shape), look.rim(shape)
    if rough is None or rim is None:
        return None
    # the outline's shape as the reader has it, made a circle: centre and size are then three numbers
    matrix = rough.root
    points = np.linalg.solve(matrix, (rim - np.asarray(rough.center)).T).T
    fit = _circle(points)
    if fit is None:
        return None
    middle, radius = fit
    away = points - middle
    on = np.abs(np.hypot(*away.T) - radius) < 0.02 * radius
    sector = (np.arctan2(away[on, 1], away[on, 0]) / (2 * np.pi) % 1.0 * _SECTORS).astype(int)
    arc = len(np.unique(sector)) / _SECTORS
    if arc < LEAST_ARC or np.hypot(*middle) > _ASTRAY or abs(math.log(radius)) > _ASTRAY:
        return None
    x, y = np.asarray(rough.center) + matrix @ middle
    a, b = rough.axes
    found = look.in_photo(Ellipse((float(x), float(y)), (radius * a, radius * b), rough.angle))
    return DialPlace(DialGeometry(found.center, found.axes, found.angle % math.pi, seen=arc), arc)


def _circle(points: Floats) -> tuple[Floats, float] | None:
    """Centre and radius of the circle that most of (N, 2) points lie on, those far off counting little, and drawn a
    little towards the unit circle: a short arc alone says little of how far off its centre is."""
    pull = math.sqrt(_PULL * len(points)) * np.eye(3)
    terms = np.concatenate([np.column_stack([points, np.ones(len(points))]), pull])
    square = np.concatenate([(points**2).sum(axis=1), pull @ (0.0, 0.0, 1.0)])
    trust = np.ones(len(terms))
    middle, radius = np.zeros(2), 1.0
    for _ in range(6):
        weight = np.sqrt(trust)
        solved, *_ = np.linalg.lstsq(terms * weight[:, None], square * weight, rcond=None)
        middle = 0.5 * solved[:2]
        level = float(solved[2] + middle @ middle)
        if not level > 0:
            return None
        radius = math.sqrt(level)
        away = np.abs(np.hypot(*(points - middle).T) - radius)
        reach = max(4.685 * 1.4826 * float(np.median(away)), 0.004)
        trust[: len(points)] = np.where(away < reach, (1 - (away / reach) ** 2) ** 2, 0.0) + 1e-6
    return middle, radius
