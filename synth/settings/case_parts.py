"""What is joined to the round of a case: pendant and bow, an open lid, lugs and strap, a board or plate behind it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import smooth_noise
from dialtell.synth.settings.finish import DARK, VARIANTS, Finish, Room, grain, mottling, shine
from dialtell.synth.settings.plate import EXTENT, Image, Layer, lattice
from dialtell.synth.settings.rings import Painted, Ring

SHAPES = ("square", "octagon", "arch")
STRAPS = ("leather", "bracelet", "cloth", "none")
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Board:
    """A flat front behind the rings. shape : one of SHAPES. half : dial radii from the centre to its sides, 1..2.5.
    bevel : 0..0.3 dial radii, width of its sloping border. mitred : of pieces joined at the corners.
    relief : 0..1, height of ornament in the corners. screws : 0..0.08 dial radii, radius of four screws; 0 for none."""

    shape: str
    half: float
    finish: Finish
    bevel: float = 0.0
    mitred: bool = False
    relief: float = 0.0
    screws: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class Pendant:
    """turn_deg : where it sits, clockwise from up. neck, crown : half widths; length : of both together; bow : half
    width and half height of the ring, dial radii; wire : half its thickness. lean : -1..1, how far it has tipped."""

    turn_deg: float
    neck: float
    crown: float
    length: float
    bow: tuple[float, float]
    wire: float
    lean: float
    ribs: int
    finish: Finish


@dataclass(frozen=True)
class Lid:
    """An open cover beside the case. turn_deg : towards it. distance, radius : dial radii. hollow : -1..1, curve."""

    turn_deg: float
    distance: float
    radius: float
    hollow: float
    finish: Finish


@dataclass(frozen=True)
class Strap:
    """Lugs up and down, and what is held between them. kind : one of STRAPS. turn_deg : of the whole watch.
    half : half width of the strap, lug : width of a lug, reach : length of the lugs beyond the case; dial radii.
    crown : half width of the winding crown at 3 o'clock, 0 for none. cell : size of leather's grain or of links."""

    kind: str
    turn_deg: float
    half: float
    lug: float
    reach: float
    crown: float
    cell: float
    finish: Finish
    metal: Finish
    seed: int


def paint_board(board: Board, scale: int, room: Room) -> Layer:
    """The board on the whole square, painted at half size: it bears nothing finer than grain."""
    half = board.half
    x, y, r, _ = (field[::2, ::2] for field in lattice(scale))
    across, up = np.abs(x), np.abs(y)
    side = across > up
    facing_x, facing_y = np.where(side, np.sign(x), np.float32(0)), np.where(side, np.float32(0), np.sign(y))
    edge = _board_edge(board.shape, x, y, r)
    if board.shape == "octagon":
        cut = np.maximum(across, up) < edge
        facing_x = np.where(cut, np.float32(0.70711) * np.sign(x), facing_x)
        facing_y = np.where(cut, np.float32(0.70711) * np.sign(y), facing_y)
    elif board.shape == "arch":
        upper = y < 0
        safe = np.maximum(r, np.float32(0.01))
        facing_x = np.where(upper, x / safe, np.sign(x))
        facing_y = np.where(upper, y / safe, np.float32(0))
    shade = np.ones_like(r)
    if board.finish.grain:
        fibre = grain(board.seed, scale)[::2, ::2]
        shade += np.float32(board.finish.grain) * (np.where(side, fibre, fibre.T) if board.mitred else fibre)
    if board.finish.mottle:
        shade *= 1.0 + np.float32(board.finish.mottle) * mottling(board.seed, scale)[::2, ::2]
    sloping = np.clip((edge - np.float32(half - board.bevel)) * scale, 0.0, 0.6 if board.bevel else 0.0)
    # a flat board, too, is seen from another side at each of its points
    facing_x, facing_y = facing_x * sloping + 0.1 * x, facing_y * sloping + 0.1 * y
    if board.relief:
        slope_x, slope_y, height = _corners(board.seed % VARIANTS, scale)
        part = np.clip((across + up - np.float32(1.75)) * np.float32(12.0), 0.0, 1.0)
        part *= np.float32(board.relief) * (edge < half - board.bevel - 0.02)
        facing_x += slope_x * part
        facing_y += slope_y * part
        shade *= 1.0 - part * (np.float32(0.75) - height)
    if board.screws:
        place = np.float32(min(half, EXTENT) - 2.2 * board.screws)
        off_x, off_y = (across - place) / np.float32(board.screws), (up - place) / np.float32(board.screws)
        off = np.hypot(off_x, off_y)
        on = off < 1.0
        facing_x, facing_y = (
            np.where(on, off_x * 0.5 * np.sign(x), facing_x),
            np.where(on, off_y * 0.5 * np.sign(y), facing_y),
        )
        slot = on & (np.abs(off_x * 0.8 + off_y * 0.6) < 0.2)
        shade = np.where(slot | ((off > 1.0) & (off < 1.25)), np.float32(0.2), shade)
    colour = shine(room, facing_x.ravel(), facing_y.ravel(), board.finish, shade.ravel()).reshape(*r.shape, 3)
    whole = lattice(scale)
    cover = np.clip((half - _board_edge(board.shape, *whole[:3])) * np.float32(scale) + 0.5, 0.0, 1.0)
    return Layer(_f32(cv2.resize(colour, cover.shape[::-1], interpolation=cv2.INTER_LINEAR)), _f32(cover))


def _board_edge(shape: str, x: Image, y: Image, r: Image) -> Image:
    """Distance of a point from the middle, as the side of the board through it has it."""
    across, up = np.abs(x), np.abs(y)
    if shape == "arch":
        return np.where(y < 0, r, across)
    edge = np.maximum(across, up)
    return np.maximum(edge, (across + up) * np.float32(0.70711)) if shape == "octagon" else edge


@lru_cache(maxsize=VARIANTS)
def _corners(variant: int, scale: int) -> tuple[Image, Image, Image]:
    """Slopes and height 0..1 of ornament cast alike for the four corners, at half size."""
    side = round(2 * EXTENT * scale)
    noise = smooth_noise(variant + 300, (side, side), (0.07 * scale, 0.07 * scale))
    height = 0.5 + 0.5 * np.tanh(0.6 * (noise + noise[:, ::-1] + noise[::-1] + noise[::-1, ::-1]))
    height = np.ascontiguousarray(height[::2, ::2], np.float32)
    slope_y, slope_x = np.gradient(cv2.blur(height, (3, 3)) * np.float32(-0.04 * scale))
    return _f32(slope_x), _f32(slope_y), height


def paint_lid(lid: Lid, scale: int, room: Room) -> Painted:
    """The lid, as far as the square shows it."""
    turn = math.radians(lid.turn_deg)
    middle_x, middle_y = lid.distance * math.sin(turn), -lid.distance * math.cos(turn)
    index = _box(scale, middle_x - lid.radius, middle_x + lid.radius, middle_y - lid.radius, middle_y + lid.radius)
    x, y = (field.reshape(-1)[index] for field in lattice(scale)[:2])
    x, y = x - np.float32(middle_x), y - np.float32(middle_y)
    off = np.hypot(x, y) / np.float32(lid.radius)
    rim = off > 0.93
    bent = np.where(rim, (off - 0.965) * 24.0, lid.hollow * off) / np.maximum(off, 0.01)
    shade = 1.0 - 0.8 * np.exp(-((off - 0.93) ** 2) / 1e-4)
    if lid.finish.mottle:
        shade *= 1.0 + lid.finish.mottle * mottling(3, scale).reshape(-1)[index]
    colour = shine(room, _f32(bent * x / lid.radius), _f32(bent * y / lid.radius), lid.finish, _f32(shade))
    return Painted(index, colour, _f32(np.clip((1.0 - off) * lid.radius * scale + 0.5, 0.0, 1.0)))


def paint_pendant(pendant: Pendant, edge: float, scale: int, room: Room) -> list[Painted]:
    """Bow, then neck and crown, on a case whose border is at `edge` dial radii."""
    turn = math.radians(pendant.turn_deg)
    wide = max(pendant.bow[0] + pendant.wire, pendant.crown) + 0.02
    far = edge + pendant.length + 2.0 * pendant.bow[1] + 0.05
    index, u, v = _strip(scale, turn, edge - 0.06, min(far, 2.4), wide)
    out_x, out_y, side_x, side_y = math.sin(turn), -math.cos(turn), math.cos(turn), math.sin(turn)

    def made(cover: Image, along: Image, across: Image, shade: Image | float) -> Painted:
        return Painted(
            index,
            shine(
                room,
                _f32(across * side_x + along * out_x),
                _f32(across * side_y + along * out_y),
                pendant.finish,
                shade,
            ),
            _f32(cover),
        )

    middle = edge + 0.55 * pendant.length + pendant.bow[1] * (1.0 - 0.25 * abs(pendant.lean))
    bow_u, bow_v = u - np.float32(middle), v - np.float32(pendant.lean * 0.4 * pendant.bow[0])
    off = np.hypot(bow_u / pendant.bow[1], bow_v / pendant.bow[0])
    inward = (off - 1.0) * min(pendant.bow) / pendant.wire
    norm = np.maximum(np.hypot(bow_u, bow_v), 0.01)
    bow = made(
        np.clip((1.0 - np.abs(inward)) * pendant.wire * scale + 0.5, 0.0, 1.0),
        np.clip(0.9 * inward * bow_u / norm, -1, 1), np.clip(0.9 * inward * bow_v / norm, -1, 1), 1.0,
    )  # fmt: skip
    t = (u - edge) / pendant.length
    # a neck that widens to a round crown, with a groove between
    ball = np.sqrt(np.maximum(1.0 - ((t - 0.68) / 0.36) ** 2, 0.0))
    half = np.where(t < 0.36, pendant.neck * (1.15 - 0.5 * t), pendant.crown * ball)
    across = v / np.maximum(half, np.float32(0.01))
    ribs = np.where(t > 0.36, np.maximum(np.cos(np.arcsin(np.clip(across, -1, 1)) * pendant.ribs), 0.0), 1.0)
    shade = (0.45 + 0.55 * ribs) * (1.0 - 0.7 * np.exp(-((t - 0.36) ** 2) / 0.002))
    cover = np.clip((half - np.abs(v)) * scale + 0.5, 0.0, 1.0) * ((t > -0.3) & (t < 1.04))
    stem = made(
        _f32(cover), _f32(np.where(t > 0.36, (t - 0.68) * 1.6, 0.0)), _f32(np.clip(0.9 * across, -1, 1)), _f32(shade)
    )
    return [bow, stem]


def paint_hinge(turn_deg: float, half: float, edge: float, scale: int, room: Room, finish: Finish) -> Painted:
    """A hinge's knuckles on the border of the case at `edge` dial radii; half : half its length."""
    index, u, v = _strip(scale, math.radians(turn_deg), edge - 0.05, edge + 0.08, half)
    thick = np.float32(0.035)
    across = (u - np.float32(edge)) / thick
    knuckle = np.abs(((v / half) * 1.5 + 0.5) % 1.0 - 0.5)
    shade = np.where(knuckle > 0.46, 0.25, 1.0)
    turn = math.radians(turn_deg)
    colour = shine(room, _f32(0.8 * across * math.sin(turn)), _f32(-0.8 * across * math.cos(turn)), finish, _f32(shade))
    cover = np.clip((thick - np.abs(u - edge)) * scale + 0.5, 0, 1) * np.clip((half - np.abs(v)) * scale + 0.5, 0, 1)
    return Painted(index, colour, _f32(cover))


