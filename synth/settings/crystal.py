"""What the glass over a dial adds to it: mirrored windows, lamps, skies and people, glints, scratches and dust."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from dialtell.synth.photograph.texture import Colour, colour_of
from dialtell.synth.settings.plate import EXTENT, Image, lattice
from dialtell.synth.shared.errors import ParameterError, require_range

SCENES = ("window", "sky", "blinds", "lamps", "person", "veil", "spot", "rim")
CHANCES = (0.2, 0.1, 0.11, 0.15, 0.1, 0.12, 0.1, 0.12)
REACH = 1.06  # dial radii from the centre to the border of the glass
SIDE = 256  # px of a picture of what is mirrored
HALF = 1.6  # of that picture, in dial radii as a flat glass would show it


@dataclass(frozen=True)
class Glint:
    """One thing mirrored in the glass.

    scene : one of SCENES. strength : 0.005..3, radiance at its brightest. colour : linear, each 0.3..1.6.
    x, y : -1.5..1.5 dial radii, where it lies. turn_deg : -180..180. size : 0.2..3. bend : 0..2.5, how much the glass's
    curve draws things together towards its border. blur : 0..0.3 dial radii. seed : of what it shows.
    """

    scene: str
    strength: float
    colour: Colour
    x: float
    y: float
    turn_deg: float
    size: float
    bend: float
    blur: float
    seed: int

    def __post_init__(self) -> None:
        if self.scene not in SCENES:
            raise ParameterError(f"Glint.scene is {self.scene!r}; give one of {', '.join(SCENES)}")
        for name, low, high in (
            ("strength", 0.005, 3.0), ("x", -1.5, 1.5), ("y", -1.5, 1.5), ("turn_deg", -180.0, 180.0),
            ("size", 0.2, 3.0), ("bend", 0.0, 2.5), ("blur", 0.0, 0.3),
        ):  # fmt: skip
            require_range(f"Glint.{name}", getattr(self, name), low, high)
        for value in self.colour:
            require_range("Glint.colour", value, 0.3, 1.6)


@dataclass(frozen=True)
class CrystalSpec:
    """A glass. glints : what it mirrors, none for a bare dial. scratches : 0..60 lit scratches; dust : 0..200 specks;
    wear_light : 0..1, radiance of the brightest of them. seed : of scratches and dust."""

    glints: tuple[Glint, ...]
    scratches: int
    dust: int
    wear_light: float
    seed: int

    def __post_init__(self) -> None:
        require_range("CrystalSpec.scratches", self.scratches, 0, 60)
        require_range("CrystalSpec.dust", self.dust, 0, 200)
        require_range("CrystalSpec.wear_light", self.wear_light, 0.0, 1.0)


def sample_crystal(*, rng: np.random.Generator) -> CrystalSpec:
    """Draw a glass: two in five mirror nothing, one in seven is scratched or dusty in hard light."""
    count = int(rng.choice(4, p=[0.4, 0.36, 0.17, 0.07]))
    bend = float(rng.choice([rng.uniform(0.0, 0.3), rng.uniform(0.3, 2.2)]))
    warm = float(rng.normal(0.0, 0.12))
    worn = rng.random() < 0.14
    return CrystalSpec(
        glints=tuple(_sample_glint(bend, warm, rng) for _ in range(count)),
        scratches=int(rng.integers(0, 40)) if worn else 0,
        dust=int(rng.integers(0, 120)) if worn else 0,
        wear_light=float(rng.uniform(0.03, 0.6)) if worn else 0.0,
        seed=int(rng.integers(2**31)),
    )


def _sample_glint(bend: float, warm: float, rng: np.random.Generator) -> Glint:
    scene = str(rng.choice(SCENES, p=CHANCES))
    colour = np.exp(np.array([0.8, 0.0, -1.0]) * (warm + rng.normal(0.0, 0.08)) + rng.normal(0.0, 0.03, 3))
    weak, strong = {"person": (0.02, 0.6), "veil": (0.01, 0.4), "spot": (0.1, 3.0), "sky": (0.015, 0.8)}.get(
        scene, (0.015, 1.6)
    )
    sharp = rng.random() < 0.7
    return Glint(
        scene,
        float(np.exp(rng.uniform(np.log(weak), np.log(strong)))),
        colour_of(np.clip(colour, 0.3, 1.6)),
        float(np.clip(rng.normal(0.0, 0.45), -1.5, 1.5)),
        float(np.clip(rng.normal(-0.1, 0.45), -1.5, 1.5)),
        float(np.clip(rng.normal(0.0, 18.0), -180.0, 180.0) if rng.random() < 0.8 else rng.uniform(-180.0, 180.0)),
        float(np.exp(rng.uniform(np.log(0.35), np.log(2.2)))),
        bend,
        float(np.exp(rng.uniform(np.log(0.004), np.log(0.025))) if sharp else rng.uniform(0.02, 0.2)),
        int(rng.integers(2**31)),
    )


def reflect(spec: CrystalSpec, scale: int) -> Image:
    """(S, S, 3) float32 light to add over dial and bezel, 0 beyond REACH dial radii."""
    side = round(2 * EXTENT * scale)
    added = np.zeros((side, side, 3), np.float32)
    if not spec.glints:
        return added
    first = int((EXTENT - REACH) * scale)
    middle = slice(first, side - first)
    x, y, radius, turn = (field[middle, middle] for field in lattice(scale))
    inside = np.clip((REACH - 1.0 / scale - radius) * scale, 0.0, 1.0)
    part = added[middle, middle]
    for glint in spec.glints:
        tint = np.array(glint.colour, np.float32) * np.float32(glint.strength)
        if glint.scene == "rim":
            part += (_rim(glint, radius, turn) * inside)[..., None] * tint
            continue
        scene = _picture(glint)
        # a convex glass shows the more of the room the nearer to its border
        grow = (1.0 + np.float32(glint.bend) * radius * radius) * np.float32(
            1.0 / (glint.size * (1.0 + 0.3 * glint.bend))
        )
        angle = np.radians(glint.turn_deg)
        c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
        from_x, from_y = x * grow - np.float32(glint.x / glint.size), y * grow - np.float32(glint.y / glint.size)
        pixel, centre = np.float32(SIDE / (2 * HALF)), np.float32(SIDE / 2 - 0.5)
        map_x, map_y = (c * from_x + s * from_y) * pixel + centre, (c * from_y - s * from_x) * pixel + centre
        seen = cv2.remap(scene, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        seen = seen if seen.ndim == 3 else cv2.merge([seen] * 3)
        cv2.multiply(seen, cv2.merge([inside] * 3), dst=seen)
        part += seen * tint
    return added


def scratches(spec: CrystalSpec, scale: int) -> Image:
    """(S, S) float32 light to add for scratches and dust on the glass."""
    side = round(2 * EXTENT * scale)
    if not (spec.scratches or spec.dust) or spec.wear_light <= 0.0:
        return np.zeros((side, side), np.float32)
    rng = np.random.default_rng(spec.seed)
    drawn = np.zeros((side, side), np.uint8)
    middle = 0.5 * side
    # scratches run every way, and those are lit that lie across the light: about a spot, as arcs
    spot = middle + rng.uniform(-1.0, 1.0, 2) * 0.7 * scale
    for _ in range(spec.scratches):
        away, turn = rng.uniform(0.05, 1.3) * scale, rng.uniform(0.0, 2 * np.pi)
        start = spot + away * np.array([np.cos(turn), np.sin(turn)])
        along = turn + np.pi / 2 + rng.normal(0.0, 0.3)
        length = np.exp(rng.uniform(np.log(0.03), np.log(0.5))) * scale
        t = np.linspace(0.0, 1.0, 9)[:, None]
        bent = along + rng.normal(0.0, 0.4) * (t - 0.5)
        path = start + t * length * np.concatenate([np.cos(bent), np.sin(bent)], axis=1)
        points = np.round(path * 16).astype(np.int32)
        cv2.polylines(drawn, [points], False, int(rng.uniform(20, 255)), 1, cv2.LINE_AA, 4)
    for place, size in zip(
        middle + rng.uniform(-1.05, 1.05, (spec.dust, 2)) * scale, rng.exponential(0.004, spec.dust), strict=True
    ):
        centre = tuple(np.round(place * 16).astype(int).tolist())
        cv2.circle(drawn, centre, round((size * scale + 0.4) * 16), int(rng.uniform(20, 255)), -1, cv2.LINE_AA, 4)
    inside = np.clip((REACH - lattice(scale)[2]) * scale, 0.0, 1.0)
    return np.asarray(drawn * inside * np.float32(spec.wear_light / 255), np.float32)


def _rim(glint: Glint, radius: Image, turn: Image) -> Image:
    """Arcs of light along the border of a domed glass."""
    rng = np.random.default_rng(glint.seed)
    rings, turns = np.linspace(0.0, 1.6, 1024), np.linspace(-np.pi, np.pi, 720)
    total = np.zeros(radius.shape, np.float32)
    by_ring = np.minimum(radius * np.float32(1023 / 1.6), 1023).astype(np.int32)
    by_turn = ((turn + np.float32(np.pi)) * np.float32(719 / (2 * np.pi))).astype(np.int32)
    for _ in range(int(rng.integers(1, 4))):
        width = np.exp(rng.uniform(np.log(0.004), np.log(0.04)))
        across = np.exp(-(((rings - rng.uniform(0.88, 1.03)) / width) ** 2))
        long, soft = rng.uniform(0.1, 1.4), rng.uniform(3.0, 30.0)
        off = np.abs(np.mod(turns - rng.uniform(-np.pi, np.pi) + np.pi, 2 * np.pi) - np.pi)
        along = 1.0 / (1.0 + np.exp(soft * (off - long)))
        total += (
            across.astype(np.float32)[by_ring] * along.astype(np.float32)[by_turn] * np.float32(rng.uniform(0.4, 1.0))
        )
    return total


def _picture(glint: Glint) -> Image:
    """(SIDE, SIDE) or (SIDE, SIDE, 3) of what is mirrored, brightest about 1; its middle is where the glint lies."""
    rng = np.random.default_rng(glint.seed)
    picture = DRAWN[glint.scene](rng)
    sigma = glint.blur / glint.size * SIDE / (2 * HALF)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma) if sigma > 0.4 else picture, np.float32)


def _px(values: ArrayLike) -> NDArray[np.int32]:
    """Dial radii of the picture as pixels, whole numbers."""
    return np.round((np.asarray(values, float) / HALF + 1.0) * SIDE / 2).astype(np.int32)


def _panes(rng: np.random.Generator) -> tuple[Image, Image]:
    """A window's opening without its bars, and its light from top to bottom with trees or houses before the sky."""
    width, height = rng.uniform(0.2, 0.6), rng.uniform(0.3, 0.7)
    lean = rng.normal(0.0, 0.06, (4, 2))
    corners = np.array([(-width, -height), (width, -height), (width, height), (-width, height)]) + lean
    opening = np.zeros((SIDE, SIDE), np.float32)
    cv2.fillPoly(opening, [_px(corners)], 1.0)
    bar = int(rng.integers(2, 9))
    across, down = int(rng.integers(0, 4)), int(rng.integers(0, 5))
    for share in (np.arange(across) + 1) / (across + 1):
        ends = corners[0] + share * (corners[1] - corners[0]), corners[3] + share * (corners[2] - corners[3])
        cv2.line(opening, _px(ends[0]).tolist(), _px(ends[1]).tolist(), 0.0, bar)
    for share in (np.arange(down) + 1) / (down + 1):
        ends = corners[0] + share * (corners[3] - corners[0]), corners[1] + share * (corners[2] - corners[1])
        cv2.line(opening, _px(ends[0]).tolist(), _px(ends[1]).tolist(), 0.0, bar)
    if rng.random() < 0.45:  # curtains let a part of the light through
        for left in (True, False):
            edge = int(_px(-width + rng.uniform(0.05, 0.6) * width if left else width - rng.uniform(0.05, 0.6) * width))
            part = opening[:, :edge] if left else opening[:, edge:]
            folds = 1.0 + 0.3 * np.sin(np.arange(part.shape[1]) * rng.uniform(0.3, 0.9))
            part *= (rng.uniform(0.1, 0.6) * folds).astype(np.float32)
    return opening, _outdoors(rng, rng.uniform(-0.4, 0.6))


