"""The light on the object and the reflections in its crystal: from reflectance to radiance."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.scratches import Scratches, sample_scratches, scratch_light
from dialtell.synth.photograph.sun import Sun, bezel_shadow, sample_sun
from dialtell.synth.photograph.texture import Colour, enlarge, soften, stack
from dialtell.synth.photograph.view import ViewSpec, homography, mm_grid, to_px
from dialtell.synth.photograph.worn_glass import WornGlass, sample_worn_glass, seen_through
from dialtell.synth.shared.errors import require_range
from dialtell.synth.strokes.raster import coverage

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

WORN_GLASS = (
    0.3  # share of pictures in hard light and finish with a worn crystal (judgement: few watches had theirs renewed)
)
GRID_STEP = 8  # px; light varies slowly
PANE_STEP = 4  # px; a window's edges in the crystal are soft, but not that soft


@dataclass(frozen=True)
class LightSpec:
    """Light and reflections. Radiance 1 is a perfect white in full light.

    dial_radius_mm : 2..500.
    azimuth_deg : 0..360, clockwise from 12 on the dial, where the main light comes from.
    colour : of the main light, each 0.2..2; shade_colour : of the light that fills the far side.
    falloff : 0..0.8, share of light lost from the lit to the far side of the frame.
    vignette : 0..0.8, share of light lost in the frame's corners.
    haze : 0..0.3, even reflection of the room in the crystal, added to the radiance.
    glare : 0..3, brightest added radiance of a lamp's soft image; 0 for none.
    glare_x, glare_y : -1.2..1.2 dial radii; glare_size : 0.02..1 dial radii along its short axis;
    glare_stretch : 1..8, long axis over short; glare_deg : 0..180, direction of the long axis.
    window : 0..2, added radiance of a window's image; 0 for none.
    window_x, window_y : -1.2..1.2 dial radii; window_size : 0.05..1.5 dial radii, its height;
    window_deg : -90..90 turn; window_blur : 0.002..0.2 dial radii.
    sun : the bezel's shadow in hard light, None without. scratches : of the crystal that glint, None without.
    glass : a worn crystal that bends the light, None without.
    """

    dial_radius_mm: float
    azimuth_deg: float
    colour: Colour
    shade_colour: Colour
    falloff: float
    vignette: float
    haze: float
    glare: float
    glare_x: float
    glare_y: float
    glare_size: float
    glare_stretch: float
    glare_deg: float
    window: float
    window_x: float
    window_y: float
    window_size: float
    window_deg: float
    window_blur: float
    sun: Sun | None = None
    scratches: Scratches | None = None
    glass: WornGlass | None = None

    def __post_init__(self) -> None:
        require_range("dial_radius_mm", self.dial_radius_mm, 2.0, 500.0, "mm")
        require_range("azimuth_deg", self.azimuth_deg, 0.0, 360.0, "degrees")
        for value in (*self.colour, *self.shade_colour):
            require_range("colour and shade_colour", value, 0.2, 2.0)
        require_range("falloff", self.falloff, 0.0, 0.8)
        require_range("vignette", self.vignette, 0.0, 0.8)
        require_range("haze", self.haze, 0.0, 0.3)
        require_range("glare", self.glare, 0.0, 3.0)
        require_range("glare_size", self.glare_size, 0.02, 1.0, "dial radii")
        require_range("glare_stretch", self.glare_stretch, 1.0, 8.0)
        require_range("glare_deg", self.glare_deg, 0.0, 180.0, "degrees")
        require_range("window", self.window, 0.0, 2.0)
        require_range("window_size", self.window_size, 0.05, 1.5, "dial radii")
        require_range("window_deg", self.window_deg, -90.0, 90.0, "degrees")
        require_range("window_blur", self.window_blur, 0.002, 0.2, "dial radii")
        for name in ("glare_x", "glare_y", "window_x", "window_y"):
            require_range(name, getattr(self, name), -1.2, 1.2, "dial radii")


def sample_light(*, rng: np.random.Generator, dial_radius_mm: float = 22.0) -> LightSpec:
    """Draw the light; about a third of the dials show a reflection in the crystal."""
    warm = float(np.clip(rng.normal(0.0, 0.12), -0.3, 0.35))  # > 0 lamp light, < 0 sky light
    other = float(np.clip(warm + rng.normal(0.0, 0.08), -0.35, 0.4))
    crystal = rng.random() < 0.55
    has_glare = crystal and rng.random() < 0.45
    has_window = crystal and rng.random() < 0.25
    return LightSpec(
        dial_radius_mm=dial_radius_mm,
        azimuth_deg=float(rng.normal(-30.0, 60.0) % 360.0),
        colour=(1.0 + warm, 1.0, 1.0 - warm),
        shade_colour=(1.0 + other, 1.0, 1.0 - other),
        falloff=float(0.7 * rng.beta(1.2, 2.5)),
        vignette=float(0.5 * rng.beta(1.2, 3.0)),
        haze=float(0.12 * rng.beta(1.0, 3.0)) if crystal else 0.0,
        glare=float(np.exp(rng.uniform(np.log(0.05), np.log(2.0)))) if has_glare else 0.0,
        glare_x=float(rng.uniform(-0.9, 0.9)),
        glare_y=float(rng.uniform(-0.9, 0.9)),
        glare_size=float(np.exp(rng.uniform(np.log(0.03), np.log(0.4)))),
        glare_stretch=float(np.exp(rng.uniform(0.0, np.log(6.0)))),
        glare_deg=float(rng.uniform(0.0, 180.0)),
        window=float(np.exp(rng.uniform(np.log(0.04), np.log(0.8)))) if has_window else 0.0,
        window_x=float(rng.uniform(-0.8, 0.8)),
        window_y=float(rng.uniform(-0.8, 0.8)),
        window_size=float(rng.uniform(0.15, 0.8)),
        window_deg=float(rng.uniform(-30.0, 30.0)),
        window_blur=float(np.exp(rng.uniform(np.log(0.005), np.log(0.08)))),
    )


def hardened(light: LightSpec, *, rng: np.random.Generator, bezel: bool) -> LightSpec:
    """The same light, of some harder: a bezel's shadow (bezel : whether there is one), glints in scratched glass or a
    worn crystal over all.

    Of the room's reflection half is left: who photographs a dial turns it out of it (judgement).
    """
    apart = rng.spawn(1)[0]
    sun = sample_sun(rng=rng)
    scratches = sample_scratches(rng=rng, dial_radius_mm=light.dial_radius_mm)
    glass = sample_worn_glass(rng=apart, dial_radius_mm=light.dial_radius_mm)
    shaded, scratched = rng.random(2) < (0.15, 0.18)
    return replace(
        light, haze=0.5 * light.haze, sun=sun if shaded and bezel else None,
        scratches=scratches if scratched and bezel else None,
        glass=glass if apart.random() < WORN_GLASS and bezel else None,
    )  # fmt: skip


def apply_light(light: LightSpec, view: ViewSpec, reflectance: Image) -> Image:
    """Radiance (H, W, 3) float32 >= 0 of a painted object, reflections added; reflectance is not changed."""
    rows, columns = -(-view.height_px // GRID_STEP), -(-view.width_px // GRID_STEP)
    x = np.linspace(-1.0, 1.0, columns, dtype=np.float32)
    y = np.linspace(-1.0, 1.0, rows, dtype=np.float32)[:, None]
    angle = np.radians(light.azimuth_deg + view.roll_deg)
    far = np.clip(0.5 - 0.5 * (np.float32(np.sin(angle)) * x - np.float32(np.cos(angle)) * y), 0.0, 1.0)
    main = (1.0 - np.float32(light.falloff) * far) * (1.0 - np.float32(0.5 * light.vignette) * (x * x + y * y))
    gain = [
        np.asarray(main * ((1.0 - far) * a + far * b), dtype=np.float32)
        for a, b in zip(light.colour, light.shade_colour, strict=True)
    ]
    radiance = enlarge(stack(gain), view.shape)
    radiance *= reflectance
    if light.sun is not None:
        radiance *= bezel_shadow(light.sun, view, light.azimuth_deg, light.dial_radius_mm)
    if light.haze > 0.0 or light.glare > 0.0:
        soft = np.float32(light.haze) + _glare(light, view)
        radiance += enlarge(stack([soft * np.float32(value) for value in light.colour]), view.shape)
    if light.window > 0.0:
        pane = enlarge(_window(light, view), view.shape)
        radiance += stack((pane, pane, pane))
    if light.scratches is not None:
        glint = scratch_light(light.scratches, view, light.dial_radius_mm)
        radiance += stack((glint, glint, glint))
    if light.glass is not None:
        radiance = seen_through(light.glass, view, radiance, light.dial_radius_mm)
    return radiance


def _glare(light: LightSpec, view: ViewSpec) -> Image:
    """The lamp's soft image, a stretched bell, on the coarse grid."""
    x, y = mm_grid(view, GRID_STEP)
    if light.glare == 0.0:
        return np.zeros(x.shape, dtype=np.float32)
    unit = np.float32(1.0 / light.dial_radius_mm)
    x, y = x * unit - np.float32(light.glare_x), y * unit - np.float32(light.glare_y)
    turn = np.radians(light.glare_deg)
    along = np.float32(np.sin(turn)) * x - np.float32(np.cos(turn)) * y
    across = np.float32(np.cos(turn)) * x + np.float32(np.sin(turn)) * y
    reach = (along / np.float32(light.glare_size * light.glare_stretch)) ** 2 + (
        across / np.float32(light.glare_size)
    ) ** 2
    # a bright kernel with a wide skirt, as polished curved glass gives
    field = np.float32(light.glare) * (0.75 * np.exp(-0.5 * reach**1.4) + 0.25 * np.exp(-0.35 * reach))
    return np.asarray(field, dtype=np.float32)