def paint_strap(strap: Strap, edge: float, scale: int, room: Room) -> list[Painted]:
    """Strap, lugs and crown of a wrist watch whose case ends at `edge` dial radii."""
    parts = []
    for way in (0.0, np.pi):
        turn = math.radians(strap.turn_deg) + way
        index, u, v = _strip(scale, turn, edge - 0.3, 2.4, strap.half + strap.lug + 0.02)
        out = math.sin(turn), -math.cos(turn)
        aside = math.cos(turn), math.sin(turn)
        if strap.kind != "none":
            on = np.flatnonzero((np.abs(v) < strap.half + 1.0 / scale) & (u > edge - 0.05))
            parts.append(_band(strap, index[on], u[on], v[on], edge, scale, room, out, aside))
        on = np.flatnonzero((np.abs(v) > strap.half - 1.0 / scale) & (u < edge + strap.reach))
        index, u, v = index[on], u[on], v[on]
        off = np.abs(v) - (strap.half + 0.5 * strap.lug)
        across = off / (0.5 * strap.lug)
        past = np.clip((u - edge) / strap.reach, 0.0, 1.0)
        # the end of a lug is round and bends down
        narrow = np.sqrt(1.0 - np.maximum(past - 0.6, 0.0) ** 2 * (1.0 / 0.16))
        cover = np.clip((0.5 * strap.lug * narrow - np.abs(off)) * scale + 0.5, 0.0, 1.0)
        down, sideways = past * 0.7, np.clip(across * np.sign(v), -1.0, 1.0) * 0.6
        facing = [_f32(down * out[axis] + sideways * aside[axis]) for axis in range(2)]
        parts.append(Painted(index, shine(room, facing[0], facing[1], strap.metal), _f32(cover)))
    if strap.crown:
        turn = math.radians(strap.turn_deg) + math.pi / 2
        index, u, v = _strip(scale, turn, edge - 0.06, edge + strap.crown * 1.3, strap.crown)
        across = np.clip(v / strap.crown, -1.0, 1.0)
        ribs = 0.55 + 0.45 * np.cos(np.arcsin(across) * 22.0)
        end = np.clip((u - edge) / strap.crown - 0.6, 0.0, 1.0)
        cover = np.clip((strap.crown - np.abs(v)) * scale + 0.5, 0, 1) * np.clip(
            (1.1 * strap.crown + edge - u) * scale, 0, 1
        )
        facing_x = 0.85 * across * math.cos(turn) + end * math.sin(turn)
        facing_y = 0.85 * across * math.sin(turn) - end * math.cos(turn)
        parts.append(Painted(index, shine(room, _f32(facing_x), _f32(facing_y), strap.metal, _f32(ribs)), _f32(cover)))
    return parts


