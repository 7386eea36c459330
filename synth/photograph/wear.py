"""Age and use: hairlines, chips, scratches, stains, soiling, rust, dust, cold repairs, and figures worn away.

All of it is drawn from the spec's own generator in dial mm, without a look at the design or how it was made: two
photographs of one dial show the same marks in the same places.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.crazing import Crazing, craze, sample_crazing
from dialtell.synth.photograph.patch import Patch, blob, cover_each, cover_patch, direction, outline_of, ribbon
from dialtell.synth.photograph.texture import colour_of, dial_noise, enlarge_blocks, mix, stack
from dialtell.synth.photograph.view import ViewSpec, homography, mm_grid, to_px
from dialtell.synth.shared.errors import require_range

Image = NDArray[np.float32]
Floats = NDArray[np.float64]

CRAZED = 0.09  # share of badly worn dials with a net of fine cracks
CRAZE_STREAM = 13  # of its rng, apart so that all else stays as drawn without
GRID_STEP = 8  # px; stains vary slowly
REACH = 1.03  # dial radii covered by stains, soiling and abrasion


@dataclass(frozen=True)
class WearSpec:
    """What has happened to a dial; lengths in mm.

    dial_radius_mm : 2..500.
    hairlines : 0..20 cracks from the edge or the centre hole; hairline_mm : 0.005..0.3 width;
        hairline_depth : -0.3..1, light lost in them (negative: light lines).
    chips : 0..20 at the edge; chip_mm : 0.05..6 mean radius; chip_copper : 0 dark base, 1 bright copper.
    scratches : 0..100; scratch_depth : -0.3..0.6.
    dust : 0..500 specks and fibres.
    stain : 0..0.6 depth of brown clouds; stain_mm : 0.5..40 their size.
    soiling : 0..0.5 grey veil, patchy and heavier toward the edge.
    rust : 0..1 brown bloom round the centre; rust_mm : 0.2..10 its radius.
    repairs : 0..5 patches of cold fill; repair_mm : 0.2..6 mean radius; repair_tone : 0.7..1.15.
    abrasion : 0..1 share of paint gone where wear is worst; abrasion_area : 0..1 share of the dial worn.
    seed : of all places and shapes.
    crazing : a net of fine cracks; None without.

    Ranges are those of watch dials; what is accepted is wider (`__post_init__`), as clock dials are three times as
    large.
    """

    dial_radius_mm: float
    hairlines: int
    hairline_mm: float
    hairline_depth: float
    chips: int
    chip_mm: float
    chip_copper: float
    scratches: int
    scratch_depth: float
    dust: int
    stain: float
    stain_mm: float
    soiling: float
    rust: float
    rust_mm: float
    repairs: int
    repair_mm: float
    repair_tone: float
    abrasion: float
    abrasion_area: float
    seed: int
    crazing: Crazing | None = None

    def __post_init__(self) -> None:
        require_range("dial_radius_mm", self.dial_radius_mm, 2.0, 500.0, "mm")
        require_range("hairlines", self.hairlines, 0, 20)
        require_range("hairline_mm", self.hairline_mm, 0.005, 2.0, "mm")
        require_range("hairline_depth", self.hairline_depth, -0.3, 1.0)
        require_range("chips", self.chips, 0, 20)
        require_range("chip_mm", self.chip_mm, 0.05, 50.0, "mm")
        require_range("chip_copper", self.chip_copper, 0.0, 1.0)
        require_range("scratches", self.scratches, 0, 100)
        require_range("scratch_depth", self.scratch_depth, -0.3, 0.6)
        require_range("dust", self.dust, 0, 500)
        require_range("stain", self.stain, 0.0, 0.6)
        require_range("stain_mm", self.stain_mm, 0.5, 300.0, "mm")
        require_range("soiling", self.soiling, 0.0, 0.5)
        require_range("rust", self.rust, 0.0, 1.0)
        require_range("rust_mm", self.rust_mm, 0.2, 80.0, "mm")
        require_range("repairs", self.repairs, 0, 5)
        require_range("repair_mm", self.repair_mm, 0.2, 50.0, "mm")
        require_range("repair_tone", self.repair_tone, 0.7, 1.15)
        require_range("abrasion", self.abrasion, 0.0, 1.0)
        require_range("abrasion_area", self.abrasion_area, 0.0, 1.0)


def sample_wear(*, rng: np.random.Generator, severity: float = 0.4, dial_radius_mm: float = 22.0) -> WearSpec:
    """Draw wear; severity 0 (as made) .. 1 (a wreck) scales how often and how strongly each fault occurs."""
    require_range("severity", severity, 0.0, 1.0)

    def happens(share: float) -> bool:
        return bool(rng.random() < share * min(1.0, 2.0 * severity))

    def log_uniform(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    size = dial_radius_mm / 22.0
    wear = WearSpec(
        dial_radius_mm=dial_radius_mm,
        hairlines=int(min(1 + rng.poisson(4.0 * severity), 12)) if happens(0.55) else 0,
        hairline_mm=log_uniform(0.02, 0.08),
        hairline_depth=float(rng.uniform(-0.1, -0.03) if rng.random() < 0.15 else rng.uniform(0.1, 0.75)),
        chips=int(min(1 + rng.poisson(3.0 * severity), 8)) if happens(0.4) else 0,
        chip_mm=size * log_uniform(0.2, 1.4),
        chip_copper=float(rng.random()),
        scratches=int(rng.poisson(25.0 * severity)) if happens(0.5) else 0,
        scratch_depth=float(rng.uniform(-0.08, 0.3)),
        dust=int(rng.poisson(60.0 * severity)) if happens(0.6) else 0,
        stain=float(rng.uniform(0.0, 0.3) * severity) if happens(0.6) else 0.0,
        stain_mm=size * log_uniform(2.0, 20.0),
        soiling=float(rng.uniform(0.0, 0.3) * severity) if happens(0.6) else 0.0,
        rust=float(rng.uniform(0.1, 0.8)) if happens(0.2) else 0.0,
        rust_mm=size * log_uniform(0.6, 4.0),
        repairs=int(rng.integers(1, 3)) if happens(0.12) else 0,
        repair_mm=size * log_uniform(0.5, 2.5),
        repair_tone=float(rng.uniform(0.85, 1.08)),
        # seldom much of it: figures worn so pale that they look a poor print are rare
        abrasion=0.15 + 0.8 * float(rng.uniform()) ** 2 if happens(0.22) else 0.0,
        abrasion_area=0.03 + 0.47 * float(rng.uniform()) ** 2.5,
        seed=int(rng.integers(2**31)),
    )
    apart = np.random.default_rng([wear.seed, CRAZE_STREAM])
    if apart.random() >= CRAZED * min(1.0, 2.0 * severity):
        return wear
    return replace(wear, crazing=sample_crazing(rng=apart, dial_radius_mm=dial_radius_mm))


def apply_wear(wear: WearSpec, view: ViewSpec, reflectance: Image, dial_mask: Image) -> Image:
    """Lay the marks of age over a painted dial.

    reflectance : (H, W, 3) float32 linear, not changed; dial_mask : (H, W) float32, coverage of the enamel.
    Returns (H, W, 3) float32.
    """
    matrix = homography(view)
    result = reflectance.copy()
    if wear.repairs:
        _repair(wear, matrix, result, dial_mask)
    if wear.stain > 0.0 or wear.soiling > 0.0 or wear.rust > 0.0:
        veil = _veil(wear, view, matrix)
        veil -= 1.0
        veil *= stack((dial_mask, dial_mask, dial_mask))
        veil += 1.0
        result *= veil
    if wear.hairlines or wear.scratches or wear.crazing is not None:
        loss = np.zeros(view.shape, dtype=np.float32)
        _crack(wear, matrix, loss)
        _scratch(wear, matrix, loss)
        if wear.crazing is not None:
            craze(wear.crazing, matrix, loss, seed=wear.seed + 9)
        # cracks cover little of a dial
        marked = np.flatnonzero(loss != 0.0)
        left = 1.0 - loss.reshape(-1)[marked] * dial_mask.reshape(-1)[marked]
        result.reshape(-1, 3)[marked] *= left[:, None]
    if wear.chips:
        _chip(wear, matrix, result, dial_mask)
    if wear.dust:
        _dust(wear, view, matrix, result)
    return result


def abrasion_field(wear: WearSpec, view: ViewSpec, shape: tuple[int, int]) -> Image:
    """Share of paint rubbed away, (H, W) float32 in 0..1: patches, broken up by fine streaks of rubbing."""
    if wear.abrasion == 0.0 or wear.abrasion_area == 0.0:
        return np.zeros(shape, dtype=np.float32)
    matrix, reach = homography(view), REACH * wear.dial_radius_mm
    patch = 0.35 * wear.dial_radius_mm
    coarse = dial_noise(wear.seed + 10, matrix, shape, (patch, patch), reach, step=GRID_STEP)
    large = enlarge_blocks(coarse, shape, GRID_STEP)
    turn = float(np.random.default_rng(wear.seed + 12).uniform(0.0, np.pi))
    streak = (0.0036 * wear.dial_radius_mm, 0.036 * wear.dial_radius_mm)
    fine = dial_noise(wear.seed + 11, matrix, shape, streak, reach, turn=turn)
    # the normal quantile of the worn area, by a logistic approximation, is the level above which paint goes
    level = np.log((1.0 - 0.98 * wear.abrasion_area) / (0.98 * wear.abrasion_area)) / 1.702
    large -= np.float32(level)
    large += np.float32(0.35) * fine
    large *= np.float32(1.1 * wear.abrasion)
    field: Image = np.clip(large, 0.0, np.float32(wear.abrasion))
    return field


def _veil(wear: WearSpec, view: ViewSpec, matrix: Floats) -> Image:
    """Share of red, green and blue that stain, soiling and rust let through; (H, W, 3)."""
    x, y = mm_grid(view, GRID_STEP)
    radius = np.sqrt(x * x + y * y)

    def field(number: int, cell_mm: float) -> Image:
        reach = REACH * wear.dial_radius_mm
        return dial_noise(wear.seed + number, matrix, view.shape, (cell_mm, cell_mm), reach, step=GRID_STEP)

    cloud = np.clip(field(1, wear.stain_mm) - 0.2, 0.0, 1.5)
    dirt = np.clip(0.4 + 0.4 * field(2, 0.5 * wear.stain_mm), 0.0, 1.5)
    dirt *= 0.5 + 0.5 * (radius / np.float32(wear.dial_radius_mm)) ** 4
    bloom = np.exp(-radius / np.float32(wear.rust_mm))
    bloom *= np.clip(0.8 + 0.5 * field(3, 0.018 * wear.dial_radius_mm), 0.0, 1.5)
    left = []
    for stain, soil, rust in ((0.35, 0.9, 0.45), (0.65, 0.95, 0.8), (1.0, 1.0, 1.0)):  # of red, green, blue
        share = 1.0 - np.float32(wear.stain * stain) * cloud
        share *= 1.0 - np.float32(wear.soiling * soil) * dirt
        share *= 1.0 - np.float32(wear.rust * rust) * bloom
        left.append(np.clip(share, 0.02, 1.0))
    return enlarge_blocks(stack(left), view.shape, GRID_STEP)


def _walk(rng: np.random.Generator, start: Floats, heading: float, length: float, step: float) -> Floats:
    """A crack's path: nearly straight, its direction drifting, with now and then a kink; (N, 2) mm."""
    count = max(int(length / step), 3)
    turn = rng.normal(0.0, 0.1, count) + (rng.random(count) < 0.03) * rng.normal(0.0, 0.6, count)
    path = start + np.cumsum(step * direction(heading + np.cumsum(turn)), axis=0)
    return np.concatenate([start[None, :], path])