def _window(light: LightSpec, view: ViewSpec) -> Image:
    """A window of two by two panes mirrored in the crystal, on a grid of PANE_STEP px."""
    shape = (-(-view.height_px // PANE_STEP), -(-view.width_px // PANE_STEP))
    matrix = np.diag([1.0 / PANE_STEP, 1.0 / PANE_STEP, 1.0]) @ homography(view)
    turn = np.radians(light.window_deg)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    side = np.linspace(0.0, 1.0, 9)
    loop = np.concatenate(
        [
            np.stack([side, 0 * side], 1),
            np.stack([0 * side + 1, side], 1),
            np.stack([1 - side, 0 * side + 1], 1),
            np.stack([0 * side, 1 - side], 1),
        ]
    )
    panes = []
    for left in (-0.52, 0.04):
        for top in (-0.72, 0.04):
            pane = (np.array([left, top]) + loop * np.array([0.48, 0.68])) * light.window_size
            # the crystal is convex: straight bars bow outward from its middle
            place = pane @ rotation.T + np.array([light.window_x, light.window_y])
            place *= 1.0 + 0.12 * (place**2).sum(axis=1, keepdims=True)
            panes.append(to_px(matrix, place * light.dial_radius_mm))
    cover = coverage(panes, shape)
    sigma = max(light.window_blur * light.dial_radius_mm * view.px_per_mm / PANE_STEP, 0.5)
    return np.float32(light.window) * np.maximum(soften(cover, sigma), 0.0)
