"""Paint as a coat with thickness: from covered share and density, as rasterised, to what a microscope shows of them.

The rasteriser gives flat fills; here every covered pixel gets a thickness in micrometres with the marks of its process:
streaks, shoulders, dry gaps and clumps of a brush; burr, texture, pinholes, folds and cracks of a film; the single
grains of a powder. Density follows thickness (Beer and Lambert) until light scattered at the surface is all that
returns. Paint is only moved about within REACH_MM: area and mean thickness stay those of the rasterised coat.

All of it fades in with the picture's scale (`fineness`); below COARSE px/mm nothing is done at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.film import FilmSpec, Line
from dialtell.synth.strokes.grain import cells, centres, mottle, read
from dialtell.synth.strokes.lanes import lanes
from dialtell.synth.strokes.paint import Paint, project
from dialtell.synth.strokes.photographic import Exposure
from dialtell.synth.strokes.stroke import Floats

Image = NDArray[np.float32]
Values = NDArray[np.float64]

COARSE, FINE = 18.0, 38.0  # px/mm between which the coat's structure fades in
POWDERY, GRAINY = 32.0, 44.0  # likewise single grains, most of which are smaller than a pixel before
STRAY = 0.003  # of white: light scattered back by the blackest coat, so that D stays below 2.5 (judgement)
REACH_MM = 0.15  # paint is moved about no further than this
CONTACT, CUT = 0.15, 0.5  # thickness at the very edge of painted and of printed strokes, share (judgement)
LEAST = 1e-3  # share of a pixel from which it counts as covered
WHOLE = 0.93  # share from which a pixel counts as covered whole
SMOOTHED = 0.35  # px, sigma that evens out the steps of distances measured from pixel to pixel
THINNEST, THICKEST = 0.05, 2.5  # of a coat, share of the mean
FAINTEST = 0.12  # px, radius of the smallest spots that are drawn
STRAY_GRAINS = 3.0  # stray grains thin out over so many grains (as photographic._specks lays them)
EDGE_SCATTER = 0.9  # scatter of where grains stop sticking, in units of the RMS unevenness that edges are to have
PACKED = 0.35  # grains inside the edge from which the powder lies several deep and leaves no gaps (judgement)
EVEN = np.sqrt(12.0)  # brings even numbers 0..1 to unit RMS
REPAIR = 1.3  # most by which grains of a thin line are made more or less to keep its area
EDGE_BIAS = 0.09  # grains by which the sticking line lies outside the edge, since round grains cover less than squares


@dataclass(frozen=True, eq=False)
class Ground:
    """Where a coat lies. homography : (3, 3) mm to px. shape : (H, W). scale : px/mm in the middle of the frame.

    fine : 0..1, how much of the structure shows; grain : of single grains.
    """

    homography: Floats
    shape: tuple[int, int]
    scale: float
    fine: float
    grain: float

    @property
    def pixel_mm(self) -> float:
        """A pixel's side."""
        return 1.0 / self.scale

    def points(self, pixels: NDArray[np.int64]) -> Values:
        """(N, 2) mm of the middles of pixels, given by flat index."""
        inverse = np.linalg.inv(self.homography)
        row, column = np.divmod(pixels, self.shape[1])
        x, y = column + 0.5, row + 0.5
        depth = 1.0 / (inverse[2, 0] * x + inverse[2, 1] * y + inverse[2, 2])
        mapped = [(inverse[k, 0] * x + inverse[k, 1] * y + inverse[k, 2]) * depth for k in (0, 1)]
        return np.stack(mapped, axis=1)


def ground_of(homography: Floats, shape: tuple[int, int]) -> Ground:
    """The ground a view shows."""
    middle = np.linalg.solve(homography, np.array([0.5 * shape[1], 0.5 * shape[0], 1.0]))
    depth = float(homography[2] @ (middle / middle[2]))
    scale = float(np.sqrt(abs(np.linalg.det(homography) / depth**3)))
    return Ground(homography, shape, scale, fineness(scale), fineness(scale, POWDERY, GRAINY))