def _outdoors(rng: np.random.Generator, skyline: float) -> Image:
    """Bright above, dark trees or roofs below `skyline`."""
    columns = np.linspace(-HALF, HALF, SIDE)
    steps = int(rng.integers(8, 60))
    rough = rng.uniform(0.03, 0.3)
    if rng.random() < 0.5:
        line = skyline + rough * np.interp(columns, np.linspace(-HALF, HALF, steps), rng.normal(size=steps))
    else:  # roofs
        line = skyline + rough * rng.normal(size=steps)[np.linspace(0, steps - 0.01, SIDE).astype(int)]
    rows = np.linspace(-HALF, HALF, SIDE)[:, None]
    dark = np.clip((rows - line[None, :]) * 30.0 + 0.5, 0.0, 1.0)
    sky = 1.0 - rng.uniform(0.0, 0.25) * (rows + HALF) / HALF
    return np.asarray(sky * (1.0 - dark * rng.uniform(0.3, 0.97)), np.float32)


def _window(rng: np.random.Generator) -> Image:
    opening, light = _panes(rng)
    return opening * light if rng.random() < 0.6 else opening


def _sky(rng: np.random.Generator) -> Image:
    light = _outdoors(rng, rng.uniform(-0.6, 0.8))
    blue = rng.uniform(0.0, 0.5)
    return np.asarray(cv2.merge([light * (1 - blue), light * (1 - 0.4 * blue), light]), np.float32)


