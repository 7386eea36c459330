"""One photograph of a dial in its setting: a frozen spec, drawn with an explicit rng. See compose.py for the picture.

Nothing here knows how strokes were laid: the setting is drawn independently of the process.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.camera.camera import CameraSpec, roughened, sample_camera
from dialtell.synth.settings.background import BackgroundSpec, sample_background
from dialtell.synth.settings.case import CaseSpec, sample_case
from dialtell.synth.settings.crystal import CrystalSpec, sample_crystal
from dialtell.synth.settings.held import HeldSpec, sample_held
from dialtell.synth.settings.overlay import OverlaySpec, sample_overlay
from dialtell.synth.settings.thing import ThingSpec, sample_thing
from dialtell.synth.shared import look_sizes
from dialtell.synth.shared.errors import require_range

Floats = NDArray[np.float64]

SIDE, SQUARE = look_sizes.SIDE, look_sizes.SQUARE


class Look(StrEnum):
    """How a dial is looked at."""

    SCENE = "scene"  # a whole photograph, the dial anywhere in it
    SQUARE = "square"  # the dial found, its outline made a circle in the middle, give or take an error
    CLOSE = "close"  # only a part of the dial


@dataclass(frozen=True)
class Placing:
    """Where a plate lies in the frame.

    radius_px : 3..5000, px per dial radius across the tilt. x, y : px, the dial's centre. twelve : radians clockwise
    from up. tilt : 0..1.1 radians; lean : radians, the direction in which it leans away. depth : 0..0.4, dial diameters
    per camera distance.
    """

    radius_px: float
    x: float
    y: float
    twelve: float
    tilt: float
    lean: float
    depth: float

    def matrix(self) -> Floats:
        """(3, 3) from dial radii to frame px."""
        away = np.array([math.sin(self.lean), -math.cos(self.lean)])
        c, s = math.cos(self.twelve), math.sin(self.twelve)
        turn = np.array([[c, -s], [s, c]])
        found = np.eye(3)
        found[:2, :2] = self.radius_px * (np.eye(2) + (math.cos(self.tilt) - 1.0) * np.outer(away, away)) @ turn
        found[2, :2] = 0.5 * self.depth * math.sin(self.tilt) * (away @ turn)
        return np.array([[1.0, 0.0, self.x], [0.0, 1.0, self.y], [0.0, 0.0, 1.0]]) @ found


@dataclass(frozen=True)
class SettingSpec:
    """All of a picture but the dial's face.

    look : how the dial is looked at. shape : (H, W) px of the photograph. place : of the dial;
    None without one. error : of a square look, shift in x and y (dial radii), stretch of both axes (ln) and the
    direction of the first (radians). case, held : None without. things : round things with their places, beneath the
    dial. cast : 0..1 shadow on the ground. gradient : ln of light from one side of the frame to the other; slope :
    radians, its direction. cut : shares of the frame at left, top, right and bottom outside the photograph.
    """

    look: Look
    shape: tuple[int, int]
    place: Placing | None
    error: tuple[float, float, float, float, float]
    background: BackgroundSpec
    things: tuple[tuple[ThingSpec, Placing], ...]
    case: CaseSpec | None
    crystal: CrystalSpec
    held: HeldSpec | None
    overlay: OverlaySpec
    camera: CameraSpec
    cast: float
    gradient: float
    slope: float
    cut: tuple[float, float, float, float]
    seed: int

    def __post_init__(self) -> None:
        require_range("cast", self.cast, 0.0, 1.0)
        require_range("gradient", self.gradient, -3.0, 3.0)
        for share in self.cut:
            require_range("cut", share, 0.0, 0.6)


def sample_setting(
    *, rng: np.random.Generator, look: Look, dial: bool = True, cased: bool = True, side: int = SIDE
) -> SettingSpec:
    """Draw a setting. dial : whether there is one. cased : whether it may lie in a case. side : px, the photograph's
    longer side; a square look is SIDE px square."""
    shape = (SIDE, SIDE)
    if look is not Look.SQUARE:
        aspect = float(
            rng.choice([1.0, 4 / 3, 3 / 4, 3 / 2, 2 / 3, 16 / 9, 9 / 16], p=[0.3, 0.2, 0.2, 0.1, 0.1, 0.05, 0.05])
        )
        shape = (side, round(side * aspect)) if aspect <= 1 else (round(side / aspect), side)
    place = _placing(rng, look, shape)
    some = int(rng.choice([0, 1, 2, 4], p=[0.7, 0.15, 0.1, 0.05] if dial else [0.25, 0.4, 0.2, 0.15]))
    if look is not Look.SCENE and dial:
        some = 0
    camera = sample_camera(rng=rng, book_share=0.06)
    if rng.random() < 0.12:
        camera = roughened(camera, rng=rng)
    # a reduced photograph is sharper than what the camera gave
    softer = float(rng.uniform(0.2, 1.0))
    camera = replace(
        camera, sigma_px=softer * camera.sigma_px, defocus_px=softer * camera.defocus_px, shot=softer * camera.shot,
        resolution=camera.resolution if rng.random() < 0.7 else float(np.exp(rng.uniform(np.log(0.2), 0.0))),
    )  # fmt: skip
    sharp = rng.random() < 0.2
    error = (0.0, 0.0, 0.0, 0.0, 0.0)
    if look is Look.SQUARE:
        x, y, first, second = (rng.standard_normal(4) * 0.03 * (0.3 if sharp else 1.0)).clip(-0.1, 0.1).tolist()
        error = (x, y, first, second, float(rng.uniform(0, np.pi)))
    cut = np.where(rng.random(4) < (0.06 if look is Look.SQUARE else 0.0), rng.uniform(0.0, 0.45, 4), 0.0)
    things = tuple((sample_thing(rng=rng), _thing_at(rng, shape, place if dial else None)) for _ in range(some))
    if look is Look.SQUARE and not dial and rng.random() < 0.8:  # taken for a dial at the first look
        things = (*things, (sample_thing(rng=rng), place))
    case = sample_case(rng=rng) if cased and rng.random() < 0.85 else None
    return SettingSpec(
        look=look,
        shape=shape,
        place=place if dial else None,
        error=error,
        background=sample_background(rng=rng),
        things=things,
        case=case,
        crystal=_crystal(rng, case),
        held=sample_held(rng=rng) if look is Look.SCENE and rng.random() < 0.15 else None,
        overlay=sample_overlay(rng=rng),
        camera=camera,
        cast=float(rng.uniform(0.0, 0.8)),
        gradient=float(np.clip(rng.normal(0.0, 0.5), -1.8, 1.8)),
        slope=float(rng.uniform(0.0, 2 * np.pi)),
        cut=tuple(float(v) for v in cut),  # type: ignore[arg-type]
        seed=int(rng.integers(2**31)),
    )


def _crystal(rng: np.random.Generator, case: CaseSpec | None) -> CrystalSpec:
    """A crystal; what lies bare has none that mirrors anything."""
    crystal = sample_crystal(rng=rng)
    return crystal if case is not None and case.kind != "none" else replace(crystal, glints=())


def _placing(rng: np.random.Generator, look: Look, shape: tuple[int, int]) -> Placing:
    height, width = shape
    short = min(shape)
    twelve = float(rng.uniform(-np.pi, np.pi))
    tilt = float(abs(rng.normal(0.0, 0.12)) if rng.random() < 0.6 else rng.uniform(0.0, 0.85))
    depth = float(1.0 / np.exp(rng.uniform(np.log(3.0), np.log(30.0))))
    lean = float(rng.uniform(-np.pi, np.pi))
    if look is Look.SQUARE:
        return Placing(SQUARE, SIDE / 2, SIDE / 2, twelve, tilt, lean, depth)
    if look is Look.CLOSE:
        radius = 0.5 * short * float(np.exp(rng.uniform(np.log(1.3), np.log(5.0))))
        reach, at = radius * float(np.sqrt(rng.uniform(0.0, 1.0))), rng.uniform(0, 2 * np.pi)
        x, y = width / 2 - reach * np.cos(at), height / 2 - reach * np.sin(at)
        return Placing(radius, float(x), float(y), twelve, min(tilt, 0.5), lean, min(depth, 0.15))
    radius = (
        0.5
        * short
        * float(np.exp(rng.uniform(np.log(0.13), np.log(1.0))) if rng.random() < 0.5 else rng.uniform(0.4, 1.2))
    )
    if rng.random() < 0.75:  # whole in the frame, where it fits
        room = np.maximum(np.array([width, height]) - 2.0 * radius, 0.0)
        x, y = 0.5 * np.array([width, height]) + room * (rng.beta(3, 3, 2) - 0.5)
    else:
        x, y = np.array([width, height]) * rng.uniform(0.1, 0.9, 2)
    return Placing(radius, float(x), float(y), twelve, tilt, lean, depth)


def _thing_at(rng: np.random.Generator, shape: tuple[int, int], dial: Placing | None) -> Placing:
    """A place for a thing; beside a dial it is smaller than that."""
    short = 0.5 * min(shape)
    largest = 0.9 if dial is None else min(0.8 * dial.radius_px / short, 0.9)
    radius = short * largest * float(rng.uniform(0.15, 1.0))
    x, y = rng.uniform(0.0, 1.0, 2) * (shape[1], shape[0])
    tilt = min(abs(float(rng.normal(0.0, 0.35))), 0.9)
    return Placing(max(radius, 4.0), float(x), float(y), float(rng.uniform(-np.pi, np.pi)), tilt,
                   float(rng.uniform(-np.pi, np.pi)), 0.05)  # fmt: skip