def _crack(wear: WearSpec, matrix: Floats, loss: Image) -> None:
    """Hairlines and their branches, added to the loss of light; in place."""
    rng = np.random.default_rng(wear.seed + 4)
    shape = (loss.shape[0], loss.shape[1])
    radius, step = wear.dial_radius_mm, 0.012 * wear.dial_radius_mm
    lines: list[tuple[Floats, float]] = []
    for _ in range(wear.hairlines):
        angle = rng.uniform(0.0, 2.0 * np.pi)
        from_edge = rng.random() < 0.6
        start = (radius if from_edge else 0.04 * radius) * direction(angle)
        heading = angle + (np.pi if from_edge else 0.0) + rng.normal(0.0, 0.5)
        path = _walk(rng, start, heading, radius * rng.uniform(0.2, 1.1), step)
        lines.append((path, 1.0))
        for _ in range(int(rng.poisson(0.9))):
            at = int(rng.integers(1, len(path)))
            fork = np.arctan2(*(path[at] - path[at - 1]) * np.array([1.0, -1.0])) + rng.choice([-1, 1]) * rng.uniform(
                0.3, 1.0
            )
            lines.append((_walk(rng, path[at], float(fork), radius * rng.uniform(0.05, 0.4), step), 0.7))
    for path, share in lines:
        taper = np.sqrt(np.linspace(1.0, 0.02, len(path)))
        width = wear.hairline_mm * share * taper * np.exp(0.2 * rng.standard_normal(len(path)))
        depth = wear.hairline_depth * (0.75 + 0.25 * rng.standard_normal(len(path) - 1).clip(-1.0, 1.0))
        # cut into lengths, so that a crack across the dial does not need a box as large as the frame
        slices = to_px(matrix, ribbon(path, width))
        for begin in range(0, len(slices), 24):
            patch = cover_patch(slices[begin : begin + 24], shape, depth[begin : begin + 24])
            if patch is not None:
                loss[patch.rows, patch.columns] += patch.cover


