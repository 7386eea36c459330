"""Case, bezel and mount of a dial: what lies about the enamel, and the shadow it casts upon it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dialtell.synth.settings.case_parts import (
    SHAPES,
    Board,
    Lid,
    Pendant,
    Strap,
    dark_ring,
    paint_board,
    paint_hinge,
    paint_lid,
    paint_pendant,
    paint_strap,
)
from dialtell.synth.settings.finish import Finish, room, sample_metal, sample_plastic, sample_wood
from dialtell.synth.settings.plate import EXTENT, Image, Layer, lattice
from dialtell.synth.settings.rings import Ring, paint_rings
from dialtell.synth.shared.errors import ParameterError, require_range

KINDS = ("pocket", "wrist", "modern", "turned", "board", "plate", "none")
CHANCES = (0.25, 0.14, 0.18, 0.15, 0.09, 0.07, 0.12)
WIDEST = EXTENT - 0.02


@dataclass(frozen=True)
class CaseSpec:
    """A case; lengths in dial radii.

    kind : one of KINDS. opening : 0.9..1, where the visible dial ends. rings : from there outward.
    lobes, lobe_depth : waves of the outer border, 0..60, and their height, 0..0.5 of the width of the rings.
    board, pendant, lid, strap : what is joined to it, or None. hinges : turns of hinges, degrees clockwise from up.
    azimuth_deg : 0..360, where the light comes from. contrast : 0..1.5, of the mirrored room.
    shadow : 0..0.92, share of light that the shadow of the bezel takes; shadow_reach : 0..0.3, its depth on the
    light's side; shadow_soft : 0.004..0.3, width of its edge. fill_shadow, fill_turn_deg : of a second, weaker light's.
    murk : 0..0.6, share of light lost all round beside the bezel; murk_reach : 0.01..0.4.
    seed : of the mirrored room and the textures.
    """

    kind: str
    opening: float
    rings: tuple[Ring, ...]
    lobes: int
    lobe_depth: float
    board: Board | None
    pendant: Pendant | None
    lid: Lid | None
    strap: Strap | None
    hinges: tuple[float, ...]
    azimuth_deg: float
    contrast: float
    shadow: float
    shadow_reach: float
    shadow_soft: float
    fill_shadow: float
    fill_turn_deg: float
    murk: float
    murk_reach: float
    seed: int

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ParameterError(f"CaseSpec.kind is {self.kind!r}; give one of {', '.join(KINDS)}")
        for name, low, high in (
            ("opening", 0.9, 1.0), ("lobes", 0, 60), ("lobe_depth", 0.0, 0.5), ("azimuth_deg", 0.0, 360.0),
            ("contrast", 0.0, 1.5), ("shadow", 0.0, 0.92), ("shadow_reach", 0.0, 0.3), ("shadow_soft", 0.004, 0.3),
            ("fill_shadow", 0.0, 0.75), ("murk", 0.0, 0.6), ("murk_reach", 0.01, 0.4),
        ):  # fmt: skip
            require_range(f"CaseSpec.{name}", getattr(self, name), low, high)

    @property
    def edge(self) -> float:
        """Where the rings end, dial radii."""
        return self.opening + sum(ring.width for ring in self.rings)


def sample_case(*, rng: np.random.Generator) -> CaseSpec:
    """Draw a case of any kind; the bezel covers the enamel's border in half of those that have one."""
    kind = str(rng.choice(KINDS, p=CHANCES))
    covered = kind != "none" and rng.random() < 0.5
    opening = float(rng.uniform(0.93, 1.0)) if covered else 1.0
    room_left = WIDEST - opening
    rings = [] if covered or kind == "none" else _mount(rng)
    rings += RINGS_OF[kind](rng)
    total = sum(ring.width for ring in rings)
    if total > room_left:
        rings = [Ring(max(ring.width * room_left / total * 0.999, 0.002), *_rest(ring)) for ring in rings]
    edge = opening + sum(ring.width for ring in rings)
    wavy = (kind == "turned" and rng.random() < 0.3) or (kind == "wrist" and rng.random() < 0.04)
    lobes = int(rng.integers(8, 49)) if wavy else 0
    azimuth = float(rng.normal(-20.0, 60.0) % 360.0 if rng.random() < 0.8 else rng.uniform(0.0, 360.0))
    boxed = kind != "none"
    return CaseSpec(
        kind=kind,
        opening=opening,
        rings=tuple(rings),
        lobes=lobes,
        # scallops no deeper than they are wide
        lobe_depth=float(min(rng.uniform(0.08, 0.4), 1.5 / max(lobes, 1) / max(edge - opening, 0.02)))
        if lobes
        else 0.0,
        board=_board(kind, edge, rng),
        pendant=_pendant(rings, rng) if kind == "pocket" and rng.random() < 0.85 else None,
        lid=_lid(edge, rings, rng) if kind == "pocket" and rng.random() < 0.12 else None,
        strap=_strap(rings, rng) if kind == "wrist" else None,
        hinges=_hinges(rng) if kind == "pocket" else (),
        azimuth_deg=azimuth,
        contrast=float(rng.uniform(0.5, 1.45)),
        shadow=float(rng.uniform(0.1, 0.92)) if boxed and rng.random() < 0.8 else 0.0,
        shadow_reach=float(min(rng.exponential(0.085), 0.28)),
        shadow_soft=float(np.exp(rng.uniform(np.log(0.006), np.log(0.2)))),
        fill_shadow=float(rng.uniform(0.05, 0.4)) if boxed and rng.random() < 0.25 else 0.0,
        fill_turn_deg=float(rng.uniform(0.0, 360.0)),
        murk=float(rng.uniform(0.0, 0.45)) if boxed and rng.random() < 0.7 else 0.0,
        murk_reach=float(np.exp(rng.uniform(np.log(0.015), np.log(0.25)))),
        seed=int(rng.integers(2**31)),
    )


