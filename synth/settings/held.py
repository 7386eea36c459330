"""What holds a watch in the photograph: a hand, a glove, tissue, a stand or a chain, about and over the case's rim."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.texture import Colour, colour_of, soften, times
from dialtell.synth.settings.plate import Layer
from dialtell.synth.settings.sketch import SHIFT, Floats, blob, drawn_colour, fixed, fractal, ink, light, near, smoothed
from dialtell.synth.settings.surfaces import relief
from dialtell.synth.shared.errors import ParameterError, require_range

Image = NDArray[np.float32]
Codes = NDArray[np.uint8]

KINDS = ("hand", "glove", "tissue", "stand", "chain")
SKINS = ((0.68, 0.44, 0.33), (0.56, 0.33, 0.23), (0.42, 0.23, 0.15), (0.25, 0.12, 0.07), (0.09, 0.045, 0.03))
OVERLAP = 0.15  # of the case's radius, the most that a finger lies over it


@dataclass(frozen=True)
class HeldSpec:
    """What holds the case; lengths in radii of its outside.

    kind : one of KINDS. colour : linear reflectance of skin, cloth, wood or metal.
    fingers : 2..5 fingers of a hand. thickness : 0.2..0.8, of a finger, link or prong.
    overlap : 0..OVERLAP, how far fingers or lips lie over the case.
    turn_deg : 0..360 clockwise from up, whence it comes. light_deg : 0..360, whence the light comes.
    seed : of all else.
    """

    kind: str
    colour: Colour
    fingers: int
    thickness: float
    overlap: float
    turn_deg: float
    light_deg: float
    seed: int

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ParameterError(f"kind is {self.kind!r}; give one of {', '.join(KINDS)}")
        for value in self.colour:
            require_range("colour", value, 0.0, 1.0)
        require_range("fingers", self.fingers, 2, 5)
        require_range("thickness", self.thickness, 0.2, 0.8, "radii")
        require_range("overlap", self.overlap, 0.0, OVERLAP, "radii")


def sample_held(*, rng: np.random.Generator) -> HeldSpec:
    """Draw what holds the case: hands half the time, coming from below as a rule."""
    kind = str(rng.choice(KINDS, p=[0.5, 0.12, 0.12, 0.13, 0.13]))
    if kind == "hand":
        place = rng.uniform(0.0, len(SKINS) - 1.001)
        first, second = np.array(SKINS[int(place)]), np.array(SKINS[int(place) + 1])
        colour = colour_of(np.clip((first + (place % 1.0) * (second - first)) * np.exp(0.1 * rng.normal(size=3)), 0, 1))
    elif kind == "glove":
        colour = near(rng, [(0.75, 0.75, 0.74), (0.02, 0.02, 0.022), (0.1, 0.2, 0.55)][int(rng.integers(3))], 0.15)
    elif kind == "tissue":
        colour = near(rng, (0.8, 0.8, 0.8), 0.1) if rng.random() < 0.7 else drawn_colour(rng, 0.1, 0.8)
    elif kind == "chain":
        colour = near(rng, (0.6, 0.6, 0.58) if rng.random() < 0.5 else (0.65, 0.45, 0.16), 0.2)
    else:
        colour = drawn_colour(rng, 0.01, 0.7)
    return HeldSpec(
        kind=kind,
        colour=colour,
        fingers=int(rng.integers(2, 6)),
        thickness=float(rng.uniform(0.28, 0.6)),
        overlap=float(OVERLAP * rng.beta(1.2, 1.5)) if rng.random() < 0.7 else 0.0,
        turn_deg=float((180.0 + rng.normal(0.0, 60.0)) % 360.0),
        light_deg=float(rng.uniform(0.0, 360.0)),
        seed=int(rng.integers(2**31)),
    )


def paint_held(
    spec: HeldSpec, shape: tuple[int, int], centre: tuple[float, float], radius: float
) -> tuple[Layer, Layer]:
    """What lies beneath the case and what lies over it, in the frame (H, W).

    centre : x, y px of the case's middle. radius : 2 px or more, of its outside.
    """
    require_range("radius", radius, 2.0, 1e5, "px")
    rng = np.random.default_rng(spec.seed)
    beneath, above = (np.zeros((*shape, 4), np.uint8) for _ in range(2))
    for part in (beneath, above):
        part[..., :3] = ink(spec.colour)
    frame = _Frame(np.array(centre), radius, spec.turn_deg)
    if spec.kind in ("hand", "glove"):
        _hand(spec, rng, frame, beneath, above)
    elif spec.kind == "tissue":
        for reach in (1.9, 1.5):
            outline = blob(rng, int(rng.integers(5, 12)), 0.3) * reach * rng.uniform(0.8, 1.5)
            frame.fill(beneath, smoothed(outline, int(rng.integers(0, 4))), near(rng, spec.colour, 0.08))
    elif spec.kind == "chain":
        _chain(spec, rng, frame, beneath)
    else:
        _stand(spec, rng, frame, beneath, above)
    rounded = spec.kind in ("hand", "glove")
    depth = 0.45 * spec.thickness * radius
    return _lit(spec, beneath, depth, rounded, rng), _lit(spec, above, depth, rounded, rng)


class _Frame:
    """Places about the case, in its radii, drawn up meaning away from it towards `turn_deg`."""

    def __init__(self, centre: Floats, radius: float, turn_deg: float) -> None:
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        self.centre, self.radius = centre, radius
        self.rotation = np.array([[c, s], [-s, c]])

    def px(self, points: Floats) -> NDArray[np.int32]:
        """Fixed-point pixels; what is far outside is drawn in nearer, as OpenCV's numbers end at 2**15."""
        places = self.centre + np.asarray(points, np.float64) @ self.rotation * self.radius
        return fixed(np.clip(places, -8000.0, 8000.0))

    def fill(self, picture: Codes, outline: Floats, colour: Colour, cover: int = 255) -> None:
        """A filled outline."""
        cv2.fillPoly(picture, [self.px(outline)], (*ink(colour), cover), cv2.LINE_AA, SHIFT)

    def line(self, picture: Codes, path: Floats, width: float, colour: Colour) -> None:
        """A line with round ends."""
        wide = int(np.clip(width * self.radius, 1, 32000))
        cv2.polylines(picture, [self.px(path)], False, (*ink(colour), 255), wide, cv2.LINE_AA, SHIFT)