def _band(
    strap: Strap, index: Index, u: Image, v: Image, edge: float, scale: int, room: Room,
    out: tuple[float, float], aside: tuple[float, float],
) -> Painted:  # fmt: skip
    """One half of the strap itself."""
    past = np.maximum(u - np.float32(edge), 0.0)
    half = strap.half * (1.0 - 0.12 * past)
    across = np.clip(v / half, -1.0, 1.0)
    down, sideways = np.clip(0.9 * past, 0.0, 0.9), 0.35 * across * across * across
    shade = np.ones_like(u)
    if strap.kind == "bracelet":
        columns = 3 if strap.seed % 2 else 5
        lane = np.floor((across * 0.5 + 0.5) * columns * 0.999)
        link = u / np.float32(strap.cell) + 0.5 * (lane % 2)
        step = 2.0 * (link - np.floor(link)) - 1.0
        rung = 2.0 * ((across * 0.5 + 0.5) * columns - lane) - 1.0
        down, sideways = 0.5 * down + 0.55 * step, 0.45 * rung * rung * rung
        shade = 1.0 - 0.85 * np.maximum(step * step, rung * rung) ** 4
    elif strap.kind == "cloth":
        shade += 0.3 * np.sin(u * np.float32(np.pi / strap.cell * 4)) * np.sin(v * np.float32(np.pi / strap.cell * 4))
        if strap.seed % 2:
            shade *= np.where(np.abs(across) < 0.34, 0.35, 1.0)
    else:
        bumps = mottling(strap.seed, scale).reshape(-1)[index]
        shade += 0.35 * bumps
        down = down + 0.15 * bumps
        thread = (np.abs(np.abs(across) - 0.86) < 0.03) & (np.mod(u, 0.07) < 0.045)
        shade = np.where(thread & (strap.seed % 3 > 0), 3.0, shade)
    shade *= 0.25 + 0.75 * np.clip(past / 0.12, 0.0, 1.0)  # in the shadow of the case
    facing = [_f32(np.clip(down * out[axis] + sideways * aside[axis], -1, 1)) for axis in range(2)]
    cover = np.clip((half - np.abs(v)) * scale + 0.5, 0.0, 1.0)
    return Painted(index, shine(room, facing[0], facing[1], strap.finish, _f32(shade)), _f32(cover))


