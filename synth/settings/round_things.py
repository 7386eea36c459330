"""Round things of paper, glass, wood and paint, each (sketch, rng, ground, mark, accent), drawn at radius 1."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dialtell.synth.photograph.texture import Colour
from dialtell.synth.settings.sketch import Sketch, alphabet, blob, drawn_colour, near

Painter = Callable[[Sketch, np.random.Generator, Colour, Colour, Colour], None]
COUNTS = (5, 6, 7, 8, 9, 10, 14, 16, 18, 20, 24, 28, 32, 36, 40, 48, 50, 72, 80, 100)


def legend(
    sketch: Sketch, rng: np.random.Generator, radius: float, size: float, colour: Colour, *, whole: bool = False
) -> None:
    """Words on a ring or on a part of it."""
    signs = alphabet(rng)
    most = max(int(2 * np.pi * radius / (0.95 * size)), 3)
    count = most if whole else int(rng.integers(3, max(most // 2, 4) + 1))
    span = 360.0 if whole else count / most * 360.0
    inward = not whole and rng.random() < 0.3
    start = (180.0 if inward else 0.0) - 0.5 * span
    text = [signs[index] if rng.random() > 0.15 else np.zeros((1, 2)) for index in rng.integers(0, len(signs), count)]
    if inward:
        text = text[::-1]
    sketch.writing(text, radius, size, colour, start=start, span=span, inward=inward)


def title(sketch: Sketch, rng: np.random.Generator, y: float, size: float, colour: Colour) -> None:
    """A level line of words with its middle at (0, y)."""
    signs = alphabet(rng)
    count = int(rng.integers(3, 10))
    for index in range(count):
        stroke = (signs[int(rng.integers(len(signs)))] - 0.5) * (0.7 * size, size)
        sketch.lines([stroke + np.array([(index - 0.5 * (count - 1)) * 0.9 * size, y])], size / 8, colour)


def band(sketch: Sketch, rng: np.random.Generator, inner: float, outer: float, colours: list[Colour]) -> None:
    """One ring of ornament, of any of a dozen sorts."""
    wide, count = outer - inner, int(rng.choice(COUNTS))
    colour = colours[int(rng.integers(len(colours)))]
    middle, thick = 0.5 * (inner + outer), float(rng.uniform(0.008, 0.35)) * min(wide, 0.3)
    sort = rng.choice(
        [
            "ticks",
            "dots",
            "sectors",
            "petals",
            "words",
            "line",
            "lines",
            "teeth",
            "flat",
            "scrolls",
            "two ticks",
            "none",
        ]
    )
    if sort == "ticks":
        sketch.ticks(count, inner + 0.1 * wide, outer, thick, colour, start=rng.uniform(0, 30))
    elif sort == "two ticks":
        fine = int(rng.choice([4, 5, 8]))
        few = int(rng.choice([7, 8, 9, 10, 16, 20]))
        sketch.ticks(few * fine, inner + 0.5 * wide, outer, 0.4 * thick, colour)
        sketch.ticks(few, inner, outer, thick, colour)
    elif sort == "dots":
        size = min(0.35 * wide, 1.2 * inner / count + 0.01)
        sketch.around(blob(rng, 10, 0.0) * size - (0.0, middle), count, colour)
    elif sort == "sectors":
        half = np.pi / (2 * count)
        turn = np.linspace(-half, half, 4)
        way = np.stack([np.sin(turn), -np.cos(turn)], 1)
        sketch.around(np.concatenate([way * outer, way[::-1] * inner]), count, colour)
    elif sort in ("petals", "teeth"):
        half = min(np.pi * middle / count, wide) * rng.uniform(0.4, 0.9)
        turn = np.linspace(0, 2 * np.pi, 12) if sort == "petals" else np.array([0.0, 2.1, 4.2])
        sketch.around(np.stack([half * np.sin(turn), -middle - 0.5 * wide * np.cos(turn)], 1), count, colour)
    elif sort == "words":
        legend(sketch, rng, middle, min(0.75 * wide, 0.22), colour, whole=rng.random() < 0.5)
    elif sort == "line":
        sketch.circle(middle, thick, colour)
    elif sort == "lines":
        for radius in np.linspace(inner, outer, int(rng.integers(2, 6))):
            sketch.circle(float(radius), 0.2 * thick, colour)
    elif sort == "flat":
        sketch.circle(middle, wide, colour)
    elif sort == "scrolls":
        path = np.cumsum(rng.normal(0, 0.3, (6, 2)), axis=0)
        path = (path - path.mean(0)) / (np.ptp(path, axis=0).max() + 1e-6) * min(wide, 2 * np.pi * middle / count)
        turns = np.arange(min(count, 24)) * (2 * np.pi / min(count, 24))
        rotations = np.stack(
            [np.stack([np.cos(turns), np.sin(turns)], 1), np.stack([-np.sin(turns), np.cos(turns)], 1)], 1
        )
        sketch.lines(list((path - (0.0, middle)) @ rotations), 0.3 * thick, colour)


def bands(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """Rings of ornament on a disc: plates, mats, labels, medallions, no two alike."""
    sketch.disc(1.0, ground)
    if rng.random() < 0.25:  # scalloped
        count = int(rng.integers(12, 40))
        sketch.around(blob(rng, 12, 0.0) * (3.4 / count) - (0.0, 1.0), count, ground)
    colours = [mark, mark, accent, near(rng, ground, 0.5)]
    cuts = np.sort(rng.uniform(0.08, 1.0, int(rng.integers(1, 6))))
    for inner, outer in zip([0.0, *cuts], [*cuts, 1.0], strict=True):
        if outer - inner > 0.03 and inner > 0.05:
            band(sketch, rng, float(inner), float(outer), colours)
    centre = rng.choice(["none", "disc", "blob", "title", "hole"], p=[0.35, 0.2, 0.15, 0.2, 0.1])
    reach = float(cuts[0]) * 0.8
    if centre == "disc":
        sketch.disc(reach, colours[int(rng.integers(4))])
    elif centre == "blob":
        sketch.shapes([blob(rng, int(rng.integers(5, 30)), 0.5) * 0.7 * reach], colours[int(rng.integers(4))])
    elif centre == "title":
        title(sketch, rng, rng.uniform(-0.2, 0.2), max(0.25 * reach, 0.06), mark)
    elif centre == "hole":
        sketch.disc(min(reach, 0.3), mark, off=True)


def gauge(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A pressure gauge, thermometer or speedometer: part of a turn of marks and figures and one pointer."""
    case = drawn_colour(rng, 0.01, 0.7)
    sketch.disc(1.0, case)
    face = rng.uniform(0.8, 0.97)
    sketch.disc(face, near(rng, case, 0.7))
    sketch.disc(face - 0.02, ground)
    span = rng.uniform(90, 300)
    start = -0.5 * span + (0.0 if rng.random() < 0.85 else rng.uniform(-90, 90))
    steps, fine = int(rng.integers(4, 12)), int(rng.choice([2, 4, 5, 10]))
    outer, long = face * rng.uniform(0.8, 0.96), rng.uniform(0.05, 0.16)
    if rng.random() < 0.4:
        first = start + span * rng.uniform(0.5, 0.9)
        sketch.sector(outer - 0.5 * long, outer, first, start + span, accent)
    if rng.random() < 0.5:
        turn = np.radians(np.linspace(start, start + span, 60))
        sketch.lines([outer * np.stack([np.sin(turn), -np.cos(turn)], 1)], 0.01, mark)
    sketch.ticks(steps * fine + 1, outer - 0.6 * long, outer, 0.008, mark, start=start, span=span)
    sketch.ticks(steps + 1, outer - long, outer, rng.uniform(0.012, 0.035), mark, start=start, span=span)
    unit = int(rng.choice([1, 2, 5, 10, 20, 25, 50, 100]))
    size = min(rng.uniform(0.08, 0.16), 0.65 * np.radians(span) / steps / (2 if unit < 20 else 3))  # none touch
    values = [unit * index for index in range(steps + 1)]
    sketch.numbers(values, outer - long - 0.9 * size, size, mark, start=start, span=span, upright=rng.random() < 0.7)
    title(sketch, rng, rng.uniform(0.2, 0.55), rng.uniform(0.05, 0.1), mark)
    at = np.radians(start + span * rng.random())
    tip, tail, half = outer - rng.uniform(0, 0.2), rng.uniform(0.05, 0.3), rng.uniform(0.015, 0.05)
    needle = np.array([[-half, tail], [-half, 0.0], [-0.004, -tip], [0.004, -tip], [half, 0.0], [half, tail]])
    tone = accent if rng.random() < 0.4 else mark
    sketch.shapes([needle @ np.array([[np.cos(at), np.sin(at)], [-np.sin(at), np.cos(at)]])], tone)
    sketch.disc(rng.uniform(0.04, 0.14), near(rng, tone, 0.6))