def _scratch(wear: WearSpec, matrix: Floats, loss: Image) -> None:
    """Scratches: fine, straight or gently bent, in a few common directions; in place."""
    rng = np.random.default_rng(wear.seed + 5)
    shape = (loss.shape[0], loss.shape[1])
    common = rng.uniform(0.0, np.pi)
    outlines, depths = [], []
    for _ in range(wear.scratches):
        start = wear.dial_radius_mm * np.sqrt(rng.random()) * direction(rng.uniform(0.0, 2.0 * np.pi))
        heading = common + rng.normal(0.0, 0.3) if rng.random() < 0.7 else rng.uniform(0.0, np.pi)
        length = wear.dial_radius_mm * np.exp(rng.uniform(np.log(0.02), np.log(0.35)))
        bend = np.cumsum(np.full(8, rng.normal(0.0, 0.03)))
        path = start + np.cumsum(length / 8 * direction(heading + bend), axis=0)
        width = rng.uniform(0.008, 0.03) * np.sin(np.linspace(0.15, np.pi - 0.15, 8))
        outlines.append(outline_of(ribbon(path, width)))
        depths.append(wear.scratch_depth * rng.uniform(0.4, 1.2))
    if outlines:
        for patch, depth in zip(cover_each(to_px(matrix, np.stack(outlines)), shape), depths, strict=True):
            if patch is not None:
                loss[patch.rows, patch.columns] += np.float32(depth) * patch.cover


