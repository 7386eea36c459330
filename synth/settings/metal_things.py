"""Round things of metal and glass, each (sketch, rng, ground, mark, accent), drawn at radius 1."""

from __future__ import annotations

import numpy as np

from dialtell.synth.photograph.texture import Colour
from dialtell.synth.settings.round_things import COUNTS, Painter, band, legend, title
from dialtell.synth.settings.sketch import Floats, Sketch, blob, drawn_colour, near


def toothed(count: int, depth: float) -> Floats:
    """(4 * count, 2) outline of a wheel of radius 1 with teeth."""
    turn = (np.arange(4 * count) + 0.5) * (np.pi / (2 * count))
    reach = np.tile([1.0, 1.0, 1.0 - depth, 1.0 - depth], count)
    return np.asarray(np.stack([np.sin(turn), -np.cos(turn)], 1) * reach[:, None])


def coin(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A coin or medal: beads, a legend and a head, a shield, a wreath or a number."""
    sketch.disc(1.0, ground)
    sketch.circle(0.97, 0.03, near(rng, ground, 0.3))
    if rng.random() < 0.6:
        sketch.around(blob(rng, 8, 0.0) * 0.02 - (0.0, 0.91), int(rng.integers(40, 110)), mark)
    legend(sketch, rng, 0.78, rng.uniform(0.1, 0.18), mark)
    legend(sketch, rng, 0.78, rng.uniform(0.08, 0.14), mark)
    kind = int(rng.integers(4))
    if kind == 0:  # a head, roughly
        sketch.shapes([blob(rng, 26, 0.18) * (0.32, 0.38) + (0.0, -0.12)], near(rng, ground, 0.4))
        sketch.shapes([blob(rng, 12, 0.15) * (0.42, 0.22) + (0.05, 0.42)], near(rng, ground, 0.4))
        sketch.lines([blob(rng, 9, 0.8) * 0.2 + (0.05, -0.15)], 0.02, mark)
    elif kind == 1:
        sketch.number(int(rng.choice([1, 2, 5, 10, 20, 50])), (0.0, -0.1), 0.6, mark)
        title(sketch, rng, 0.38, 0.12, mark)
    elif kind == 2:
        sketch.shapes([np.array([[-0.4, -0.45], [0.4, -0.45], [0.38, 0.1], [0.0, 0.5], [-0.38, 0.1]])], mark)
        sketch.shapes([blob(rng, int(rng.integers(5, 12)), 0.6) * 0.22], ground)
    else:
        band(sketch, rng, 0.3, 0.6, [mark, near(rng, ground, 0.4)])


def wheel(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A wheel: tyre, spokes that one sees between, hub and bolts."""
    tyre, rim = (0.012, 0.012, 0.013), rng.uniform(0.65, 0.9)
    sketch.disc(1.0, tyre if rng.random() < 0.6 else mark)
    sketch.disc(rim, ground)
    sketch.disc(rim - rng.uniform(0.04, 0.1), mark, off=rng.random() < 0.6)
    count, half = int(rng.choice([4, 5, 6, 7, 8, 10, 16, 24])), rng.uniform(0.015, 0.1)
    half = min(half, 0.5 * np.pi / count)
    spoke = np.array([[-half, 0.0], [-0.6 * half, -rim], [0.6 * half, -rim], [half, 0.0]])
    for start in 360.0 * np.arange(count) / count:
        sketch.around(spoke, 1, ground, start=float(start))
    sketch.disc(rng.uniform(0.12, 0.3), ground)
    sketch.around(blob(rng, 8, 0.0) * 0.025 - (0.0, 0.13), 5, mark)
    sketch.disc(0.06, accent)


def gears(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A watch's movement: a plate with bridges, wheels, jewels and screws; no dial."""
    steel = near(rng, (0.45, 0.45, 0.46), 0.3)
    sketch.disc(1.0, near(rng, ground, 0.4))
    sketch.disc(0.96, ground)
    for _ in range(int(rng.integers(1, 4))):  # bridges
        turn = rng.uniform(0, 2 * np.pi)
        outline = blob(rng, int(rng.integers(5, 9)), 0.4) * (0.5, 0.35) + (0.5 * np.sin(turn), 0.5 * np.cos(turn))
        sketch.lines([outline], 0.02, near(rng, mark, 0.3), closed=True)
        sketch.shapes([outline], near(rng, ground, 0.2))
    for _ in range(int(rng.integers(3, 7))):
        turn, reach, size = rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 0.6), rng.uniform(0.14, 0.38)
        at = (reach * np.sin(turn), reach * np.cos(turn))
        tone = near(rng, ground if rng.random() < 0.6 else steel, 0.25)
        teeth = toothed(int(size * 130), 0.09)
        sketch.lines([teeth * size * 1.02 + at], 0.015, mark, closed=True)
        sketch.shapes([teeth * size + at], tone)
        if rng.random() < 0.6:  # crossed out, or a balance with its spring
            sketch.disc(0.78 * size, near(rng, mark, 0.4), at)
            arms = int(rng.choice([2, 3, 4, 5]))
            for turned in np.arange(arms) * (2 * np.pi / arms) + rng.uniform(0, 3):
                end = (at[0] + 0.85 * size * np.sin(turned), at[1] - 0.85 * size * np.cos(turned))
                sketch.lines([np.array([at, end])], 0.12 * size, tone)
        if rng.random() < 0.3:
            for radius in np.linspace(0.15, 0.6, 6):
                sketch.circle(float(radius) * size, 0.008, steel, at)
        sketch.disc(0.05, near(rng, (0.45, 0.03, 0.08), 0.4), at)
        sketch.disc(0.02, steel, at)
    for _ in range(int(rng.integers(3, 9))):  # screws
        turn, reach = rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 0.9)
        head = (reach * np.sin(turn), reach * np.cos(turn))
        sketch.disc(0.055, (0.03, 0.05, 0.16) if rng.random() < 0.5 else steel, head)
        slot = rng.uniform(0, np.pi)
        way = 0.05 * np.array([np.sin(slot), np.cos(slot)])
        sketch.lines([np.array([head - way, head + way])], 0.012, (0.01, 0.01, 0.01))
    legend(sketch, rng, 0.86, 0.07, mark)


