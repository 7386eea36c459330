"""Surfaces of dials that are not enamel: what metal throws back by its finish, and what age does to paper and paint.

A mask or factor is (F, F) float32; `side` is F, `scale` px per dial radius.
"""

from __future__ import annotations

import cv2
import numpy as np

from dialtell.synth.faces.face_parts import Image, Tone, lattice, noise, soft

METALS: tuple[Tone, ...] = (
    (0.68, 0.67, 0.63), (0.6, 0.6, 0.6), (0.72, 0.7, 0.64), (0.62, 0.45, 0.19), (0.5, 0.36, 0.15), (0.66, 0.5, 0.24),
    (0.55, 0.44, 0.26), (0.025, 0.025, 0.027), (0.07, 0.07, 0.075), (0.55, 0.3, 0.2), (0.3, 0.29, 0.27),
)  # fmt: skip
# from white to brown; the first quarter as white as enamel
PAPERS: tuple[Tone, ...] = (
    (0.78, 0.75, 0.68), (0.72, 0.69, 0.6), (0.66, 0.58, 0.43), (0.6, 0.49, 0.32), (0.55, 0.42, 0.26),
    (0.47, 0.36, 0.22), (0.36, 0.25, 0.14), (0.56, 0.52, 0.44),
)  # fmt: skip
# likewise: white, then cream, grey, black and colours
PAINTS: tuple[Tone, ...] = (
    (0.85, 0.85, 0.84), (0.8, 0.79, 0.74), (0.7, 0.6, 0.4), (0.62, 0.56, 0.44), (0.38, 0.38, 0.37), (0.2, 0.2, 0.21),
    (0.012, 0.012, 0.012), (0.03, 0.03, 0.032), (0.02, 0.06, 0.2), (0.04, 0.16, 0.11), (0.45, 0.04, 0.035),
    (0.62, 0.45, 0.08), (0.3, 0.45, 0.55), (0.55, 0.3, 0.25),
)  # fmt: skip


def finish_light(finish: str, numbers: tuple[float, float, float], scale: int, rng: np.random.Generator) -> Image:
    """Light a metal face throws back, about 0.4..1.8 round 1. finish : one of make.FINISHES; numbers : 0..1 each."""
    x, y, radius, turn = lattice(scale)
    side, (one, two, three) = 2 * scale, numbers
    towards = np.float32(2 * np.pi * one)
    if finish in ("circular", "sunburst"):
        # the strokes of the brush are bright where they lie across the light: two fans, or more under several lamps
        fans = np.cos((turn - towards) * (1.0 if finish == "circular" else (1.0, 2.0, 3.0)[int(three * 2.99)]))
        light = 0.62 + (0.5 + 0.6 * two) * np.abs(fans) ** (2 + 6 * three)
        lines = rng.standard_normal(1024).astype(np.float32)
        where = radius * (scale / 1.3) if finish == "circular" else (turn + np.pi) * (1000 / (2 * np.pi))
        return np.asarray(light * (1.0 + (0.03 + 0.07 * three) * lines[where.astype(np.int32) % 1024]), np.float32)
    if finish == "straight":
        grain = noise(rng, int(1.5 * side), (1.0 + 0.6 * three, 0.8 * scale))
        about = cv2.getRotationMatrix2D((0.75 * side, 0.75 * side), 360 * one, 1.0)
        about = about - np.array([[0.0, 0.0, 0.25 * side]])
        grain = np.asarray(cv2.warpAffine(grain, about, (side, side)), np.float32)
        along = x * np.sin(towards) + y * np.cos(towards) - (two - 0.5)
        light = 0.7 + (0.3 + 0.5 * two) * np.exp(-((along / (0.3 + 0.5 * three)) ** 2))
        return np.asarray(light * (1.0 + (0.04 + 0.08 * three) * grain), np.float32)
    if finish == "engine":
        rays = 24.0 + 8.0 * int(9 * one)
        step = (4.0 + 5.0 * two) / scale  # from wave to wave, kept above three px
        beat = np.sin(rays * turn + np.pi * np.floor(radius / step) * (1.0 if three < 0.5 else 0.35))
        waves = np.cos(2 * np.pi * radius / step + (1.6 if three < 0.6 else 3.0) * beat)
        seen = np.clip(radius / (rays * 3.0 / (2 * np.pi) / scale) - 0.6, 0.0, 1.0)  # too fine to see near the centre
        fans = 0.8 + 0.35 * np.cos(2 * (turn - towards)) * np.cos(radius * 3.0)
        return np.asarray(fans * (1.0 + (0.1 + 0.25 * three) * seen * waves), np.float32)
    if finish == "frosted":
        grain = soft(rng.standard_normal((side, side), dtype=np.float32), 0.6)
        return np.asarray(0.85 + 0.25 * two * (x * np.sin(towards) - y * np.cos(towards)) + 0.09 * grain, np.float32)
    room = noise(rng, side, (0.5 + 0.8 * two) * scale)  # polished: it mirrors the room
    return np.asarray(0.85 + (0.15 + 0.25 * three) * np.tanh(1.5 * room), np.float32)