def _chip(wear: WearSpec, matrix: Floats, result: Image, dial_mask: Image) -> None:
    """Chips at the edge: shells gone down to a grey lower coat, copper or dark at the bottom; in place."""
    rng = np.random.default_rng(wear.seed + 6)
    shape = (dial_mask.shape[0], dial_mask.shape[1])
    base = wear.chip_copper * np.array([0.5, 0.24, 0.13]) + (1.0 - wear.chip_copper) * np.array([0.09, 0.075, 0.06])
    for _ in range(wear.chips):
        place = wear.dial_radius_mm * rng.uniform(0.955, 1.01) * direction(rng.uniform(0.0, 2.0 * np.pi))
        size = wear.chip_mm * np.exp(rng.normal(0.0, 0.4))
        shell = blob(rng, place[0], place[1], size, 0.2)
        bottom = place * 1.01 + (shell - place) * rng.uniform(0.55, 0.85)
        for outline, colour, share in ((shell, np.array([0.42, 0.42, 0.41]), 0.75), (bottom, base, 1.0)):
            patch = cover_patch([to_px(matrix, outline)], shape)
            if patch is not None:
                _fill(result, dial_mask, patch, colour, share)


def _repair(wear: WearSpec, matrix: Floats, result: Image, dial_mask: Image) -> None:
    """Patches of cold fill, not quite the enamel's colour, that hide what was under them; in place."""
    rng = np.random.default_rng(wear.seed + 7)
    shape = (dial_mask.shape[0], dial_mask.shape[1])
    for _ in range(wear.repairs):
        place = wear.dial_radius_mm * rng.uniform(0.3, 1.0) * direction(rng.uniform(0.0, 2.0 * np.pi))
        outline = blob(rng, place[0], place[1], wear.repair_mm * np.exp(rng.normal(0.0, 0.3)), 0.25)
        patch = cover_patch([to_px(matrix, outline)], shape)
        if patch is not None:
            tint = 0.74 * wear.repair_tone * np.array([1.0, rng.uniform(0.96, 1.0), rng.uniform(0.85, 1.0)])
            _fill(result, dial_mask, patch, tint, rng.uniform(0.85, 1.0))


def _fill(result: Image, dial_mask: Image, patch: Patch, colour: Floats, share: float) -> None:
    """Lay a colour over the enamel within a patch; in place. share : 0..1, how thickly."""
    cover = np.float32(share) * patch.cover * dial_mask[patch.rows, patch.columns]
    result[patch.rows, patch.columns] = mix(result[patch.rows, patch.columns], colour_of(colour), cover)


def _dust(wear: WearSpec, view: ViewSpec, matrix: Floats, result: Image) -> None:
    """Specks and a few fibres, dark or light, anywhere on the crystal; in place."""
    rng = np.random.default_rng(wear.seed + 8)
    outlines = []
    for index in range(wear.dust):
        place = wear.dial_radius_mm * np.sqrt(rng.random()) * direction(rng.uniform(0.0, 2.0 * np.pi))
        if index % 12 == 0:  # a fibre
            length = rng.uniform(0.3, 2.0)
            path = _walk(rng, place, rng.uniform(0.0, 7.0), length, length / 17.0)[:18]
            outlines.append(outline_of(ribbon(path, np.full(18, 0.02))))
        else:
            outlines.append(blob(rng, place[0], place[1], rng.uniform(0.01, 0.06), 0.2))
    for patch in cover_each(to_px(matrix, np.stack(outlines)), view.shape):
        light, share = float(rng.choice([0.08, 0.3, 0.9], p=[0.5, 0.3, 0.2])), rng.uniform(0.3, 0.9)
        if patch is not None:
            cover = np.clip(np.float32(share) * patch.cover, 0.0, 1.0)
            result[patch.rows, patch.columns] = mix(result[patch.rows, patch.columns], (light, light, light), cover)
