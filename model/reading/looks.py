"""The reader's looks at a photograph: the whole of it reduced, then the dial with its outline made a circle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reader.file import Reader
from dialtell.model.reading.ellipse import Ellipse, fit_ellipse
from dialtell.model.reading.photo import Codes
from dialtell.synth.shared.look_sizes import PADDING, SIDE, SQUARE
from dialtell.synth.shared.terms import MAKES, Make

Floats = NDArray[np.float64]
Logits = NDArray[np.float32]

_SMALLEST = 4.0  # px of a look, radius of the smallest outline followed
_UNSURE = 2.2  # logits either way: between a tenth and nine tenths
_FINER = 3  # times finer than the net's map the outline is drawn
FLATTEST = 0.3  # b / a of an outline accepted


@dataclass(frozen=True, eq=False)
class Look:
    """What the reader says of one picture.

    onto : (2, 3) photo px to look px. names : (len(SEEN), SIDE, SIDE) logits of what every pixel shows. inside : (SIDE
    / 2, SIDE / 2) logits of lying within the outline. where : (2, SIDE / 2, SIDE / 2) place on the dial, its outline
    made a circle. make : probability of each of MAKES. turn : (TURNS,) probability of each direction of 12 o'clock,
    clockwise from up, of a square look; None else.
    """

    onto: Floats
    names: Logits
    inside: Logits
    where: Logits
    make: dict[Make, float]
    turn: Floats | None

    @cached_property
    def seen(self) -> NDArray[np.uint8]:
        """(SIDE, SIDE) index into SEEN, the likeliest."""
        best, found = self.names[0].copy(), np.zeros(self.names.shape[1:], np.uint8)
        for index, logits in enumerate(self.names[1:], 1):  # many times as fast as argmax across planes
            np.copyto(found, np.uint8(index), where=logits > best)
            np.maximum(best, logits, out=best)
        return found

    def rim(self, shape: tuple[int, ...]) -> Floats | None:
        """(N, 2) look px round the border of the largest inside, where the photograph's frame does not cut it; None
        where there is too little of it.

        shape : (H, W) of the photograph.
        """
        logits = self.inside
        count, label = cv2.connectedComponents((logits > 0).astype(np.uint8))
        if count < 2:
            return None
        weight = np.bincount(label.ravel(), weights=(1 / (1 + np.exp(-np.clip(logits, -30, 30)))).ravel())
        weight[0] = 0.0
        own = np.where(label == int(weight.argmax()), logits, np.minimum(logits, -1.0)).astype(np.float32)
        side = len(own) * _FINER
        fine = cv2.resize(own, (side, side), interpolation=cv2.INTER_LINEAR)
        contours, _ = cv2.findContours((fine > 0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        points = (max(contours, key=cv2.contourArea)[:, 0, :].astype(np.float64) + 0.5) * (SIDE / side)
        free = self._well_within(points, shape, 2.5)
        step = max(int(free.sum()) // 400, 1)
        return points[free][::step] if free.sum() >= 12 else None

    def _well_within(self, points: Floats, shape: tuple[int, ...], margin: float) -> NDArray[np.bool_]:
        """Which of (N, 2) look px lie in look and photograph, so many look px from either's border."""
        photo, edge = self.to_photo(points), margin * self.photo_px
        inside = (photo > edge) & (photo < np.array(shape[1::-1]) - edge)
        return np.asarray((inside & (points > margin) & (points < SIDE - margin)).all(axis=1))

    def outline(self, shape: tuple[int, ...]) -> Ellipse | None:
        """The dial's outline in look px from the border of its inside; None where there is none that is an ellipse.

        shape : (H, W) of the photograph.
        """
        points = self.rim(shape)
        if points is None:
            return None
        radius = math.sqrt(max(4.0 * float((self.inside > 0).sum()) / math.pi, 1.0))
        fit = fit_ellipse(points, max(0.02 * radius, 1.0), draws=50, roundness=FLATTEST)
        if fit is None or min(fit[0].axes) < _SMALLEST:
            return None
        # contours run through the outermost pixels of the inside: half a fine pixel within the border
        a, b = (axis + 1.0 / _FINER for axis in fit[0].axes)
        return Ellipse(fit[0].center, (a, b), fit[0].angle)

    def placed(self, shape: tuple[int, ...]) -> Ellipse | None:
        """The outline in look px from where the pixels inside say they lie: also where little of it is in the frame.

        shape : (H, W) of the photograph.
        """
        rows, columns = np.nonzero(self.inside > 0)
        points = np.stack([2.0 * columns + 1.0, 2.0 * rows + 1.0], axis=1)
        chosen = self._well_within(points, shape, 1.0)
        if chosen.sum() < 30:
            return None
        (x, y), rows, columns = points[chosen].T, rows[chosen], columns[chosen]
        terms = np.stack([x, y, np.ones_like(x)], axis=1)
        told = self.where[:, rows, columns].T.astype(np.float64)
        trust = np.ones(len(x))
        for _ in range(3):  # what disagrees with the rest counts less
            root = np.sqrt(trust)[:, None]
            found = np.linalg.lstsq(terms * root, told * root, rcond=None)[0]
            away = np.hypot(*(told - terms @ found).T)
            trust = 1.0 / np.maximum(away / max(float(np.median(away)), 1e-6), 1.0)
        inverse, shift = found[:2].T, found[2]
        if abs(np.linalg.det(inverse)) < 1e-9:
            return None
        matrix = np.linalg.inv(inverse)
        centre = -matrix @ shift
        values, vectors = np.linalg.eigh(matrix @ matrix.T)
        if not values[0] > 0 or values[0] < FLATTEST**2 * values[1]:
            return None
        return Ellipse(
            (float(centre[0]), float(centre[1])), (math.sqrt(values[1]), math.sqrt(values[0])),
            math.atan2(vectors[1, 1], vectors[0, 1]),
        )  # fmt: skip

    def border(self, shape: tuple[int, ...], outline: Ellipse) -> tuple[float, float]:
        """How broad the border of the inside is, half-size px, and the share of the outline's area by which the inside
        is not that ellipse, of what lies in the photograph. shape : (H, W) of the photograph."""
        side = len(self.inside)
        columns, rows = np.meshgrid(2.0 * np.arange(side) + 1.0, 2.0 * np.arange(side) + 1.0)
        points = np.stack([columns.ravel(), rows.ravel()], axis=1)
        place = np.linalg.solve(outline.root, (points - np.asarray(outline.center)).T)
        within = (np.hypot(*place) < 1.0).reshape(side, side)
        there = self._well_within(points, shape, 1.0).reshape(side, side)
        unsure = np.abs(self.inside) < _UNSURE
        round_ = math.pi * 0.5 * (outline.axes[0] + outline.axes[1])  # of the outline, half-size px
        ragged = ((self.inside > 0) != within) & there
        return float((unsure & there).sum()) / round_, float(ragged.sum()) / max(float((within & there).sum()), 1.0)

    @property
    def photo_px(self) -> float:
        """Photo px of one look px."""
        return 1.0 / math.sqrt(abs(float(np.linalg.det(self.onto[:, :2]))))

    def to_photo(self, points: Floats) -> Floats:
        """(..., 2) look px to photo px."""
        return np.asarray((points - self.onto[:, 2]) @ np.linalg.inv(self.onto[:, :2]).T)

    def in_photo(self, outline: Ellipse) -> Ellipse:
        """An outline of this look in photo px."""
        back = np.asarray(np.linalg.inv(self.onto[:, :2]), np.float64)
        return carried(outline, back, -back @ self.onto[:, 2])


