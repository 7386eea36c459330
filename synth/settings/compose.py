"""The picture of a face in its setting, with what every pixel of it shows: a pure function of spec and face."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.camera.camera import expose
from dialtell.synth.faces.face import resized
from dialtell.synth.faces.face_parts import Face
from dialtell.synth.settings.background import paint_background
from dialtell.synth.settings.case import paint_case, shade_enamel
from dialtell.synth.settings.crystal import reflect, scratches
from dialtell.synth.settings.held import paint_held
from dialtell.synth.settings.overlay import paint_overlay
from dialtell.synth.settings.plate import EXTENT, Layer
from dialtell.synth.settings.setting import SIDE, SQUARE, Look, SettingSpec
from dialtell.synth.settings.thing import paint_thing
from dialtell.synth.shared import look_sizes
from dialtell.synth.shared.terms import SEEN, Make, Seen
from dialtell.synth.truth import Ellipse, image_of_circle

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

PADDING = look_sizes.PADDING
PLATES = (48, 80, 120, 160)  # px per dial radius that cases and reflections are painted at
_GLARE, _BLINDING = 0.35, 0.9  # light added, from which a bare pixel, and one with ink, shows glare


class Example(NamedTuple):
    """A picture and its truth.

    picture : (H, W, 3) uint8 sRGB. seen : (H, W) uint8 index into SEEN. outline : of the dial's visible edge, px; None
    without a dial. twelve : radians clockwise from up at which 12 o'clock stands once the outline is made a circle.
    make : of the dial. look : how it is looked at.
    """

    picture: NDArray[np.uint8]
    seen: NDArray[np.uint8]
    outline: Ellipse | None
    twelve: float
    make: Make
    look: Look


def compose(spec: SettingSpec, face: Face | None, make: Make, photos: Sequence[NDArray[np.uint8]] = ()) -> Example:
    """Take the picture. face : of the dial, None where the spec has none. photos : backgrounds of the user's own."""
    height, width = spec.shape
    light = paint_background(spec.background, spec.shape, photos)
    for thing, place in spec.things:
        scale = _plate_scale(place.radius_px)
        light = _warped(paint_thing(thing, scale), place.matrix(), spec.shape, scale).over(light)
    seen = np.zeros(spec.shape, np.uint8)
    outline, twelve = None, 0.0
    if spec.place is not None and face is not None:
        matrix = _matrix(spec)
        opening = min(spec.case.opening, 1.0) if spec.case is not None else 1.0
        outline = image_of_circle(matrix, 0.0, 0.0, opening)
        twelve = _twelve(matrix, outline)
        light, seen = _with_dial(spec, face, matrix, outline, opening, light, seen)
    light = light * _gradient(spec)[..., None]
    picture = expose(spec.camera, np.maximum(light, 0.0).astype(np.float32))
    picture, over = paint_overlay(spec.overlay, picture)
    seen[over] = SEEN.index(Seen.OVERLAY)
    left, top, right, bottom = spec.cut
    outside = np.ones(spec.shape, np.bool_)
    outside[
        round(top * height) : height - round(bottom * height), round(left * width) : width - round(right * width)
    ] = 0
    picture[outside], seen[outside] = PADDING, 0
    return Example(picture, seen, outline, twelve, make, spec.look)


def _matrix(spec: SettingSpec) -> Floats:
    """(3, 3) dial radii to px of the picture; a square look takes out the outline's shape but for its error."""
    assert spec.place is not None
    matrix = spec.place.matrix()
    if spec.look is not Look.SQUARE:
        return matrix
    found = image_of_circle(matrix, 0.0, 0.0, 1.0)
    x, y, first, second, along = spec.error
    c, s = math.cos(along), math.sin(along)
    turn = np.array([[c, -s], [s, c]])
    wrong = turn @ np.diag(np.exp([first, second])) @ turn.T
    square = SQUARE * wrong @ np.linalg.inv(root(found))
    whole = np.eye(3)
    whole[:2, :2] = square
    whole[:2, 2] = SIDE / 2 + SQUARE * np.array([x, y]) - square @ np.asarray(found.center_px)
    return whole @ matrix


def root(outline: Ellipse) -> Floats:
    """(2, 2) the symmetric root that turns the unit circle into the outline: px per dial radius."""
    c, s = math.cos(outline.angle_rad), math.sin(outline.angle_rad)
    turn = np.array([[c, -s], [s, c]])
    return np.asarray(turn @ np.diag(outline.axes_px) @ turn.T)


def _twelve(matrix: Floats, outline: Ellipse) -> float:
    top = matrix @ (0.0, -1.0, 1.0)
    middle = matrix @ (0.0, 0.0, 1.0)
    x, y = np.linalg.solve(root(outline), np.asarray(top[:2] / top[2] - middle[:2] / middle[2]))
    return math.atan2(x, -y)