def paint_case(spec: CaseSpec, scale: int) -> Layer:
    """The case on the square, `scale` px per dial radius: what lies lowest first."""
    side = round(2 * EXTENT * scale)
    seen = room(spec.seed, spec.azimuth_deg, spec.contrast)
    if spec.board:
        colour, cover = paint_board(spec.board, scale, seen)
    else:
        colour, cover = np.zeros((side, side, 3), np.float32), np.zeros((side, side), np.float32)
    parts = []
    if spec.lid:
        parts.append(paint_lid(spec.lid, scale, seen))
    if spec.strap:
        parts += paint_strap(spec.strap, spec.edge, scale, seen)
    if spec.pendant:
        parts += paint_pendant(spec.pendant, spec.edge, scale, seen)
    parts += [paint_hinge(turn, 0.14, spec.edge, scale, seen, spec.rings[-1].finish) for turn in spec.hinges]
    if spec.rings:
        parts.append(paint_rings(spec.rings, spec.opening, scale, seen, spec.seed % 997, spec.lobes, spec.lobe_depth))
    for part in parts:
        part.onto(colour, cover)
    if spec.rings or spec.board:
        # nothing of what lies beneath the rings may show in their opening
        _clear(colour, cover, spec.opening, scale)
    return Layer(colour, cover)


def shade_enamel(spec: CaseSpec, scale: int) -> Image:
    """(S, S) float32: share 0..1 of the light that the bezel's shadow leaves on the dial."""
    side = round(2 * EXTENT * scale)
    left = np.ones((side, side), np.float32)
    if spec.shadow <= 0.0 and spec.murk <= 0.0 and spec.fill_shadow <= 0.0:
        return left
    first = int((EXTENT - 1.02) * scale)
    middle = slice(first, side - first)
    x, y, radius, _ = (field[middle, middle] for field in lattice(scale))
    part = left[middle, middle]
    for depth, turn_deg in ((spec.shadow, spec.azimuth_deg), (spec.fill_shadow, spec.fill_turn_deg)):
        if depth > 0.0 and spec.shadow_reach > 0.0:
            turn = np.radians(turn_deg)
            # in shadow is what, shifted towards the light, lies beneath the bezel
            aside = np.hypot(
                x + np.float32(spec.shadow_reach * np.sin(turn)), y - np.float32(spec.shadow_reach * np.cos(turn))
            )
            share = np.clip((aside - np.float32(spec.opening)) * np.float32(1.0 / spec.shadow_soft) + 0.5, 0.0, 1.0)
            part *= 1.0 - np.float32(depth) * (share * share * (3.0 - 2.0 * share))
    if spec.murk > 0.0:
        near = np.clip(1.0 - (spec.opening - radius) * np.float32(1.0 / spec.murk_reach), 0.0, 1.0)
        part *= 1.0 - np.float32(spec.murk) * near * near
    return left