def compass(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A compass rose: stars of points with a light and a dark half."""
    sketch.disc(1.0, ground)
    sketch.ticks(int(rng.choice([32, 36, 64, 72])), 0.88, 0.96, 0.01, mark)
    sketch.circle(0.97, 0.015, mark)
    for start, reach in ((22.5, 0.5), (45.0, 0.65), (0.0, 0.85)):
        count = 8 if start == 22.5 else 4
        waist = reach * rng.uniform(0.12, 0.22)
        side = np.array([[0.0, 0.0], [waist * 0.7, -waist * 0.7], [0.0, -reach]])
        sketch.around(side, count, mark, start=start)
        sketch.around(side * (-1.0, 1.0), count, accent if rng.random() < 0.5 else near(rng, ground, 0.3), start=start)
    signs = alphabet(rng, 4)
    sketch.writing(signs, 0.9, 0.15, mark, upright=rng.random() < 0.5)


def sign(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A traffic sign: a coloured border and a number, a bar or a picture."""
    edge = [(0.6, 0.02, 0.02), (0.02, 0.08, 0.5), (0.02, 0.02, 0.02), accent][
        int(rng.choice(4, p=[0.5, 0.2, 0.1, 0.2]))
    ]
    sketch.disc(1.0, near(rng, edge, 0.2))
    white = near(rng, (0.8, 0.8, 0.8), 0.15) if rng.random() < 0.7 else ground
    inner = rng.uniform(0.7, 0.9)
    if rng.random() < 0.85:
        sketch.disc(inner, white)
    kind = int(rng.integers(4))
    if kind == 0:
        sketch.number(int(rng.choice([5, 20, 30, 50, 80, 120])), (0.0, 0.0), rng.uniform(0.4, 0.7), mark)
    elif kind == 1:
        sketch.shapes(
            [np.array([[-0.6, -0.14], [0.6, -0.14], [0.6, 0.14], [-0.6, 0.14]])], white if white[0] < 0.5 else edge
        )
    elif kind == 2:
        sketch.shapes([blob(rng, int(rng.integers(4, 12)), 0.5) * 0.4], mark)
    if rng.random() < 0.4:
        sketch.lines([np.array([[-0.6, -0.6], [0.6, 0.6]])], 0.1, edge)


def target(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """Target rings, a dartboard or a roulette wheel."""
    sketch.disc(1.0, mark)
    colours = [ground, mark, accent, near(rng, ground, 0.3)][: int(rng.integers(2, 5))]
    if rng.random() < 0.5:
        for index, radius in enumerate(np.linspace(0.95, 0.1, int(rng.integers(3, 10)))):
            sketch.disc(float(radius), colours[index % len(colours)])
        return
    count, edge = int(rng.choice([8, 10, 16, 18, 20, 24, 36])), rng.uniform(0.72, 0.9)
    for ring, (inner, outer) in enumerate(((0.1, edge), (0.93 * edge, edge), (0.55 * edge, 0.62 * edge))):
        half = np.pi / count
        turn = np.linspace(-half, half, 5)
        way = np.stack([np.sin(turn), -np.cos(turn)], 1)
        piece = np.concatenate([way * outer, way[::-1] * inner])
        for step in range(2):
            tone = colours[(ring + step) % len(colours)]
            sketch.around(piece, count // 2, tone, start=step * 360.0 / count)
        if rng.random() < 0.4:
            break
    values = [int(value) for value in rng.permutation(count) + 1]
    sketch.numbers(
        values, 0.5 * (1 + edge), 0.5 * (1 - edge), ground, start=0.0, span=360.0, upright=rng.random() < 0.4
    )
    sketch.disc(0.1, accent)
    sketch.disc(0.05, mark)


def flower(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """Layers of petals about a middle."""
    turn = np.linspace(0, 2 * np.pi, 16)
    for reach in np.linspace(1.0, rng.uniform(0.3, 0.8), int(rng.integers(1, 5))):
        count = int(rng.integers(5, 22))
        half = min(np.pi * reach / count, 0.45) * rng.uniform(0.6, 1.1)
        pointed = np.abs(np.sin(0.5 * turn)) ** rng.uniform(0.0, 1.0)
        petal = np.stack([half * np.sin(turn) * pointed, -0.5 * reach - 0.5 * reach * np.cos(turn)], 1)
        for start in rng.permutation(count):
            tone = near(rng, ground, 0.15)
            sketch.around(petal, 1, tone, start=360.0 * start / count + reach * 70)
    sketch.disc(rng.uniform(0.12, 0.35), accent)
    sketch.around(blob(rng, 5, 0.0) * 0.02 - (0.0, 0.1), 14, mark)


def food(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A mottled disc with things strewn on it: a pizza, a cake, a petri dish."""
    sketch.disc(1.0, near(rng, ground, 0.4))
    sketch.disc(rng.uniform(0.84, 0.95), ground)
    colours = [mark, accent, near(rng, accent, 0.5), near(rng, ground, 0.4)]
    size = rng.uniform(0.03, 0.16)
    for _ in range(int(rng.integers(10, 60))):
        turn, reach = rng.uniform(0, 2 * np.pi), 0.85 * np.sqrt(rng.random())
        at = (reach * np.sin(turn), reach * np.cos(turn))
        outline = blob(rng, int(rng.integers(5, 14)), 0.35) * size * rng.uniform(0.4, 1.2) + at
        sketch.shapes([outline], colours[int(rng.integers(4))])
    if rng.random() < 0.2:
        sketch.ticks(int(rng.choice([6, 8])), 0.0, 0.95, 0.01, mark)


def record(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A gramophone record or a compact disc."""
    body = (0.01, 0.01, 0.011) if rng.random() < 0.7 else near(rng, (0.5, 0.5, 0.52), 0.2)
    sketch.disc(1.0, body)
    for radius in np.arange(0.42, 0.98, rng.uniform(0.02, 0.06)):
        sketch.circle(float(radius), 0.004, near(rng, (0.04, 0.04, 0.04), 0.7))
    label = rng.uniform(0.28, 0.4)
    sketch.disc(label, accent if rng.random() < 0.6 else ground)
    for radius, size in ((0.85, 0.04), (0.7, 0.035)):
        legend(sketch, rng, radius * label, size, mark)
    for y in np.linspace(0.3, 0.7, 3):
        title(sketch, rng, float(y) * label, 0.035, mark)
    sketch.disc(rng.choice([0.02, 0.1]), mark, off=True)


def cup(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A cup with something in it, seen from above, often on its saucer."""
    size = 1.0
    if rng.random() < 0.6:
        sketch.disc(1.0, ground)
        band(sketch, rng, 0.82, 0.97, [mark, accent])
        sketch.circle(0.7, 0.015, near(rng, ground, 0.3))
        size = rng.uniform(0.5, 0.65)
    handle = np.array([[-0.09, -0.8], [-0.09, -1.45], [0.09, -1.45], [0.09, -0.8]]) * size
    sketch.around(handle, 1, near(rng, ground, 0.2), start=rng.uniform(0, 360))
    sketch.disc(size, near(rng, ground, 0.15))
    sketch.disc(0.92 * size, near(rng, ground, 0.4))
    sketch.disc(
        0.84 * size, [(0.02, 0.008, 0.004), (0.25, 0.07, 0.02), (0.6, 0.55, 0.45), accent][int(rng.integers(4))]
    )


def plain(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A disc, a ball, a lid, a lamp, a plate: next to nothing on it."""
    sketch.disc(1.0, ground)
    for radius in rng.uniform(0.3, 0.98, int(rng.integers(0, 4))):
        sketch.circle(float(radius), float(rng.uniform(0.005, 0.06)), near(rng, ground, 0.25))
    if rng.random() < 0.3:
        title(sketch, rng, rng.uniform(-0.5, 0.5), rng.uniform(0.05, 0.15), mark)


def button(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A button with two or four holes, or a socket or a dial of a telephone with ten."""
    sketch.disc(1.0, ground)
    rim = rng.uniform(0.7, 0.9)
    sketch.circle(rim, rng.uniform(0.02, 0.08), near(rng, ground, 0.5))
    count = int(rng.choice([2, 4, 4, 10]))
    reach, size = (0.62, 0.14) if count == 10 else (rng.uniform(0.15, 0.35), rng.uniform(0.06, 0.13))
    span = 280.0 if count == 10 else 360.0
    sketch.around(blob(rng, 16, 0.0) * size - (0.0, reach), count, mark, start=rng.uniform(0, 90), span=span)


PAINTERS: dict[str, Painter] = {
    "bands": bands,
    "gauge": gauge,
    "compass": compass,
    "sign": sign,
    "target": target,
    "flower": flower,
    "food": food,
    "record": record,
    "cup": cup,
    "plain": plain,
    "button": button,
}
