"""How one dial was made: which process laid each zone, and the people, plate and sheet behind it.

Workshop, plate, pull and exposure are all drawn for every dial, whatever its process: a twin is the same making
with only `processes` changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.design.design import DialDesign
from dialtell.synth.design.layout import guide_circles, lay_out
from dialtell.synth.shared.terms import ZONES, Process, Zone
from dialtell.synth.strokes.coat import Ground, thickened
from dialtell.synth.strokes.fairing import rounded
from dialtell.synth.strokes.film import FilmSpec, sample_film
from dialtell.synth.strokes.hand import paint_by_hand
from dialtell.synth.strokes.hand_style import Workshop, sample_workshop
from dialtell.synth.strokes.masters import sample_masters
from dialtell.synth.strokes.paint import Cue, Paint, flatten, join, lay
from dialtell.synth.strokes.photographic import Exposure, develop, printed_evenly, sample_exposure
from dialtell.synth.strokes.plate import Plate, cut, regular, sample_plate, shallowed
from dialtell.synth.strokes.skeleton import StrokeBatch, gather, normals, tabulate
from dialtell.synth.strokes.stroke import Floats, Item
from dialtell.synth.strokes.transfer import Pull, displaced, ghost, lay_down, placing_of, sample_pull

MASTER_STREAM = 85  # of the rng of masters and regular plates, apart so that all else stays as drawn without
REGULAR = 1.8  # plates are regular more often than painters are masters: real prints are more regular than hands
SHALLOW = 0.35  # plates with shallow hairlines, of the share of masters: most real prints hold theirs (judgement)


@dataclass(frozen=True)
class Making:
    """processes : one Process per zone, in the order of ZONES. film : the coat up close; None for flat fills."""

    processes: tuple[Process, ...]
    workshop: Workshop
    plate: Plate
    pull: Pull
    exposure: Exposure
    film: FilmSpec | None = None

    def process_of(self, zone: Zone) -> Process:
        """How a zone was laid."""
        return self.processes[ZONES.index(zone)]

    def as_process(self, process: Process) -> Making:
        """The twin: the same in everything but the process, which is `process` in every zone."""
        return replace(self, processes=(process,) * len(ZONES))


@dataclass(frozen=True, eq=False)
class Coat:
    """Paint of one process.

    coat : what a second coat adds, share of the first. film : holes of the sheet apply.
    beneath : faint paint that shows only where `paint` left the enamel bare: guide lines, the ghost of a slip.
    process : how it was laid. even : the same paint without the grain of its edges, for views that show single grains;
    None where `paint` has none.
    """

    paint: Paint
    coat: float
    film: bool
    beneath: Paint
    process: Process = Process.TRANSFER
    even: Paint | None = None

    def of_ink(self, ink: int) -> Coat:
        """Only the paint of one ink."""
        return replace(
            self, paint=self.paint.select(self.paint.ink == ink), beneath=self.beneath.select(self.beneath.ink == ink),
            even=None if self.even is None else self.even.select(self.even.ink == ink),
        )  # fmt: skip

    def lay(self, homography: Floats, shape: tuple[int, int]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Covered share (H, W) 0..1 and density (H, W) of the covered part, as paint.lay gives them."""
        share, density = lay(self.paint, homography, shape, coat=self.coat)
        if not self.beneath.follows.any():
            return share, density
        under, faint = lay(self.beneath, homography, shape, coat=0.0)
        under = under * (1.0 - share)
        whole = share + under
        mean = (share * density + under * faint) / np.maximum(whole, 1e-6)
        return whole, np.where(whole > 1e-6, mean, 0.0).astype(np.float32)

    def lay_thick(
        self, film: FilmSpec, exposure: Exposure, ground: Ground
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """The same as a coat with thickness, where the ground is seen close enough."""
        fair = replace(self, paint=rounded(self.paint))
        share, density = fair.lay(ground.homography, ground.shape)
        if self.process is not Process.PHOTOGRAPHIC or self.even is None:
            return thickened(self.process, fair.paint, film, exposure, ground, share, density)
        if ground.grain == 0.0:
            return share, density
        fair = replace(self, paint=rounded(self.even))
        plain, solid = fair.lay(ground.homography, ground.shape)
        grained, caked = thickened(self.process, fair.paint, film, exposure, ground, plain, solid)
        # between the two scales edges turn from ragged, as rasterised, to single grains
        mixed = share + np.float32(ground.grain) * (grained - share)
        dense = share * density + np.float32(ground.grain) * (grained * caked - share * density)
        return mixed, np.where(mixed > 1e-4, dense / np.maximum(mixed, 1e-4), 0.0).astype(np.float32)


def sample_making(
    *,
    rng: np.random.Generator,
    design: DialDesign,
    process: Process | None,
    steadiness: tuple[float, float] = (0.0, 1.0),
    jitter: float = 1.0,
    scatter: tuple[float, float] = (0.0, 1.0),
    mastered: float = 0.0,
    coated: bool = True,
) -> Making:
    """Draw a making; `process` None mixes: one zone or two done by another process than the rest.

    mastered : share of workshops of masters, 0..1, whatever `steadiness`; regular plates are more frequent than that.
    coated : whether paint is a coat with thickness.
    """
    film = sample_film(rng=rng.spawn(1)[0], radius_mm=design.radius_mm)  # of its own: all else stays as drawn without
    workshop = sample_workshop(rng=rng, steadiness=steadiness, jitter=jitter)
    plate = sample_plate(rng=rng, scatter=scatter)
    apart = np.random.default_rng([workshop.seed, MASTER_STREAM])
    steady, careful, worn = apart.random(3) < mastered * np.array([1.0, REGULAR, SHALLOW])
    if steady:
        workshop = sample_masters(rng=apart, seed=workshop.seed, jitter=jitter)
    if careful:
        plate = regular(plate, rng=apart, scatter=scatter)
    if worn:
        plate = shallowed(plate, rng=apart)
    workshop, plate = workshop.sized(design.radius_mm), plate.sized(design.radius_mm)
    pull = sample_pull(rng=rng, radius_mm=design.radius_mm)
    exposure = sample_exposure(rng=rng, placing=placing_of(pull))
    if process is not None:
        processes = (process,) * len(ZONES)
    else:
        processes = _mixed(rng)
    return Making(processes, workshop, plate, pull, exposure, film if coated else None)


def _mixed(rng: np.random.Generator) -> tuple[Process, ...]:
    """Printed with a painted signature, painted with a printed track, or a restored zone."""
    printed = Process.TRANSFER if rng.random() < 0.6 else Process.PHOTOGRAPHIC
    base, other = (printed, Process.HAND) if rng.random() < 0.7 else (Process.HAND, printed)
    odd = {str(zone) for zone in rng.choice(np.array(ZONES[:4]), size=int(rng.integers(1, 3)), replace=False)}
    return tuple(other if str(zone) in odd else base for zone in ZONES)


def make(design: DialDesign, making: Making) -> list[Coat]:
    """All paint of the dial in millimetres, by process."""
    items = lay_out(design)
    coats = []
    for process in Process:
        chosen = [item for item in items if making.process_of(item.zone) is process]
        if chosen:
            coats.append(coat_of(chosen, design, making, process))
    return coats


def coat_of(items: Sequence[Item], design: DialDesign, making: Making, process: Process) -> Coat:
    """The paint of these items, all laid by `process`."""
    batches, table = gather(items), tabulate(items)
    if process is Process.HAND:
        painted = paint_by_hand(_laid_out(batches, making.pull), table, making.workshop, design.density)
        guides = _guides(design, making) if making.process_of(Zone.NUMERALS) is Process.HAND else []
        return Coat(painted, making.workshop.figures.coat, film=False, beneath=join(guides), process=process)
    master = cut(batches, table, making.plate)
    if process is Process.TRANSFER:
        film = lay_down(master, making.pull, design.density, making.plate.depth)
        return Coat(film, 0.0, film=True, beneath=ghost(film, making.pull), process=process)
    printed = develop(master, making.exposure, design.density, making.plate.depth)
    even = None
    if making.film is not None:
        even = printed_evenly(master, making.exposure, design.density, making.plate.depth)
    return Coat(printed, 0.0, film=False, beneath=join([]), process=process, even=even)


def _laid_out(batches: list[StrokeBatch], pull: Pull) -> list[StrokeBatch]:
    """A painter's layout sits off the dial's centre and upright as much as a sheet does: both use the pull's."""
    placed = replace(pull, stretch=0.0)
    return [replace(batch, path=displaced(batch.path, placed)) for batch in batches]


def _guides(design: DialDesign, making: Making) -> list[Paint]:
    strength = making.workshop.layout.guide_lines
    items = guide_circles(design)
    if strength <= 0 or not items:
        return []
    parts = []
    for batch in _laid_out(gather(items), making.pull):
        flags = np.full(batch.width.shape, int(Cue.GUIDE), dtype=np.int64)
        parts.append(
            flatten(
                batch.path, 0.5 * batch.width, normals(batch.path), np.full(batch.width.shape, strength), flags,
                ink=batch.ink, zone=batch.zone, stroke=-1 - batch.stroke,
            )
        )  # fmt: skip
    return parts