def carried(outline: Ellipse, matrix: Floats, shift: Floats) -> Ellipse:
    """An ellipse moved by an affine map."""
    own = matrix @ outline.root
    values, vectors = np.linalg.eigh(own @ own.T)
    x, y = matrix @ np.asarray(outline.center) + shift
    return Ellipse(
        (float(x), float(y)), (math.sqrt(values[1]), math.sqrt(values[0])), math.atan2(vectors[1, 1], vectors[0, 1])
    )


def first_look(codes: Codes, reader: Reader) -> Look:
    """The whole photograph, its longer side SIDE px. codes : (H, W[, 3]) sRGB code values, 8 or 16 bit."""
    height, width = codes.shape[:2]
    scale = SIDE / max(height, width)
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    small = _colour(codes, size)
    picture = np.full((SIDE, SIDE, 3), PADDING, np.uint8)
    picture[: size[1], : size[0]] = small
    onto = np.array([[size[0] / width, 0.0, 0.0], [0.0, size[1] / height, 0.0]])
    return _looked(picture, onto, reader, turn=False)


def square_look(codes: Codes, outline: Ellipse, reader: Reader, *, turn: bool = True) -> Look:
    """The dial with its outline, photo px, made a circle of SQUARE px in the middle; not turned.

    turn : whether to say where 12 o'clock stands, a third of the reader's work here.
    """
    height, width = codes.shape[:2]
    matrix = SQUARE * np.linalg.inv(outline.root)
    onto = np.column_stack([matrix, SIDE / 2 - matrix @ np.asarray(outline.center)])
    corners = (np.array([[0.0, 0.0], [SIDE, 0.0], [SIDE, SIDE], [0.0, SIDE]]) - onto[:, 2]) @ np.linalg.inv(matrix).T
    low = np.clip(np.floor(corners.min(axis=0)) - 2, 0, [width - 1, height - 1]).astype(int)
    high = np.clip(np.ceil(corners.max(axis=0)) + 2, low + 1, [width, height]).astype(int)
    crop = codes[low[1] : high[1], low[0] : high[0]]
    # reduced first, so that nothing finer than the look's px aliases
    share = min(1.0, SQUARE / min(outline.axes))
    size = (max(round(crop.shape[1] * share), 1), max(round(crop.shape[0] * share), 1))
    small = _colour(crop, size)
    back = np.diag([crop.shape[1] / size[0], crop.shape[0] / size[1]])
    whole = matrix @ back
    first = onto[:, 2] + matrix @ low + whole @ np.array([0.5, 0.5]) - 0.5
    picture = cv2.warpAffine(
        small, np.column_stack([whole, first]), (SIDE, SIDE), flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=(PADDING,) * 3,
    )  # fmt: skip
    return _looked(np.asarray(picture, np.uint8), onto, reader, turn=turn)


def _colour(codes: Codes, size: tuple[int, int]) -> NDArray[np.uint8]:
    """(H, W, 3) 8 bit, at another size."""
    way = cv2.INTER_AREA if size[0] < codes.shape[1] else cv2.INTER_LINEAR
    small = cv2.resize(codes, size, interpolation=way)
    if small.dtype != np.uint8:
        small = np.right_shift(np.asarray(small, np.uint16), 8).astype(np.uint8)
    return np.asarray(cv2.merge([small] * 3) if small.ndim == 2 else small, np.uint8)


def _looked(picture: NDArray[np.uint8], onto: Floats, reader: Reader, *, turn: bool) -> Look:
    glance = reader.looks(picture, turn)
    make = dict(zip(MAKES, _shares(glance.make).tolist(), strict=True))
    told = None if glance.turn is None else _shares(glance.turn)
    return Look(onto, glance.seen, glance.inside, glance.where, make, told)


def _shares(logits: Logits) -> Floats:
    """Probabilities, adding to 1."""
    odds = np.exp(logits.astype(np.float64) - logits.max())
    return np.asarray(odds / odds.sum())