def fibres(side: int, rng: np.random.Generator) -> Image:
    """-1..1: short threads lighter or darker than the paper."""
    sheet = np.full((side, side), 128, np.uint8)
    for _ in range(int(rng.integers(40, 160))):
        start = rng.uniform(0, side, 2)
        bend = np.cumsum(rng.normal(0, 0.5, 5)) + rng.uniform(0, 2 * np.pi)
        way = np.stack([np.cos(bend), np.sin(bend)], axis=1) * rng.uniform(0.004, 0.02) * side
        path = start + np.cumsum(way, axis=0)
        value = int(128 + rng.choice([-1, 1]) * rng.integers(40, 127))
        cv2.polylines(sheet, [np.round(path * 16).astype(np.int32)], False, value, 1, cv2.LINE_AA, 4)
    return np.asarray(sheet.astype(np.float32) / 128 - 1, np.float32)


def foxing(side: int, rng: np.random.Generator, much: float) -> Image:
    """0..1: brown spots, none to very many."""
    spots = np.zeros((side, side), np.uint8)
    for _ in range(int(220 * max(much - 0.2, 0.0) ** 2)):
        x, y = rng.uniform(0, side * 16, 2).astype(int)
        size = int(side * 16 * min(0.004 * np.exp(rng.exponential(0.8)), 0.06))
        cv2.circle(spots, (int(x), int(y)), size, int(rng.integers(90, 255)), -1, cv2.LINE_AA, 4)
    blurred = soft(spots.astype(np.float32) / np.float32(255), 0.003 * side)
    return np.asarray(np.clip(blurred * (1.0 + 0.4 * noise(rng, side, 0.02 * side)), 0.0, 1.0), np.float32)


def crease_shade(side: int, rng: np.random.Generator, count: int) -> Image:
    """-0.4..0.3: folds, dark on one side and light on the other."""
    rows, columns = np.mgrid[0:side, 0:side].astype(np.float32)
    shade = np.zeros((side, side), np.float32)
    bent = 0.01 * side * noise(rng, side, 0.2 * side)
    for _ in range(count):
        turn = rng.uniform(0, np.pi)
        through = side * rng.uniform(0.1, 0.9, 2)
        across = (columns - through[0]) * np.cos(turn) + (rows - through[1]) * np.sin(turn)
        off = (across + bent).astype(np.float32) / np.float32(max(0.004 * side, 1.0))
        shade += np.float32(rng.uniform(0.1, 0.45)) * off * np.exp(-0.5 * off * off)
    return np.clip(shade, -0.4, 0.3)


def ragged(scale: int, rng: np.random.Generator, deep: float) -> Image:
    """0..1: what is torn off beyond a ragged edge, up to about `deep` dial radii in from the rim."""
    radius = lattice(scale)[2]
    bites = noise(rng, 2 * scale, 0.5 * scale) + 0.3 * noise(rng, 2 * scale, 0.06 * scale)
    edge = 1.0 + 0.3 * deep - deep * np.abs(bites)
    return np.asarray(np.clip((radius - edge) * scale * 0.7 + 0.5, 0.0, 1.0), np.float32)


def crazed(scale: int, rng: np.random.Generator, cells: int) -> Image:
    """0..1: a net of fine cracks about so many cells."""
    side = 2 * scale
    plane = cv2.Subdiv2D((0, 0, side, side))
    plane.insert(rng.uniform(1, side - 1, (cells, 2)).astype(np.float32).tolist())
    facets, _ = plane.getVoronoiFacetList([])
    net = np.zeros((side, side), np.uint8)
    rings = [np.round(np.clip(facet, -side, 2 * side) * 16).astype(np.int32) for facet in facets]
    cv2.polylines(net, rings, True, 200, 1, cv2.LINE_AA, 4)
    shift = 0.012 * side
    across, down = shift * noise(rng, side, 0.08 * side), shift * noise(rng, side, 0.08 * side)
    rows, columns = np.mgrid[0:side, 0:side].astype(np.float32)
    bent = cv2.remap(net, columns + across, rows + down, cv2.INTER_LINEAR).astype(np.float32) / np.float32(255)
    return np.asarray(bent * np.clip(0.6 + 0.6 * noise(rng, side, 0.3 * side), 0.0, 1.0), np.float32)


def glossy(scale: int, strength: float, turn: float) -> Image:
    """0..strength: the broad soft light on gloss."""
    x, y, _, _ = lattice(scale)
    away = (x - np.float32(0.5 * np.sin(2 * np.pi * turn))) ** 2 + (y + np.float32(0.5 * np.cos(2 * np.pi * turn))) ** 2
    return np.asarray(strength * np.exp(-away / 0.3), np.float32)