def _hand(spec: HeldSpec, rng: np.random.Generator, frame: _Frame, beneath: Codes, above: Codes) -> None:
    """A palm from the direction it comes from, fingers behind and some of their tips over the rim."""
    if rng.random() < 0.75:  # the palm
        wide = rng.uniform(1.0, 1.8)
        half = np.array([[0.75, -6.0], [0.75, -3.0], [1.0, -1.5], [1.1, -0.4], [0.9, 0.7], [0.3, 1.0]])
        palm = np.concatenate([half, half[::-1] * np.array([-1.0, 1.0])]) * np.array([wide, 1.0])
        frame.fill(beneath, smoothed(palm + 0.12 * rng.normal(size=palm.shape)), spec.colour)
    spread = rng.uniform(60.0, 300.0)
    turns = np.radians(spread * (np.linspace(-0.5, 0.5, spec.fingers) + rng.normal(0.0, 0.04, spec.fingers)))
    for index, turn in enumerate(turns):
        way = np.array([np.sin(turn), -np.cos(turn)])
        thick = spec.thickness * rng.uniform(0.85, 1.1) * (1.2 if index == 0 else 1.0)
        over = rng.random() < 0.6
        tip = (1.0 - spec.overlap + 0.5 * thick) if over else rng.uniform(0.3, 1.2)
        # from the knuckle to the tip the finger bends about the case
        lean = rng.normal(0.0, 0.7)
        side = np.array([way[1], -way[0]])
        joint = way * (tip + 0.9 * thick) + side * 0.35 * lean
        # all fingers come from one hand: further out they turn to where it is
        root = joint + way * rng.uniform(0.6, 1.4) + np.array([0.0, -rng.uniform(0.5, 1.6)]) + side * 0.6 * lean
        picture = above if over else beneath
        tone = near(rng, spec.colour, 0.06)
        for part, width in ((0.0, 1.1), (0.5, 1.05)):
            frame.line(picture, np.array([root + (joint - root) * part, joint]), width * thick, tone)
        frame.line(picture, np.array([joint, way * (tip + 0.45 * thick)]), thick, tone)
        frame.line(picture, np.array([joint, way * tip]), 0.92 * thick, tone)
        for crease in (0.0, 0.12, 0.9):
            at = joint + (root - joint) * crease * 0.5
            bend = np.array([-0.32, 0.0, 0.32])[:, None] * thick * side + at
            bend[1] += 0.06 * way
            frame.line(picture, bend, 0.012, near(rng, (0.65 * tone[0], 0.57 * tone[1], 0.55 * tone[2]), 0.1))
        if spec.kind == "hand" and over and rng.random() < 0.7:
            _nail(rng, frame, picture, way * (tip + 0.05 * thick), np.arctan2(*(joint - way * tip)), thick, tone)


def _nail(
    rng: np.random.Generator, frame: _Frame, picture: Codes, at: Floats, turn: float, thick: float, skin: Colour
) -> None:
    """A nail, paler or painted, with its edge."""
    angle = np.linspace(0, 2 * np.pi, 20)
    form = np.stack([0.3 * np.sin(angle), 0.4 * np.cos(angle)], 1) * thick
    c, s = np.cos(-turn), np.sin(-turn)
    outline = form @ np.array([[c, s], [-s, c]]) + at
    varnish = rng.random() < 0.2
    tone = (
        drawn_colour(rng, 0.02, 0.5, grey=0.1)
        if varnish
        else colour_of(np.minimum(np.array(skin) * (1.25, 1.2, 1.25) + 0.04, 1))
    )
    frame.fill(picture, outline, near(rng, (0.6 * skin[0], 0.5 * skin[1], 0.5 * skin[2]), 0.1))
    frame.fill(picture, (outline - at) * 0.92 + at, tone)


