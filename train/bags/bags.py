"""From a spec to a bag of patches with its truth: the same reading a photograph gets, with the outline known.

The outline is put off as a finder would have it: a little where most of it is in the frame, more in a close-up, where
it comes from the strokes. Some close-ups are read without knowing their place on the dial, as one zone. All of this is
the same for twins.

What each pixel shows the shipped reader says, as it does of a photograph.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.close_up import unnamed_geometry
from dialtell.model.reading.geometry import DialGeometry, sample_points
from dialtell.model.reading.outline import LEAST_OUTLINE
from dialtell.model.reading.patches import HIGH, LOW, PatchSet
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.steps import Reading, read_at, read_unnamed
from dialtell.synth.camera.camera import CameraSpec, expose, finished, sample_camera
from dialtell.synth.design.layout import lay_out
from dialtell.synth.photograph.body import Surface, paint_body
from dialtell.synth.photograph.view import homography, to_px
from dialtell.synth.planting import Plant, Planted, plant
from dialtell.synth.scene import DialSpec, Range, photograph, printed_process, radiance, sample_spec
from dialtell.synth.shared.terms import ZONES, Process, Zone
from dialtell.train.bags.alike import alike, alike_zones

MOST_PER_ZONE = 140
FEWEST_PATCHES = 6
PLANTED = 0.25  # share of pictures with something of the other process, without which a net reads no single figure
PLANTED_STROKES = 0.25  # share of those with one stroke alone, faded or run past its end, the others with one figure
MOSTLY, HARDLY = 0.5, 0.02  # share of a patch's ink that is the plant's: it is the patch's truth, or is no matter
STROKE_MOSTLY, STROKE_HARDLY = 0.04, 0.005  # likewise where one stroke alone is odd, which fills no patch
LOOKED_AT = 2  # px between the points of a patch at which that is looked up
TWO_CAMERAS = 0.2  # share of twins photographed a second time, by another camera: what is said must not hang on it
BOTH_PRINTS = 0.15  # share of pictures whose twins are a photographic print and a transfer

FIGURES = (Plant.PAINTED_FIGURE, Plant.PRINTED_FIGURE)
STROKES = (Plant.FADED_STROKE, Plant.OVERSHOOT)

# close-ups, whose outline is not in the frame
UNNAMED = 0.5  # share read as one zone; the finder places 13 of 31 drawn ones that show some of their track
SCALE_SPREAD = 0.2  # SD of ln scale of those: px/mm known, the dial's size not
CLOSE_UP_SHIFT = 0.012  # dial radii, SD of the centre's error where it is found from rings and divisions
CLOSE_UP_SIZE = 0.025  # SD of ln radius: how far outside its track a dial ends differs from dial to dial


@dataclass(frozen=True, eq=False)
class Bag:
    """Patches of one rendered dial.

    density : (N, S, S) uint8, D from LOW to HIGH on 0..255. zone : (N,) int8. resolution : log2 px ratio.
    hand : (Z,) int8, 1 painted, 0 printed, -1 no strokes of that zone in the design. dial : 1 painted, 0 printed,
    -1 mixed. photographic : 1, 0 (transfer) or -1 (no print). index : of the picture in its set. strokes : (N,) int8,
    1, 0 or -1 of each patch by itself, None where its zone's holds. alike : (N,) patches that show the same of the twin
    of the other process, and alike_zones : (Z,) zones with hardly any that differs: there the camera left nothing to
    tell, and what is asked of a net is one half. None where nothing was compared. scale : (N,) float32 log2 of
    each patch's px per dial radius against patches.SCALE, None for all 0.
    """

    density: NDArray[np.uint8]
    zone: NDArray[np.int8]
    resolution: float
    hand: NDArray[np.int8]
    dial: int
    photographic: int
    index: int
    strokes: NDArray[np.int8] | None = None
    alike: NDArray[np.bool_] | None = None
    alike_zones: NDArray[np.bool_] | None = None
    scale: NDArray[np.float32] | None = None

    @property
    def scales(self) -> NDArray[np.float32]:
        """(N,) `scale`, in numbers also where all are 0."""
        return np.zeros(len(self.zone), dtype=np.float32) if self.scale is None else self.scale

    @property
    def odd(self) -> NDArray[np.bool_]:
        """(N,) the patches that show what was planted: the fewer of two truths."""
        if self.strokes is None:
            return np.zeros(len(self.zone), dtype=bool)
        fewer = int((self.strokes == 1).sum() <= (self.strokes == 0).sum())
        return np.asarray(self.strokes == fewer, dtype=bool)

    @property
    def own(self) -> NDArray[np.int8]:
        """(N,) 1 painted, 0 printed, -1 unknown of each patch."""
        return np.asarray(self.hand[self.zone] if self.strokes is None else self.strokes, dtype=np.int8)

    @property
    def targets(self) -> NDArray[np.float32]:
        """(N,) `own`, 0.5 where the twins look alike."""
        return _halved(self.own, self.alike)

    @property
    def zone_targets(self) -> NDArray[np.float32]:
        """(Z,) `hand`, 0.5 where the twins look alike."""
        return _halved(self.hand, self.alike_zones)

    @property
    def dial_target(self) -> float:
        """`dial`, 0.5 where the twins look alike in every zone known."""
        known = self.hand >= 0
        nothing = self.alike_zones is not None and known.any() and self.alike_zones[known].all()
        return 0.5 if nothing and self.dial >= 0 else float(self.dial)


def _halved(truth: NDArray[np.int8], alike: NDArray[np.bool_] | None) -> NDArray[np.float32]:
    known = truth.astype(np.float32)
    return known if alike is None else np.where(alike & (truth >= 0), np.float32(0.5), known)


def pack(density: NDArray[np.float32]) -> NDArray[np.uint8]:
    """D to 8 bits: steps of 0.0086 D."""
    return np.round((density - LOW) / (HIGH - LOW) * 255).astype(np.uint8)


def truth_of(spec: DialSpec) -> tuple[NDArray[np.int8], int]:
    """(Z,) 1 painted, 0 printed, -1 no strokes in that zone; and the same of the dial, -1 mixed."""
    drawn = {item.zone for item in lay_out(spec.design)}
    pairs = zip(ZONES, spec.making.processes, strict=True)
    hand = np.array([int(p is Process.HAND) if zone in drawn else -1 for zone, p in pairs], dtype=np.int8)
    known = hand[hand >= 0]
    return hand, int(known[0]) if len(known) and known.min() == known.max() else -1


def whole_bag(spec: DialSpec, reading: Reading) -> Bag:
    """Every patch of a picture as read, with the truth of its spec."""
    hand, dial = truth_of(spec)
    printed = {p for p, known in zip(spec.making.processes, hand, strict=True) if p.printed and known >= 0}
    patches = reading.patches.joined
    return Bag(
        density=pack(patches.density),
        zone=patches.zone.astype(np.int8),
        resolution=patches.resolution,
        hand=hand,
        dial=dial,
        photographic=-1 if len(printed) != 1 else int(Process.PHOTOGRAPHIC in printed),
        index=spec.index,
        scale=patches.scales.astype(np.float32),
    )


def reading_rng(spec: DialSpec) -> np.random.Generator:
    """What the reading of a picture draws from (`read_spec`): the same for its twins, whoever reads it."""
    return np.random.default_rng([spec.seed, spec.index, 77])


def known_geometry(spec: DialSpec, *, rng: np.random.Generator, jitter: float = 1.0) -> DialGeometry:
    """The true outline as a finder would give it, off by a little.

    jitter : 1 is 0.25 % of the radius in centre and axes (the finder's error on drawn dials), 0 none.
    """
    radius = spec.design.radius_mm
    turn = np.linspace(0, 2 * np.pi, 361)[:-1]
    rim = to_px(homography(spec.view), radius * np.stack([np.sin(turn), -np.cos(turn)], axis=1))
    (x, y), (width, height), angle = cv2.fitEllipse(rim.astype(np.float32))
    axes, direction = (0.5 * width, 0.5 * height), np.deg2rad(angle)
    if axes[0] < axes[1]:
        axes, direction = (axes[1], axes[0]), direction + 0.5 * np.pi
    size = float(np.sqrt(axes[0] * axes[1]))
    shift = 0.0025 * jitter * size * rng.standard_normal(2)
    grow = 1.0 + 0.0025 * jitter * rng.standard_normal(2)
    a, b = axes[0] * grow[0], axes[1] * grow[1]
    geometry = DialGeometry((x + shift[0], y + shift[1]), (max(a, b), min(a, b)), float(direction))
    top = to_px(homography(spec.view), np.array([[0.0, -radius]]))
    up = geometry.to_dial(top)[0]
    return geometry.turned(float(np.arctan2(up[0], -up[1])))


def read_spec(spec: DialSpec, pixels: NDArray[np.uint8], *, rng: np.random.Generator) -> Reading:
    """Read a rendered picture as a photograph like it would be read, with its outline and where 12 stands known.

    pixels : (H, W, 3) sRGB.
    """
    photo = photo_of(pixels)
    if outline_seen(spec) >= LEAST_OUTLINE:
        return _read_at(photo, known_geometry(spec, rng=rng))
    if rng.random() < UNNAMED:
        true = known_geometry(spec, rng=rng, jitter=0.0).pixels_per_radius
        return read_unnamed(
            photo, unnamed_geometry(pixels.shape[:2], true * float(np.exp(SCALE_SPREAD * rng.standard_normal())))
        )
    return _read_at(photo, close_up_geometry(spec, rng=rng))


def photo_of(pixels: NDArray[np.uint8]) -> Photo:
    """A rendered picture as a photograph that was read. pixels : (H, W, 3) sRGB."""
    return Photo(Path("drawn"), pixels, (pixels.shape[1], pixels.shape[0]))


def _read_at(photo: Photo, geometry: DialGeometry) -> Reading:
    return read_at(photo, geometry, geometry.twelve_deg)


def outline_seen(spec: DialSpec) -> float:
    """Share of the turn whose outline is in the frame, 0..1."""
    turn = np.linspace(0, 2 * np.pi, 361)[:-1]
    rim = to_px(homography(spec.view), spec.design.radius_mm * np.stack([np.sin(turn), -np.cos(turn)], axis=1))
    inside = (rim >= 0) & (rim <= np.array([spec.view.width_px, spec.view.height_px]))
    return float(inside.all(axis=1).mean())


def close_up_geometry(spec: DialSpec, *, rng: np.random.Generator) -> DialGeometry:
    """The true outline as it would be found from the rings and divisions of a close-up."""
    true = known_geometry(spec, rng=rng)
    size = true.pixels_per_radius
    shift = CLOSE_UP_SHIFT * size * rng.standard_normal(2)
    grow = float(np.exp(CLOSE_UP_SIZE * rng.standard_normal()))
    (x, y), (a, b) = true.center_px, true.axes_px
    return DialGeometry((x + shift[0], y + shift[1]), (a * grow, b * grow), true.angle, true.rotation)


def bag_of(spec: DialSpec, surface: Surface | None = None) -> Bag | None:
    """Render and read one dial; None when nothing on it can be read (a tiny or covered picture).

    surface : the bare object, where a twin's was painted already; it is drawn over.
    """
    found = _read(spec, photograph(spec, surface=surface))
    return None if found is None else found.bag


def planted_bag(spec: DialSpec, what: Plant, *, rng: np.random.Generator) -> Bag | None:
    """Likewise of a dial with one figure of the other process or one odd stroke, whose patches carry their own truth;
    None also where there is nothing to plant it on. The zone it stands in and the dial then have none."""
    found = plant(spec, what, rng=rng)
    host = Process.HAND if what is Plant.PRINTED_FIGURE else Process.TRANSFER
    limits = (STROKE_MOSTLY, STROKE_HARDLY) if what in STROKES else (MOSTLY, HARDLY)
    if found is None:
        return None
    read = _read(spec.as_process(host), found.pixels, found, limits)
    return None if read is None else read.bag


class _Read(NamedTuple):
    """A bag, the reading it is from and which of that's patches it holds."""

    bag: Bag
    reading: Reading
    chosen: NDArray[np.int64]


def _read(
    spec: DialSpec,
    pixels: NDArray[np.uint8],
    planted: Planted | None = None,
    limits: tuple[float, float] = (MOSTLY, HARDLY),
) -> _Read | None:
    rng = reading_rng(spec)
    reading = read_spec(spec, pixels, rng=rng)
    patches = reading.patches.joined
    if len(reading.patches) < FEWEST_PATCHES:
        return None
    keep = []
    for zone in range(len(ZONES)):
        found = np.flatnonzero(reading.patches.zone == zone)
        if len(found) > MOST_PER_ZONE:
            found = np.sort(rng.choice(found, MOST_PER_ZONE, replace=False))
        keep.append(found)
    chosen = np.concatenate(
        [*keep, np.arange(len(reading.patches), len(patches))]
    )  # of the fine ones and single shapes all
    bag = whole_bag(spec, reading)
    hand, dial, strokes = bag.hand, bag.dial, None
    if planted is not None:
        strokes = _by_patch(patches, chosen, planted, reading.geometry, *limits)
        hand[ZONES.index(planted.zone)], dial = -1, -1
    if not reading.zones.named:  # one zone, whose truth is the dial's
        hand = np.full(len(ZONES), -1, dtype=np.int8)
        hand[ZONES.index(Zone.OTHER)] = dial
    bag = replace(
        bag, density=bag.density[chosen], zone=bag.zone[chosen], scale=bag.scales[chosen], hand=hand, dial=dial,
        strokes=strokes,
    )  # fmt: skip
    return _Read(bag, reading, chosen)


def _by_patch(
    patches: PatchSet, chosen: NDArray[np.int64], planted: Planted, geometry: DialGeometry, mostly: float, hardly: float
) -> NDArray[np.int8]:
    """(N,) 1 painted, 0 printed, -1 both of it, of each patch chosen: by how much of its ink is the plant's.

    mostly : share of the ink above which the plant is the patch's truth. hardly : below which it is no matter.
    """
    grid = patches.grids(geometry)[chosen][:, ::LOOKED_AT, ::LOOKED_AT]
    cover = sample_points(planted.mask, grid.reshape(len(chosen), -1, 2).astype(np.float64)).reshape(grid.shape[:3])
    ink = patches.density[chosen][:, ::LOOKED_AT, ::LOOKED_AT] > 0.15
    share = (cover * ink).sum(axis=(1, 2)) / np.maximum(ink.sum(axis=(1, 2)), 1)
    guest, host = (1, 0) if planted.toward_hand else (0, 1)
    return np.where(share > mostly, guest, np.where(share < hardly, host, -1)).astype(np.int8)


def twin_bags(seed: int, index: int, scope: Range) -> list[Bag]:
    """One picture twice, only the process changed: painted and printed, or for some printed both ways, so that the
    prints' own difference is learnt; some of them a second time by another camera, behind the first two. Mixed dials,
    and those with something planted, come single."""
    spec = sample_spec(seed, index, scope)
    rng = np.random.default_rng([seed, index, 82])
    if rng.random() < PLANTED:
        figure, stroke = rng.integers(2, size=2)
        what = FIGURES[figure] if rng.random() >= PLANTED_STROKES else STROKES[stroke]
        if (odd := planted_bag(spec, what, rng=rng)) is not None:
            return [odd]
    if len(set(spec.making.processes)) > 1:
        single = bag_of(spec)
        return [single] if single is not None else []
    bare = paint_body(spec.body, spec.view)
    kept = bare._replace(reflectance=bare.reflectance.copy())  # the first twin is painted over the other
    pair = twin_processes(np.random.default_rng([seed, index, 78]))
    twins = [(spec.as_process(process), surface) for process, surface in zip(pair, (bare, kept), strict=True)]
    lights = [(twin, radiance(twin, surface=surface)) for twin, surface in twins]
    group = _taken(lights, spec.camera)
    again = np.random.default_rng([seed, index, 92])
    if len(group) == 2 and again.random() < TWO_CAMERAS:
        second = _taken(lights, other_camera(spec, scope, rng=again))
        group += second if len(second) == 2 else []
    return group


def other_camera(spec: DialSpec, scope: Range, *, rng: np.random.Generator) -> CameraSpec:
    """Another camera that might have taken the same view, with the finishing of real photographs."""
    view = spec.view
    return finished(
        sample_camera(rng=rng), rng=rng, px_per_mm=view.px_per_mm, dial_radius_mm=spec.design.radius_mm,
        heic_share=scope.heic, film_share=scope.film,
    )  # fmt: skip


def _taken(lights: Sequence[tuple[DialSpec, NDArray[np.float32]]], camera: CameraSpec) -> list[Bag]:
    """The bags of twins by one camera. lights : each twin, and what the lens sees of it (scene.radiance)."""
    found = [_read(replace(twin, camera=camera), expose(camera, light)) for twin, light in lights]
    read = [one for one in found if one is not None]
    compared = len(read) == 2 and any(Process.HAND in twin.making.processes for twin, _ in lights)
    return _compared(*read) if compared else [one.bag for one in read]


def _compared(first: _Read, second: _Read) -> list[Bag]:
    """The bags of a painted and a printed twin, with what of them looks alike."""
    sides = ((first, second), (second, first))
    patches = [alike(own.reading, twin.reading, own.chosen) for own, twin in sides]
    zones = alike_zones(np.concatenate([first.bag.zone, second.bag.zone]), np.concatenate(patches))
    return [replace(own.bag, alike=same, alike_zones=zones) for (own, _), same in zip(sides, patches, strict=True)]


def twin_processes(rng: np.random.Generator) -> tuple[Process, Process]:
    """The processes of a picture's twins."""
    printed = printed_process(rng)
    if rng.random() < BOTH_PRINTS:
        return Process.PHOTOGRAPHIC, Process.TRANSFER
    return Process.HAND, printed


def single_bag(seed: int, index: int, scope: Range) -> Bag | None:
    """One dial of a validation set: hand or print as its own rng draws it."""
    return bag_of(sample_spec(seed, index, scope))