def cap(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A bottle's cap, a cog or a saw blade with words or a hole in the middle."""
    count = int(rng.choice([18, 21, 24, 30, 40]))
    tone = accent if rng.random() < 0.5 else ground
    sketch.shapes([toothed(count, rng.uniform(0.04, 0.14))], near(rng, tone, 0.3))
    sketch.disc(0.86, tone)
    if rng.random() < 0.4:
        sketch.disc(rng.uniform(0.1, 0.3), mark, off=True)
        sketch.around(blob(rng, 12, 0.0) * 0.09 - (0.0, 0.55), int(rng.integers(4, 9)), mark, off=rng.random() < 0.5)
    else:
        legend(sketch, rng, 0.7, 0.14, mark)
        sketch.shapes([blob(rng, int(rng.integers(4, 20)), 0.4) * 0.35], mark)


def glass(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A porthole, a round mirror or a window: a frame with bolts, and a blurred view in it."""
    inner = rng.uniform(0.7, 0.95)
    sketch.disc(1.0, ground)
    if inner < 0.88:
        sketch.around(blob(rng, 10, 0.0) * 0.04 - (0.0, 0.5 + 0.5 * inner), int(rng.integers(4, 17)), mark)
    sketch.disc(inner, near(rng, mark, 0.4))
    view = drawn_colour(rng, 0.02, 0.8)
    sketch.disc(inner - 0.03, view)
    for _ in range(int(rng.integers(2, 9))):
        turn, reach = rng.uniform(0, 2 * np.pi), 0.5 * inner * np.sqrt(rng.random())
        outline = blob(rng, int(rng.choice([4, 5, 16])), 0.4) * rng.uniform(0.08, 0.42) * inner
        sketch.shapes([outline + np.array([reach * np.sin(turn), reach * np.cos(turn)])], drawn_colour(rng, 0.01, 0.9))


def lens(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A lens from in front: black rings, a legend, dark glass with coloured lights."""
    sketch.disc(1.0, near(rng, (0.02, 0.02, 0.022), 0.5))
    for radius in np.linspace(0.98, 0.72, int(rng.integers(3, 9))):
        sketch.circle(float(radius), 0.012, near(rng, (0.06, 0.06, 0.06), 0.8))
    legend(sketch, rng, 0.82, 0.07, near(rng, (0.7, 0.7, 0.7), 0.1), whole=rng.random() < 0.4)
    sketch.disc(0.68, near(rng, (0.015, 0.012, 0.03), 0.6))
    sketch.disc(0.45, near(rng, (0.006, 0.005, 0.01), 0.6))
    for _ in range(int(rng.integers(2, 6))):
        size = rng.uniform(0.04, 0.25)
        at = rng.uniform(-0.4, 0.4, 2)
        sketch.shapes([blob(rng, 16, 0.1) * (size, 0.6 * size) + at], near(rng, (0.12, 0.08, 0.25), 0.9))


def drum(sketch: Sketch, rng: np.random.Generator, ground: Colour, mark: Colour, accent: Colour) -> None:
    """A drum, a sieve, a fan or a loudspeaker: a hoop with lugs and a skin or a grille."""
    sketch.around(
        np.array([[-0.05, -0.9], [-0.05, -1.08], [0.05, -1.08], [0.05, -0.9]]), int(rng.integers(6, 14)), mark
    )
    sketch.disc(1.0, ground)
    skin = near(rng, (0.75, 0.73, 0.66), 0.2) if rng.random() < 0.5 else accent
    sketch.disc(0.92, skin)
    if rng.random() < 0.5:
        for radius in np.linspace(0.15, 0.85, int(rng.integers(3, 9))):
            sketch.circle(float(radius), 0.02, near(rng, skin, 0.4))
        sketch.ticks(int(rng.choice(COUNTS)), 0.15, 0.9, 0.012, near(rng, skin, 0.5))
    if rng.random() < 0.5:
        title(sketch, rng, rng.uniform(-0.3, 0.3), rng.uniform(0.08, 0.2), mark)


PAINTERS: dict[str, Painter] = {
    "coin": coin,
    "wheel": wheel,
    "gears": gears,
    "cap": cap,
    "glass": glass,
    "lens": lens,
    "drum": drum,
}
