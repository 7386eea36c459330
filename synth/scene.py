"""A whole photograph of a dial: one frozen spec, drawn with an explicit rng, and the pure function that renders it.

Order of painting: ground and enamel, strokes, wear, hands with their shadows, light, camera. The process enters
only at the strokes; everything else is drawn from the same rng before it is known.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.camera.camera import FILM_SHARE, CameraSpec, expose, finished, roughened, sample_camera
from dialtell.synth.design.design import INKS, DialDesign, Variety, sample_design
from dialtell.synth.design.fine_lines import with_fine_lines
from dialtell.synth.design.fitting import clear_of_figures
from dialtell.synth.design.fonts import with_fonts
from dialtell.synth.making import Coat, Making, make, sample_making
from dialtell.synth.photograph.body import BodySpec, Surface, paint_body, sample_body
from dialtell.synth.photograph.light import LightSpec, apply_light, hardened, sample_light
from dialtell.synth.photograph.relief import Lamp, apply_relief, lamp_of
from dialtell.synth.photograph.view import ViewSpec, homography, sample_view
from dialtell.synth.photograph.watch_hands import HandsSpec, paint_hands, sample_hands
from dialtell.synth.photograph.wear import WearSpec, abrasion_field, apply_wear, sample_wear
from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.coat import ground_of
from dialtell.synth.strokes.transfer import taken

RENDERER_VERSION = "7"
TRANSFER_SHARE = 0.65  # of prints, the rest photographic
ROUGH_STREAM = 83  # of the rng that makes a camera worse, likewise
FINISH_STREAM = 85  # of the rng that finishes a photograph, likewise
NEAR_STREAM = 93  # of the rng that takes a picture from near, likewise
NEAR, NEAR_SIDE = (1100.0, 3600.0), 1500  # px per dial radius of those, and the most px of their longer side
NEAR_FINISHED = 0.3  # of the share of finished photographs: after phones' software few resolve what they were near for
FONT_STREAM = 87  # of which parts are set in a font, and which, likewise
FINE_STREAM = 89  # of which figures are long and which tracks are hairlines, likewise
JITTER_STREAM = 81  # of the rng that varies the jitter, apart so that all else stays as drawn without


@dataclass(frozen=True)
class DialSpec:
    """Everything one picture depends on."""

    design: DialDesign
    making: Making
    view: ViewSpec
    body: BodySpec
    hands: HandsSpec
    wear: WearSpec
    light: LightSpec
    camera: CameraSpec
    seed: int
    index: int
    version: str = RENDERER_VERSION

    def as_process(self, process: Process) -> DialSpec:
        """The twin of this picture with every zone laid by `process`."""
        return replace(self, making=self.making.as_process(process))


@dataclass(frozen=True)
class Range:
    """What a set of pictures is drawn from.

    pixels_per_radius : photo px per dial radius, drawn log-uniformly. max_side : px of the frame's longer side.
    part : share of close-ups. steadiness : of the painters, 0..1. jitter : factor on all hand deviations, 0..4.
    jitter_spread : largest change of ln jitter from picture to picture, 0..1.
    scatter : of the engraver, 0 machine-cut .. 1 as a good hand. mastered : share of dials by the steadiest painters;
    machine-cut and modern plates are half as frequent again. wear : severity, 0..1. mixed : share of dials
    whose zones differ in process. hands_off : share of dials without hands. tilt : largest, degrees. rough : share of
    pictures taken worse than cameras commonly do, see camera.roughened. finished : share of pictures with the optics,
    capture, finishing and hard light of real photographs, see camera.finished and light.hardened. heic : share of
    those kept as HEIC, whose encoder need not give the same bytes on every machine. film : share of those on dim, soft
    film or from old prints. near : share of pictures with NEAR px per dial radius instead, fields of a
    microscope, fewer of them finished.
    coated : whether close views show paint as a coat with thickness, relief and grain (strokes.film,
    photograph.relief), or flat fills.
    """

    pixels_per_radius: tuple[float, float] = (90.0, 900.0)
    max_side: int = 1400
    part: float = 0.0
    steadiness: tuple[float, float] = (0.0, 1.0)
    jitter: float = 1.0
    jitter_spread: float = 0.0
    scatter: tuple[float, float] = (0.0, 1.0)
    mastered: float = 0.5
    wear: tuple[float, float] = (0.0, 0.8)
    mixed: float = 0.0
    hands_off: float = 0.4
    tilt: float = 35.0
    rough: float = 0.0
    finished: float = 0.7
    heic: float = 0.0
    film: float = FILM_SHARE
    near: float = 0.0
    coated: bool = True
    variety: Variety = field(default_factory=Variety)


def generator(seed: int, index: int) -> np.random.Generator:
    """The rng of picture `index` of the set `seed`: the same on every worker and machine."""
    return np.random.default_rng([seed, index])


def sample_spec(seed: int, index: int, scope: Range | None = None, process: Process | None = None) -> DialSpec:
    """Draw picture `index` of set `seed`.

    process : None draws it, half hand and half print (two prints in three by transfer), or mixed by `scope.mixed`.
    """
    scope = scope or Range()
    rng = generator(seed, index)
    design = sample_design(rng=rng, variety=scope.variety)
    design = with_fonts(design, scope.variety, rng=np.random.default_rng([seed, index, FONT_STREAM]))
    design = with_fine_lines(design, rng=np.random.default_rng([seed, index, FINE_STREAM]))
    if np.random.default_rng([seed, index, NEAR_STREAM]).random() < scope.near:
        scope = replace(scope, pixels_per_radius=NEAR, max_side=NEAR_SIDE, finished=NEAR_FINISHED * scope.finished)
    photograph = sample_photograph(rng=rng, design=design, scope=scope)
    drawn = _sample_process(rng, scope)
    spread = scope.jitter_spread * np.random.default_rng([seed, index, JITTER_STREAM]).uniform(-1, 1)
    making = sample_making(
        rng=rng, design=design, process=drawn if process is None else process, steadiness=scope.steadiness,
        jitter=scope.jitter * float(np.exp(spread)), scatter=scope.scatter, mastered=scope.mastered,
        coated=scope.coated,
    )  # fmt: skip
    spec = DialSpec(design=design, making=making, **vars(photograph), seed=seed, index=index)
    poorly = np.random.default_rng([seed, index, ROUGH_STREAM])
    return replace(spec, camera=roughened(spec.camera, rng=poorly)) if poorly.random() < scope.rough else spec


@dataclass(frozen=True)
class Photograph:
    """All of a picture that is neither design nor making: the object around the strokes, and the camera."""

    view: ViewSpec
    body: BodySpec
    hands: HandsSpec
    wear: WearSpec
    light: LightSpec
    camera: CameraSpec


def sample_photograph(*, rng: np.random.Generator, design: DialDesign, scope: Range) -> Photograph:
    """Draw enamel, hands, wear, light, view and camera for a design."""
    radius = design.radius_mm
    low, high = (value / radius for value in scope.pixels_per_radius)
    view = sample_view(
        rng=rng, dial_radius_mm=radius, px_per_mm=(low, high), max_side_px=scope.max_side, part_share=scope.part,
        max_tilt_deg=scope.tilt,
    )  # fmt: skip
    seconds = design.subdials[0] if design.subdials else None
    place = (seconds.x * radius, seconds.y * radius) if seconds else None
    size = seconds.radius * radius if seconds else 0.0
    light = sample_light(rng=rng, dial_radius_mm=radius)
    body = sample_body(
        rng=rng, dial_radius_mm=radius, seconds_centre_mm=place, seconds_radius_mm=size,
        light_azimuth_deg=light.azimuth_deg, ground=design.ground,
        clear_mm=radius * clear_of_figures(design) if scope.variety.uncommon > 0.0 else None,
    )  # fmt: skip
    hands = sample_hands(
        rng=rng, dial_radius_mm=radius, seconds_centre_mm=place, seconds_radius_mm=size,
        light_azimuth_deg=light.azimuth_deg, none_share=scope.hands_off,
    )  # fmt: skip
    if "regulator" in design.uncommon:  # its hours are on a dial of their own
        hands = replace(hands, hour_mm=0.0)
    wear = sample_wear(rng=rng, severity=float(rng.uniform(*scope.wear)), dial_radius_mm=radius)
    camera = sample_camera(rng=rng)
    apart = np.random.default_rng([camera.seed, FINISH_STREAM])
    if apart.random() < scope.finished:
        light = hardened(light, rng=apart, bezel=body.around.rim != "none")
        camera = finished(
            camera, rng=apart, px_per_mm=view.px_per_mm, dial_radius_mm=radius, heic_share=scope.heic,
            film_share=scope.film,
        )  # fmt: skip
    return Photograph(view, body, hands, wear, light, camera)


def printed_process(rng: np.random.Generator) -> Process:
    """Of a print: two in three by transfer. One draw of `rng`."""
    return Process.TRANSFER if rng.random() < TRANSFER_SHARE else Process.PHOTOGRAPHIC


def _sample_process(rng: np.random.Generator, scope: Range) -> Process | None:
    """Half hand and half print, two prints in three by transfer; None for zones that differ."""
    mixed, hand, transfer = rng.random(3) < (scope.mixed, 0.5, TRANSFER_SHARE)
    if mixed:
        return None
    if hand:
        return Process.HAND
    return Process.TRANSFER if transfer else Process.PHOTOGRAPHIC


def paint_strokes(
    coats: list[Coat],
    spec: DialSpec,
    matrix: NDArray[np.float64],
    reflectance: NDArray[np.float32],
    room: NDArray[np.float32] | None = None,
    lamp: Lamp | None = None,
) -> NDArray[np.float32]:
    """Reflectance (H, W, 3) with the strokes on it, worn paint and holes of a printed film taken out.

    room : (H, W) 0..1, where paint can be (the enamel without its holes); None everywhere. lamp : what shows the relief
    of a coat with thickness; None for flat light. Give it once, with all coats.
    """
    shape = reflectance.shape[:2]
    left = 1.0 - abrasion_field(spec.wear, spec.view, shape)
    if room is not None:
        left = left * room
    flat = reflectance.reshape(-1, 3)
    film, exposure = spec.making.film, spec.making.exposure
    ground = None if film is None else ground_of(matrix, shape)
    if ground is not None and ground.fine == 0.0:  # from afar a coat is a flat fill, and its height shows nothing
        film = ground = None
    height = np.zeros(shape, dtype=np.float32)  # micrometres
    for coat in coats:
        stays = left * taken(spec.making.pull, spec.design.radius_mm, matrix, shape) if coat.film else left
        for ink in np.unique(coat.paint.ink):
            inked = coat.of_ink(int(ink))
            if film is None or ground is None:
                share, density = inked.lay(matrix, shape)
            else:
                share, density = inked.lay_thick(film, exposure, ground)
            share = share * stays
            covered = np.flatnonzero(share != 0.0)  # of booleans in a third of the time of numbers
            part, dark = share.reshape(-1)[covered], density.reshape(-1)[covered]
            strengths = INKS[spec.design.inks[int(ink)]]
            through = {k: (1.0 - part + part * np.power(10.0, -k * dark)).astype(np.float32) for k in set(strengths)}
            for channel, k in zip(flat.T, strengths, strict=True):  # in half the time of all three at once
                channel[covered] *= through[k]
            if film is not None and lamp is not None:
                height.reshape(-1)[covered] += film.um_of(coat.process) * part * dark
    if film is not None and ground is not None and lamp is not None:
        apply_relief(reflectance, height, lamp, film, ground, spec.view.roll_deg)
    return reflectance


def radiance(spec: DialSpec, coats: list[Coat] | None = None, surface: Surface | None = None) -> NDArray[np.float32]:
    """What the lens sees: (H, W, 3) float32 linear light.

    coats : None for those of the spec's own making. surface : the bare object (body.paint_body) where it is known
    already, as that of a twin is; it is drawn over.
    """
    matrix = homography(spec.view)
    surface = surface or paint_body(spec.body, spec.view)
    room = surface.dial_mask * (1.0 - surface.holes)  # no paint on the case or in a hole
    laid = make(spec.design, spec.making) if coats is None else coats
    lamp = lamp_of(spec.light, spec.seed, spec.index)
    scene = paint_strokes(laid, spec, matrix, surface.reflectance, room, lamp)
    scene = apply_wear(spec.wear, spec.view, scene, surface.dial_mask)
    scene, _ = paint_hands(spec.hands, spec.view, scene)
    return apply_light(spec.light, spec.view, scene)


def render(spec: DialSpec) -> NDArray[np.uint8]:
    """The photograph: (H, W, 3) uint8 sRGB. The same spec gives the same bytes."""
    return photograph(spec)


def photograph(spec: DialSpec, coats: list[Coat] | None = None, surface: Surface | None = None) -> NDArray[np.uint8]:
    """The photograph of other paint on the same dial; see render and radiance."""
    return expose(spec.camera, radiance(spec, coats, surface))
