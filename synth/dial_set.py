"""A set of dials: the settings it is drawn with, the pictures in it and the spec of each.

A picture depends on (seed, index) and the settings alone. Picture `index` under process P is the twin of the
picture drawn without asking for a process; only the process differs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from dialtell.synth.body import sample_body
from dialtell.synth.camera import sample_camera
from dialtell.synth.errors import ParameterError, require_range
from dialtell.synth.light import sample_light
from dialtell.synth.photographic import sample_exposure
from dialtell.synth.scene import DialSpec, Range, sample_spec
from dialtell.synth.terms import Process
from dialtell.synth.transfer import sample_pull
from dialtell.synth.view import sample_view
from dialtell.synth.watch_hands import sample_hands
from dialtell.synth.wear import sample_wear

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
    design, radius = first.design, first.design.radius_mm
    low, high = (value / radius for value in scope.pixels_per_radius)
    view = sample_view(
        rng=rng, dial_radius_mm=radius, px_per_mm=(low, high), max_side_px=scope.max_side, part_share=scope.part,
        max_tilt_deg=scope.tilt,
    )  # fmt: skip
    seconds = design.subdials[0] if design.subdials else None
    place = (seconds.x * radius, seconds.y * radius) if seconds else None
    size = seconds.radius * radius if seconds else 0.0
    azimuth = float(rng.uniform(0, 360))
    body = sample_body(
        rng=rng, dial_radius_mm=radius, seconds_centre_mm=place, seconds_radius_mm=size, light_azimuth_deg=azimuth
    )
    hands = sample_hands(
        rng=rng, dial_radius_mm=radius, seconds_centre_mm=place, seconds_radius_mm=size, light_azimuth_deg=azimuth,
        none_share=scope.hands_off,
    )  # fmt: skip
    wear = sample_wear(rng=rng, severity=float(rng.uniform(*scope.wear)), dial_radius_mm=radius)
    pull = sample_pull(rng=rng, radius_mm=radius)
    placing = replace(pull, slip_mm=(0.0, 0.0), bare=(), tears=(), pinholes=0.0)
    making = replace(
        first.making,
        processes=other.making.processes,
        workshop=replace(first.making.workshop, seed=int(rng.integers(2**31))),
        pull=pull,
        exposure=sample_exposure(rng=rng, placing=placing),
    )
    return DialSpec(
        design=design, making=making, view=view, body=body, hands=hands, wear=wear, light=sample_light(rng=rng),
        camera=sample_camera(rng=rng), seed=other.seed, index=other.index,
    )  # fmt: skip