def _clear(colour: Image, cover: Image, opening: float, scale: int) -> None:
    """Leave nothing of the case within the opening."""
    first = int((EXTENT - opening) * scale) - 2
    middle = slice(first, len(cover) - first)
    radius = lattice(scale)[2][middle, middle]
    cover[middle, middle] *= np.clip((radius - np.float32(opening)) * scale + 0.5, 0.0, 1.0)


def _rest(ring: Ring) -> tuple[float, float, Finish, str, int, float, float]:
    return ring.tilt, ring.bulge, ring.finish, ring.pattern, ring.count, ring.depth, ring.crevice


def _width(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _mount(rng: np.random.Generator) -> list[Ring]:
    """What lies between the enamel and its bezel."""
    pick = rng.random()
    rings = [dark_ring(_width(rng, 0.003, 0.05))] if rng.random() < 0.6 else []
    if pick < 0.3:
        return rings
    if pick < 0.5:  # the turned-up copper or a brass mount
        metal = sample_metal("copper", "brass", "old brass", "gold", rng=rng)
        return [Ring(_width(rng, 0.006, 0.04), float(rng.uniform(-0.3, 0.5)), 0.3, metal), *rings]
    if pick < 0.7:  # a flat silvered ring
        metal = sample_metal("silver", "nickel", "pale gold", rng=rng)
        return [*rings, Ring(_width(rng, 0.02, 0.14), float(rng.normal(0, 0.04)), 0.0, metal, crevice=0.6)]
    pattern = str(rng.choice(("beaded", "reeded", "rope", "sunray", "wavy")))
    width = _width(rng, 0.015, 0.09)
    count = round(2 * np.pi / (width * rng.uniform(0.7, 1.4))) if pattern == "beaded" else int(rng.integers(60, 240))
    metal = sample_metal("brass", "gold", "pale gold", "silver", "copper", rng=rng)
    return [
        *rings,
        Ring(width, -0.1, 0.3, metal, pattern, int(np.clip(count, 12, 400)), float(rng.uniform(0.3, 0.9)), 0.5),
    ]


def _moulding(
    rng: np.random.Generator, total: float, steps: int, finish: Callable[[], Finish], patterned: float
) -> list[Ring]:
    """A profile of several steps, as it is turned on a lathe."""
    shares = rng.dirichlet(np.full(steps, 1.6)) * total
    same = finish()
    rings = []
    for share in shares:
        if share < 0.003:
            continue
        made = same if rng.random() < 0.85 else finish()
        form = rng.random()
        if form < 0.35:  # a flat or sloping facet
            tilt, bulge = rng.choice([0.0, rng.normal(0.0, 0.1), rng.uniform(-0.9, 0.9)]), 0.0
        elif form < 0.8:  # a round, whole or half
            tilt, bulge = rng.choice([0.0, 0.4, -0.4]), rng.uniform(0.35, 0.95)
        else:
            tilt, bulge = rng.uniform(-0.3, 0.3), -rng.uniform(0.3, 0.9)
        pattern, count = "plain", 60
        if made.mirror > 0 and rng.random() < patterned and share > 0.012:
            pattern = str(rng.choice(("reeded", "rope", "beaded", "sunray", "wavy", "ornament")))
            count = int(rng.integers(60, 260))
            if share > 0.1 and pattern in ("rope", "beaded"):  # which are narrow
                pattern = "ornament"
            if pattern in ("beaded", "rope", "ornament"):
                count = int(np.clip(2 * np.pi / (share * rng.uniform(0.7, 1.6)), 12, 400))
        rings.append(
            Ring(
                float(share), float(np.clip(tilt, -1, 1)), float(bulge), made, pattern, count,
                float(rng.uniform(0.25, 1.0)), float(rng.choice([0.0, rng.uniform(0.3, 0.9)])),
            )
        )  # fmt: skip
    return rings or [Ring(max(total, 0.004), 0.0, 0.6, same)]


def _pocket_rings(rng: np.random.Generator) -> list[Ring]:
    name = str(
        rng.choice(
            ("silver", "gold", "nickel", "gunmetal", "rose", "pale gold", "brass"),
            p=[0.3, 0.24, 0.15, 0.08, 0.08, 0.1, 0.05],
        )
    )
    other = ("gold", "silver", "rose")[int(rng.integers(3))] if rng.random() < 0.15 else name
    inside = Ring(_width(rng, 0.01, 0.07), float(-rng.uniform(0.2, 0.9)), 0.1, sample_metal(other, rng=rng))
    rings = [inside] if rng.random() < 0.6 else []
    rings += _moulding(rng, _width(rng, 0.02, 0.22), int(rng.integers(1, 5)), lambda: sample_metal(name, rng=rng), 0.12)
    outer = Ring(_width(rng, 0.015, 0.09), 0.6, 0.3, sample_metal(name, rng=rng), crevice=float(rng.uniform(0.2, 0.9)))
    return [*rings, outer] if rng.random() < 0.7 else rings


def _wrist_rings(rng: np.random.Generator) -> list[Ring]:
    name = str(
        rng.choice(("chrome", "silver", "gold", "rose", "gunmetal", "pale gold"), p=[0.4, 0.2, 0.18, 0.08, 0.08, 0.06])
    )
    rings = _moulding(rng, _width(rng, 0.03, 0.25), int(rng.integers(1, 5)), lambda: sample_metal(name, rng=rng), 0.1)
    if rng.random() < 0.12:  # a dark turning bezel
        rings.insert(1, Ring(float(rng.uniform(0.08, 0.22)), 0.05, 0.05, sample_plastic(rng=rng), crevice=0.7))
    return rings


def _modern_rings(rng: np.random.Generator) -> list[Ring]:
    pick = rng.random()

    def finish() -> Finish:
        if pick < 0.62:
            return sample_plastic(rng=rng)
        if pick < 0.78:
            return sample_wood(rng=rng)
        return sample_metal("chrome", "gold", "brass", "nickel", rng=rng)

    return _moulding(rng, _width(rng, 0.03, 0.4), int(rng.integers(1, 4)), finish, 0.02)


def _turned_rings(rng: np.random.Generator) -> list[Ring]:
    wooden = rng.random() < 0.4

    def finish() -> Finish:
        if wooden and rng.random() < 0.8:
            return sample_wood(rng=rng)
        return sample_metal("brass", "gold", "old brass", "pale gold", "bronze", "silver", rng=rng)

    rings = []
    if rng.random() < 0.3:  # an embossed or pierced surround
        metal = sample_metal("brass", "gold", "old brass", "silver", rng=rng)
        width, count = float(rng.uniform(0.08, 0.4)), int(rng.integers(30, 140))
        rings.append(Ring(width, 0.0, 0.4, metal, "ornament", count, float(rng.uniform(0.5, 1.0)), 0.6))
    return _moulding(rng, _width(rng, 0.06, 0.6), int(rng.integers(2, 8)), finish, 0.15) + rings


def _board_rings(rng: np.random.Generator) -> list[Ring]:
    rings = _moulding(
        rng,
        _width(rng, 0.03, 0.2),
        int(rng.integers(1, 5)),
        lambda: sample_metal("brass", "gold", "old brass", rng=rng),
        0.1,
    )
    if rng.random() < 0.5:
        rings += _moulding(rng, _width(rng, 0.03, 0.2), int(rng.integers(1, 4)), lambda: sample_wood(rng=rng), 0.0)
    return rings


def _plate_rings(rng: np.random.Generator) -> list[Ring]:
    metal = sample_metal("brass", "gold", "old brass", "silver", "nickel", rng=rng)
    return _moulding(rng, _width(rng, 0.01, 0.12), int(rng.integers(1, 3)), lambda: metal, 0.15)


def _bare_rings(rng: np.random.Generator) -> list[Ring]:
    """The copper that the enamel is fired on, or nothing."""
    if rng.random() < 0.5:
        return []
    metal = sample_metal("copper", "old brass", "brass", "bronze", rng=rng)
    return [Ring(_width(rng, 0.003, 0.03), float(rng.uniform(0.0, 0.6)), 0.3, metal)]


RINGS_OF: dict[str, Callable[[np.random.Generator], list[Ring]]] = {
    "pocket": _pocket_rings, "wrist": _wrist_rings, "modern": _modern_rings, "turned": _turned_rings,
    "board": _board_rings, "plate": _plate_rings, "none": _bare_rings,
}  # fmt: skip


def _board(kind: str, edge: float, rng: np.random.Generator) -> Board | None:
    if kind == "board":
        shape = str(rng.choice(SHAPES, p=[0.45, 0.35, 0.2]))
        wood = sample_wood(rng=rng) if rng.random() < 0.8 else sample_plastic(rng=rng)
        half = edge + _width(rng, 0.03, 0.9)
        bevel = float(rng.choice([0.0, rng.uniform(0.02, 0.15)]))
        return Board(shape, half, wood, bevel, bool(rng.random() < 0.6), seed=int(rng.integers(10**6)))
    if kind == "plate" or (kind == "turned" and rng.random() < 0.2):
        metal = sample_metal("brass", "gold", "old brass", "silver", "nickel", "bronze", rng=rng)
        relief = float(rng.uniform(0.3, 1.0)) if rng.random() < 0.45 else 0.0
        screws = float(rng.uniform(0.02, 0.06)) if rng.random() < 0.6 else 0.0
        half = edge + _width(rng, 0.03, 0.7)
        return Board(
            "square", half, metal, float(rng.choice([0.0, 0.03])), False, relief, screws, int(rng.integers(10**6))
        )
    return None


def _pendant(rings: list[Ring], rng: np.random.Generator) -> Pendant:
    crown = float(rng.uniform(0.08, 0.17))
    turn = rng.normal(0.0, 2.0) + rng.choice([0.0, 90.0, rng.uniform(0, 360)], p=[0.85, 0.1, 0.05])
    return Pendant(
        float(turn % 360.0), float(crown * rng.uniform(0.5, 1.0)), crown, float(rng.uniform(0.16, 0.34)),
        (float(rng.uniform(0.18, 0.34)), float(rng.uniform(0.14, 0.36))), float(rng.uniform(0.022, 0.05)),
        float(rng.choice([0.0, rng.uniform(-1.0, 1.0)])), int(rng.choice([0, 12, 18, 26])), rings[-1].finish,
    )  # fmt: skip


def _lid(edge: float, rings: list[Ring], rng: np.random.Generator) -> Lid:
    turn = rng.choice([270.0, 90.0, 180.0, rng.uniform(0, 360)], p=[0.45, 0.2, 0.2, 0.15])
    radius = edge * float(rng.uniform(0.92, 1.0))
    return Lid(
        float(turn),
        edge + radius * float(rng.uniform(0.85, 1.02)),
        radius,
        float(rng.uniform(-0.5, 0.5)),
        rings[-1].finish,
    )


def _hinges(rng: np.random.Generator) -> tuple[float, ...]:
    return tuple(float(turn) for turn in rng.uniform(0.0, 360.0, int(rng.choice(3, p=[0.5, 0.35, 0.15]))))


def _strap(rings: list[Ring], rng: np.random.Generator) -> Strap:
    kind = str(rng.choice(("leather", "bracelet", "cloth", "none"), p=[0.5, 0.25, 0.1, 0.15]))
    metal = rings[-1].finish if rings[-1].finish.mirror else sample_metal("chrome", "silver", rng=rng)
    if kind == "bracelet":
        finish = metal
    elif kind == "leather":
        brown = np.array([0.2, 0.09, 0.04]) * np.exp(rng.normal(0.0, 0.7)) if rng.random() < 0.55 else np.full(3, 0.02)
        red, green, blue = np.clip(brown, 0.008, 0.7).tolist()
        finish = Finish((red, green, blue), level=2, gloss=float(rng.uniform(0.02, 0.15)))
    else:
        finish = sample_plastic(rng=rng)
    return Strap(
        kind, float(rng.normal(0.0, 1.0)), float(rng.uniform(0.45, 0.7)), float(rng.uniform(0.1, 0.2)),
        float(rng.uniform(0.15, 0.4)), float(rng.choice([0.0, rng.uniform(0.07, 0.16)], p=[0.2, 0.8])),
        float(rng.uniform(0.07, 0.2)), finish, metal, int(rng.integers(10**6)),
    )  # fmt: skip
