"""Light things with marks that are not round, each (sketch, rng, ground, mark, accent), half as wide as 1."""

from __future__ import annotations

import numpy as np

from dialtell.synth.photograph.texture import Colour
from dialtell.synth.settings.round_things import Painter
from dialtell.synth.settings.sketch import Floats, Sketch, alphabet, blob, near, set_signs


def box(left: float, top: float, right: float, bottom: float) -> Floats:
    """(4, 2) corners."""
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def ruler(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A ruler or a tape with divisions and figures."""
    tall, pace = rng.uniform(0.15, 0.4), rng.uniform(0.12, 0.35)
    sketch.shapes([box(-1.6, -tall, 1.6, tall)], ground)
    fine = int(rng.choice([4, 8, 10]))
    steps = np.arange(-1.55, 1.55, pace / fine)
    for rank, long in ((fine, 0.6), (fine // 2, 0.42), (1, 0.28)):
        sketch.lines([np.array([[x, -tall], [x, -tall + long * tall]]) for x in steps[::rank]], 0.01, mark)
    for index, x in enumerate(steps[::fine]):
        sketch.number(index + 1, (float(x), 0.1 * tall), 0.4 * min(tall, pace), mark)


def keyboard(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """Keys in rows with a sign on each, or a piano's."""
    if rng.random() < 0.3:
        sketch.shapes([box(-1.5, -0.7, 1.5, 0.7)], near(rng, (0.75, 0.74, 0.7), 0.1))
        edges = np.linspace(-1.5, 1.5, int(rng.integers(10, 22)))
        sketch.lines([np.array([[x, -0.7], [x, 0.7]]) for x in edges], 0.012, (0.03, 0.03, 0.03))
        half = 0.3 * (edges[1] - edges[0])
        black = [box(x - half, -0.7, x + half, 0.15) for index, x in enumerate(edges) if index % 7 not in (0, 3)]
        sketch.shapes(black, (0.01, 0.01, 0.01))
        return
    rows, pace = int(rng.integers(4, 6)), rng.uniform(0.2, 0.34)
    sketch.shapes([box(-1.5, -0.6 * rows * pace, 1.5, 0.6 * rows * pace)], near(rng, ground, 0.5))
    signs = alphabet(rng)
    keys, labels = [], []
    for row in range(rows):
        for x in np.arange(-1.4 + 0.3 * pace * row, 1.4 - pace, pace):
            y = (row - 0.5 * rows) * pace
            keys.append(box(x, y, x + 0.86 * pace, y + 0.86 * pace))
            labels.append((x + 0.4 * pace, y + 0.4 * pace))
    sketch.shapes(keys, ground)
    chosen = [signs[index] for index in rng.integers(0, len(signs), len(labels))]
    sketch.lines(set_signs(chosen, np.array(labels), 0.4 * pace, np.zeros(len(labels))), 0.02, mark)


def page(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A page, a card or a stamp of print with a heading and perhaps a picture."""
    wide, tall = rng.uniform(0.7, 1.2), rng.uniform(0.7, 1.3)
    sketch.shapes([box(-wide, -tall, wide, tall)], ground)
    signs = alphabet(rng)
    size = rng.uniform(0.05, 0.1)
    y = -0.85 * tall
    if rng.random() < 0.5:
        sketch.shapes([box(-0.8 * wide, y, 0.8 * wide, y + 0.5 * tall)], accent)
        y += 0.6 * tall
    places: list[tuple[float, float]] = []
    while y < 0.85 * tall and len(places) < 240:
        end = 0.85 * wide if rng.random() < 0.8 else rng.uniform(-0.3, 0.8) * wide
        places += [(float(x), y) for x in np.arange(-0.85 * wide, end, 0.9 * size) if rng.random() > 0.17]
        y += 1.8 * size
    if places:
        chosen = [signs[index] for index in rng.integers(0, len(signs), len(places))]
        sketch.lines(set_signs(chosen, np.array(places), size, np.zeros(len(places))), 0.012, mark)


def calendar(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A calendar's sheet, a bingo card or a scoring table: figures in squares."""
    sketch.shapes([box(-1.0, -1.0, 1.0, 1.0)], ground)
    sketch.shapes([box(-1.0, -1.0, 1.0, -0.65)], accent)
    columns, rows = int(rng.integers(5, 8)), int(rng.integers(4, 6))
    shift = int(rng.integers(0, columns))
    for value in range(1, min(columns * rows - shift, 31) + 1):
        row, column = divmod(value - 1 + shift, columns)
        at = (-0.85 + 1.7 * column / (columns - 1), -0.5 + 1.4 * row / (rows - 1))
        sketch.number(value, at, 0.13, accent if column == columns - 1 else mark)
    if rng.random() < 0.5:
        sketch.lines([np.array([[-1.0, y], [1.0, y]]) for y in np.linspace(-0.65, 1.0, rows + 1)], 0.01, mark)


def domino(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """Dominoes or dice with their pips."""
    spots = {1: [4], 2: [0, 8], 3: [0, 4, 8], 4: [0, 2, 6, 8], 5: [0, 2, 4, 6, 8], 6: [0, 2, 3, 5, 6, 8]}
    for x in np.linspace(-0.6, 0.6, int(rng.integers(1, 4))):
        sketch.shapes([box(x - 0.27, -0.55, x + 0.27, 0.55)], near(rng, ground, 0.1))
        sketch.lines([np.array([[x - 0.25, 0.0], [x + 0.25, 0.0]])], 0.02, mark)
        for y in (-0.275, 0.275):
            for spot in spots[int(rng.integers(1, 7))]:
                at = np.array([x + 0.16 * (spot % 3 - 1), y + 0.16 * (spot // 3 - 1)])
                sketch.shapes([blob(rng, 12, 0.0) * 0.055 + at], mark)


PAINTERS: dict[str, Painter] = {
    "ruler": ruler,
    "keyboard": keyboard,
    "page": page,
    "calendar": calendar,
    "domino": domino,
}
