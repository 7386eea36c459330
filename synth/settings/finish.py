"""How the parts of a case shine: a mirrored room for metals, diffuse light and gloss for wood, plastic and leather."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import Colour, colour_of, smooth_noise
from dialtell.synth.settings.plate import EXTENT, Image
from dialtell.synth.shared.errors import require_range

SIDE = 128  # px of a picture of the mirrored room, which holds all directions a surface can face
LEVELS = (0.9, 3.0, 11.0)  # px by which the room is blurred in polished, satin and matt surfaces
VARIANTS = 5  # of grain and of mottling
BRIGHTEST = 2.0
METALS: dict[str, Colour] = {
    "silver": (0.88, 0.86, 0.82),
    "nickel": (0.74, 0.69, 0.6),
    "chrome": (0.8, 0.83, 0.87),
    "gold": (0.95, 0.62, 0.22),
    "pale gold": (0.95, 0.74, 0.4),
    "rose": (0.92, 0.52, 0.36),
    "brass": (0.78, 0.53, 0.19),
    "old brass": (0.42, 0.27, 0.1),
    "bronze": (0.26, 0.16, 0.08),
    "copper": (0.75, 0.34, 0.19),
    "gunmetal": (0.1, 0.1, 0.115),
}
WOODS: tuple[Colour, ...] = ((0.3, 0.12, 0.04), (0.12, 0.035, 0.018), (0.45, 0.25, 0.1), (0.05, 0.025, 0.015))


@dataclass(frozen=True)
class Finish:
    """What a surface is made of.

    colour : linear reflectance 0..1. mirror : 0 (diffuse) .. 1 (metal), share of the mirrored room in its own colour.
    level : 0..2, index to LEVELS. gloss : 0..0.5, the room mirrored in its polish, uncoloured.
    grain : 0..1, contrast of wood grain. mottle : 0..1, contrast of tarnish and dirt.
    turned : 0..0.5, contrast of the lathe's lines.
    """

    colour: Colour
    mirror: float = 0.0
    level: int = 1
    gloss: float = 0.0
    grain: float = 0.0
    mottle: float = 0.0
    turned: float = 0.0

    def __post_init__(self) -> None:
        for value in (*self.colour, self.mirror, self.grain, self.mottle):
            require_range("Finish.colour, mirror, grain and mottle", value, 0.0, 1.0)
        require_range("Finish.level", self.level, 0, len(LEVELS) - 1)
        require_range("Finish.gloss", self.gloss, 0.0, 0.5)
        require_range("Finish.turned", self.turned, 0.0, 0.5)


DARK = Finish((0.015, 0.013, 0.012))


def sample_metal(*names: str, rng: np.random.Generator) -> Finish:
    """Draw a metal of one of the names of METALS: polished, satin or matt, clean or tarnished."""
    colour = np.array(METALS[names[int(rng.integers(len(names)))]]) * np.exp(rng.normal(0.0, 0.045, 3))
    level = int(rng.choice(3, p=[0.62, 0.26, 0.12]))
    return Finish(
        colour_of(np.clip(colour * rng.uniform(0.75, 1.1), 0.0, 1.0)),
        mirror=float(rng.choice([1.0, rng.uniform(0.6, 1.0)])),
        level=level,
        mottle=float(rng.choice([0.0, rng.uniform(0.03, 0.25)])),
        turned=float(rng.choice([0.0, rng.uniform(0.02, 0.12) * (1 + level)])),
    )


def sample_wood(*, rng: np.random.Generator) -> Finish:
    """Draw a wood, from pale oak to ebonised."""
    colour = (
        np.array(WOODS[int(rng.integers(len(WOODS)))]) * np.exp(rng.normal(0.0, 0.25)) * np.exp(rng.normal(0, 0.08, 3))
    )
    return Finish(
        colour_of(np.clip(colour, 0.008, 0.8)), level=int(rng.integers(3)), gloss=float(rng.uniform(0.0, 0.18)),
        grain=float(rng.uniform(0.15, 0.8)), mottle=float(rng.uniform(0.0, 0.3)),
    )  # fmt: skip


def sample_plastic(*, rng: np.random.Generator) -> Finish:
    """Draw a plastic or a paint: black, white as a dial, grey or coloured."""
    pick = rng.random()
    if pick < 0.35:
        colour = np.full(3, rng.uniform(0.01, 0.05))
    elif pick < 0.68:
        colour = rng.uniform(0.6, 0.92) * np.exp(rng.normal(0.0, 0.04, 3))
    elif pick < 0.78:
        colour = np.full(3, rng.uniform(0.08, 0.5))
    else:
        colour = rng.uniform(0.2, 0.8) * np.power(rng.random(3), 1.8)
    return Finish(
        colour_of(np.clip(colour, 0.008, 0.95)), level=int(rng.integers(3)), gloss=float(rng.uniform(0.01, 0.14))
    )


class Room(NamedTuple):
    """The room as the case mirrors it: pictures for each level, one beneath the other, (3 SIDE, SIDE, 3), by the x and
    y (right, down, -1..1) of the direction that a surface faces; and the unit direction of the main light in x, y."""

    mirrored: Image
    light: tuple[float, float]


def room(seed: int, azimuth_deg: float, contrast: float) -> Room:
    """The room of a seed, its main light from `azimuth_deg` (clockwise from up); contrast 0 (light tent) .. 1.5."""
    rng = np.random.default_rng(seed)
    azimuth = np.radians(azimuth_deg)
    # the camera is seldom straight in front
    middle = (int(SIDE / 2 + rng.normal(0.0, 0.09 * SIDE)), int(SIDE / 2 + rng.normal(0.0, 0.09 * SIDE)))

    def tint(spread: float) -> NDArray[np.float64]:
        return np.exp(np.array([0.8, 0.0, -1.0]) * rng.normal(0.0, spread) + rng.normal(0.0, 0.02, 3))

    light = (float(np.sin(azimuth)), float(-np.cos(azimuth)))
    axis = np.linspace(-1.0, 1.0, SIDE, dtype=np.float32)
    up = azimuth + rng.normal(0.0, 0.5)
    height = axis[None, :] * np.float32(np.sin(up)) - axis[:, None] * np.float32(np.cos(up))
    steep = np.exp(rng.uniform(np.log(1.0), np.log(25.0)))
    lit = 1.0 / (1.0 + np.exp(-steep * (height - rng.uniform(-0.4, 0.4)), dtype=np.float32))
    floor, ceiling = rng.uniform(0.03, 0.3), rng.uniform(0.35, 1.0)
    picture = np.repeat((floor + (ceiling - floor) * lit)[..., None], 3, axis=2) * tint(0.06)
    picture = np.ascontiguousarray(picture, np.float32)

    def arc(colour: NDArray[np.float64] | float, turn: float, radius: float, width: float, length: float) -> None:
        degrees, half = np.degrees(turn) - 90.0, np.degrees(length) / 2  # cv2 counts from the right
        size = (int(radius * SIDE / 2), int(radius * SIDE / 2))
        shade = tuple(np.broadcast_to(colour, 3).tolist())
        cv2.ellipse(picture, middle, size, 0.0, degrees - half, degrees + half, shade, max(int(width * SIDE / 2), 1))

    for _ in range(int(rng.integers(3, 9))):  # walls, furniture and dark doorways
        tone = np.exp(rng.uniform(np.log(0.01), np.log(0.9))) * tint(0.25)
        arc(tone, rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 1.0), rng.uniform(0.05, 0.5), rng.uniform(0.1, 1.2))
    for index in range(int(rng.integers(1, 5))):  # windows and lamps
        turn = azimuth + rng.normal(0.0, 0.25) if index == 0 else rng.uniform(0.0, 2 * np.pi)
        power = np.exp(rng.uniform(np.log(1.5), np.log(12.0))) * tint(0.1)
        radius, width, length = rng.uniform(0.3, 0.95), rng.uniform(0.06, 0.4), rng.uniform(0.06, 0.7)
        arc(power, turn, radius, width, length)
        if rng.random() < 0.4:  # a window's bar
            arc(0.05, turn, radius, width, 0.03)
    if rng.random() < 0.6:  # who takes the photograph
        cv2.ellipse(
            picture, middle, (int(rng.uniform(5, 24)), int(rng.uniform(5, 24))), 0.0, 0.0, 360.0,
            (rng.uniform(0.02, 0.2),) * 3, -1,
        )  # fmt: skip
    pictures = [cv2.GaussianBlur(picture, (0, 0), sigma) for sigma in LEVELS[:2]]
    small = cv2.resize(pictures[1], (SIDE // 4, SIDE // 4), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), LEVELS[2] / 4)
    pictures.append(cv2.resize(small, (SIDE, SIDE), interpolation=cv2.INTER_LINEAR))
    mirrored = np.concatenate(pictures)
    even = float(np.clip(mirrored.mean(), 0.3, 0.8))
    mirrored = np.maximum(even + (mirrored - even) * np.float32(contrast), np.float32(0.01))
    return Room(np.asarray(mirrored, np.float32), light)


def mirrored(room: Room, facing_x: Image, facing_y: Image, level: NDArray[np.int_] | int) -> Image:
    """(N, 3) of the room in N surfaces by the way they face (N,), -1..1, at `level` (N,) or one for all."""
    count = len(facing_x)
    rows = -(-count // 512)
    maps = np.zeros((2, rows * 512), np.float32)  # cv2 takes no rows longer than 32767
    half = 0.49 * SIDE
    maps[0, :count] = facing_x
    maps[1, :count] = facing_y
    np.clip(maps, -1.0, 1.0, out=maps)
    maps *= half
    maps += SIDE / 2 - 0.5
    maps[1, :count] += np.asarray(level, np.float32) * SIDE
    x, y = maps.reshape(2, rows, 512)
    return np.asarray(cv2.remap(room.mirrored, x, y, cv2.INTER_LINEAR).reshape(-1, 3)[:count], np.float32)


def lit(room: Room, facing_x: Image, facing_y: Image) -> Image:
    """(N,) diffuse light 0..1 on surfaces by the way they face."""
    facing = np.sqrt(np.maximum(1.0 - facing_x * facing_x - facing_y * facing_y, 0.0))
    along = facing_x * np.float32(room.light[0]) + facing_y * np.float32(room.light[1])
    return np.asarray(0.35 + np.maximum(0.42 * along + 0.5 * facing, 0.0), np.float32)


def shine(room: Room, facing_x: Image, facing_y: Image, finish: Finish, shade: Image | float = 1.0) -> Image:
    """(N, 3) radiance 0..BRIGHTEST of one finish by the way N surfaces face; shade : (N,) factor on all of it."""
    tables = np.array([[*finish.colour, finish.mirror, finish.gloss]], np.float32)
    return shine_of(room, facing_x, facing_y, tables, finish.level, shade)


def shine_of(
    room: Room, facing_x: Image, facing_y: Image, tables: Image, level: NDArray[np.int_] | int, shade: Image | float
) -> Image:
    """As `shine`, of finishes that differ; tables : (N or 1, 5) colour, mirror and gloss."""
    seen = mirrored(room, facing_x, facing_y, level)
    mirror, gloss = tables[:, 3:4], tables[:, 4:5]
    colour = seen * mirror
    if np.any(mirror < 1.0):
        colour += lit(room, facing_x, facing_y)[:, None] * (1.0 - mirror)
    colour *= tables[:, :3]
    if np.any(gloss > 0.0):
        seen *= gloss
        colour += seen
    colour *= np.broadcast_to(np.asarray(shade, np.float32), len(colour))[:, None]
    return np.asarray(np.minimum(colour, BRIGHTEST, out=colour), np.float32)


@lru_cache(maxsize=2 * VARIANTS)
def _field(variant: int, scale: int, tall: float, wide: float) -> Image:
    """Noise on the square of bumps of the size in dial radii, clipped to -1..1; not to be written to."""
    side = round(2 * EXTENT * scale)
    field = smooth_noise(variant, (side, side), (max(tall * scale, 1.5), max(wide * scale, 1.5)))
    field = 0.4 * field + 0.35 * smooth_noise(variant + 7, (side, side), (4 * tall * scale, 3 * wide * scale))
    return np.asarray(np.clip(field, -1.0, 1.0), np.float32)


def grain(seed: int, scale: int) -> Image:
    """(S, S) grain of wood from top to bottom, -1..1, one of a few; not to be written to."""
    return _field(seed % VARIANTS, scale, 1.5, 0.008)


def mottling(seed: int, scale: int) -> Image:
    """(S, S) cloudy dirt, -1..1, one of a few; not to be written to."""
    return _field(seed % VARIANTS + 100, scale, 0.09, 0.09)
