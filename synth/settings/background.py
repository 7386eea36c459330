"""What is behind a dial over the whole frame: walls, cloth, wood, paper, rooms, skies, or heaps of shapes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import Colour, colour_of, enlarge, soften
from dialtell.synth.settings import scenes, surfaces
from dialtell.synth.settings.sketch import drawn_colour, light, near
from dialtell.synth.shared.errors import ParameterError, require_range

Image = NDArray[np.float32]
Painter = Callable[[np.random.Generator, tuple[int, int], Colour, Colour, float, float], Image]

# surfaces are seen at a slant; scenes are not
SURFACES: dict[str, Painter] = {
    "plain": surfaces.plain,
    "cloth": surfaces.cloth,
    "wood": surfaces.wood,
    "paper": surfaces.paper,
    "leather": surfaces.leather,
    "masonry": surfaces.masonry,
}
SCENES: dict[str, Painter] = {
    "gradient": scenes.gradient,
    "leaves": scenes.leaves,
    "room": scenes.room,
    "sky": scenes.sky,
    "foliage": scenes.foliage,
    "bokeh": scenes.bokeh,
    "noise": scenes.noise,
    "white": scenes.white,
    "black": scenes.black,
}
PAINTERS = SURFACES | SCENES
SHARES = {
    "plain": 0.09, "cloth": 0.1, "wood": 0.1, "paper": 0.06, "leather": 0.05, "masonry": 0.06, "gradient": 0.07,
    "leaves": 0.13, "room": 0.13, "sky": 0.03, "foliage": 0.03, "bokeh": 0.03, "noise": 0.04, "white": 0.05,
    "black": 0.03,
}  # fmt: skip


@dataclass(frozen=True)
class BackgroundSpec:
    """What is behind, light and dark included.

    kind : a name of PAINTERS. stands_on : "" or the name of a SURFACES kind that fills the frame below `edge`.
    edge : 0..1 of the frame's height, where that begins.
    colour, other : linear reflectance, the second for patterns.
    cell : 0.005..0.4 of the frame's longer side, size of the texture. contrast : 0..1, its strength.
    slant : 0..0.5, how obliquely a surface is seen. angle_deg : 0..360, its turn.
    blur : 0..0.04 of the frame's longer side, sigma of defocus.
    falloff : 0..0.8, share of light lost across the frame. light_deg : 0..360, whence the light comes.
    from_photo : whether a photograph is taken instead where there are any; photo : 0..1, which of them.
    seed : of all else.
    """

    kind: str
    stands_on: str
    edge: float
    colour: Colour
    other: Colour
    cell: float
    contrast: float
    slant: float
    angle_deg: float
    blur: float
    falloff: float
    light_deg: float
    from_photo: bool
    photo: float
    seed: int

    def __post_init__(self) -> None:
        for name, choice, allowed in (("kind", self.kind, PAINTERS), ("stands_on", self.stands_on, ("", *SURFACES))):
            if choice not in allowed:
                raise ParameterError(f"{name} is {choice!r}; give one of {', '.join(allowed)}")
        for value in (*self.colour, *self.other):
            require_range("colour and other", value, 0.0, 1.0)
        require_range("edge", self.edge, 0.0, 1.0)
        require_range("cell", self.cell, 0.005, 0.4)
        require_range("contrast", self.contrast, 0.0, 1.0)
        require_range("slant", self.slant, 0.0, 0.5)
        require_range("blur", self.blur, 0.0, 0.04)
        require_range("falloff", self.falloff, 0.0, 0.8)
        require_range("photo", self.photo, 0.0, 1.0)


def sample_background(*, rng: np.random.Generator) -> BackgroundSpec:
    """Draw what is behind: one in five in front of a wall stands on something, a third are out of focus."""
    kind = str(rng.choice(list(SHARES), p=list(SHARES.values())))
    colour = drawn_colour(rng, 0.01 if rng.random() < 0.6 else 0.3, 0.95)  # light walls and tables are common
    if kind == "wood":
        hue = np.array([1.35, 0.85, 0.45]) ** rng.uniform(0.4, 1.4)
        colour = colour_of(np.clip(np.exp(rng.uniform(np.log(0.02), np.log(0.45))) * hue, 0.003, 1.0))
    stands = kind in ("plain", "gradient", "masonry", "room", "bokeh", "noise", "black", "white") and rng.random() < 0.3
    unsharp = rng.random() < 0.35
    return BackgroundSpec(
        kind=kind,
        stands_on=str(rng.choice(list(SURFACES))) if stands else "",
        edge=float(rng.uniform(0.4, 0.95)),
        colour=colour,
        other=drawn_colour(rng, 0.01, 0.95) if rng.random() < 0.5 else near(rng, colour, 0.6),
        cell=float(np.exp(rng.uniform(np.log(0.008), np.log(0.25)))),
        contrast=float(rng.beta(1.3, 1.8)),
        slant=float(0.5 * rng.beta(1.0, 2.5)),
        angle_deg=float(rng.uniform(0.0, 360.0) if rng.random() < 0.5 else rng.choice([0.0, 90.0]) + rng.uniform(0, 6)),
        blur=float(np.exp(rng.uniform(np.log(0.002), np.log(0.03)))) if unsharp else 0.0,
        falloff=float(0.8 * rng.beta(1.0, 2.5)),
        light_deg=float(rng.uniform(0.0, 360.0)),
        from_photo=bool(rng.random() < 0.6),
        photo=float(rng.random()),
        seed=int(rng.integers(2**31)),
    )


def paint_background(spec: BackgroundSpec, shape: tuple[int, int], photos: Sequence[NDArray[np.uint8]] = ()) -> Image:
    """(H, W, 3) float32 linear light 0..1.2. photos : (h, w, 3) uint8 sRGB, of the user's own, any sizes."""
    rng = np.random.default_rng(spec.seed)
    if spec.from_photo and len(photos):
        return _crop(photos[min(int(spec.photo * len(photos)), len(photos) - 1)], shape, rng)
    edge = round(spec.edge * shape[0])
    if spec.stands_on and 8 < edge < shape[0] - 8:
        upper = _kind(spec, spec.kind, (edge, shape[1]), spec.colour, rng)
        lower = _kind(spec, spec.stands_on, (shape[0] - edge, shape[1]), spec.other, rng)
        lower[: max(shape[0] // 60, 1)] *= np.float32(rng.uniform(0.3, 1.2))  # the wall's foot
        picture = np.concatenate([upper, lower])
    else:
        picture = _kind(spec, spec.kind, shape, spec.colour, rng)
    sigma = spec.blur * max(shape)
    if sigma > 6.0:  # so soft a picture loses nothing at a third of its size
        small = cv2.resize(picture, (-(-shape[1] // 3), -(-shape[0] // 3)), interpolation=cv2.INTER_AREA)
        picture = enlarge(soften(np.asarray(small, np.float32), sigma / 3.0), shape)
    elif sigma > 0.5:
        picture = soften(picture, sigma)
    turn = np.radians(spec.light_deg)
    x = np.linspace(-0.5, 0.5, shape[1], dtype=np.float32) * np.float32(np.sin(turn))
    y = np.linspace(-0.5, 0.5, shape[0], dtype=np.float32) * np.float32(-np.cos(turn))
    picture *= (1.0 + np.float32(spec.falloff) * (x + y[:, None]) - np.float32(0.3 * spec.falloff))[..., None]
    return np.asarray(np.clip(picture, 0.0, 1.2, out=picture), np.float32)


def _kind(spec: BackgroundSpec, kind: str, shape: tuple[int, int], colour: Colour, rng: np.random.Generator) -> Image:
    """One ground alone, a surface as it is turned and slanted."""
    picture = PAINTERS[kind](rng, shape, colour, spec.other, max(spec.cell * max(shape), 2.5), spec.contrast)
    if kind not in SURFACES or kind == "plain":
        return picture
    turn, zoom = np.radians(spec.angle_deg), np.exp(rng.uniform(-0.1, 0.4))
    c, s = np.cos(turn) * zoom, np.sin(turn) * zoom
    middle = np.array([0.5 * shape[1], 0.5 * shape[0]])
    fall = rng.uniform(-1.0, 1.0) * spec.slant / max(shape), spec.slant / max(shape)
    about = np.array([[1.0, 0.0, -middle[0]], [0.0, 1.0, -middle[1]], [0.0, 0.0, 1.0]])
    seen = np.array([[c, -s, 0.0], [s, c, 0.0], [*fall, 1.0]])
    whole = np.linalg.inv(about) @ seen @ about
    return np.asarray(
        cv2.warpPerspective(picture, whole, shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101),
        np.float32,
    )


def _crop(photo: NDArray[np.uint8], shape: tuple[int, int], rng: np.random.Generator) -> Image:
    """A part of a photograph of the frame's proportions, at least a third of what fits, mirrored every other time."""
    fits = min(photo.shape[0] / shape[0], photo.shape[1] / shape[1])
    share = fits * rng.uniform(0.33, 1.0)
    rows, columns = (
        max(min(round(side * share), whole), 1) for side, whole in zip(shape, photo.shape[:2], strict=True)
    )
    top, left = (
        int(rng.integers(0, whole - part + 1)) for part, whole in zip((rows, columns), photo.shape[:2], strict=True)
    )
    part = photo[top : top + rows, left : left + columns, :3]
    if rng.random() < 0.5:
        part = part[:, ::-1]
    kind = cv2.INTER_AREA if share > 1.0 else cv2.INTER_LINEAR
    return light(np.asarray(cv2.resize(np.ascontiguousarray(part), shape[::-1], interpolation=kind), np.uint8))
