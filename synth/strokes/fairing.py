"""Round shapes made round again for close views, where the few samples they are kept as would show as corners."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from dialtell.synth.strokes.paint import Paint

MOST_SAMPLES = 32  # of a run that may be a dot; others have samples enough
ROUNDNESS = 0.15  # relative SD of the radius up to which a run counts as round: lozenges and wedges are beyond
STEPS = 33  # samples of a dot as drawn


def rounded(paint: Paint) -> Paint:
    """The paint with every dot as STEPS samples along its circle or ellipse; all else as it was."""
    first = np.flatnonzero(~paint.follows)
    count = np.diff(np.append(first, len(paint.follows)))
    wide = np.hypot(*(paint.left - paint.right).T)
    closed = (wide[first] < 1e-9) & (wide[first + count - 1] < 1e-9) & (count <= MOST_SAMPLES) & (count >= 6)
    turned = {index: dot for index in np.flatnonzero(closed) if (dot := _dot(paint, first[index], count[index]))}
    if not turned:
        return paint
    columns: dict[str, list[np.ndarray]] = {field.name: [] for field in fields(Paint)}
    done = 0
    for index, dot in turned.items():
        for name, parts in columns.items():
            values = getattr(paint, name)
            parts += [values[done : first[index]], getattr(dot, name)]
        done = first[index] + count[index]
    for name, parts in columns.items():
        parts.append(getattr(paint, name)[done:])
    return Paint(**{name: np.concatenate(parts) for name, parts in columns.items()})


def _dot(paint: Paint, first: int, count: int) -> Paint | None:
    """The run as a dot; None where it is none."""
    run = slice(first, first + count)
    left, right = paint.left[run], paint.right[run]
    middle, across = 0.5 * (left + right), 0.5 * (left - right)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(middle, axis=0).T))])
    if along[-1] < 1e-6:
        return None
    turn = np.arccos(1.0 - 2.0 * along / along[-1])
    inner = np.sin(turn) > 0.2
    radius = across[inner] / np.sin(turn[inner])[:, None]
    size = np.hypot(*radius.T)
    if inner.sum() < 4 or size.std() > ROUNDNESS * size.mean():
        return None
    angle = np.linspace(0.0, np.pi, STEPS)

    def at(values: np.ndarray, places: np.ndarray, wanted: np.ndarray) -> np.ndarray:
        return np.stack([np.interp(wanted, places, values[:, axis]) for axis in (0, 1)], axis=1)

    centre = at(middle, along, 0.5 * along[-1] * (1.0 - np.cos(angle)))
    reach = at(radius, turn[inner], angle) * np.sin(angle)[:, None]
    nearest = first + np.minimum(np.searchsorted(turn, angle), count - 1)
    return Paint(
        centre + reach, centre - reach, np.interp(angle, turn, paint.density[run]), paint.cue[nearest],
        paint.ink[nearest], paint.zone[nearest], paint.stroke[nearest], np.arange(STEPS) > 0,
    )  # fmt: skip
