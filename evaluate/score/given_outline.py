"""Judging within an outline that is known, in place of the one found."""

from __future__ import annotations

import math
import os
from typing import NamedTuple

from dialtell.model.net.resolution import Resolution, resolution_of
from dialtell.model.net.verdict import Verdict, judge
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import MAX_PIXELS
from dialtell.model.reading.photo import read_photo
from dialtell.model.reading.steps import read_at
from dialtell.train.photographs.labels import LabelledOutline


class Judged(NamedTuple):
    """A verdict and the resolution it rests on."""

    verdict: Verdict
    resolution: Resolution


def judge_within(
    path: str | os.PathLike[str],
    outline: LabelledOutline,
    weights: Weights,
    *,
    diameter_mm: float | None = None,
    max_pixels: int = MAX_PIXELS,
) -> Judged:
    """As score_photo judges, but within the outline given. Raises PhotoError naming the file and the remedy."""
    photo = read_photo(path, max_pixels=max_pixels)
    reading = read_at(photo.grey, geometry_of(outline))
    resolution = resolution_of(reading, weights.record, diameter_mm)
    return Judged(judge(reading.patches, weights, withheld=not resolution.carries_strokes), resolution)


def geometry_of(outline: LabelledOutline) -> DialGeometry:
    """The labelled outline as the reading takes it, 12 o'clock up."""
    return DialGeometry((outline.cx, outline.cy), (outline.a, outline.b), math.radians(outline.degrees))
