"""Where a close-up may lie on a dial: every pair of like features says one place, turn and scale, and the places that
many of them say are candidates.

A dial repeats itself: a tick is like sixty others, so a feature's best likeness is seldom the right one and no ratio of
best to second best (Lowe 2004) tells which is. Hence each feature votes for several places, and the vote is counted
over all of them (a Hough transform over similarities); what is found is judged elsewhere, by what is left over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Image = NDArray[np.float32]

MOST_FEATURES = 3000  # of a picture, the strongest
LIKE = 12  # places of the dial that a feature of the close-up votes for
SMALLEST = 2.5  # px, features smaller than this are noise
# how far two votes may lie apart and count as one: dial radii, ln scale, radians
APART = (0.06, 0.2, 0.18)
WIDER, FOR_AFFINE = 1.6, 6  # times as far, features of which an affine map is fitted to
GAIN = 1.3  # full density stands at 1 / 1.3 of white


@dataclass(frozen=True, eq=False)
class Features:
    """Features of one picture of ink. at : (N, 2) px, continuous. size : (N,) px. turn : (N,) radians clockwise.
    code : (N, 128) float32."""

    at: Floats
    size: Floats
    turn: Floats
    code: Image

    def __len__(self) -> int:
        return len(self.at)

    @cached_property
    def matcher(self) -> cv2.DescriptorMatcher:
        """Finds the features of this picture most like others."""
        found = cv2.BFMatcher(cv2.NORM_L2)
        found.add([self.code])
        return found


@dataclass(frozen=True, eq=False)
class Candidate:
    """A similarity from the close-up's px to the dial's. matrix : (2, 3), continuous px to dial radii. votes : their
    weight."""

    matrix: Floats
    votes: float


def features_of(ink: Image, seen: NDArray[np.bool_]) -> Features:
    """ink : (H, W) 0 bare enamel, 1 full density. seen : (H, W) where it is the dial's design."""
    picture = np.clip(ink * np.float32(255 / GAIN), 0, 255).astype(np.uint8)
    finder = cv2.SIFT.create(nfeatures=MOST_FEATURES, contrastThreshold=0.015, edgeThreshold=20)
    points, code = finder.detectAndCompute(picture, seen.astype(np.uint8) * np.uint8(255))
    keep = [index for index, point in enumerate(points) if point.size >= SMALLEST]
    if not keep:
        return Features(np.empty((0, 2)), np.empty(0), np.empty(0), np.empty((0, 128), np.float32))
    chosen = [points[index] for index in keep]
    root = np.sqrt(code[keep] / np.maximum(code[keep].sum(axis=1, keepdims=True), 1e-6))  # Hellinger's distance
    return Features(
        np.array([point.pt for point in chosen]) + 0.5,
        np.array([point.size for point in chosen]),
        np.radians([point.angle for point in chosen]),
        np.asarray(root, np.float32),
    )


def candidates(field: Features, dial: Features, scale: float, middle: Floats, most: int) -> list[Candidate]:
    """The places on the dial that most features of a close-up say, the likeliest first.

    scale : px per dial radius of the dial's picture, whose middle is the dial's. middle : (2,) px of the close-up's.
    """
    if len(field) < 4 or len(dial) < 4:
        return []
    pairs = dial.matcher.knnMatch(field.code, k=min(LIKE, len(dial)))
    mine = np.array([[match.queryIdx for match in row] for row in pairs]).ravel()
    other = np.array([[match.trainIdx for match in row] for row in pairs]).ravel()
    away = np.array([[match.distance for match in row] for row in pairs]).ravel()
    on_dial = dial.at / scale - 1.0
    grow = dial.size[other] / field.size[mine] / scale  # dial radii per px of the close-up
    turn = dial.turn[other] - field.turn[mine]
    c, s = grow * np.cos(turn), grow * np.sin(turn)
    dx, dy = (middle - field.at[mine]).T
    place = on_dial[other] + np.stack([c * dx - s * dy, s * dx + c * dy], axis=1)
    # a chord of the unit circle is as long as the angle, where that is small
    space = np.column_stack(
        [place / APART[0], np.log(grow) / APART[1], np.cos(turn) / APART[2], np.sin(turn) / APART[2]]
    )
    weight = np.exp(-0.5 * (away / 0.35) ** 2)
    tree = cKDTree(space)
    near = tree.query_ball_point(space, 1.0)
    found: list[Candidate] = []
    votes = np.array([_votes(row, mine, weight) for row in near])
    for index in np.argsort(votes, kind="stable")[::-1]:
        if len(found) >= most:
            break
        if votes[index] <= 0:  # voted for what was found before
            continue
        row = np.array(near[index])
        w = weight[row] / weight[row].sum()
        x, y = w @ place[row]
        g = float(np.exp(w @ np.log(grow[row])))
        angle = math.atan2(w @ np.sin(turn[row]), w @ np.cos(turn[row]))
        votes[tree.query_ball_point(space[index], 1.0)] = 0.0
        linear = g * np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        found.append(Candidate(np.column_stack([linear, np.array([x, y]) - linear @ middle]), float(sum(w > 0))))
        wide = np.array(tree.query_ball_point(space[index], WIDER))
        if len(np.unique(mine[wide])) >= FOR_AFFINE:  # seen aslant, like features lie on an affine map
            affine, _ = cv2.estimateAffine2D(
                field.at[mine[wide]], on_dial[other[wide]], method=cv2.USAC_MAGSAC, ransacReprojThreshold=0.02
            )
            if affine is not None:
                found.append(Candidate(np.asarray(affine, np.float64), float(len(row))))
    return found


def _votes(row: list[int], mine: NDArray[np.int64], weight: Floats) -> float:
    """Weight of the votes in a row, of each feature its likest alone."""
    best: dict[int, float] = {}
    for index in row:
        one = int(mine[index])
        best[one] = max(best.get(one, 0.0), float(weight[index]))
    return sum(best.values())