def _chain(spec: HeldSpec, rng: np.random.Generator, frame: _Frame, beneath: Codes) -> None:
    """Links along a winding line from the rim outwards."""
    size = 0.12 * spec.thickness / 0.4
    bends = np.cumsum(rng.normal(0.0, 0.14, 60)) + rng.uniform(-0.6, 0.6)
    path = np.cumsum(np.stack([np.sin(bends), -np.cos(bends)], 1) * 1.35 * size, axis=0) + np.array([0.0, -0.95])
    angle = np.linspace(0, 2 * np.pi, 14)
    for index, (place, bend) in enumerate(zip(path, bends, strict=True)):
        slim = 0.5 if index % 2 else 0.22
        link = np.stack([slim * size * np.cos(angle), size * np.sin(angle)], 1)
        c, s = np.cos(bend), np.sin(bend)
        turned = link @ np.array([[c, s], [-s, c]]) + place
        frame.line(beneath, turned + 0.12 * size, 0.3 * size, (0.02, 0.02, 0.02))
        frame.line(beneath, turned, 0.3 * size, near(rng, spec.colour, 0.4))


def _stand(spec: HeldSpec, rng: np.random.Generator, frame: _Frame, beneath: Codes, above: Codes) -> None:
    """A foot with a back behind the case and prongs or a lip that it stands in."""
    wide, foot = rng.uniform(0.5, 1.3), rng.uniform(1.15, 1.8)
    back = np.array([[-0.3 * wide, 0.9], [-wide, -foot], [wide, -foot], [0.3 * wide, 0.9]])
    frame.fill(beneath, back, near(rng, spec.colour, 0.2))
    base = np.array([[-1.3 * wide, -foot], [-1.4 * wide, -foot - 0.3], [1.4 * wide, -foot - 0.3], [1.3 * wide, -foot]])
    frame.fill(beneath, base, near(rng, spec.colour, 0.3))
    half = 0.3 * spec.thickness
    for x in (-0.5, 0.5) if rng.random() < 0.7 else (0.0,):
        y = -np.sqrt(1.0 - x * x)
        edge = np.array([x, y]) * (1.0 - spec.overlap)
        frame.line(
            above, np.array([edge * (1.0 + half), np.array([x, y]) * (1.05 + half), [x, -foot]]), half, spec.colour
        )


def _lit(spec: HeldSpec, drawn: Codes, depth: float, rounded: bool, rng: np.random.Generator) -> Layer:
    """The drawn parts with light and shade; fingers are round."""
    whole = Layer(np.zeros((*drawn.shape[:2], 3), np.float32), np.zeros(drawn.shape[:2], np.float32))
    left, top, wide, tall = cv2.boundingRect(cv2.extractChannel(drawn, 3))
    if wide == 0:
        return whole
    place = np.s_[top : top + tall, left : left + wide]  # nothing is worked out where nothing is
    part = np.ascontiguousarray(drawn[place])
    mask = np.asarray(cv2.extractChannel(part, 3), np.uint8)
    colour = light(np.asarray(cv2.cvtColor(part, cv2.COLOR_RGBA2RGB), np.uint8))
    shape = (mask.shape[0], mask.shape[1])
    turn = np.radians(spec.light_deg)
    if rounded:
        # the depth inside the outline stands for the height of a round limb
        inside = np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, 3), np.float32)
        rise = np.clip(inside / np.float32(max(depth, 1.0)), 0.0, 1.0)
        height = soften(np.sqrt(rise * (2.0 - rise)), max(0.1 * depth, 0.7))
        slope = np.float32(np.cos(turn)) * cv2.Sobel(height, cv2.CV_32F, 0, 1, scale=0.125)
        slope -= np.float32(np.sin(turn)) * cv2.Sobel(height, cv2.CV_32F, 1, 0, scale=0.125)
        factor = 0.45 + 0.6 * height + np.float32(0.35 * depth) * slope
        factor += 0.05 * fractal(rng, shape, 0.75, coarse=16)
        if spec.kind == "glove":
            factor *= relief(fractal(rng, shape, 0.4, coarse=10), 2.0)
    elif spec.kind == "tissue":
        crease = np.abs(fractal(rng, shape, 0.45, coarse=6))
        factor = relief(crease, 6.0) * np.float32(0.9)
    else:
        factor = 1.0 + 0.12 * fractal(rng, shape, 0.6, coarse=6)
    whole.colour[place] = times(colour, np.asarray(np.clip(factor, 0.05, 1.8), np.float32))
    whole.cover[place] = mask * np.float32(1 / 255)
    return whole