def jacobian(ground: Ground) -> Values:
    """(2, 2) px a mm, in the middle of the frame."""
    height, width = ground.shape
    inverse = np.linalg.inv(ground.homography)
    x, y, w = inverse @ np.array([0.5 * width, 0.5 * height, 1.0])
    step = 1e-3
    ends = project(ground.homography, np.array([x, y]) / w + step * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    return np.asarray((ends[1:] - ends[:1]).T / step)


def fineness(px_per_mm: float, low: float = COARSE, high: float = FINE) -> float:
    """How much of a structure shows at a scale, 0 at `low` to 1 at `high`."""
    return float(np.clip((px_per_mm - low) / (high - low), 0.0, 1.0))


def thickness_of(density: Values) -> Values:
    """Thickness in units of 1 D of unscattered light, from density."""
    return np.asarray(-np.log10(np.maximum(np.power(10.0, -density) - STRAY, 1e-3) / (1.0 - STRAY)))


def density_of(thickness: Values) -> Values:
    """Density, D, of a coat of that thickness: Beer and Lambert, with STRAY light on top."""
    return np.asarray(-np.log10(STRAY + (1.0 - STRAY) * np.power(10.0, -thickness)))


def inward(share: Image, *, beyond: bool = True) -> Image:
    """Signed distance to the edge of what is covered, px, positive inside; (H, W) float32.

    Pixels the edge cuts say by their share where it runs; the others measure from the nearest of these.
    beyond : whether bare pixels measure too; else they have -0.5.
    """
    away = share - np.float32(0.5)
    inner, outer = share > WHOLE, share < 1.0 - WHOLE
    edge = np.flatnonzero(~(inner | outer))
    part = share.reshape(-1)[edge]
    for whole, sense in ((inner, 1.0), (outer, -1.0))[: 1 + beyond]:
        if whole.all():
            away[:] = sense * sum(share.shape)
            continue
        distance, label = cv2.distanceTransformWithLabels(
            whole.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
        )
        held = np.zeros(share.size + 1, dtype=np.float32)
        held[label.reshape(-1)[edge]] = part if sense > 0 else 1.0 - part
        at = np.flatnonzero(whole)
        deep = distance.reshape(-1)[at] - 0.5 + held[label.reshape(-1)[at]]
        away.reshape(-1)[at] = np.float32(sense) * deep
    return np.asarray(cv2.GaussianBlur(away, (0, 0), SMOOTHED), dtype=np.float32)


def thickened(
    process: Process, paint: Paint, film: FilmSpec, exposure: Exposure, ground: Ground, share: Image, density: Image
) -> tuple[Image, Image]:
    """Covered share and density (H, W) with the structure of the coat, in proportion to `ground.fine`; powder in full.

    share, density : (H, W) as rasterised, of a photographic print without its grain. paint : what was rasterised.
    """
    if not (share > LEAST).any():
        return share, density
    fine = 1.0 if process is Process.PHOTOGRAPHIC else ground.fine
    away = inward(share, beyond=process is Process.PHOTOGRAPHIC)
    around = density

    def dark(pixels: NDArray[np.int64]) -> Image:
        covered = share.reshape(-1)[pixels] > LEAST
        return np.where(covered, density.reshape(-1)[pixels], around.reshape(-1)[pixels])

    if process is Process.PHOTOGRAPHIC:
        laid, gain = _powder(film, exposure, ground, share, away)
        laid = share + np.float32(fine) * (laid - share)
    else:
        # a pixel further than the coat, as its edge may lie a little further out
        square = np.ones((3, 3), dtype=np.uint8)
        grown = np.asarray(cv2.dilate(share, square), dtype=np.float32)
        around = np.asarray(cv2.dilate(density, square), dtype=np.float32)
        pixels = np.flatnonzero(grown > LEAST)
        points = ground.points(pixels)
        part = share.reshape(-1)[pixels]
        inside = np.where(part > LEAST, away.reshape(-1)[pixels], grown.reshape(-1)[pixels] - np.float32(1.5))
        inside = inside.astype(np.float64)
        inside_um = inside * (1000.0 * ground.pixel_mm)
        if process is Process.HAND:
            left, more, out_um = _brush(paint, film, ground, pixels, points, inside_um, dark(pixels))
        else:
            left, more, out_um = _sheet(film, ground, pixels, points, inside_um)
        moved = np.clip(0.5 + inside + 0.001 * ground.scale * out_um, 0.0, 1.0) - np.clip(0.5 + inside, 0.0, 1.0)
        laid, gain = share.copy(), np.ones_like(density)
        whole = (np.clip(part + moved, 0.0, 1.0) * left).astype(np.float32)
        laid.reshape(-1)[pixels] = part + np.float32(fine) * (whole - part)
        gain.reshape(-1)[pixels] = more
    covered = np.flatnonzero(laid > 1e-4)
    coat = dark(covered).astype(np.float64)
    # stray grains lie where the rasterised coat has no density
    bare = coat <= 0.0
    if bare.any() and not bare.all():
        coat[bare] = np.median(coat[~bare])
    thick = thickness_of(coat)
    more = 1.0 + fine * (gain.reshape(-1)[covered].astype(np.float64) - 1.0)
    more = np.clip(more, THINNEST, THICKEST)
    more *= _kept(laid, covered, more, ground)
    result = np.zeros_like(density)
    result.reshape(-1)[covered] = density_of(thick * np.clip(more, THINNEST, THICKEST))
    return laid, result


def _kept(laid: Image, covered: NDArray[np.int64], more: Values, ground: Ground) -> Values:
    """What brings the mean thickness within REACH_MM back to what was laid."""
    side = 2 * round(REACH_MM * ground.scale) + 1
    weighted = np.zeros_like(laid)
    weighted.reshape(-1)[covered] = laid.reshape(-1)[covered] * more
    before, after = (cv2.boxFilter(field, -1, (side, side)).reshape(-1)[covered] for field in (laid, weighted))
    return np.asarray(np.clip(before / np.maximum(after, 1e-6), 0.5, 2.0), dtype=np.float64)


def shoulder(inside_um: Values, width_um: Values | float, *, contact: float) -> Values:
    """Thickness of a rounded edge, from `contact` at the very edge to 1 from `width_um` on."""
    x = np.clip(inside_um / np.maximum(width_um, 1e-3), 0.0, 1.0)
    return np.asarray(contact + (1.0 - contact) * x * (2.0 - x))


def _brush(
    paint: Paint, film: FilmSpec, ground: Ground, pixels: NDArray[np.int64], points: Values, inside_um: Values,
    density: Image,
) -> tuple[Values, Values, NDArray[np.floating]]:  # fmt: skip
    """Of a brush's coat, (N,) each: share left, relative thickness, micrometres by which the edge moves out."""
    place = lanes(paint, ground.homography, ground.shape, pixels, points)
    pixel = ground.pixel_mm
    rng = np.random.default_rng(film.seed)
    strokes = int(place.stroke.max(initial=0)) + 1
    # broad strokes are flooded and flow together: streaks stand in what was laid in one quick pass
    haste = film.quick * rng.uniform(0.3, 1.7, strokes)[place.stroke]
    thin = np.exp(-place.half / 0.12)
    loose = np.clip(haste * (0.25 + 0.75 * thin) + 0.3 * np.clip(0.9 - density, 0.0, 1.0), 0.0, 1.5)
    own = place.stroke * 17.31
    hair = np.stack([place.along + own, place.across + own], axis=1)
    streak = 0.8 * mottle(hair, (film.streak_mm, film.hair_um / 1000), film.seed + 1, pixel)
    streak += 0.6 * mottle(hair, (2.2 * film.streak_mm, 2.2 * film.hair_um / 1000), film.seed + 2, pixel)
    clump = mottle(points, film.clump_um / 1000, film.seed + 3, pixel)
    clump += 0.7 * mottle(points, 3.1 * film.clump_um / 1000, film.seed + 4, pixel)
    width = film.shoulder_um * np.exp(0.25 * mottle(hair, (0.4, 10.0), film.seed + 5, pixel))
    width = np.minimum(width, 700.0 * np.maximum(place.half, 1e-3))
    # a drop has no streaks, nor has a stroke hardly longer than it is wide
    drawn = np.clip((place.along + place.left) / np.maximum(2.0 * place.half, 1e-3) - 1.5, 0.0, 1.0)
    loose *= drawn
    more = (
        shoulder(inside_um, width, contact=CONTACT) * (1.0 + film.streak * loose * streak) * (1.0 + film.clump * clump)
    )
    # a thin film dries from its edge, where pigment gathers
    thinness = np.clip(1.1 - density, 0.0, 0.8)
    more *= 1.0 + film.tide * thinness * np.exp(-0.5 * ((inside_um - 0.9 * width) / (0.5 * width)) ** 2)
    # towards the end of a quick, narrow stroke the hairs part; what lies over another coat shows that one
    whole = np.maximum(place.along + place.left, 1e-6)
    parted = film.dry * np.minimum(loose, 1.0) * thin * place.single * np.clip(place.along / whole - 0.4, 0.0, 0.6)
    hairs = mottle(hair, (0.7 * film.streak_mm, 0.45 * film.hair_um / 1000), film.seed + 8, pixel)
    bare = np.clip(0.5 + 2.0 * (hairs - 2.4 + 6.0 * parted), 0.0, 1.0) * np.clip(20.0 * parted, 0.0, 1.0)
    left = 1.0 - 0.7 * bare
    wave = mottle(points, 0.05, film.seed + 6, pixel) + mottle(points, 0.13, film.seed + 7, pixel)
    return left, more, 0.7 * film.edge_um * wave


def _sheet(
    film: FilmSpec, ground: Ground, pixels: NDArray[np.int64], points: Values, inside_um: Values
) -> tuple[Values, Values, NDArray[np.floating]]:
    """The same of a printed film."""
    pixel = ground.pixel_mm
    more = shoulder(inside_um, film.crisp_um, contact=CUT)
    more *= 1.0 + film.burr * np.exp(-0.5 * ((inside_um - 0.7 * film.burr_um) / (0.5 * film.burr_um)) ** 2)
    grain = 0.8 * mottle(points, film.texture_um / 1000, film.seed + 11, pixel)
    grain += 0.6 * mottle(points, 3.7 * film.texture_um / 1000, film.seed + 12, pixel)
    turn = np.deg2rad(film.wipe_deg)
    turned = points @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    wiped = mottle(turned, (0.9, 0.035), film.seed + 13, pixel)
    more *= 1.0 + film.texture * grain + film.wipe * wiped
    holes, cover = spots(ground, film.pinholes, film.pinhole_um, film.seed + 14)
    left = 1.0 - read_sparse(holes, cover, pixels)
    for line in film.cracks:
        left *= 1.0 - 0.9 * _line(points, line, pixel)
    for line in film.folds:
        more *= 1.0 + 0.8 * _line(points, line, pixel)
    return left, more, film.fringe_um * mottle(points, film.texture_um / 1000, film.seed + 15, pixel)


def spots(ground: Ground, number: float, radius_um: float, seed: int) -> tuple[NDArray[np.int64], Values]:
    """Round spots, `number` a square millimetre, of `radius_um` give or take half: flat indices and shares (N,).

    No pixel comes twice.
    """
    nothing = np.empty(0, dtype=np.int64), np.empty(0)
    if number <= 0.0 or radius_um * 0.001 * ground.scale < FAINTEST:
        return nothing
    room = max(4.0 * radius_um / 1000, min(0.3, float(np.sqrt(0.5 / number))))
    height, width = ground.shape
    corners = ground.points(np.array([0, width - 1, (height - 1) * width, height * width - 1]))
    place, first, second = centres(corners.min(axis=0), corners.max(axis=0), room, seed)
    chosen = first < number * room**2
    radius = radius_um * 0.001 * ground.scale * (0.5 + second[chosen])  # px
    middle = project(ground.homography, place[chosen])
    reach = np.arange(-int(np.ceil(1.5 * radius_um * 0.001 * ground.scale)) - 1, 0)
    reach = np.concatenate([reach, [0], -reach[::-1]])
    column = np.floor(middle[:, 0, None, None]).astype(np.int64) + reach[None, None, :]
    row = np.floor(middle[:, 1, None, None]).astype(np.int64) + reach[None, :, None]
    away = np.hypot(column + 0.5 - middle[:, 0, None, None], row + 0.5 - middle[:, 1, None, None])
    full = np.minimum(1.0, (radius / 0.56) ** 2)  # a spot below a pixel dims it
    cover = np.clip(radius[:, None, None] - away + 0.5, 0.0, 1.0) * full[:, None, None]
    cover *= (0.5 + 0.5 * np.mod(97.0 * second[chosen], 1.0))[:, None, None]
    seen = (cover > 0.01) & (column >= 0) & (column < width) & (row >= 0) & (row < height)
    index, where = np.unique((row * width + column)[seen], return_index=True)
    return index, cover[seen][where]


def read_sparse(index: NDArray[np.int64], values: Values, pixels: NDArray[np.int64]) -> Values:
    """What values (M,) at rising flat indices hold for each of the pixels (N,); 0 elsewhere."""
    if not len(index):
        return np.zeros(len(pixels))
    at = np.minimum(np.searchsorted(index, pixels), len(index) - 1)
    return np.asarray(np.where(index[at] == pixels, values[at], 0.0))


def _line(points: Values, line: Line, pixel_mm: float) -> Values:
    """Share (N,) of each pixel within a wavy line of the sheet, which runs out to both ends."""
    x, y, angle, length, width_um, bend = line
    along_x, along_y = np.cos(angle), np.sin(angle)
    off = points - np.array([x, y])
    along, across = off[:, 0] * along_x + off[:, 1] * along_y, off[:, 1] * along_x - off[:, 0] * along_y
    t = along / (0.5 * length)
    kinks = mottle(np.stack([along + x, np.full_like(along, y)], axis=1), (0.12, 10.0), 0, pixel_mm)
    slow = mottle(np.stack([along + y, np.full_like(along, x)], axis=1), (0.9, 10.0), 0, pixel_mm)
    across -= 0.5 * bend * length * (t * t - 1.0) + 0.008 * kinks + 0.05 * slow
    half = 0.0005 * width_um * np.sqrt(np.clip(1.0 - t * t, 0.0, 1.0))
    return np.asarray(
        np.clip((half - np.abs(across)) / pixel_mm + 0.5, 0.0, 1.0) * np.minimum(1.0, 2 * half / pixel_mm)
    )


def _powder(film: FilmSpec, exposure: Exposure, ground: Ground, share: Image, away: Image) -> tuple[Image, Image]:
    """Covered share and relative thickness (H, W) of grains that stick, or not, one by one."""
    grain, scale = exposure.grain_mm, ground.scale
    scatter = EDGE_SCATTER * exposure.edge_grains * grain
    stray = exposure.specks * grain / 6.0  # of grains at the edge, so that `specks` lie along a millimetre of stroke
    inner = 3.0 * scatter + 1.2 * grain
    outer = max(inner, (1.7 * STRAY_GRAINS if stray > 0 else 0.0) * grain)
    laid, gain = (away > 0).astype(np.float32), np.ones_like(share)
    deep = np.flatnonzero(away > inner * scale + 1.0)
    points = ground.points(deep)
    seen = film.caking / np.sqrt(1.0 + (ground.pixel_mm / grain) ** 2)
    gain.reshape(-1)[deep] = 1.0 + seen * EVEN * (cells(points, grain, film.seed + 21).first - 0.5)
    pores, cover = spots(ground, film.pores / grain**2, 500.0 * grain, film.seed + 22)
    laid.reshape(-1)[pores] *= 1.0 - 0.7 * cover
    near = np.flatnonzero((away > -outer * scale - 1.0) & (away <= inner * scale + 1.0))
    points, base = ground.points(near), away.reshape(-1)[near] / scale
    times = 3 if 0.8 < grain * scale < 1.6 else 2  # smaller grains are several a pixel anyway
    to_mm = np.linalg.inv(jacobian(ground))
    steps = (np.arange(times) + 0.5) / times - 0.5
    cover, cake = np.zeros(len(near)), np.zeros(len(near))
    for down in steps:
        for across in steps:
            at = points + to_mm @ np.array([across, down])
            spot = cells(at, grain, film.seed + 21)
            at_centre = read(away, project(ground.homography, at + spot.to_centre) - 0.5) / scale
            quantile = ndtri(np.clip(spot.first, 0.006, 0.994))  # of a bell cut at two and a half sigma
            sticks = at_centre + EDGE_BIAS * grain + scatter * quantile > 0
            sticks |= spot.second < stray * np.exp(np.minimum(at_centre, 0.0) / (STRAY_GRAINS * grain))
            reach = np.hypot(spot.to_centre[:, 0], spot.to_centre[:, 1]) < grain * (0.48 + 0.2 * spot.second)
            there = sticks & (reach | (at_centre > PACKED * grain))
            cover += there
            cake += there * (1.0 + film.caking * EVEN * (spot.first - 0.5))
    count = times * times
    laid.reshape(-1)[near] = cover / count
    gain.reshape(-1)[near] = np.where(cover > 0, cake / np.maximum(cover, 1), 1.0)
    side = 2 * round(REACH_MM * scale) + 1
    before, after = (cv2.boxFilter(field, -1, (side, side)).reshape(-1)[near] for field in (share, laid))
    # at the edge only: what lies a grain inside is covered whole
    change = np.clip(before / np.maximum(after, 1e-3), 1.0 / REPAIR, REPAIR) - 1.0
    part = laid.reshape(-1)[near] * (1.0 + change * np.clip(1.0 - base / grain, 0.0, 1.0))
    laid.reshape(-1)[near] = np.minimum(part, 1.0)
    # the fire runs grains together
    return laid, np.asarray(cv2.GaussianBlur(gain, (0, 0), max(0.5 * film.sink_um / 1000 * scale, 0.3)))