def _blinds(rng: np.random.Generator) -> Image:
    opening, light = _panes(rng)
    rows = np.arange(SIDE)
    pitch, share = rng.uniform(3.5, 11.0), rng.uniform(0.25, 0.75)
    slats = np.clip((np.abs(np.mod(rows / pitch, 1.0) - 0.5) - 0.5 * share) * pitch + 0.5, 0.0, 1.0)
    slats = np.where(rows > _px(rng.uniform(0.0, 0.9)), 1.0, slats)  # not let down to the sill
    bars = np.repeat(slats.astype(np.float32)[:, None], SIDE, axis=1)
    return opening * light * (bars.T if rng.random() < 0.2 else bars)


def _lamps(rng: np.random.Generator) -> Image:
    picture = np.zeros((SIDE, SIDE), np.float32)
    form = rng.random()
    if form < 0.35:  # bulbs and downlights
        for _ in range(int(rng.integers(1, 7))):
            size = max(int(rng.uniform(0.03, 0.22) * SIDE / (2 * HALF)), 1)
            cv2.circle(picture, _px(rng.uniform(-0.8, 0.8, 2)).tolist(), size, float(rng.uniform(0.4, 1.0)), -1)
    elif form < 0.5:  # a ring lamp
        cv2.circle(picture, (SIDE // 2, SIDE // 2), int(rng.uniform(15, 50)), 1.0, int(rng.uniform(3, 14)))
    elif form < 0.8:  # tubes, by ones or twos
        gap, thick, length = rng.uniform(0.08, 0.5), max(int(rng.uniform(2, 9)), 1), rng.uniform(0.4, 1.5)
        for index in range(int(rng.integers(1, 5))):
            off = (index - 1.0) * gap
            cv2.line(picture, _px((-length, off)).tolist(), _px((length, off)).tolist(), 1.0, thick)
    else:  # a lit panel or a soft box
        wide, tall = rng.uniform(0.15, 0.7), rng.uniform(0.1, 0.5)
        cv2.rectangle(picture, _px((-wide, -tall)).tolist(), _px((wide, tall)).tolist(), 1.0, -1)
    glow = cv2.GaussianBlur(cv2.resize(picture, (SIDE // 4, SIDE // 4), interpolation=cv2.INTER_AREA), (0, 0), 6.0)
    return picture + np.float32(rng.uniform(0.0, 0.5)) * cv2.resize(glow, (SIDE, SIDE))


def _person(rng: np.random.Generator) -> Image:
    """A bright room with the one who takes the photograph dark before it."""
    picture = _veil(rng) * 0.5 + 0.5
    if rng.random() < 0.5:
        opening, light = _panes(rng)
        picture = 0.4 * picture + 0.6 * opening * light
    dark = np.zeros((SIDE, SIDE), np.float32)
    head, wide = rng.uniform(0.13, 0.3), rng.uniform(0.35, 0.8)
    unit = SIDE / (2 * HALF)
    cv2.ellipse(dark, _px((0.0, 0.0)).tolist(), (int(head * unit), int(1.25 * head * unit)), 0, 0, 360, 1.0, -1)
    shoulder = 1.25 * head + rng.uniform(0.05, 0.2)
    body = [(-0.4 * head, 0.6 * head), (0.4 * head, 0.6 * head), (wide, shoulder + 0.15), (1.1 * wide, 1.6),
            (-1.1 * wide, 1.6), (-wide, shoulder + 0.15)]  # fmt: skip
    cv2.fillPoly(dark, [_px(body)], 1.0)
    if rng.random() < 0.7:  # hands hold up a telephone
        x, y = rng.uniform(-0.3, 0.3), rng.uniform(-0.1, 0.4)
        cv2.rectangle(dark, _px((x - 0.2, y - 0.1)).tolist(), _px((x + 0.2, y + 0.1)).tolist(), 1.0, -1)
        cv2.line(dark, _px((x + 0.15, y)).tolist(), _px((wide, shoulder + 0.3)).tolist(), 1.0, 14)
    return np.asarray(picture * (1.0 - np.float32(rng.uniform(0.5, 1.0)) * dark), np.float32)


def _veil(rng: np.random.Generator) -> Image:
    """Soft light without a form."""
    cells = int(rng.integers(2, 5))
    coarse = np.clip(rng.normal(0.5, 0.4, (cells, cells)), 0.0, 1.0).astype(np.float32)
    return np.asarray(np.clip(cv2.resize(coarse, (SIDE, SIDE), interpolation=cv2.INTER_CUBIC), 0.0, 1.0), np.float32)


def _spot(rng: np.random.Generator) -> Image:
    """A lamp or the sun, burnt out, with its halo and streaks."""
    axis = np.linspace(-HALF, HALF, SIDE, dtype=np.float32)
    x, y = axis[None, :], axis[:, None]
    off = x * x + y * y
    size = np.float32(np.exp(rng.uniform(np.log(0.02), np.log(0.15))))
    picture = 3.0 * np.exp(-off / size**2) + np.float32(rng.uniform(0.05, 0.4)) * size / (np.sqrt(off) + size)
    for _ in range(int(rng.choice([0, 1, 2, 3, 4], p=[0.4, 0.2, 0.2, 0.1, 0.1]))):
        angle = rng.uniform(0.0, np.pi)
        c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
        along, across = np.abs(c * x + s * y), np.abs(c * y - s * x)
        picture += np.float32(rng.uniform(0.2, 0.9)) * np.exp(
            -along * np.float32(rng.uniform(2, 9)) - across * np.float32(60)
        )
    fade = np.clip(1.5 - np.sqrt(off), 0.0, 1.0)
    return np.asarray(picture * fade, np.float32)


DRAWN: dict[str, Callable[[np.random.Generator], Image]] = {
    "window": _window, "sky": _sky, "blinds": _blinds, "lamps": _lamps, "person": _person, "veil": _veil, "spot": _spot,
}  # fmt: skip
