"""A set of dials: the settings it is drawn with, the pictures in it and the spec of each.

A picture depends on (seed, index) and the settings alone. Picture `index` under process P is the twin of the
picture drawn without asking for a process; only the process differs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from dialtell.synth.scene import DialSpec, Range, sample_photograph, sample_spec
from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.shared.terms import Process
from dialtell.synth.strokes.film import sample_film
from dialtell.synth.strokes.photographic import sample_exposure
from dialtell.synth.strokes.transfer import placing_of, sample_pull

MIXED = "mixed"
PROCESSES = (*(str(process) for process in Process), MIXED)
# between a turret-clock dial at the coarsest view and a small watch at the finest, px per dial radius
SMALLEST_RADIUS_PX, LARGEST_RADIUS_PX = 70.0, 7000.0
AGAIN = 79  # the stream of a dial pulled again, apart from the one its index draws a new dial from


@dataclass(frozen=True)
class DialSet:
    """Settings of a set.

    count : indices, 1..10 000 000; with `twins` three pictures each. seed : 0 or above.
    process : of every dial, "mixed" for zones of two processes on every dial, or None: drawn, half painted and
        half printed. twins : every index under each process; `process` must then be None.
    plates : 0, or how many plates the set is pulled from: picture i is another pull from the plate of picture
        i mod plates (a painted one, the same design painted again).
    masks : label masks are written too. scope : what the pictures are drawn from.
    """

    count: int
    seed: int
    process: str | None = None
    twins: bool = False
    plates: int = 0
    masks: bool = False
    scope: Range = field(default_factory=Range)

    def __post_init__(self) -> None:
        require_range("count", self.count, 1, 10_000_000)
        require_range("seed", self.seed, 0, 2**63 - 1)
        require_range("plates", self.plates, 0, 10_000_000)
        require_range("jitter", self.scope.jitter, 0.0, 4.0)
        require_range("max-side", self.scope.max_side, 160, 16384, "px")
        low, high = self.scope.pixels_per_radius
        require_range("pixels-per-radius LO", low, SMALLEST_RADIUS_PX, LARGEST_RADIUS_PX, "px")
        require_range("pixels-per-radius HI", high, low, LARGEST_RADIUS_PX, "px")
        if self.process is not None and self.process not in PROCESSES:
            raise ParameterError(f"process is {self.process!r}; give one of {', '.join(PROCESSES)}")
        if self.twins and self.process is not None:
            raise ParameterError(
                f"twins are asked for with process {self.process!r}, but they show every process; leave out one"
            )

    def __len__(self) -> int:
        """Number of pictures."""
        return self.count * (len(Process) if self.twins else 1)

    def pictures(self) -> Iterator[Picture]:
        """The pictures in order of index, twins in the order of Process."""
        for index in range(self.count):
            if self.twins:
                for process in Process:
                    yield Picture(index, process)
            else:
                yield Picture(index, None if self.process in (None, MIXED) else Process(self.process))

    def plate_of(self, index: int) -> int:
        """Number of the plate behind picture `index`: the index it was first drawn for."""
        return index % self.plates if self.plates else index

    def spec_of(self, picture: Picture) -> DialSpec:
        """Draw the spec of a picture."""
        scope = replace(self.scope, mixed=1.0) if self.process == MIXED else self.scope
        plate = self.plate_of(picture.index)
        spec = sample_spec(self.seed, picture.index, scope)
        if plate != picture.index:
            spec = pulled_again(sample_spec(self.seed, plate, scope), spec, scope)
        return spec if picture.process is None else spec.as_process(picture.process)


@dataclass(frozen=True)
class Picture:
    """One picture of a set. process : of all zones, or None where its own rng draws it."""

    index: int
    process: Process | None


def pulled_again(first: DialSpec, other: DialSpec, scope: Range) -> DialSpec:
    """Another dial from the plate of `first`, with the index and processes of `other`.

    Design and plate are those of `first`, and its painters paint again; pull, exposure, wear, hands, view, light
    and camera are drawn anew.
    """
    rng = np.random.default_rng([other.seed, other.index, AGAIN])
    photograph = sample_photograph(rng=rng, design=first.design, scope=scope)
    pull = sample_pull(rng=rng, radius_mm=first.design.radius_mm)
    placing = placing_of(pull)
    making = replace(
        first.making,
        processes=other.making.processes,
        workshop=replace(first.making.workshop, seed=int(rng.integers(2**31))),
        pull=pull,
        exposure=sample_exposure(rng=rng, placing=placing),
        film=None if first.making.film is None else sample_film(rng=rng.spawn(1)[0], radius_mm=first.design.radius_mm),
    )
    return DialSpec(design=first.design, making=making, **vars(photograph), seed=other.seed, index=other.index)
