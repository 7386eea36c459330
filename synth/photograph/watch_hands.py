"""The hands: outlines of the usual shapes, their metal, and the shadow they cast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.patch import circle, cover_patch
from dialtell.synth.photograph.texture import Colour, enlarge, mix, soften, stack, times
from dialtell.synth.photograph.view import ViewSpec, homography, local_scale, to_px
from dialtell.synth.shared.errors import ParameterError, require_range

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

SHAPES = ("none", "spade", "ring tip", "baton", "pear", "plain")
FINISHES = ("blued", "black", "gold")
METAL: dict[str, tuple[Colour, Colour]] = {  # linear colour of the shaded and of the lit facet
    "blued": ((0.008, 0.01, 0.025), (0.03, 0.055, 0.2)),
    "black": ((0.012, 0.012, 0.012), (0.07, 0.07, 0.07)),
    "gold": ((0.3, 0.19, 0.06), (0.85, 0.62, 0.27)),
}


@dataclass(frozen=True)
class HandsSpec:
    """The hands on a dial; a hand of length 0 is missing.

    shape : "none", "spade", "ring tip", "baton", "pear" or "plain"; the seconds hand is a plain pointer.
    finish : "blued", "black" or "gold".
    dial_radius_mm : 2..500.
    hour_deg, minute_deg, second_deg : 0..360 clockwise from 12.
    hour_mm, minute_mm, second_mm : lengths from the axis; 0 leaves that hand out.
    seconds_x_mm, seconds_y_mm : axis of the seconds hand.
    weight : 0.5..2, width against the usual.
    facet : 0..1, how much brighter the side turned to the light is.
    shadow : 0..1, its depth; shadow_x_mm, shadow_y_mm : -5..5, its shift; shadow_blur_mm : 0.02..3, sigma.
    light_azimuth_deg : 0..360, where the light comes from.

    Ranges are those of watch dials; what is accepted is wider (`__post_init__`), as clock dials are three times as
    large.
    """

    shape: str
    finish: str
    dial_radius_mm: float
    hour_deg: float
    minute_deg: float
    second_deg: float
    hour_mm: float
    minute_mm: float
    second_mm: float
    seconds_x_mm: float
    seconds_y_mm: float
    weight: float
    facet: float
    shadow: float
    shadow_x_mm: float
    shadow_y_mm: float
    shadow_blur_mm: float
    light_azimuth_deg: float

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise ParameterError(f"shape is {self.shape!r}; give one of {', '.join(SHAPES)}")
        if self.finish not in FINISHES:
            raise ParameterError(f"finish is {self.finish!r}; give one of {', '.join(FINISHES)}")
        require_range("dial_radius_mm", self.dial_radius_mm, 2.0, 500.0, "mm")
        for name in ("hour_deg", "minute_deg", "second_deg", "light_azimuth_deg"):
            require_range(name, getattr(self, name), 0.0, 360.0, "degrees")
        for name in ("hour_mm", "minute_mm", "second_mm"):
            require_range(name, getattr(self, name), 0.0, 1.2 * self.dial_radius_mm, "mm")
        require_range("weight", self.weight, 0.5, 2.0)
        require_range("facet", self.facet, 0.0, 1.0)
        require_range("shadow", self.shadow, 0.0, 1.0)
        require_range("shadow_x_mm", self.shadow_x_mm, -40.0, 40.0, "mm")
        require_range("shadow_y_mm", self.shadow_y_mm, -40.0, 40.0, "mm")
        require_range("shadow_blur_mm", self.shadow_blur_mm, 0.02, 24.0, "mm")


def sample_hands(
    *,
    rng: np.random.Generator,
    dial_radius_mm: float = 22.0,
    seconds_centre_mm: tuple[float, float] | None = None,
    seconds_radius_mm: float = 0.0,
    light_azimuth_deg: float | None = None,
    none_share: float = 0.4,
) -> HandsSpec:
    """Draw hands; `none_share` 0..1 of dials have none. Hour and minute hand agree on the time of day."""
    require_range("none_share", none_share, 0.0, 1.0)
    shape = "none" if rng.random() < none_share else str(rng.choice(SHAPES[1:], p=[0.4, 0.2, 0.1, 0.1, 0.2]))
    minutes = rng.uniform(0.0, 720.0)
    light = float(rng.uniform(0.0, 360.0)) if light_azimuth_deg is None else light_azimuth_deg % 360.0
    height = dial_radius_mm * rng.uniform(0.01, 0.06)
    has_seconds = seconds_centre_mm is not None and seconds_radius_mm > 0.0 and rng.random() < 0.9
    seconds = seconds_centre_mm if seconds_centre_mm is not None else (0.0, 0.0)
    return HandsSpec(
        shape=shape,
        finish=str(rng.choice(FINISHES, p=[0.6, 0.15, 0.25])),
        dial_radius_mm=dial_radius_mm,
        hour_deg=float(minutes / 2.0 % 360.0),
        minute_deg=float(minutes * 6.0 % 360.0),
        second_deg=float(rng.uniform(0.0, 360.0)),
        hour_mm=float(dial_radius_mm * rng.uniform(0.5, 0.66)),
        minute_mm=float(dial_radius_mm * rng.uniform(0.78, 0.95)),
        second_mm=float(seconds_radius_mm * rng.uniform(0.75, 0.98)) if has_seconds else 0.0,
        seconds_x_mm=float(seconds[0]),
        seconds_y_mm=float(seconds[1]),
        weight=float(np.exp(rng.normal(0.0, 0.2)).clip(0.6, 1.6)),
        facet=float(rng.beta(1.5, 2.5)),
        shadow=float(rng.uniform(0.05, 0.65)),
        shadow_x_mm=float(-height * np.sin(np.radians(light))),
        shadow_y_mm=float(height * np.cos(np.radians(light))),
        shadow_blur_mm=float(height * rng.uniform(0.15, 1.0) + 0.02),
        light_azimuth_deg=light,
    )


def paint_hands(hands: HandsSpec, view: ViewSpec, reflectance: Image) -> tuple[Image, Image]:
    """Lay the hands and their shadows over a painted dial.

    reflectance : (H, W, 3) float32 linear, not changed.
    Returns the new reflectance and (H, W) float32, the share of each pixel hidden by metal (not by shadow).
    """
    covered = np.zeros(view.shape, dtype=np.float32)
    if hands.shape == "none":
        return reflectance, covered
    result = reflectance.copy()
    matrix = homography(view)
    radius = hands.dial_radius_mm
    boss = 0.032 * radius
    parts = [
        (
            hands.second_mm,
            hands.second_deg,
            (hands.seconds_x_mm, hands.seconds_y_mm),
            "pointer",
            0.4 * boss,
            0.35,
        ),
        (hands.hour_mm, hands.hour_deg, (0.0, 0.0), hands.shape, 1.25 * boss, 1.0),
        (hands.minute_mm, hands.minute_deg, (0.0, 0.0), hands.shape, boss, 1.0),
    ]
    unit = 0.016 * radius * hands.weight  # half the width of a shaft
    for length, angle, axis, shape, hub, share in parts:
        if length > 0.0:
            pieces = _outline(shape, length, unit * share)
            pieces.append((1.0, circle(0.0, 0.0, hub, 48)))
            _lay(hands, pieces, np.radians(angle), np.array(axis), matrix, result, covered)
    return result, covered


def _outline(shape: str, length: float, unit: float) -> list[tuple[float, Floats]]:
    """Pieces of a hand pointing to 12: (sign, outline mm), sign -1 a hole; `unit` is half a shaft."""

    def symmetric(*points: tuple[float, float]) -> Floats:
        side = np.array(points)
        return np.concatenate([side, side[::-1] * np.array([-1.0, 1.0])])

    tail = (0.7 * unit, 0.12 * length)
    if shape == "baton":
        return [(1.0, symmetric((unit, 0.0), (1.25 * unit, -length)))]
    if shape == "plain":
        return [(1.0, symmetric((1.2 * unit, 0.0), (0.9 * unit, -0.7 * length), (0.12 * unit, -length)))]
    if shape == "pointer":
        return [(1.0, symmetric((2.2 * unit, 0.3 * length), (0.8 * unit, 0.0), (0.3 * unit, -length)))]
    if shape == "ring tip":
        middle, ring = -0.76 * length, 3.0 * unit
        shaft = symmetric(tail, (unit, 0.0), (0.6 * unit, middle + 0.8 * ring))
        tip = symmetric((0.6 * unit, middle - 0.9 * ring), (0.1 * unit, -length))
        off = 0.25 * ring
        return [
            (1.0, shaft),
            (1.0, tip),
            (1.0, circle(0.0, middle, ring, 60)),
            (-1.0, circle(0.0, middle - off, 0.62 * ring, 60)),
        ]
    if shape == "pear":
        t = np.linspace(0.0, 1.0, 24)
        swell = 4.2 * unit * np.sin(np.pi * t**1.6) + 0.5 * unit * (1.0 - t)
        lobe = symmetric(*zip(swell, -length * (0.55 + 0.27 * t), strict=True))
        return [
            (1.0, symmetric(tail, (unit, 0.0), (0.6 * unit, -0.57 * length))),
            (1.0, lobe),
            (1.0, symmetric((0.6 * unit, -0.8 * length), (0.1 * unit, -length))),
        ]
    # spade: a heart-shaped leaf before the point, on a collar
    t = np.linspace(0.0, 1.0, 32)
    swell = 5.0 * unit * np.sin(np.pi * np.sqrt(t)) * (1.0 - 0.55 * t)
    leaf = symmetric(*zip(np.maximum(swell, 0.35 * unit), -length * (0.66 + 0.17 * t), strict=True))
    collar = circle(0.0, -0.63 * length, 1.7 * unit, 36)
    return [
        (1.0, symmetric(tail, (1.1 * unit, 0.0), (0.55 * unit, -0.67 * length))),
        (1.0, collar),
        (1.0, leaf),
        (1.0, symmetric((0.5 * unit, -0.81 * length), (0.1 * unit, -length))),
    ]


def _lay(
    hands: HandsSpec,
    pieces: list[tuple[float, Floats]],
    angle: float,
    axis: Floats,
    matrix: Floats,
    result: Image,
    covered: Image,
) -> None:
    """One hand: shadow first, then metal; in place."""
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    placed = [piece @ turn.T + axis for _, piece in pieces]
    signs = np.array([sign for sign, _ in pieces])
    scale = float(local_scale(matrix, axis))
    sigma = max(hands.shadow_blur_mm * scale, 0.3)
    shift = np.array([hands.shadow_x_mm, hands.shadow_y_mm])
    step = max(1, int(sigma / 2.0))  # a soft shadow needs no full-size picture
    reduce = np.diag([1.0 / step, 1.0 / step, 1.0]) @ matrix
    height, width = covered.shape
    small = (-(-height // step), -(-width // step))
    dark = cover_patch([to_px(reduce, outline + shift) for outline in placed], small, signs, int(3 * sigma / step) + 2)
    if dark is not None and hands.shadow > 0.0:
        soft = soften(np.clip(dark.cover, 0.0, 1.0), sigma / step)
        rows = slice(dark.rows.start * step, min(dark.rows.stop * step, height))
        columns = slice(dark.columns.start * step, min(dark.columns.stop * step, width))
        if step > 1:
            soft = enlarge(soft, (soft.shape[0] * step, soft.shape[1] * step))
        soft = np.float32(1.0) - np.float32(hands.shadow) * soft
        soft = soft[: rows.stop - rows.start, : columns.stop - columns.start]
        result[rows, columns] = times(result[rows, columns], soft)
    outlines = [to_px(matrix, outline) for outline in placed]
    metal = cover_patch(outlines, (height, width), signs)
    if metal is None:
        return
    cover = np.clip(metal.cover, 0.0, 1.0)
    # the facet right of the axis: what the outlines cover within the half-plane on that side
    far = 3.0 * hands.dial_radius_mm
    half = np.array([[0.0, far], [0.0, -far], [far, -far], [far, far]]) * 0.4 @ turn.T + axis
    offset = np.array([metal.columns.start, metal.rows.start], dtype=np.float64)
    right = cover_patch([to_px(matrix, half) - offset], (cover.shape[0], cover.shape[1]))
    side = np.zeros_like(cover)
    if right is not None:
        side[right.rows, right.columns] = right.cover
    facing = np.sin(np.radians(hands.light_azimuth_deg) - angle)  # > 0: the right side looks at the light
    lit = 0.5 + 0.5 * hands.facet * facing * (2.0 * side - 1.0)
    shaded, bright = (np.array(colour) for colour in METAL[hands.finish])
    colour = stack(
        [np.float32(shaded[k]) + np.float32(bright[k] - shaded[k]) * lit.astype(np.float32) for k in range(3)]
    )
    box = result[metal.rows, metal.columns]
    result[metal.rows, metal.columns] = mix(box, colour, cover)
    held = covered[metal.rows, metal.columns]
    held += (1.0 - held) * cover
