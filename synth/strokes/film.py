"""The coat as the microscope shows it, as named parameters: brush, film, powder and fire.

One FilmSpec is drawn for every dial, whatever its process, so that it says nothing about it. Where no source is named
a range is judgement. Ground enamel colours are sold and described as "extremely fine" powders of some micrometres,
paint layers on enamel as tens of micrometres at most; no source read gives a dial's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.synth.shared.terms import Process

Line = tuple[float, float, float, float, float, float]

# the widest value each parameter may take; what is drawn stands in sample_film
RANGES: dict[str, tuple[float, float, str]] = {
    "um_per_density": (2.0, 60.0, "micrometres per D"), "print_um": (1.0, 60.0, "micrometres per D"),
    "hair_um": (10.0, 300.0, "micrometres"),
    "streak": (0.0, 1.0, ""), "streak_mm": (0.1, 10.0, "mm"), "quick": (0.0, 1.0, ""), "dry": (0.0, 1.0, ""),
    "shoulder_um": (0.0, 200.0, "micrometres"), "clump": (0.0, 0.5, ""), "clump_um": (5.0, 200.0, "micrometres"),
    "tide": (-0.5, 1.0, ""), "edge_um": (0.0, 30.0, "micrometres"), "crisp_um": (0.0, 100.0, "micrometres"),
    "burr": (-0.5, 1.0, ""), "burr_um": (2.0, 100.0, "micrometres"), "fringe_um": (0.0, 20.0, "micrometres"),
    "texture": (0.0, 0.5, ""), "texture_um": (5.0, 300.0, "micrometres"), "wipe": (0.0, 0.5, ""),
    "wipe_deg": (0.0, 180.0, "degrees"), "pinholes": (0.0, 40.0, "a square millimetre"),
    "pinhole_um": (1.0, 60.0, "micrometres"), "caking": (0.0, 1.0, ""), "pores": (0.0, 0.5, ""),
    "sink_um": (1.0, 60.0, "micrometres"), "pits": (0.0, 40.0, "a square millimetre"),
    "pit_um": (2.0, 80.0, "micrometres"),
}  # fmt: skip


@dataclass(frozen=True)
class FilmSpec:
    """What each process would leave on this dial, and what the fire made of it.

    um_per_density : thickness of fired paint or powder that gives 1 D, micrometres, 9..18 (a coat of 1.35 D is 12 to
    24 um). print_um : that of a transfer's film, which carries more pigment, 2.5..7 (3 to 10 um).

    Brush: hair_um : spacing of the streaks its hairs leave, 30..90. streak : RMS of thickness from streak to streak in
    a quick stroke, share, 0.05..0.35. streak_mm : their length, 0.5..2.5. quick : how quick strokes are, 0..1. dry :
    how far the hairs part as the brush runs dry, 0..0.5. shoulder_um : width of the rounded shoulder, 14..40. clump :
    RMS of thickness by clumps of pigment (ground to 5 to 20 um), 0.015..0.10; clump_um : their size, 6..28. tide :
    gain of a thin film towards its edge, where it dried last, -0.05..0.25. edge_um : RMS of the edge, 1..5.

    Transfer: crisp_um : width of the shoulder, 2..8. burr : gain along the edge from the ink that the plate's burr
    held, -0.06..0.15; burr_um : its width, 8..20. fringe_um : RMS of the edge, 0.3..2. texture : RMS of thickness,
    0.01..0.05, and texture_um : its grain, 20..60, of the sheet. wipe : RMS of streaks from wiping the plate, 0..0.05,
    along wipe_deg, 0..180. pinholes : a square millimetre of film, 0..3; pinhole_um : their radius, 4..15. folds,
    cracks : lines of doubled and of missing film, each (x mm, y mm, angle rad, length mm, width um, bend).

    Powder: caking : RMS of thickness from grain to grain, 0.05..0.20. pores : share of grains missing inside, 0..0.006.

    Fire: sink_um : sigma over which it levels the coat, 6..14. pits : a square millimetre, of paint and enamel, 0..3;
    pit_um : their radius, 5..18.

    seed : of everything above.
    """

    um_per_density: float
    print_um: float
    hair_um: float
    streak: float
    streak_mm: float
    quick: float
    dry: float
    shoulder_um: float
    clump: float
    clump_um: float
    tide: float
    edge_um: float
    crisp_um: float
    burr: float
    burr_um: float
    fringe_um: float
    texture: float
    texture_um: float
    wipe: float
    wipe_deg: float
    pinholes: float
    pinhole_um: float
    folds: tuple[Line, ...]
    cracks: tuple[Line, ...]
    caking: float
    pores: float
    sink_um: float
    pits: float
    pit_um: float
    seed: int

    def __post_init__(self) -> None:
        for name, (low, high, unit) in RANGES.items():
            require_range(f"FilmSpec.{name}", getattr(self, name), low, high, unit)
        for name in ("folds", "cracks"):
            if any(len(line) != 6 or not np.isfinite(line).all() for line in getattr(self, name)):
                raise ParameterError(f"FilmSpec.{name} is {getattr(self, name)!r}; give six finite numbers for each")

    def um_of(self, process: Process) -> float:
        """Micrometres of a coat that give 1 D."""
        return self.print_um if process is Process.TRANSFER else self.um_per_density


def sample_film(*, rng: np.random.Generator, radius_mm: float) -> FilmSpec:
    """A coat with the usual marks; `radius_mm` of the dial scales where folds and cracks lie."""

    def log_uniform(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    def lines(mean: float, length: tuple[float, float], width_um: tuple[float, float]) -> tuple[Line, ...]:
        return tuple(
            (
                float(rng.normal(0.0, 0.5 * radius_mm)), float(rng.normal(0.0, 0.5 * radius_mm)),
                float(rng.uniform(0.0, np.pi)), log_uniform(*length) * radius_mm, log_uniform(*width_um),
                float(rng.normal(0.0, 0.3)),
            )
            for _ in range(int(rng.poisson(mean)))
        )  # fmt: skip

    return FilmSpec(
        um_per_density=float(rng.uniform(9.0, 18.0)),
        print_um=float(rng.uniform(2.5, 7.0)),
        hair_um=log_uniform(30.0, 90.0),
        streak=float(rng.uniform(0.05, 0.35)),
        streak_mm=log_uniform(0.5, 2.5),
        quick=float(rng.beta(1.6, 2.0)),
        dry=float(0.5 * rng.beta(1.0, 2.0)),
        shoulder_um=log_uniform(14.0, 40.0),
        clump=0.015 + 0.085 * float(rng.uniform()) ** 2.5,  # ground fine: coarse paint is rare
        clump_um=log_uniform(6.0, 28.0),
        tide=float(rng.uniform(-0.05, 0.25)),
        edge_um=float(rng.uniform(1.0, 5.0)),
        crisp_um=float(rng.uniform(2.0, 8.0)),
        burr=float(np.clip(rng.normal(0.03, 0.05), -0.06, 0.15)),
        burr_um=float(rng.uniform(8.0, 20.0)),
        fringe_um=float(rng.uniform(0.3, 2.0)),
        texture=float(rng.uniform(0.01, 0.05)),
        texture_um=log_uniform(20.0, 60.0),
        wipe=float(0.05 * rng.beta(1.0, 2.0)),
        wipe_deg=float(rng.uniform(0.0, 180.0)),
        pinholes=float(min(rng.exponential(0.5), 3.0)),
        pinhole_um=log_uniform(4.0, 15.0),
        folds=lines(0.5, (0.05, 0.5), (12.0, 50.0)),
        cracks=lines(0.8, (0.05, 0.4), (3.0, 14.0)),
        caking=float(rng.uniform(0.05, 0.20)),
        pores=float(0.006 * rng.beta(1.0, 2.0)),
        sink_um=float(rng.uniform(6.0, 14.0)),
        pits=float(min(rng.exponential(0.7), 3.0)),
        pit_um=log_uniform(5.0, 18.0),
        seed=int(rng.integers(2**31)),
    )