def _with_dial(
    spec: SettingSpec,
    face: Face,
    matrix: Floats,
    outline: Ellipse,
    opening: float,
    light: Image,
    seen: NDArray[np.uint8],
) -> tuple[Image, NDArray[np.uint8]]:
    shape = spec.shape
    radius = math.sqrt(outline.axes_px[0] * outline.axes_px[1])
    scale = _plate_scale(radius)
    case = None if spec.case is None else _warped(paint_case(spec.case, scale), matrix, shape, scale)
    beneath, above = None, None
    if spec.held is not None:
        held = 1.0 if spec.case is None else min(1.12 * max(spec.case.opening, 1.0), 1.3)
        beneath, above = paint_held(spec.held, shape, outline.center_px, held * radius)
        light = beneath.over(light)
    disc = _disc(outline, shape)
    light = light * (1.0 - np.float32(spec.cast) * _shadow(disc, radius))[..., None]
    own = resized(face, min(max(round(1.15 * radius), 24), face.scale)) if face.scale > 1.5 * radius else face
    to_frame = _to_frame(matrix, own.scale, 1.0)
    colour = cv2.warpPerspective(
        own.colour, to_frame, shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    names = cv2.warpPerspective(own.seen, to_frame, shape[::-1], flags=cv2.INTER_NEAREST)
    inside = disc > 0.5
    # the square's corners lie outside the disc: nothing of the dial is named there
    seen = np.where(inside, np.maximum(names, SEEN.index(Seen.ENAMEL)), seen).astype(np.uint8)
    light = Layer(np.asarray(colour, np.float32), disc).over(light)
    plate = _to_frame(matrix, scale, EXTENT)
    if spec.case is not None and case is not None:
        shade = cv2.warpPerspective(
            shade_enamel(spec.case, scale), plate, shape[::-1], flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=1.0,
        )  # fmt: skip
        light = light * np.where(disc > 0, shade, np.float32(1))[..., None]
        light = case.over(light)
        seen[case.cover > 0.5] = 0
    added = reflect(spec.crystal, scale) + scratches(spec.crystal, scale)[..., None]
    if added.any():
        mirrored = cv2.warpPerspective(added, plate, shape[::-1], flags=cv2.INTER_LINEAR)
        light = light + mirrored
        bright = mirrored.mean(axis=2)
        ink = seen > SEEN.index(Seen.DAMAGE)
        seen[inside & (seen > 0) & (bright > np.where(ink, _BLINDING, _GLARE))] = SEEN.index(Seen.GLARE)
    if above is not None:
        light = above.over(light)
        seen[above.cover > 0.5] = 0
    return np.asarray(light, np.float32), seen


def _plate_scale(radius_px: float) -> int:
    return next((scale for scale in PLATES if scale >= 0.9 * radius_px), PLATES[-1])


def _to_frame(matrix: Floats, scale: int, extent: float) -> Floats:
    """(3, 3) px of a square of half side `extent` dial radii to px of the frame, both as OpenCV counts them: from the
    first pixel's middle."""
    first = 0.5 / scale - extent
    square = np.array([[1 / scale, 0.0, first], [0.0, 1 / scale, first], [0.0, 0.0, 1.0]])
    return np.asarray(np.array([[1.0, 0.0, -0.5], [0.0, 1.0, -0.5], [0.0, 0.0, 1.0]]) @ matrix @ square)


def _warped(layer: Layer, matrix: Floats, shape: tuple[int, int], scale: int) -> Layer:
    to_frame = _to_frame(matrix, scale, EXTENT)
    four = cv2.merge([*cv2.split(layer.colour), layer.cover])
    found = cv2.warpPerspective(four, to_frame, shape[::-1], flags=cv2.INTER_LINEAR)
    return Layer(np.ascontiguousarray(found[..., :3]), np.ascontiguousarray(found[..., 3]))


def _disc(outline: Ellipse, shape: tuple[int, int]) -> Image:
    """(H, W) share of each pixel within the outline."""
    inverse = np.linalg.inv(root(outline)).astype(np.float32)
    x = np.arange(shape[1], dtype=np.float32) + np.float32(0.5 - outline.center_px[0])
    y = (np.arange(shape[0], dtype=np.float32) + np.float32(0.5 - outline.center_px[1]))[:, None]
    away = np.hypot(inverse[0, 0] * x + inverse[0, 1] * y, inverse[1, 0] * x + inverse[1, 1] * y)
    radius = np.float32(math.sqrt(outline.axes_px[0] * outline.axes_px[1]))
    return np.asarray(np.clip((1.0 - away) * radius + 0.5, 0.0, 1.0), np.float32)


def _shadow(disc: Image, radius: float) -> Image:
    """The disc's soft shadow on the ground, a little to its lower right as light comes mostly from above."""
    small = cv2.resize(disc, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), max(0.05 * radius, 1.0))
    shift = 0.04 * radius
    moved = cv2.warpAffine(soft, np.array([[1.0, 0.0, shift], [0.0, 1.0, shift]]), soft.shape[::-1])
    return np.asarray(cv2.resize(moved, disc.shape[::-1], interpolation=cv2.INTER_LINEAR), np.float32)


def _gradient(spec: SettingSpec) -> Image:
    height, width = spec.shape
    x = np.linspace(-0.5, 0.5, width, dtype=np.float32)
    y = np.linspace(-0.5, 0.5, height, dtype=np.float32)[:, None]
    return np.asarray(np.exp(np.float32(spec.gradient) * (np.cos(spec.slope) * x + np.sin(spec.slope) * y)), np.float32)
