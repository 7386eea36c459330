"""The dial's outline from points clicked on its rim: the ellipse of direct least squares.

Fitzgibbon, Pilu and Fisher's fit (PAMI 21, 1999): always an ellipse, and through all points when they lie on one.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from dialtell.model.reading.known import Outline
from dialtell.synth.shared.errors import ParameterError

FEWEST, MOST = 5, 200
_FLATTEST = 0.3  # b / a: a dial seen from 73 degrees off its axis
_LARGEST = 4.0  # semi-axis, in longer sides of the photograph
_SMALLEST = 4.0  # semi-axis, px


def rim_ellipse(points: Sequence[Sequence[float]], width: int, height: int) -> Outline:
    """The ellipse through or near 5 to 200 points (x, y), px of a photograph of `width` by `height` px.

    Raises ParameterError when the points are too few, lie outside the photograph, or on no ellipse a dial can be.
    """
    if not FEWEST <= len(points) <= MOST:
        raise ParameterError(f"{len(points)} rim points; mark {FEWEST} to {MOST}")
    try:
        place = np.array([[float(x), float(y)] for x, y in points], dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ParameterError("rim points are no pairs of numbers; mark them again") from error
    if not np.isfinite(place).all() or (place < 0).any() or (place > (width, height)).any():
        raise ParameterError("a rim point lies outside the photograph; mark them on it")
    shift, scale = place.mean(axis=0), float(place.std()) or 1.0
    # single precision inside, hence the moderate numbers; points are not pixels, so no half-pixel to mind
    centre, lengths, degrees = cv2.fitEllipseDirect(((place - shift) / scale).astype(np.float32))
    (x, y), (first, second) = np.asarray(centre) * scale + shift, np.asarray(lengths) * scale / 2
    degrees = degrees if first >= second else degrees + 90
    a, b = max(first, second), min(first, second)
    sizes = np.array([x, y, a, b, degrees])
    if not np.isfinite(sizes).all() or b < _FLATTEST * a or not _SMALLEST <= a <= _LARGEST * max(width, height):
        raise ParameterError("these points lie on no dial's rim; spread them round it, or take the last one back")
    turned = (degrees + 90) % 180 - 90
    return Outline(*(round(float(value), 2) for value in (x, y, a, b, turned)))