def dark_ring(width: float) -> Ring:
    """A gap that no light comes out of."""
    return Ring(max(width, 0.002), 0.0, 0.0, DARK)


def _strip(scale: int, turn: float, near: float, far: float, half: float) -> tuple[Index, Image, Image]:
    """Pixels of a strip that runs outward at `turn` (radians clockwise from up), with their place along and across."""
    sine, cosine = np.float32(np.sin(turn)), np.float32(np.cos(turn))
    corners = [(u * sine + v * cosine, -u * cosine + v * sine) for u in (near, far) for v in (-half, half)]
    horizontal, vertical = zip(*corners, strict=True)
    index = _box(scale, min(horizontal), max(horizontal), min(vertical), max(vertical))
    x, y = (field.reshape(-1)[index] for field in lattice(scale)[:2])
    u, v = x * sine - y * cosine, x * cosine + y * sine
    kept = np.flatnonzero((u >= near) & (u <= far) & (np.abs(v) <= half + 1.0 / scale))
    return index[kept], u[kept], v[kept]


def _box(scale: int, left: float, right: float, top: float, bottom: float) -> Index:
    """Indices of the pixels of a rectangle of the flattened square."""
    side = round(2 * EXTENT * scale)
    first_x, last_x, first_y, last_y = (
        int(np.clip((value + EXTENT) * scale + more, 0, side))
        for value, more in ((left, -1), (right, 2), (top, -1), (bottom, 2))
    )
    return (np.arange(first_y, last_y)[:, None] * side + np.arange(first_x, last_x)[None, :]).ravel()


def _f32(values: object) -> Image:
    return np.asarray(values, dtype=np.float32)
