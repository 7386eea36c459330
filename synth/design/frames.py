"""Painted frames about the hour figures, spiral scales, and figures cut by the edge of a sub-dial."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from dialtell.synth.shared.groundwork import outline_of
from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.stroke import Item, Stroke

FRAME_POINTS = 49


@dataclass(frozen=True)
class Frames:
    """A line about each hour figure.

    shape : one of groundwork.PLAQUES. at, wide, high : radii (half widths). line_mm : width. double : with a second.
    """

    shape: str
    at: float
    wide: float
    high: float
    line_mm: float
    double: bool
    ink: int


@dataclass(frozen=True)
class Spiral:
    """A scale that winds inward. outer : radius of its beginning at 12; step : inward a turn; radii. ticks : a turn."""

    outer: float
    step: float
    turns: int
    ticks: int
    line_mm: float
    ink: int


def frame_items(frames: Frames, hours: Iterable[tuple[int, float]], radius: float) -> list[Item]:
    """One item a figure: `hours` are (number, angle) of those drawn; `radius` mm of the dial."""
    unit = outline_of(frames.shape, FRAME_POINTS)
    items = []
    for hour, angle in hours:
        right, outward = np.array([np.cos(angle), np.sin(angle)]), np.array([np.sin(angle), -np.cos(angle)])
        middle = frames.at * radius * outward
        strokes = []
        for line in range(2 if frames.double else 1):
            size = radius * (np.array([frames.wide, frames.high]) - 0.016 * line)
            path = middle + unit[:, :1] * size[0] * right + unit[:, 1:] * size[1] * outward
            width = np.full(len(path), frames.line_mm * (1.0, 0.5)[line])
            strokes.append(Stroke(path, width, float(width[0]), Kind.CURVE, f"frame/{frames.shape}/{line}"))
        where = float(middle[0]), float(middle[1])
        items.append(
            Item(tuple(strokes), Zone.NUMERALS, where, angle, 2 * frames.high * radius, "frame", frames.ink, hour)
        )
    return items


def spiral_items(spiral: Spiral, radius: float) -> list[Item]:
    """The line, one item a turn, and its ticks, to the outside; zone "other"."""
    items = []
    per_turn = np.linspace(0.0, 2 * np.pi, 181)
    for turn in range(spiral.turns):
        at = (spiral.outer - spiral.step * (turn + per_turn / (2 * np.pi))) * radius
        path = np.stack([at * np.sin(per_turn), -at * np.cos(per_turn)], axis=1)
        line = Stroke(path, np.full(len(path), spiral.line_mm), spiral.line_mm, Kind.CURVE, f"spiral/{turn}")
        items.append(Item((line,), Zone.OTHER, (0.0, 0.0), 0.0, float(at[0]), "spiral", spiral.ink))
        for index in range(spiral.ticks):
            angle = 2 * np.pi * index / spiral.ticks
            foot = (spiral.outer - spiral.step * (turn + index / spiral.ticks)) * radius
            long = spiral.step * radius * (0.4 if index % 5 == 0 else 0.22)
            outward = np.array([np.sin(angle), -np.cos(angle)])
            path = np.stack([foot * outward, (foot + long) * outward])
            tick = Stroke(path, np.full(2, spiral.line_mm), spiral.line_mm, Kind.TICK, "spiral/tick")
            middle = (foot + 0.5 * long) * outward
            place = float(middle[0]), float(middle[1])
            items.append(Item((tick,), Zone.OTHER, place, angle, long, "spiral/tick", spiral.ink))
    return items


def cut_out(item: Item, x: float, y: float, radius: float) -> list[Item]:
    """What is left of an item outside a disc (mm); an empty list if nothing is.

    Strokes are cut to the points outside; what is left of one keeps its form's name with "/cut".
    """
    left: list[Stroke] = []
    for stroke in item.strokes:
        away = np.hypot(stroke.path[:, 0] - x, stroke.path[:, 1] - y)
        if away.min() > radius + stroke.nominal + (0.0 if len(stroke.path) > 7 else item.height):
            left.append(stroke)  # well clear, also between its points
            continue
        count = max(len(stroke.path), 40)
        along, fine = np.arange(len(stroke.path)), np.linspace(0, len(stroke.path) - 1, count)
        path = np.stack([np.interp(fine, along, stroke.path[:, axis]) for axis in (0, 1)], axis=1)
        width = np.interp(fine, along, stroke.width)
        outside = np.hypot(*(path - np.array([x, y])).T) > radius + 0.3 * width
        if outside.all():
            left.append(stroke)
            continue
        edges = np.flatnonzero(np.diff(np.concatenate([[False], outside, [False]]).astype(int)))
        for first, last in edges.reshape(-1, 2):
            if last - first >= 3 and np.hypot(*np.diff(path[first:last], axis=0).T).sum() > 0.5 * stroke.nominal:
                form = f"{stroke.form}/cut"
                part = width[first:last]
                left.append(Stroke(path[first:last], part, max(float(part.max()), 1e-3), stroke.kind, form))
    return [replace(item, strokes=tuple(left), group=f"{item.group}/cut")] if left else []
